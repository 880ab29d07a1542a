"""Pieces that several pictures are made of: data, names at the left, counts at the right."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from statistics import median
from typing import Any

import altair as alt

from fixstats.charts.style import GREY, INK
from fixstats.charts.words import Row
from fixstats.findings.rates_notes import WORTH_BOUNDS

WIDTH = 430
NAME_WIDTH = 48  # characters of a name in a line
LINE = 13  # height of a line of text
ROW = 20  # height of a row of one line

# Bounds are drawn this far beyond the furthest interval; an arrow says where they go on. Else a
# few rows that nobody looked at would press all intervals together.
ROOM_FOR_BOUNDS = 1.25
# A row with fewer opportunities than this part of the median row does not set the scale.
SMALL = 0.2

BOUNDS = "over a tenth unknown: range had none or all of them failed"
# Kinds of line: dash, width, opacity.
LOOKS: Mapping[str, tuple[Any, float, float]] = {
    "interval": ([1, 0], 2, 1),
    "limit": ([4, 3], 1.5, 1),
    "bounds": ([1, 0], 8, 0.3),
}

Record = dict[str, Any]


def many_unknown(row: Row) -> bool:
    """Whether more than a tenth of its units are unknown, so that bounds are shown."""
    return bool(row["unknown"] > WORTH_BOUNDS * (row["opportunities"] + row["unknown"]))


def edge_of(rows: Sequence[Row]) -> float:
    """Where the common scale ends: at the furthest interval or limit of rows that are not small.

    A row of one or two jobs would stretch it to nearly 100 % and press all others together.
    """
    known = [row for row in rows if row["rate"] is not None]
    large = SMALL * median(row["opportunities"] for row in known) if known else 0
    ends = [
        row["high"] if row["at_most"] is None else row["at_most"]
        for row in known
        if row["opportunities"] >= large
    ]
    furthest = max(ends, default=0.0)
    bounds = max((row["bound_high"] or 0 for row in rows if many_unknown(row)), default=0.0)
    if not furthest:
        return min(1.0, bounds) or 1.0
    return float(min(1.0, max(furthest * 1.03, min(bounds, furthest * ROOM_FOR_BOUNDS))))


def plot(records: Sequence[Mapping[str, Any]]) -> alt.Chart:
    """A chart on inline records; types are given in the encodings."""
    return alt.Chart(alt.InlineData(values=list(records)))


def texts(found: Any) -> str:
    """An expression that looks an axis value up in a list or mapping of texts."""
    return f"{json.dumps(found, ensure_ascii=False)}[datum.value]"


def row_height(names: Sequence[Sequence[str]]) -> alt.Step:
    """A step in which the longest name has room."""
    return alt.Step(max(max(map(len, names)) * LINE + 6, ROW))


def name_axis(
    names: Sequence[Sequence[str]], heads: Mapping[str, int] | None = None, extent: float = 0
) -> alt.Axis:
    """Names at the left, by place; ``heads``: place -> depth of the headings, which are bold.

    Of several depths, all but the deepest are larger. ``extent``: least room for the names, so that
    plots one above the other begin at one place.
    """
    deep = heads or {}
    large = [place for place, depth in deep.items() if depth < max(deep.values())]

    def among(places: Sequence[str]) -> str:
        return f"indexof({json.dumps(list(places))}, datum.value) >= 0"

    return alt.Axis(
        labelExpr=texts(names),
        grid=False,
        ticks=False,
        domain=False,
        minExtent=extent,
        labelPadding=10,
        labelLineHeight=LINE,
        labelOverlap=False,
        labelFontWeight=alt.condition(among(list(deep)), alt.value("bold"), alt.value("normal")),
        labelFontSize=alt.condition(among(large), alt.value(13), alt.value(11)),
    )


def rows_at(
    names: Sequence[Sequence[str]], heads: Mapping[str, int] | None = None, extent: float = 0
) -> alt.Y:
    """Rows from top to bottom by ``place``, the number of the name."""
    places = [str(place) for place in range(len(names))]
    scale = alt.Scale(domain=places, padding=0.2)
    return alt.Y("place:N", title=None, scale=scale, axis=name_axis(names, heads, extent))


def line_scales(kinds: Mapping[str, str]) -> tuple[alt.Scale, alt.Scale, alt.Scale]:
    """Scales of dash, width and opacity for the kinds of line (kind -> text) of a picture."""
    dash, width, clear = (
        alt.Scale(
            type="ordinal", domain=list(kinds.values()), range=[LOOKS[kind][part] for kind in kinds]
        )
        for part in range(3)
    )
    return dash, width, clear


def legend_of(kinds: Collection[str]) -> alt.Legend | None:
    """A legend of line kinds; none of nothing, which the converter cannot size."""
    return alt.Legend(symbolType="stroke") if kinds else None


def counts_beside(
    records: Sequence[Mapping[str, Any]], y: alt.Y, heading: str = "failures of opportunities"
) -> list[alt.Chart]:
    """``words`` of each record at the right of its row, under a heading."""
    x = alt.value(WIDTH + 14)
    beside = plot(records).mark_text(align="left", fontSize=11, color=INK)
    head = plot([{"words": heading}]).mark_text(
        align="left", baseline="bottom", fontSize=11, color=GREY
    )
    return [
        beside.encode(x=x, y=y, text="words:N"),
        head.encode(x=x, y=alt.value(-2), text="words:N"),
    ]
