"""Sections on failures: by cost, come-backs, alarms, money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from fixstats.charts.names import mode_label
from fixstats.findings.base import Finding
from fixstats.findings.watch_words import alarm_words, look_words
from fixstats.report.blocks import Block, Bullets, Column, Figure, Fold, Paragraph, Section, Table
from fixstats.report.figures import figure
from fixstats.report.material import Material
from fixstats.report.now import by_subject
from fixstats.report.words import (
    VERDICTS,
    amount,
    amounts,
    choice_words,
    count_of,
    notes_of,
    option_words,
    rate_of,
    sentence,
    spans,
)
from fixstats.words import counted, listed

Row = Mapping[str, Any]
# More rows or pictures would push the report off its pages; the tables have all.
MOST_ROWS = 12
MOST_FIGURES = 3
_MONEY = ("money", "money_low", "money_high")
_RATE = ("rate", "low", "high")
_SAVED = ("saving_vs_current", "vs_current_low", "vs_current_high")


# ---------------------------------------------------------------- failure modes by cost


def costs(material: Material) -> Section:
    """Failure modes ranked by what they cost over the last months."""
    found = material.costs
    seen = [row for row in found.rows if row["opportunities"]]
    if not seen:
        text = "No job in this time at which a failure could have occurred."
        return Section("Failure modes by cost", "costs", (Paragraph(text),))
    months = {row["mode"]: row for row in material.costs_of_month.rows}
    known = [row["money"] for row in seen if row["money"] is not None]
    blocks: list[Block] = []
    if sum(known):
        first = seen[0]
        share = f"{100 * first['money'] / sum(known):.0f}\u00a0%"
        text = (
            f"{mode_label(first, found.labels)} cost most: "
            f"{amount(first['money'], material.currency, 0)}, {share} of what all failures cost "
            f"({_days(found)})"
        )
        blocks.append(Paragraph(sentence(text)))
    first_rows = replace(found, rows=tuple(seen[:MOST_ROWS]))
    blocks.append(figure(first_rows, _cost_table(seen, months, material)))
    if len(seen) > MOST_ROWS:
        text = f"The picture shows the {MOST_ROWS} costliest of {len(seen)}; the table has all."
        blocks.append(Paragraph(text, small=True))
    blocks.append(Bullets(notes_of(found), small=True))
    return Section("Failure modes by cost", "costs", blocks)


def _cost_table(rows: Sequence[Row], months: Mapping[str, Row], material: Material) -> Table:
    found = material.costs
    columns = (
        Column("failure mode"),
        Column(f"{material.currency} ({material.level} interval of the rate)", figures=True),
        Column(""),
        Column("each", figures=True),
        Column("failures of opportunities", figures=True),
        Column(material.month.name, figures=True),
    )
    cells = [
        (
            mode_label(row, found.labels),
            "no cost set" if row["money"] is None else amounts([row[n] for n in _MONEY], digits=0),
            span,
            amount(row["cost_per_failure"], digits=0),
            count_of(row),
            count_of(months[row["mode"]]) if row["mode"] in months else "–",
        )
        for row, span in zip(rows, spans(rows, _MONEY, mark=0), strict=True)
    ]
    return Table(f"Failure modes by cost, {_days(found)}", columns, cells, source="csv/costs.csv")


def _days(found: Finding) -> str:
    of = found.settings
    return f"{of['since'] or 'from the first job'} to {of['until']}"


# ---------------------------------------------------------------- come-backs


def comebacks(material: Material) -> Section:
    """Devices that came back because of the repair."""
    found = material.comebacks
    if not found.rows:
        blocks: Sequence[Block] = (Bullets(notes_of(found)),)
        return Section("Come-backs", "comebacks", blocks)
    sentences = [row["text"] for row in found.parts["sentences"]]
    by_model = material.comebacks_by_model
    blocks = (
        *(Paragraph(text) for text in sentences),
        figure(found, _risk_table(found, material)),
        Fold("By device model", (_return_table(by_model, material),)),
        Bullets(notes_of(found), small=True),
    )
    return Section("Come-backs", "comebacks", blocks)


def _risk_table(found: Finding, material: Material) -> Table:
    """The curve at the days on which it is told: how many are still followed, how many returned."""
    columns = (
        Column("day after hand-over"),
        Column("came back", figures=True),
        Column(f"share ({material.level} interval)", figures=True),
        Column("followed", figures=True),
    )
    curve = found.parts["curve"]
    days = [row["day"] for row in found.parts["at_risk"]]
    steps = [[row for row in curve if row["days"] <= day][-1:] for day in days]
    risk = [row["n_at_risk"] for row in found.parts["at_risk"]]
    cells = [
        (
            f"{day}",
            f"{step[0]['returns']:,}" if step else "0",
            rate_of({**step[0], "at_most": None}) if step else "–",
            f"{followed:,}",
        )
        for day, step, followed in zip(days, steps, risk, strict=True)
    ]
    return Table("Come-backs by day", columns, cells, source="csv/comebacks_curve.csv")


def _return_table(found: Finding, material: Material) -> Table:
    columns = (
        Column("device model"),
        Column("returns of jobs", figures=True),
        Column(f"came back ({material.level} interval)", figures=True),
        Column(""),
        Column("followed to the last day", figures=True),
    )
    cells = [
        (
            str(row["model"] or "not recorded"),
            f"{row['returns']:,} of {row['jobs']:,}",
            rate_of({**row, "at_most": None}),
            span,
            f"{row['n_at_risk']:,}",
        )
        for row, span in zip(found.rows, spans(found.rows, _RATE, mark=0), strict=True)
    ]
    title = "Come-backs by device model"
    return Table(title, columns, cells, source="csv/comebacks_by_model.csv")


# ---------------------------------------------------------------- alarms


def alarms(material: Material) -> Section:
    """What is out of its limits, in the order in which to look at it; people last, by name."""
    found = material.watched
    told = sorted(found.parts.get("alarms", ()), key=lambda one: one["group"] == "technician")
    lines = [
        ("SAFETY: " if one["safety"] else "")
        + sentence(alarm_words(one, found.labels))
        + " "
        + sentence(look_words(one, found.labels))
        for one in told
    ]
    blocks: list[Block] = [Bullets(lines) if lines else Paragraph("No alarm.")]
    subjects = by_subject([one for one in told if not one["explained_by"]])
    blocks += [_alarm_figure(first, found) for first, *_ in subjects[:MOST_FIGURES]]
    blocks.append(Bullets(notes_of(found), small=True))
    return Section("Alarms", "alarms", blocks)


def _alarm_figure(alarm: Row, found: Finding) -> Figure:
    """One alarm as a picture of its own, with the points that are out."""
    names = ("mode", "family", "group", "value_of_group")
    points = [
        row
        for row in found.rows
        if row["alarm"] and all(row[name] == alarm[name] for name in names)
    ]
    alone = replace(found, parts={**found.parts, "alarms": (alarm,)})
    return figure(alone, _points_table(points, found))


_CHARTS = {
    "p": "month",
    "p_prime": "month, wider limits",
    "g": "jobs between failures",
    "cusum": "sum over jobs",
    "funnel": "against the shop",
    "comebacks": "come-backs",
}


def _points_table(points: Sequence[Row], found: Finding) -> Table:
    columns = (
        Column("what"),
        Column("compared by"),
        Column("when"),
        Column("failures of opportunities", figures=True),
        Column("seen", figures=True),
        Column("expected", figures=True),
        Column("limit", figures=True),
    )
    cells = [
        (
            _subject(row, found),
            _CHARTS[row["chart"]],
            str(row["period"] or row["since"] or "–"),
            count_of(row),
            *(_figure(row, name) for name in ("value", "centre", "upper_limit")),
        )
        for row in points
    ]
    return Table("Points that are out", columns, cells, source="csv/watch.csv")


def _subject(row: Row, found: Finding) -> str:
    from fixstats.findings.watch_words import group_words

    code = row["mode"] or row["family"]
    mode = found.labels.get(code, str(code)) if code else "any reason"
    if not row["group"]:
        return mode
    return f"{group_words(row['group'], row['value_of_group'], found.labels)}, {mode}"


def _figure(row: Row, name: str) -> str:
    """A share in percent; the sum over jobs is no share."""
    value = row[name]
    if value is None:
        return "–"
    return f"{value:.1f}" if row["chart"] in ("cusum", "g") else f"{100 * value:.1f}\u00a0%"


# ---------------------------------------------------------------- money


def money(material: Material) -> Section:
    """What failures and come-backs cost, and what the verdicts would save."""
    rows = [
        ("Failures in " + material.month.words, *_total(material.costs_of_month)),
        (f"Failures, {_span_words(material.costs)}", *_total(material.costs)),
    ]
    columns = (Column("what"), Column(material.currency, figures=True), Column("counted from"))
    table = Table("What it cost", columns, rows, source="csv/costs.csv")
    line = _comeback_line(material)
    text = (
        "Costs of failures are those of the catalogue: minutes at the labour rate of "
        f"{amount(material.folder.settings.labour_rate, material.currency)} an hour and money. A "
        "sum counts what was seen; it says nothing of jobs nobody checked. Prices and wages paid "
        "are not in it."
    )
    blocks: list[Block] = [table, *([Paragraph(line)] if line else [])]
    if savings := _savings(material):
        blocks.append(savings)
    blocks.append(Paragraph(text, small=True))
    return Section("Money", "money", blocks)


def _total(found: Finding) -> tuple[str, str]:
    known = [row for row in found.rows if row["money"] is not None]
    missing = [row for row in found.rows if row["money"] is None and row["failures"]]
    failures = sum(row["failures"] for row in known)
    words = counted(failures, "failure")
    if missing:
        names = listed(mode_label(row, found.labels) for row in missing)
        words += f"; without {names}, which have no cost"
    total = amount(sum(row["money"] for row in known), digits=0)
    return (f"at least {total}" if missing else total), words


def _span_words(found: Finding) -> str:
    return f"{found.settings['since'] or 'from the first job'} to {found.settings['until']}"


def _comeback_line(material: Material) -> str:
    overall = material.comebacks.parts.get("overall", ())
    if not overall or overall[0]["cost_per_100"] is None:
        return ""
    row = overall[0]
    figures = amounts([row[name] for name in ("cost_per_100", "cost_low", "cost_high")], digits=0)
    without = row["without_cost"]
    return (
        f"Come-backs within {row['days']} days cost {figures} {material.currency} per 100 jobs "
        f"({material.level} interval)"
        + (f", without {counted(without, 'return')} that have no cost." if without else ".")
    )


def _savings(material: Material) -> Table | None:
    """What another option than the one in use is expected to save; None where none would."""
    found = material.decided
    rows = [
        row
        for row in found.rows
        if row["scope"] == "all"
        and row["option"] != row["current"]
        and (row["saving_vs_current"] or 0) > 0
        and row["verdict"] in ("standardise", "lean", "trial")
    ]
    columns = (
        Column("choice"),
        Column("option"),
        Column("instead of"),
        Column(f"saves a job, {material.currency} ({material.level} interval)", figures=True),
        Column("verdict"),
    )
    cells = [
        (
            choice_words(row["choice"], found.labels),
            option_words(row["choice"], row["option"], found.labels),
            option_words(row["choice"], row["current"], found.labels),
            amounts([row[name] for name in _SAVED]),
            VERDICTS[row["verdict"]],
        )
        for row in rows
    ]
    title = "What other options than those in use would save"
    return Table(title, columns, cells, source="csv/decide.csv") if rows else None
