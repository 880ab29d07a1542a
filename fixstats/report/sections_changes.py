"""The section on what changed since last month."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.charts.names import mode_label
from fixstats.report.blocks import Block, Bullets, Column, Fold, Section, Table
from fixstats.report.material import Material
from fixstats.report.words import (
    VERDICTS,
    choice_words,
    count_of,
    in_hundred,
    notes_of,
    option_words,
    rate_of,
    sentence,
    spans,
)
from fixstats.words import counted

Row = Mapping[str, Any]
_DIFFERENCE = ("difference", "difference_low", "difference_high")


def changed(material: Material) -> Section:
    """This month beside the one before."""
    found, month = material.changed, material.month
    of = found.settings
    jobs = f"{counted(of['jobs'], 'job')} in {month.words}"
    lines = [sentence(f"{jobs}, {of['jobs_before']:,} in {month.before.words}")]
    lines += _changed_rates(material)
    lines += _new_alarms(material)
    lines += _changed_verdicts(material)
    lines += _adopted(material)
    families = [row for row in found.rows if row["mode"] is None]
    single = [row for row in found.rows if row["mode"] is not None]
    name = f"Families of failures, {month.name} beside {month.before.name}"
    every = f"Single failure modes, {month.name} beside {month.before.name}"
    blocks: list[Block] = [Bullets(lines)]
    if families:
        blocks.append(_months_table(name, families, material))
    if single:
        blocks.append(Fold("Every failure mode", (_months_table(every, single, material),)))
    blocks.append(Bullets(notes_of(found), small=True))
    return Section("What changed since last month", "changed", blocks)


def _changed_rates(material: Material) -> list[str]:
    found = material.changed
    rows = [row for row in found.rows if row["changed"]]
    if not any(row["before_opportunities"] for row in found.rows):
        return ["There is no month before to compare rates with."]
    if not rows:
        compared = [row for row in found.rows if row["p_value"] is not None]
        return [
            f"No failure rate changed by more than chance allows: {len(compared)} rates compared, "
            f"each by Fisher's exact test, corrected for their number (Benjamini-Hochberg)."
        ]
    return [
        f"{mode_label(row, found.labels)}: {rate_of(row)}, {count_of(row)}, after "
        f"{rate_of(row, 'before_')}, {count_of(row, 'before_')}; the difference in 100 is "
        f"{in_hundred([row[name] for name in _DIFFERENCE])}."
        for row in rows
    ]


def _new_alarms(material: Material) -> list[str]:
    """Alarms whose change began this month, and single months that stand out."""
    from fixstats.findings.watch_words import alarm_words

    month = material.month.name
    new = [
        one
        for one in material.watched.parts.get("alarms", ())
        if (one["since"] or "").startswith(month) or (not one["lasting"] and month in one["months"])
    ]
    return [f"New alarm: {sentence(alarm_words(one, material.watched.labels))}" for one in new]


def _changed_verdicts(material: Material) -> list[str]:
    """Choices whose verdict over all models, or its option, is another than a month ago.

    A month ago is what the report of that month says: decisions were made by it.
    """
    before, labels = material.verdicts_before, material.decided.labels
    if before is None:
        words = f"the report of {material.month.before.words} is not in the folder reports"
        return [f"Verdicts are not compared with those of a month ago: {words}."]
    lines = []
    for row in material.decided.rows:
        choice = row["choice"]
        now = (row["verdict"], row["option"])
        if row["scope"] == "all" and before.get(choice, now) != now:
            lines.append(
                f"New verdict on {choice_words(choice, labels)}: {_verdict(choice, now, labels)}; "
                f"a month ago: {_verdict(choice, before[choice], labels)}."
            )
    return lines or ["No verdict over all models has changed."]


def _verdict(choice: str, found: tuple[str, str | None], labels: Mapping[str, str]) -> str:
    verdict, option = found
    return f"{option_words(choice, option, labels)}, {VERDICTS.get(verdict, verdict)}"


def _adopted(material: Material) -> list[str]:
    found, first = material.standards, material.month.first.isoformat()
    return [
        f"Adopted on {row['since']}: {option_words(row['choice'], row['option'], found.labels)} "
        f"for {choice_words(row['choice'], found.labels)}"
        f"{' on ' + row['model'] if row['model'] else ''}."
        for row in found.rows
        if first <= str(row["since"]) <= material.month.last.isoformat()
    ]


def _months_table(title: str, rows: Sequence[Row], material: Material) -> Table:
    month = material.month
    columns = (
        Column("what"),
        Column(f"{month.name} ({material.level} interval)", figures=True),
        Column("failures of opportunities", figures=True),
        Column(f"{month.before.name} ({material.level} interval)", figures=True),
        Column("failures of opportunities", figures=True),
        Column("difference in 100", figures=True),
        Column(""),
    )
    drawn = spans(rows, _DIFFERENCE, mark=0)
    cells = [
        (
            mode_label(row, material.changed.labels),
            rate_of(row),
            count_of(row),
            rate_of(row, "before_"),
            count_of(row, "before_"),
            in_hundred([row[name] for name in _DIFFERENCE]),
            span,
        )
        for row, span in zip(rows, drawn, strict=True)
    ]
    return Table(title, columns, cells, source="csv/month.csv")
