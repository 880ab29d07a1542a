"""What a bench brief says beside its steps: minutes, parts, intake, the customer; pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from fixstats import stats
from fixstats.findings.brief_choices import Pick
from fixstats.findings.brief_odds import Odds, frequency, odds_of, odds_words, seen_words
from fixstats.findings.brief_plan import ByModel, Subject
from fixstats.folder import fold
from fixstats.folder.catalogue import Factor, Price
from fixstats.tallies.brief import RepairCounts
from fixstats.words import counted

SHARES = (0.5, 0.8, 0.9)
NAMES = ("median", "most", "nearly_all")
# A customer pays for it in time or money: "costs a part" and worse on the catalogue's scale.
HARM = 3
MOST_AT_INTAKE = 5

Row = dict[str, Any]


# ---------------------------------------------------------------- minutes


def minutes_row(counts: RepairCounts, subject: Subject) -> Row:
    """Minutes that half, 80 % and 90 % of such jobs took no longer than, with limits.

    Those of the model where its jobs are enough for an upper limit on each; else of all models.
    """
    model = subject.model
    own = _quantiles([one for one in counts.minutes if one[0] == model], subject.level)
    row = {"scope": "model", "model": model, **own, "borrowed": False}
    if any(own[f"{name}_high"] is None for name in NAMES):
        every = _quantiles(counts.minutes, subject.level)
        borrowed = own["jobs"] < every["jobs"]
        row = {"scope": "all", "model": None, **every, "borrowed": borrowed}
    return {**row, "text": _minutes_words(row)}


def _quantiles(rows: Sequence[tuple[str, float, int]], level: float) -> Row:
    minutes, jobs = [one[1] for one in rows], [one[2] for one in rows]
    found = stats.sample_quantiles(minutes, jobs, SHARES, confidence_level=level)
    row: Row = {"jobs": sum(jobs)}
    for n, name in enumerate(NAMES):
        row[name] = _finite(found.value[n])
        row[f"{name}_low"], row[f"{name}_high"] = _finite(found.low[n]), _finite(found.high[n])
    return row


def _finite(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _minutes_words(row: Row) -> str:
    """What to plan, in a sentence."""
    if not row["jobs"]:
        return "no job of this repair has its minutes recorded"
    of = "of this model" if row["scope"] == "model" else "of all models"
    ends = [_ends(row, name) for name in NAMES]
    return (
        f"half of such jobs took {row['median']:.0f} min or less{ends[0]}, 8 in 10 "
        f"{row['most']:.0f}{ends[1]}, 9 in 10 {row['nearly_all']:.0f}{ends[2]}; "
        f"from {counted(row['jobs'], 'job')} {of}, rescue attempts included"
    )


def _ends(row: Row, name: str) -> str:
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    if low is None or high is None:
        return ""
    return f" ({low:.0f} to {high:.0f})"


# ---------------------------------------------------------------- parts to have ready


def price_of(part: str, grade: str | None, subject: Subject) -> Price | None:
    """The catalogue's price of a piece on that day: for the model, else for all."""
    valid = [
        one
        for one in subject.catalogue.prices
        if (one.part, one.grade) == (part, grade)
        and one.since <= subject.day
        and (one.model is None or fold(one.model) == fold(subject.model))
    ]
    return max(valid, key=lambda one: (one.model is not None, one.since), default=None)


def ready_row(part: str, chosen: Pick, counts: RepairCounts, subject: Subject) -> Row:
    """A part to have ready: its grade, what it costs, how often another piece was needed."""
    catalogue = subject.catalogue
    price = price_of(part, chosen.option, subject)
    again = odds_of(counts.pieces.get(part, {}), subject.model, subject.level)
    label = catalogue.label(part)
    grade = catalogue.label(chosen.option) if chosen.option else "grade not settled"
    money = f", {price.money:,.2f} {subject.settings.currency}" if price else ""
    return {
        "part": part,
        "label": label,
        "grade": chosen.option,
        "grade_label": grade,
        "word": chosen.word,
        "money": price.money if price else None,
        **asdict(again),
        "text": f"{label}: {grade} ({chosen.word}{money}); needed another piece: {_told(again)}",
    }


def _told(odds: Odds) -> str:
    return f"{odds_words(odds)}, {seen_words(odds)}" if odds.opportunities_all else "not known"


# ---------------------------------------------------------------- intake


def intake_rows(counts: RepairCounts, subject: Subject) -> list[Row]:
    """What to look for before the job: what was found broken at intake, then the conditions.

    ``kind``: ``mode`` for a failure mode that was there, ``factor`` for a condition, with
    ``value``. A mode or condition never found is named without odds.
    """
    labels = subject.catalogue.labels
    found = [
        _intake_row("mode", mode, None, labels[mode], counts.intake[mode], subject)
        for mode in subject.catalogue.modes
        if mode in counts.intake
    ]
    found.sort(key=lambda row: -row["rate"])
    factors = [one for one in subject.catalogue.factors if one.code in subject.repair.factors]
    conditions = [
        _intake_row("factor", factor.code, value or None, label, by_model, subject)
        for factor in factors
        if factor.when == "intake"
        for value, label, by_model in _values(factor, counts)
    ]
    return [*found[:MOST_AT_INTAKE], *conditions, *_never_found(counts, subject)]


def _intake_row(
    kind: str, code: str, value: str | None, label: str, by_model: ByModel, subject: Subject
) -> Row:
    odds = odds_of(by_model, subject.model, subject.level)
    text = f"{label}: {_told(odds)}" if odds.opportunities_all else f"{label}: never recorded"
    head = {"kind": kind, "code": code, "value": value, "label": label}
    return {**head, **asdict(odds), "text": text}


def _values(factor: Factor, counts: RepairCounts) -> list[tuple[str, str, ByModel]]:
    """Values of a condition worth their odds, with the words for each."""
    values = counts.conditions.get(factor.code, {})
    if factor.kind == "flag":
        recorded = next(iter(values.values()), {})
        none = {model: (0, n) for model, (_, n) in recorded.items()}
        return [("yes", factor.label, values.get("yes", none))]
    if not values:
        return [("", factor.label, {})]
    if len(factor.bands) == 1:  # of two bands the second is the rest of the first
        low = f"<{factor.bands[0]:g}"
        values = {low: values[low]} if low in values else values
    return [(value, f"{factor.label} {value}", by) for value, by in values.items()]


def _never_found(counts: RepairCounts, subject: Subject) -> list[Row]:
    """Grave modes that this repair can bring about and nobody has found at intake so far."""
    grave = [
        mode
        for mode in subject.catalogue.failure_modes
        if mode.severity > HARM
        and not mode.safety
        and mode.code not in counts.intake
        and set(mode.steps).intersection(subject.repair.steps)
    ]
    nothing = asdict(odds_of({}, subject.model, subject.level))
    return [
        {"kind": "mode", "code": mode.code, "value": None, "label": mode.label, **nothing,
         "text": f"{mode.label}: never found at intake so far"}
        for mode in grave
    ]  # fmt: skip


# ---------------------------------------------------------------- the customer


def customer_rows(counts: RepairCounts, harmed: ByModel, subject: Subject) -> list[Row]:
    """What a customer may ask for: odds of a come-back, of harm during the work, of no repair.

    ``comeback``: of completed jobs watched for all the days, those whose device came back within
    them because of the repair. ``harm``: of jobs on which it was looked for, those on which a
    failure of severity 3 or more happened at a step of the repair, put right or not.
    ``unrepaired``: of all jobs, those abandoned or handed back unrepaired. Jobs of this repair
    alone, without those that are come-backs themselves.
    """
    days = subject.settings.warranty_days
    asked = {
        "comeback": (
            counts.returns,
            "{} of these repairs come back within "
            f"{days} days because of the repair ({{}}, followed for {days} days).",
        ),
        "harm": (
            harmed,
            "In {} of these repairs something goes wrong at the bench that is grave enough to cost "
            "a part ({} jobs).",
        ),
        "unrepaired": (counts.unrepaired, "{} of these devices go back unrepaired ({} jobs)."),
    }
    rows = []
    for event, (by_model, sentence) in asked.items():
        odds = odds_of(by_model, subject.model, subject.level)
        rows.append({"event": event, **asdict(odds), "text": _customer_words(odds, sentence)})
    return rows


def _customer_words(odds: Odds, sentence: str) -> str:
    """``About 1 in 60, between 1 in 140 and 1 in 30, of these repairs ...``."""
    if odds.rate is None or odds.low is None or odds.high is None:
        return sentence.format("an unknown share", "0 of 0").capitalize()
    seen = seen_words(odds)
    if odds.at_most is not None:
        words, seen = f"at most {frequency(odds.at_most)}", f"none seen: {seen}"
    else:
        low, rate, high = (frequency(value) for value in (odds.low, odds.rate, odds.high))
        words = f"about {rate}, between {low} and {high},"
    said = sentence.format(words, seen)
    return said[0].upper() + said[1:]
