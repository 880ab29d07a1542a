"""Pieces that several pictures are made of: data, names at the left, counts at the right."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from fixstats.charts.style import GREY, INK

WIDTH = 430
NAME_WIDTH = 36  # characters of a name in a line
LINE = 13  # height of a line of text
ROW = 20  # height of a row of one line

Record = dict[str, Any]


def plot(records: Sequence[Mapping[str, Any]]) -> alt.Chart:
    """A chart on inline records; types are given in the encodings."""
    return alt.Chart(alt.InlineData(values=list(records)))


def texts(found: Any) -> str:
    """An expression that looks an axis value up in a list or mapping of texts."""
    return f"{json.dumps(found, ensure_ascii=False)}[datum.value]"


def row_height(names: Sequence[Sequence[str]]) -> alt.Step:
    """A step in which the longest name has room."""
    return alt.Step(max(max(map(len, names)) * LINE + 6, ROW))


def name_axis(names: Sequence[Sequence[str]], heads: Mapping[str, int] | None = None) -> alt.Axis:
    """Names at the left, by place; ``heads``: place -> depth of the headings, which are bold.

    Of several depths, all but the deepest are larger.
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
        labelPadding=10,
        labelLineHeight=LINE,
        labelOverlap=False,
        labelFontWeight=alt.condition(among(list(deep)), alt.value("bold"), alt.value("normal")),
        labelFontSize=alt.condition(among(large), alt.value(13), alt.value(11)),
    )


def rows_at(names: Sequence[Sequence[str]], heads: Mapping[str, int] | None = None) -> alt.Y:
    """Rows from top to bottom by ``place``, the number of the name."""
    places = [str(place) for place in range(len(names))]
    scale = alt.Scale(domain=places, padding=0.2)
    return alt.Y("place:N", title=None, scale=scale, axis=name_axis(names, heads))


def legend_of(kinds: Sequence[str]) -> alt.Legend | None:
    """A legend of line kinds; none of nothing, which the converter cannot size."""
    return alt.Legend(symbolType="stroke") if kinds else None


def counts_beside(records: Sequence[Mapping[str, Any]], y: alt.Y) -> list[alt.Chart]:
    """``words`` of each record at the right of its row, under a heading."""
    x = alt.value(WIDTH + 14)
    beside = plot(records).mark_text(align="left", fontSize=11, color=INK)
    head = plot([{"words": "failures of opportunities"}]).mark_text(
        align="left", baseline="bottom", fontSize=11, color=GREY
    )
    return [
        beside.encode(x=x, y=y, text="words:N"),
        head.encode(x=x, y=alt.value(-2), text="words:N"),
    ]
