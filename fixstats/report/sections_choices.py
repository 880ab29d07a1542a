"""Sections on choices: standards and verdicts, comparisons, trials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.base import Finding
from fixstats.findings.safety import state_words
from fixstats.report.blocks import Block, Bullets, Cell, Column, Fold, Paragraph, Section, Table
from fixstats.report.figures import figure
from fixstats.report.material import Material
from fixstats.report.words import (
    amount,
    amounts,
    choice_words,
    count_of,
    in_hundred,
    notes_of,
    option_words,
    sentence,
    share_words,
    spans,
    verdict_words,
)
from fixstats.words import counted

Row = Mapping[str, Any]
# Pictures of comparisons: more would push the report off its pages.
MOST_PICTURES = 2
_DIFFERENCE = ("difference", "difference_low", "difference_high")
_ADJUSTED = ("adjusted_difference", "adjusted_low", "adjusted_high")
_SAVING = ("saving_per_job", "saving_low", "saving_high")


# ---------------------------------------------------------------- verdicts and standards


def verdicts(material: Material) -> Section:
    """House standards, and the verdict on each choice."""
    found = material.decided
    rows = [row for row in found.rows if row["scope"] == "all"]
    models = [row for row in found.rows if row["scope"] != "all"]
    level = material.level
    blocks: list[Block] = [_standards(material)]
    if rows:
        title = f"Verdicts over all models; money a job in {material.currency}, {level} intervals"
        blocks.append(_verdict_table(title, rows, material))
        why = Bullets([sentence(text) for text in _sentences(found, None)])
        blocks.append(Fold("Why, and what would change it", (why,)))
    if models:
        table = _verdict_table(f"Verdicts on each model, {level} intervals", models, material)
        blocks.append(Fold("On each model", (table,)))
    if found.parts.get("options"):
        blocks.append(Fold("What each option is expected to cost", (_option_table(material),)))
    blocks.append(Bullets(notes_of(found, material.standards), small=True))
    return Section("House standards and verdicts", "verdicts", blocks)


def _sentences(found: Finding, model: str | None) -> list[str]:
    return [row["text"] for row in found.parts.get("sentences", ()) if row["model"] == model]


def _standards(material: Material) -> Block:
    found = material.standards
    if not found.rows:
        return Paragraph("No house standard was adopted yet: fixstats adopt CHOICE OPTION.")
    columns = (
        Column("choice"),
        Column("house standard"),
        Column("since", figures=True),
        Column("followed", figures=True),
        Column(f"share ({material.level} interval)", figures=True),
        Column("failed before", figures=True),
        Column("failed since", figures=True),
        Column("difference in 100", figures=True),
    )
    cells = [
        (
            choice_words(row["choice"], found.labels)
            + (f", {row['model']}" if row["model"] else ""),
            option_words(row["choice"], row["option"], found.labels),
            str(row["since"]),
            _of(row["followed"], row["jobs_since"]),
            _share(row),
            _of(row["failures_before"], row["opportunities_before"]),
            _of(row["failures_after"], row["opportunities_after"]),
            in_hundred([row[name] for name in _DIFFERENCE]),
        )
        for row in found.rows
    ]
    return Table("House standards", columns, cells, source="csv/standards.csv")


def _of(some: int | None, every: int | None) -> str:
    return "–" if some is None or every is None else f"{some:,} of {every:,}"


def _share(row: Row) -> str:
    values = [row[name] for name in ("share", "share_low", "share_high")]
    if None in values:
        return "–"
    at, low, high = (100 * value for value in values)
    return f"{at:.0f} % ({low:.0f} to {high:.0f})"


def _verdict_table(title: str, rows: Sequence[Row], material: Material) -> Table:
    labels = material.decided.labels
    columns = (
        Column("choice"),
        Column("verdict"),
        Column("cheapest not ruled out"),
        Column("in use now"),
        Column("cost", figures=True),
        Column("saves against the next best", figures=True),
        Column(""),
        Column("against in use", figures=True),
        Column("sure", figures=True),
        Column("jobs", figures=True),
    )
    drawn = spans(rows, _SAVING, mark=0)
    cells: list[Sequence[Cell]] = [
        (
            choice_words(row["choice"], labels) + (f", {row['model']}" if row["model"] else ""),
            verdict_words(row),
            option_words(row["choice"], row["option"], labels),
            option_words(row["choice"], row["current"], labels),
            amounts([row[name] for name in ("cost_per_job", "cost_low", "cost_high")]),
            amounts([row[name] for name in _SAVING]),
            span,
            amount(row["saving_vs_current"]),
            "–" if row["p_best"] is None else share_words(row["p_best"]),
            "–" if row["jobs"] is None else f"{row['jobs']:,}",
        )
        for row, span in zip(rows, drawn, strict=True)
    ]
    return Table(title, columns, cells, source="csv/decide.csv")


def _option_table(material: Material) -> Table:
    labels = material.decided.labels
    names = ("used_money", "minutes_money", "failures_money", "comebacks_money")
    rows = [row for row in material.decided.parts["options"] if row["scope"] == "all"]
    columns = (
        Column("choice"),
        Column("option"),
        Column("safety"),
        Column("jobs", figures=True),
        Column("cost a job", figures=True),
        Column("used up", figures=True),
        Column("minutes", figures=True),
        Column("failures", figures=True),
        Column("come-backs", figures=True),
        Column("sure", figures=True),
        Column("regret a job", figures=True),
    )
    cells = [
        (
            choice_words(row["choice"], labels),
            option_words(row["choice"], row["option"], labels),
            state_words(row["safety"], row["safety_opportunities"]),
            f"{row['jobs']:,}",
            amounts([row[name] for name in ("cost_per_job", "cost_low", "cost_high")]),
            *(amount(row[name]) for name in names),
            "–" if row["p_best"] is None else share_words(row["p_best"]),
            amount(row["regret_per_job"]),
        )
        for row in rows
    ]
    title = f"Expected money a job in {material.currency}, all models"
    return Table(title, columns, cells, source="csv/decide_options.csv")


# ---------------------------------------------------------------- comparisons


def comparisons(material: Material) -> Section:
    """Those whose adjusted interval leaves out 0, or whose order surely turns round."""
    told = [
        (finding, row)
        for finding in material.compared
        for row in finding.rows
        if row["model"] is None and worth_reading(row)
    ]
    told.sort(key=lambda one: -abs(one[1]["adjusted_difference"] or 0.0))
    rows = [row for _, row in told]
    number = len(material.compared)
    if not rows:
        text = (
            f"Of {counted(number, 'choice')} with several options, none shows a difference in "
            "failures that is more than chance allows."
        )
        return Section("Comparisons worth reading", "comparisons", (Paragraph(text),))
    text = (
        f"Differences of failure rates, like for like, that are more than chance allows; "
        f"{counted(number, 'choice')} with several options looked at, all of them in the folder csv"
    )
    findings = list(dict.fromkeys(id(finding) for finding, _ in told))
    by_id = {id(finding): finding for finding, _ in told}
    blocks: list[Block] = [Paragraph(sentence(text)), _compare_table(told, material)]
    for key in findings[:MOST_PICTURES]:
        blocks.append(
            figure(by_id[key], _compare_table([(by_id[key], r) for r in by_id[key].rows], material))
        )
    notes = notes_of(*(by_id[key] for key in findings[:MOST_PICTURES]))
    blocks.append(Fold("How these were adjusted, and what that leaves open", (Bullets(notes),)))
    return Section("Comparisons worth reading", "comparisons", blocks)


def worth_reading(row: Row) -> bool:
    """Whether the adjusted interval leaves out 0, or the order surely turns round."""
    low, high = row["adjusted_low"], row["adjusted_high"]
    shown = low is not None and high is not None and not low <= 0 <= high
    return shown or row["reversal"] == "sure"


def _compare_table(told: Sequence[tuple[Finding, Row]], material: Material) -> Table:
    columns = (
        Column("choice"),
        Column("option"),
        Column("baseline"),
        Column("failed", figures=True),
        Column("baseline failed", figures=True),
        Column("as counted, in 100", figures=True),
        Column("like for like, in 100", figures=True),
        Column(""),
        Column("hidden cause needed", figures=True),
    )
    drawn = spans([row for _, row in told], _ADJUSTED, mark=0)
    cells = [
        (
            choice_words(row["choice"], finding.labels),
            option_words(row["choice"], row["option"], finding.labels)
            + (" (the order turns round)" if row["reversal"] == "sure" else ""),
            option_words(row["choice"], row["baseline"], finding.labels),
            count_of(row),
            count_of(row, "baseline_"),
            in_hundred([row[name] for name in _DIFFERENCE]),
            in_hundred([row[name] for name in _ADJUSTED]),
            span,
            amount(row["hidden_cause_needed"], digits=1),
        )
        for (finding, row), span in zip(told, drawn, strict=True)
    ]
    title = f"Any failure at the choice, {material.level} intervals"
    return Table(title, columns, cells, source="csv/compare.csv")


# ---------------------------------------------------------------- trials


def trials(material: Material) -> Section:
    """Trials that were begun, and how each stands."""
    if not material.trials.rows:
        text = "No trial was begun yet: fixstats trial plan CHOICE --options PRESENT,NEW."
        return Section("Trials", "trials", (Paragraph(text),))
    blocks: list[Block] = []
    if material.later:
        text = f"As they stand at the end of the records, {material.covered.as_of}."
        blocks.append(Paragraph(text, small=True))
    for state in material.trial_states:
        table = _trial_table(state)
        blocks.append(figure(state, table) if state.parts.get("path") else table)
    blocks.append(Bullets(notes_of(*material.trial_states, material.trials), small=True))
    return Section("Trials", "trials", blocks)


def _trial_table(state: Finding) -> Table:
    of, labels = state.settings, state.labels
    columns = (
        Column("option"),
        Column("jobs", figures=True),
        Column("used as drawn", figures=True),
        Column("failed", figures=True),
        Column("safety failures", figures=True),
        Column("pairs", figures=True),
        Column("difference in 100", figures=True),
        Column("verdict"),
    )
    cells = [
        (
            option_words(row["choice"], row["option"], labels),
            f"{row['jobs']:,}",
            f"{row['used_as_drawn']:,}",
            count_of(row),
            f"{row['safety_failures']:,}",
            "–" if row["pairs"] is None else f"{row['pairs']:,}",
            in_hundred([row[name] for name in _DIFFERENCE]),
            str(row["verdict"] or "–").replace("_", " "),
        )
        for row in state.rows
    ]
    title = (
        f"Trial {of['trial']}: {choice_words(of['choice'], labels)}, "
        f"{100 * of['confidence_level']:g}\u00a0% confidence sequence"
    )
    return Table(title, columns, cells, source="csv/trials_status.csv")
