"""What could mislead in a comparison, each by name, and only where it applies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats.findings.adjusting import Adjustment
from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.compare_figures import Row
from fixstats.findings.compare_plan import ModeSet, Plan
from fixstats.findings.compare_use_notes import left_out_notes, some_named, use_notes
from fixstats.findings.compare_words import Lead, in_hundred, lead_of, pointed
from fixstats.findings.rates_notes import cautions_for
from fixstats.tallies.counts import Period
from fixstats.words import counted, listed

if TYPE_CHECKING:
    import polars as pl

# Common practice, no source, for all three.
UNEQUAL = 0.05
WORTH_OUTSIDE = 0.20
# With fewer failures a test of equal odds ratios is not to be trusted.
TELLING = 20


@dataclass(frozen=True)
class Answer:
    """One set of modes: its rows, inside and as handed out, the fit, and the cells behind them."""

    modes: ModeSet
    rows: tuple[Row, ...]
    public: tuple[Mapping[str, Any], ...]
    adjustment: Adjustment
    cells: pl.DataFrame


Found = list[tuple[ModeSet, Row, Mapping[str, Any]]]


def notes_of(plan: Plan, answers: Sequence[Answer], covered: Period) -> tuple[Note, ...]:
    """Notes for a comparison, gravest first; pure."""
    if not covered.jobs:
        return (Note("no_records", "no job is in the records yet: fixstats import FILE"),)
    if not answers:
        return (_nothing(plan), Note("own_records", OWN_RECORDS))
    rows = [
        (answer.modes, row, public)
        for answer in answers
        for row, public in zip(answer.rows, answer.public, strict=True)
    ]
    several = len(plan.sets) > 1
    notes = [
        *_dangers(plan),
        *_no_fit(answers, several=several),
        *_reversals(rows, plan, several=several),
        *_heterogeneity(rows, plan, several=several),
        *_sparse(rows, plan, several=several),
        *use_notes(plan, answers[0].cells),
        *_unknown(rows, plan, several=several),
        *_borrowed(rows, several=several),
        *_zero_failures(rows),
        *_no_value(rows),
        *_hidden_cause(rows, several=several),
        *_many(rows, plan),
        *_modes(plan),
        *_adjusted_for(answers, plan),
        *left_out_notes(plan, covered),
    ]
    return (*notes, Note("own_records", OWN_RECORDS))


def cautions_of(plan: Plan) -> tuple[str, ...]:
    """The usual cautions of the methods named, and of cells where a mode can hurt someone."""
    rows = [{"mode": code, "family": None} for code in plan.codes]
    methods = {method.code: method for method in plan.catalogue.methods}
    named = [methods[option] for option in plan.options if option in methods]
    own = [f"{one.code}: {text}" for one in named for text in one.cautions]
    return (*own, *cautions_for(rows, plan.catalogue))


def _nothing(plan: Plan) -> Note:
    if not plan.options:
        return Note("nothing", f"no job asked about has an option of {plan.choice.name} recorded")
    return Note("one_option", f"every job asked about has {plan.options[0]}: nothing to compare")


def _named(modes: ModeSet, row: Row, *, several: bool) -> str:
    """``heat_plate``, with its model, and its mode where there are several."""
    words = [modes.name] if several else []
    words += [f"on {row.model}"] if row.model else []
    return f"{row.option} ({', '.join(words)})" if words else row.option


def _dangers(plan: Plan) -> Iterator[Note]:
    """A union counts a snapped tab and a pierced cell alike; nobody may choose by that alone."""
    for one in plan.sets:
        safety = [code for code in one.codes if plan.catalogue.modes[code].safety]
        if one.mode is None and safety and len(safety) < len(one.codes):
            yield Note(
                "dangers",
                f"{one.name} counts dangers and nuisances alike: look at {listed(safety)} apart "
                f"before you choose (--mode {','.join(safety)})",
            )


def _no_fit(answers: Sequence[Answer], *, several: bool) -> Iterator[Note]:
    for answer in answers:
        problem = answer.adjustment.problem
        if problem:
            what = f"{answer.modes.name}: " if several else ""
            text = f"{what}no adjusted figures ({problem}); the sentences follow the strata"
            yield Note("no_fit", text)


def _reversals(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    weak = []
    for modes, row, public in rows:
        if public["reversal"] == "none":
            continue
        if public["reversal"] == "possible" and row.model:
            weak.append(_named(modes, row, several=several))
            continue
        raw = Lead("raw", *(public[f"difference{end}"] for end in ("", "_low", "_high")))
        fair, how = _turned(public, plan)
        sure = "reversal" if public["reversal"] == "sure" else "possible reversal"
        pair = f"{_named(modes, row, several=several)} against {plan.baseline}"
        yield Note(
            "reversal",
            f"{sure}, {pair}: the raw counts say {pointed(raw, plan.unit)}, but the order turns "
            f"round {how}: {pointed(fair, plan.unit)}. The two were used on different jobs: go by "
            "the like-for-like figure, not by the raw one",
        )
    if weak:
        yield Note(
            "possible_reversal",
            f"{some_named(weak)}: raw and like-for-like figures point different ways, neither "
            "surely; on so few jobs the adjusted figure leans on the other models",
        )


def _turned(public: Mapping[str, Any], plan: Plan) -> tuple[Lead, str]:
    """The figure of the other sign, and in words where it holds: the strata where they do it."""
    strata = public["strata_difference"]
    if strata is not None and strata * public["difference"] < 0:
        values = (strata, public["strata_low"], public["strata_high"])
        where = f"within the strata of {listed(plan.strata)}" if plan.strata else "within strata"
        return Lead("strata", *values), where
    values = (public["adjusted_difference"], public["adjusted_low"], public["adjusted_high"])
    return Lead("adjusted", *values), "once adjusted for who did which jobs, and when"


def _heterogeneity(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    names = [
        _named(modes, row, several=several)
        for modes, row, public in rows
        if public["homogeneity_p"] is not None
        and public["homogeneity_p"] < UNEQUAL
        and public["failures"] + public["baseline_failures"] >= TELLING
    ]
    if names:
        within = listed(plan.strata) if plan.strata else "none"
        yield Note(
            "heterogeneity",
            f"{some_named(names)}: the odds ratio seems to differ between strata of {within} "
            f"(Tarone's test, p below {UNEQUAL:g}); one figure for all hides that"
            + _by_model(plan),
        )


def _by_model(plan: Plan) -> str:
    return "" if plan.ask.by else "; see --by model"


def _sparse(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    lost = [
        f"{_named(modes, row, several=several)} {100 * row.outside:.0f} %"
        for modes, row, public in rows
        if row.outside >= WORTH_OUTSIDE and public["opportunities"]
    ]
    if lost:
        yield Note(
            "sparse_strata",
            "share of the jobs that lie in strata without the other option, and do not count in "
            f"the strata figures: {some_named(lost)}",
        )


def _unknown(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    """Worst cases: all unknown jobs of one side failed, none of the other."""
    for modes, row, public in rows:
        lead = lead_of(public)
        claimed = lead is not None and lead.low * lead.high > 0
        if row.model or not claimed or not (row.counts["unknown"] or row.baseline["unknown"]):
            continue
        (low, high), (base_low, base_high) = _bounds(row.counts), _bounds(row.baseline)
        ends = low - base_high, high - base_low
        if ends[0] <= 0 <= ends[1]:
            unknown = row.counts["unknown"] + row.baseline["unknown"]
            yield Note(
                "unknown_sign",
                f"{_named(modes, row, several=several)}: {counted(unknown, 'outcome')} unknown; at "
                f"worst they would put the raw difference anywhere from {in_hundred(ends[0])} "
                f"fewer to {in_hundred(ends[1])} more in 100 {plan.unit}, so they could turn its "
                "sign",
            )


def _bounds(side: Mapping[str, int]) -> tuple[float, float]:
    units = side["opportunities"] + side["unknown"]
    if not units:
        return 0.0, 1.0
    failed = side["failures"]
    return (failed + side["unknown_failed"]) / units, (failed + side["unknown"]) / units


def _borrowed(rows: Found, *, several: bool) -> Iterator[Note]:
    names = [
        _named(modes, row, several=several)
        for modes, row, public in rows
        if row.model
        and public["adjusted_difference"] is not None
        and not (public["opportunities"] and public["baseline_opportunities"])
    ]
    if names:
        yield Note(
            "borrowed",
            f"{some_named(names)}: one of the two was never used there; the adjusted figure is "
            "borrowed from the other models",
        )


def _zero_failures(rows: Found) -> Iterator[Note]:
    none = sum(
        not public["failures"] and not public["baseline_failures"]
        for _, row, public in rows
        if row.counts["opportunities"] and row.baseline["opportunities"]
    )
    if none:
        yield Note(
            "zero_failures",
            f"in {counted(none, 'row')} no failure was seen on either side; that is no proof that "
            "both are safe or alike",
        )


def _no_value(rows: Found) -> Iterator[Note]:
    """Why a figure is empty, for each reason that occurs."""
    publics = [public for _, _, public in rows]
    filled = [row for row in publics if row["difference"] is not None]
    if len(filled) < len(publics):
        yield Note(
            "no_opportunities",
            f"in {counted(len(publics) - len(filled), 'row')} one of the two has no job where a "
            "failure could have been seen: no raw figures",
        )
    for code, figures, why in NO_VALUE:
        rows_without = sum(any(row[name] is None for name in figures) for row in filled)
        if rows_without:
            yield Note(code, f"in {counted(rows_without, 'row')} {why}")


NO_VALUE = (
    ("no_ratio", ("ratio", "ratio_high"), "the baseline never failed: the ratio has no value"),
    (
        "no_strata",
        ("strata_low", "strata_p", "homogeneity_p"),
        "some figure over strata is empty: too few strata have both options and a failure",
    ),
)


def _hidden_cause(rows: Found, *, several: bool) -> Iterator[Note]:
    needed = [
        f"{_named(modes, row, several=several)} {public['hidden_cause_needed']:.1f}"
        for modes, row, public in rows
        if row.model is None and (public["hidden_cause_needed"] or 0) > 1
    ]
    if needed:
        yield Note(
            "hidden_cause",
            "a cause that nobody recorded could undo a difference shown only if it made failures "
            "so many times as likely, and were so many times as common with one option as with the "
            f"other: {some_named(needed)}",
        )


def _many(rows: Found, plan: Plan) -> Iterator[Note]:
    number = len(rows)
    missed = (1 - plan.level) * number
    about = f"{missed:.1f}" if missed < 1 else f"{missed:.0f}"
    if number > 5:
        yield Note(
            "many_rows",
            f"{number} rows at {100 * plan.level:g} %: of that many intervals about {about} "
            "would miss the truth by chance alone; p_corrected allows for it",
        )


def _modes(plan: Plan) -> Iterator[Note]:
    for one in plan.sets:
        if one.mode is None:
            yield Note("modes", f"{one.name} here: {listed(one.codes)}")


def _adjusted_for(answers: Sequence[Answer], plan: Plan) -> Iterator[Note]:
    used = dict.fromkeys(key for answer in answers for key in answer.adjustment.used)
    dropped = dropped_keys(plan, answers)
    if not used:
        return
    text = f"adjusted for {listed(used)}"
    reasons = dict.fromkeys(dropped.values())
    groups = [
        f"{listed(key for key, one in dropped.items() if one == why)} ({why})" for why in reasons
    ]
    text += f"; not for {'; '.join(groups)}" if groups else ""
    yield Note("adjusted_for", f"{text}. What nobody recorded cannot be adjusted for")


def dropped_keys(plan: Plan, answers: Sequence[Answer]) -> dict[str, str]:
    """Keys that were not adjusted for after all -> why."""
    found = {key: why for one in answers for key, why in one.adjustment.dropped.items()}
    return {**plan.dropped, **found}
