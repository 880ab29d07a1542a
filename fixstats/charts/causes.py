"""Conditions that go with a failure by their odds ratios, on a log axis, counts beside."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import altair as alt

from fixstats.charts.names import wrapped
from fixstats.charts.parts import (
    NAME_WIDTH,
    WIDTH,
    Record,
    counts_beside,
    plot,
    row_height,
    rows_at,
)
from fixstats.charts.style import COLOURS, GREY, SHAPES, finished, nothing
from fixstats.charts.words import Row, level_words, percent, period_words, view_words
from fixstats.findings.base import Finding
from fixstats.findings.causes_words import ratio, survives
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

# More rows make a picture nobody reads; the most certain are drawn.
MOST_ROWS = 40
# The scale reaches so many times beyond the odds ratios drawn, and at least to these.
BEYOND = 3.0
NARROWEST = (0.5, 2.0)
TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)
HEADING = "failures: with it, against"


def causes_chart(finding: Finding) -> Picture:
    """A row for each value of a condition: odds ratio, interval, counts; the strongest first.

    Filled where it holds with all tests allowed for, hollow where it may be chance.
    """
    known = [row for row in finding.rows if row["odds_ratio"] is not None]
    if not known:
        return nothing(finding)
    shown = sorted(known[:MOST_ROWS], key=lambda row: -row["odds_ratio"])
    names = [wrapped(_name(row, finding), NAME_WIDTH) for row in shown]
    kinds = _kinds(finding, shown)
    low, high = _edges(shown)
    y = rows_at(names)
    x = alt.X(
        "from:Q",
        scale=alt.Scale(type="log", domain=[low, high], nice=False),
        axis=alt.Axis(
            title="odds ratio, log scale (1: no more and no fewer failures)",
            values=[tick for tick in TICKS if low <= tick <= high],
            labelExpr="format(datum.value, '~g')",
            labelFlush=False,
        ),
    )
    lines, points, counts = _records(shown, finding, kinds, (low, high))
    picture = alt.layer(
        plot([{"from": 1}]).mark_rule(color=GREY, strokeDash=[3, 3]).encode(x=x),
        _spans(lines, x, y, kinds),
        _points(points, x, y, kinds),
        *counts_beside(counts, y, HEADING),
    ).properties(width=WIDTH, height=row_height(names))
    title = _title(finding, known)
    about = (
        f"{title}. {counted(len(shown), 'row')} with odds ratio, interval and counts. "
        f"Highest: {_about(shown[0], finding)}."
    )
    return finished(picture, title, _subtitle(finding, len(known) - len(shown)), about)


def _name(row: Row, finding: Finding) -> str:
    label = finding.labels.get(row["condition"], row["condition"])
    return f"{label}: {row['level']}, not {row['reference']}"


def _kinds(finding: Finding, shown: Sequence[Row]) -> dict[bool, str]:
    """Whether a row survives -> words of the legend; only those that occur."""
    level = finding.settings["confidence_level"]
    words = {
        True: "holds with all tests allowed for",
        False: "may be chance once all tests are allowed for",
    }
    met = {survives(row, level) for row in shown}
    return {kind: text for kind, text in words.items() if kind in met}


def _edges(shown: Sequence[Row]) -> tuple[float, float]:
    """Ends of the scale: beyond all odds ratios, no further than the intervals need."""
    ratios = [row["odds_ratio"] for row in shown]
    low = max(min(ratios) / BEYOND, min(row["odds_low"] or 0 for row in shown) / 1.05, TICKS[0])
    high = min(max(ratios) * BEYOND, max(row["odds_high"] or 1e9 for row in shown) * 1.05, 1e3)
    return min(low, NARROWEST[0]), max(high, NARROWEST[1])


def _records(
    shown: Sequence[Row], finding: Finding, kinds: dict[bool, str], edges: tuple[float, float]
) -> tuple[list[Record], list[Record], list[Record]]:
    """Lines, points and counts; an arrow where an interval goes on beyond the scale."""
    low, high = edges
    lines: list[Record] = []
    points: list[Record] = []
    counts: list[Record] = []
    for place, row in enumerate(shown):
        sure = survives(row, finding.settings["confidence_level"])
        base = {"place": str(place), "kind": kinds[sure], "about": _about(row, finding)}
        counts.append(base | {"words": f"{_count(row, '')}, {_count(row, 'reference_')}"})
        start, end = row["odds_low"] or low, row["odds_high"] or high
        lines.append(base | {"from": min(max(start, low), high), "to": max(min(end, high), low)})
        if low <= row["odds_ratio"] <= high:
            points.append(base | {"from": row["odds_ratio"], "sign": "ratio"})
        if start < low:
            points.append(base | {"from": low, "sign": "goes on below"})
        if end > high:
            points.append(base | {"from": high, "sign": "goes on above"})
    return lines, points, counts


def _count(row: Row, prefix: str) -> str:
    return f"{row[f'{prefix}failures']:,} of {row[f'{prefix}opportunities']:,}"


def _about(row: Row, finding: Finding) -> str:
    return (
        f"{_name(row, finding)}: odds {ratio(row['odds_ratio'])} times "
        f"({ratio(row['odds_low'])} to {ratio(row['odds_high'])}), "
        f"{_count(row, '')} against {_count(row, 'reference_')}"
    )


def _colour(kinds: dict[bool, str]) -> alt.Scale:
    return alt.Scale(
        domain=list(kinds.values()), range=[COLOURS[0] if sure else GREY for sure in kinds]
    )


def _spans(lines: Sequence[Record], x: alt.X, y: alt.Y, kinds: dict[bool, str]) -> alt.Chart:
    colour = alt.Color(
        "kind:N", scale=_colour(kinds), legend=alt.Legend(symbolType="stroke", symbolStrokeWidth=2)
    )
    drawn: alt.Chart = (
        plot(lines)
        .mark_rule(strokeCap="butt", strokeWidth=2)
        .encode(x=x, x2="to:Q", y=y, color=colour, description="about:N")
    )
    return drawn


def _points(points: Sequence[Record], x: alt.X, y: alt.Y, kinds: dict[bool, str]) -> alt.Chart:
    signs = ["ratio", "goes on below", "goes on above"]
    shapes = [SHAPES[0], "triangle-left", "triangle-right"]
    colour = alt.Color("kind:N", scale=_colour(kinds), legend=None)
    hollow = alt.FieldEqualPredicate(field="kind", equal=kinds.get(False, ""))
    drawn: alt.Chart = (
        plot(points)
        .mark_point(size=55, strokeWidth=1.5, opacity=1)
        .encode(
            x=x,
            y=y,
            color=colour,
            shape=alt.Shape("sign:N", legend=None, scale=alt.Scale(domain=signs, range=shapes)),
            fill=alt.condition(hollow, alt.value("white"), colour),
            description="about:N",
        )
    )
    return drawn


def _subject(finding: Finding) -> str:
    code = finding.settings["mode"]
    label = finding.labels.get(code, code.replace("_", " "))
    return f"Any of {label}" if finding.rows[0]["mode"] is None else label


def _title(finding: Finding, known: Sequence[Row]) -> str:
    """How many conditions go with the failure, and the strongest; never that one causes it."""
    sure = [row for row in known if survives(row, finding.settings["confidence_level"])]
    values = counted(len(known), "value")
    if not sure:
        return f"{_subject(finding)}: none of {values} of conditions goes with it beyond chance"
    far = max(sure, key=lambda row: max(row["odds_ratio"], 1 / row["odds_ratio"]))
    go = "goes with it;" if len(sure) == 1 else "go with it; the strongest,"
    return (
        f"{_subject(finding)}: {len(sure)} of {values} of conditions {go} "
        f"{_name(far, finding)}: odds {ratio(far['odds_ratio'])} times"
    )


def _subtitle(finding: Finding, left: int) -> list[str]:
    settings, (total,) = finding.settings, finding.parts["total"]
    rate = percent(total["failures"] / total["opportunities"])
    where = f"only {', '.join(settings['where'])}" if settings["where"] else ""
    lines = (
        (
            f"n: {counted(total['failures'], 'failure')} of "
            f"{counted(total['opportunities'], 'opportunity', 'opportunities')} "
            f"({settings['unit']}s), {rate}",
            view_words(finding),
        ),
        (
            f"{level_words(finding)} intervals by profile, adjusted for model, technician, quarter "
            "and earlier conditions as far as failures allow",
            period_words(settings),
        ),
        (where, f"{left} less certain values not drawn" if left else ""),
        ("what goes with a failure need not bring it about",),
    )
    return ["; ".join(filter(None, parts)) for parts in lines if any(parts)]
