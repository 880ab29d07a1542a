"""What to do now: at most five lines, the most urgent first, each with the number behind it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from fixstats.charts.words import percent
from fixstats.findings.safety import told_of
from fixstats.findings.watch_words import look_words, seen_words, subject_words
from fixstats.report.blocks import Action, Actions, Block, Paragraph, Section
from fixstats.report.material import Material
from fixstats.report.words import (
    amounts,
    choice_words,
    cost_alone,
    option_words,
    sentence,
    sure_words,
)
from fixstats.words import counted, listed

Row = Mapping[str, Any]

MOST_LINES = 5
# Alarms do not fill all lines where a decision waits, unless someone can be hurt.
MOST_ALARMS = 2
# What a line says of itself where these figures alone do not settle the matter.
BORDER = "borderline: chance in the calculation alone may turn this verdict"
COST_ALONE = (
    "what customers pay for it, and how it looks and lasts after the warranty, is not in it"
)
SAFETY, ALARM, DECISION, RECORDS = "safety", "alarm", "decision", "records"
_LEFT = {
    SAFETY: ("warning about safety", "warnings about safety"),
    ALARM: ("alarm", "alarms"),
    DECISION: ("verdict to act on", "verdicts to act on"),
    RECORDS: ("remark on the records", "remarks on the records"),
}


def now(material: Material) -> Section:
    """The first section of a report."""
    lines = list(candidates(material))
    alarms = [line for line in lines if line[0] == ALARM]
    decisions = any(kind == DECISION for kind, _ in lines)
    late = alarms[MOST_ALARMS:] if decisions else []
    ordered = [line for line in lines if line not in late] + late
    shown, left = ordered[:MOST_LINES], ordered[MOST_LINES:]
    blocks: list[Block] = [Actions(tuple(action for _, action in shown))]
    if not shown:
        text = "Nothing calls for action: no alarm, no verdict to act on, no row held back."
        blocks = [Paragraph(text)]
    if left:
        kinds = [kind for kind, _ in left]
        counts = [counted(kinds.count(kind), *_LEFT[kind]) for kind in _LEFT if kind in kinds]
        blocks.append(Paragraph(f"Further down: {listed(counts)}.", small=True))
    return Section("What to do now", "now", blocks)


def candidates(material: Material) -> Iterator[tuple[str, Action]]:
    """Everything that calls for action, most urgent first, each with its kind."""
    yield from _dangerous_options(material)
    yield from _alarms(material)
    yield from _verdicts(material)
    yield from _held_back(material)


def _dangerous_options(material: Material) -> Iterator[tuple[str, Action]]:
    """Options that must not be used: their safety failures are too many, be it on one model."""
    labels = material.decided.labels
    worse = [
        row
        for row in material.decided.parts.get("options", ())
        if row["safety"] == "worse" and row["jobs"]
    ]
    everywhere = {(row["choice"], row["option"]) for row in worse if row["scope"] == "all"}
    for row in worse:
        if row["scope"] != "all" and (row["choice"], row["option"]) in everywhere:
            continue
        what = option_words(row["choice"], row["option"], labels)
        on = f" on {row['model']}" if row["model"] else ""
        text = f"Do not use {what} for {choice_words(row['choice'], labels)}{on}."
        shared = ", shared by the models" if on else ""
        number = (
            f"{_of(row)}, at least {percent(row['safety_low'])} ({material.level}, one-sided"
            f"{shared}); {_danger(row, material)}"
        )
        yield SAFETY, Action("Stop", text, number, urgent=True)


def _of(row: Row) -> str:
    names = ("failures", "opportunities", "unknown", "returned")
    counts = (row[f"safety_{name}"] for name in names)
    return told_of(*counts, failure="a failure that can hurt someone")


def _danger(row: Row, material: Material) -> str:
    """Which of the two rules it breaks."""
    limit = material.folder.settings.safety_limit
    if row["safety_low"] > limit:
        return f"the limit is {percent(limit)}"
    return "more often than with the most used option, beyond chance (Fisher's exact test)"


def _alarms(material: Material) -> Iterator[tuple[str, Action]]:
    """Alarms, one line a subject: what a lot does wrong in three ways is one thing to look at.

    The finding's order is kept, but what can hurt someone comes first and people come last.
    """
    alarms = [one for one in material.watched.parts["alarms"] if not one["explained_by"]]
    ordered = sorted(alarms, key=lambda one: (not one["safety"], one["group"] == "technician"))
    labels = material.watched.labels
    for first, *more in by_subject(ordered):
        head = subject_words(first, labels)
        kind = "Help" if first["group"] == "technician" else "Look into"
        text = f"{sentence(head)} {sentence(look_words(first, labels))}"
        number = seen_words(first)
        if more:
            number += f"; {counted(len(more), 'more alarm')} about the same"
        urgent = any(one["safety"] for one in (first, *more))
        yield SAFETY if urgent else ALARM, Action(kind, text, number, urgent=urgent)


def by_subject(alarms: Sequence[Row]) -> list[list[Row]]:
    """Alarms about the same group, or the same mode or family of the shop, together."""
    subjects: dict[Any, list[Row]] = {}
    for one in alarms:
        names = ("group", "value_of_group") if one["group"] else ("mode", "family")
        subjects.setdefault(tuple(one[name] for name in names), []).append(one)
    return list(subjects.values())


def _verdicts(material: Material) -> Iterator[tuple[str, Action]]:
    """Verdicts over all models that ask for an act, those with most money first.

    What is not settled by these figures comes after what is: verdicts on the border, and grades,
    of which only the shop's side is known.
    """
    rows = [row for row in material.decided.rows if row["scope"] == "all" and row["option"]]
    jobs = _jobs(material)
    standards = {
        row["choice"]: row["option"]
        for row in material.standards.rows
        if row["scope"] == "all" and row["jobs_since"] is not None
    }
    for verdict, line in (("standardise", _standard), ("unproven", _proof), ("trial", _trial)):
        of_it = [row for row in rows if row["verdict"] == verdict]
        for row in sorted(of_it, key=lambda row: _order(row, jobs[row["choice"]])):
            action = line(row, material, standards.get(row["choice"]))
            if action is not None:
                number = f"{action.number}; {BORDER}" if row["borderline"] else action.number
                yield DECISION, replace(action, number=number)


def _jobs(material: Material) -> dict[str, int]:
    """Jobs of each choice, whatever its option: all of them would be done the new way."""
    jobs: dict[str, int] = {}
    for row in material.decided.parts["options"]:
        if row["scope"] == "all":
            jobs[row["choice"]] = jobs.get(row["choice"], 0) + row["jobs"]
    return jobs


def _order(row: Row, jobs: int) -> tuple[bool, bool, float]:
    return row["borderline"], cost_alone(row), -(row["saving_vs_current"] or 0.0) * jobs


def _standard(row: Row, material: Material, standard: str | None) -> Action | None:
    """Adopt an option; nothing to do where it is the house standard already."""
    if row["option"] == standard:
        return None
    labels, currency = material.decided.labels, material.currency
    choice = choice_words(row["choice"], labels)
    option = option_words(row["choice"], row["option"], labels)
    current = option_words(row["choice"], row["current"], labels)
    saves = amounts([row[f"saving_{name}"] for name in ("per_job", "low", "high")])
    second = option_words(row["choice"], row["runner_up"], labels)
    behind = (
        f"{saves} {currency} a job less than {second}, the next best; {sure_words(row['p_best'])}"
    )
    out = [
        one["model"]
        for one in material.decided.parts["options"]
        if one["model"]
        and one["safety"] == "worse"
        and all(one[name] == row[name] for name in ("choice", "option"))
    ]
    if out:
        behind = f"not on {listed(out)}, ruled out there by safety failures; {behind}"
    keep = row["option"] == row["current"]
    if row["saving_vs_current"] is not None and row["current"] not in (
        row["option"],
        row["runner_up"],
    ):
        saved = [row[name] for name in ("saving_vs_current", "vs_current_low", "vs_current_high")]
        behind = f"{amounts(saved)} {currency} a job less than {current}; {behind}"
    if row["borderline"]:
        text = (
            f"For {choice}, {option} seems the cheapest, but only just: see what next month says."
        )
        return Action("Not settled", text, behind)
    if cost_alone(row):
        text = f"For {choice}, {option} costs the shop least: make it the standard only if your "
        text += "customers would choose it, too."
        return Action("By cost alone", text, f"{behind}; {COST_ALONE}")
    if keep:
        return Action("Standardise", f"For {choice}, keep to {option}: write it down.", behind)
    text = f"For {choice}, make {option} the standard, instead of {current}."
    return Action("Standardise", text, behind)


def _proof(row: Row, material: Material, standard: str | None) -> Action:
    """The cheapest option is not shown to be safe."""
    labels = material.decided.labels
    option = option_words(row["choice"], row["option"], labels)
    choice = choice_words(row["choice"], labels)
    text = (
        f"For {choice}, do not make {option} the standard yet: it would be the cheapest, but is "
        "not shown to be safe."
    )
    if row["option"] == standard:
        text = f"For {choice}, the house standard {option} is not shown to be safe."
    needed = row["jobs_needed"]
    more = f"{counted(needed, 'further job')} without a safety failure would clear it"
    (own,) = (
        one
        for one in material.decided.parts["options"]
        if all(one[name] == row[name] for name in ("choice", "scope", "option"))
    )
    return Action("Prove safe", text, _of(own) + (f"; {more}" if needed is not None else ""))


def _trial(row: Row, material: Material, standard: str | None) -> Action:
    """It pays to find out."""
    labels = material.decided.labels
    (rival,) = (
        one["rival"]
        for one in material.decided.parts["sentences"]
        if one["choice"] == row["choice"] and one["model"] is None
    )
    pair = [option_words(row["choice"], one, labels) for one in (row["option"], rival)]
    text = f"For {choice_words(row['choice'], labels)}, try {pair[0]} against {pair[1]}."
    needed = row["jobs_needed"]
    length = f"about {counted(needed, 'job')}; " if needed else ""
    return Action(
        "Try out", text, f"{length}{sure_words(row['p_best'])} that {pair[0]} is the cheaper now"
    )


def _held_back(material: Material) -> Iterator[tuple[str, Action]]:
    """Rows that wait outside the records."""
    rows = [row for row in material.checked.rows if row["topic"] == "held_back"]
    if rows:
        held, read = (sum(row[name] for row in rows) for name in ("units", "of"))
        text = "Mend the rows that were held back at import, and import them again."
        files = counted(len(rows), "file")
        yield RECORDS, Action("Mend", text, f"{held:,} of {read:,} rows of {files} count nowhere")
