"""Rates with their intervals on a common scale, counts beside."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import altair as alt

from fixstats.charts.layout import Group, groups, kept
from fixstats.charts.names import Level, by_keys, level_label, levels, subject_words
from fixstats.charts.parts import (
    BOUNDS,
    WIDTH,
    Record,
    counts_beside,
    edge_of,
    legend_of,
    line_scales,
    many_unknown,
    plot,
    row_height,
    rows_at,
)
from fixstats.charts.sheet import lay_out
from fixstats.charts.style import COLOURS, SHAPES, finished, nothing, percent_axis
from fixstats.charts.words import (
    Row,
    count_words,
    interval_words,
    level_words,
    named,
    overlapping,
    percent,
    range_words,
    rate_words,
    share_words,
    span_words,
    subtitle,
)
from fixstats.findings.base import Finding
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

GROUPS: dict[Level, str] = {
    ("model",): "model",
    ("technician",): "technician",
}


def interval_chart(finding: Finding) -> Picture:
    """Rates by the keys of the finding, a row each, with intervals and counts.

    A row without a failure shows its one-sided upper limit, dashed; a row with more than a tenth
    of its units unknown shows how far they could move the rate, as a wide faint line.
    """
    if not finding.rows:
        return nothing(finding)
    shown = kept(groups(finding))
    rows = [row for group in shown for row in group.rows]
    sheet = lay_out(shown)
    edge = edge_of(rows)
    inside = _styles(shown)
    y = rows_at(sheet.names, sheet.heads)
    x = alt.X(
        "from:Q",
        scale=alt.Scale(domain=[0, edge], nice=False, zero=True),
        axis=percent_axis(title="failures per opportunity, %", tickCount=6, labelFlush=False),
    )
    lines, points, counts = _records(sheet.rows, edge, finding, inside)
    picture = alt.layer(
        _spans(lines, x, y, finding), _ends(points, x, y), *counts_beside(counts, y)
    ).properties(width=WIDTH, height=row_height(sheet.names))
    left = len(finding.rows) - len(rows)
    more = [f"{left:,} of {len(finding.rows):,} rows not drawn: fewest opportunities"]
    beyond = any(point["sign"] == "goes on" for point in points)
    words = subtitle(
        finding,
        *(more if left else ()),
        "arrows go on beyond the scale" if beyond else "",
        range_words(rows, finding.keys),
    )
    return finished(picture, _title(finding, shown), words, _description(finding, shown))


def _styles(shown: Sequence[Group]) -> dict[str, int]:
    """Number of the colour and shape of each innermost name; all alike where they do not recur."""
    names = list(dict.fromkeys(name for group in shown for name in group.names))
    if len(shown) == 1 or len(names) > len(COLOURS):
        return dict.fromkeys(names, 0)
    return {name: place for place, name in enumerate(names)}


def _kinds(finding: Finding) -> dict[str, str]:
    return {
        "interval": interval_words(finding),
        "limit": f"no failure seen: one-sided {level_words(finding)} upper limit",
        "bounds": BOUNDS,
    }


def _records(
    rows: Sequence[tuple[str, str, Row]], edge: float, finding: Finding, inside: dict[str, int]
) -> tuple[list[Record], list[Record], list[Record]]:
    """Lines, points and counts to draw."""
    kinds = _kinds(finding)
    lines: list[Record] = []
    points: list[Record] = []
    counts: list[Record] = []
    for place, name, row in rows:
        base = {"place": place, "style": inside[name], "about": f"{name}: {rate_words(row)}"}
        counts.append(base | {"words": _count(row)})
        if many_unknown(row):
            far = min(row["bound_high"], edge)
            lines.append(
                base | {"from": row["bound_low"], "to": far, "kind": kinds["bounds"], "style": -1}
            )
            if row["bound_high"] > edge:
                points.append(base | {"from": edge, "sign": "goes on", "style": -1})
        if row["rate"] is None:
            continue
        kind, low, high, at, sign = _figures(row, str(inside[name]))
        if low < edge:
            lines.append(base | {"from": low, "to": min(high, edge), "kind": kinds[kind]})
        if at <= edge:
            points.append(base | {"from": at, "sign": sign})
        if high > edge:
            points.append(base | {"from": edge, "sign": "goes on"})
    return lines, points, counts


def _figures(row: Row, sign: str) -> tuple[str, float, float, float, str]:
    """Kind of line, its ends, where its point is and the sign there."""
    if row["at_most"] is not None:
        return "limit", 0.0, row["at_most"], row["at_most"], "limit"
    return "interval", row["low"], row["high"], row["rate"], sign


def _count(row: Row) -> str:
    words = count_words(row) if row["opportunities"] else "no opportunity"
    return f"{words}, {row['unknown']:,} unknown" if many_unknown(row) else words


def _colour() -> alt.Color:
    """Colour by style number; -1 is grey."""
    return alt.Color(
        "style:N",
        legend=None,
        scale=alt.Scale(domain=[-1, *range(len(COLOURS))], range=["#9A9A9A", *COLOURS]),
    )


def _spans(lines: Sequence[Record], x: alt.X, y: alt.Y, finding: Finding) -> alt.Chart:
    """Intervals, limits and bounds, with the legend that tells them apart."""
    names = _kinds(finding)
    used = {kind: name for kind, name in names.items() if any(o["kind"] == name for o in lines)}
    dash, wide, clear = line_scales(used)
    legend = legend_of(used)
    # Bounds first: the wide faint line lies under the interval.
    order = sorted(lines, key=lambda line: line["kind"] != names["bounds"])
    drawn: alt.Chart = (
        plot(order)
        .mark_rule(strokeCap="butt")
        .encode(
            x=x,
            x2="to:Q",
            y=y,
            color=_colour(),
            strokeDash=alt.StrokeDash("kind:N", scale=dash, legend=legend),
            strokeWidth=alt.StrokeWidth("kind:N", scale=wide, legend=legend),
            opacity=alt.Opacity("kind:N", scale=clear, legend=legend),
            description="about:N",
        )
    )
    return drawn


def _ends(points: Sequence[Record], x: alt.X, y: alt.Y) -> alt.Chart:
    """The rates, a shape for each innermost name; at a limit, an open triangle pointing back."""
    signs = [*map(str, range(len(SHAPES))), "limit", "goes on"]
    shapes = [*SHAPES, "triangle-left", "triangle-right"]
    hollow = alt.FieldOneOfPredicate(field="sign", oneOf=["limit"])
    drawn: alt.Chart = (
        plot(points)
        .mark_point(size=55, strokeWidth=1.5, opacity=1)
        .encode(
            x=x,
            y=y,
            color=_colour(),
            shape=alt.Shape("sign:N", legend=None, scale=alt.Scale(domain=signs, range=shapes)),
            fill=alt.condition(hollow, alt.value("white"), _colour()),
            description="about:N",
        )
    )
    return drawn


def _title(finding: Finding, shown: Sequence[Group]) -> str:
    """What the rows say, and no more: a range, and whether the intervals overlap."""
    subject = subject_words(finding)
    steps = [level for level in levels(finding) if level != ("mode",)]
    by = f" by {by_keys(steps, finding.labels)}" if steps else ""
    rows = [row for group in shown for row in group.rows if row["rate"] is not None]
    if not rows:
        return f"{subject}{by}: no opportunity is known, so there is no rate"
    if len(rows) == 1:
        return f"{subject}{_one(finding, rows[0])}: {rate_words(rows[0])}"
    if not any(row["failures"] for row in rows):
        limits = sorted(row["at_most"] for row in rows)
        return (
            f"{subject}{by}: no failure seen in {counted(len(rows), 'row')}; "
            f"upper limits from {percent(limits[0])} to {percent(limits[-1])}"
        )
    return f"{subject}{by}: {span_words(rows, finding.keys)}; {_overlaps(finding, shown)}"


def _one(finding: Finding, row: Row) -> str:
    """Where the only row with a rate stands."""
    steps = [level for level in levels(finding) if level != ("mode",)]
    words = [level_label(level, row, finding.labels) for level in steps]
    return f", {', '.join(words)}" if words else ""


def _overlaps(finding: Finding, shown: Sequence[Group]) -> str:
    """Overlap of intervals within groups, said without calling anything better or worse.

    Of rows whose keys were recorded: what was left blank or not done is no choice to compare.
    """
    known = [
        [row for row in group.rows if row["rate"] is not None and named(row, finding.keys)]
        for group in shown
    ]
    several = [rows for rows in known if len(rows) > 1]
    if not several:
        return "nothing is compared"
    if len(shown) == 1:
        return "all intervals overlap" if overlapping(several[0]) else "not all intervals overlap"
    outer = levels(finding)[:-1]
    noun = GROUPS.get(outer[0], "group") if len(outer) == 1 else "group"
    return f"intervals overlap in {share_words(sum(map(overlapping, several)), len(several), noun)}"


def _description(finding: Finding, shown: Sequence[Group]) -> str:
    """The text alternative: what is drawn and its main figures."""
    drawn = sum(len(group.rows) for group in shown)
    text = [f"{_title(finding, shown)}. {counted(drawn, 'row')} with rate, interval and counts."]
    known = [
        (row, ", ".join((*group.headings, name)))
        for group in shown
        for row, name in zip(group.rows, group.names, strict=True)
        if row["rate"] is not None
    ]
    if len(known) > 1:
        row, name = max(known, key=lambda pair: pair[0]["rate"])
        if row["failures"]:
            text.append(f"Highest: {name}: {rate_words(row)}.")
        row, name = max(known, key=lambda pair: pair[0]["opportunities"])
        text.append(f"Most opportunities: {name}: {rate_words(row)}.")
    return " ".join(text)
