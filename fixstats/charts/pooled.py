"""Raw rates beside those that borrow across models: how far few jobs are drawn to the others."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import altair as alt

from fixstats.charts.layout import Group, groups, kept
from fixstats.charts.names import by_keys, levels, subject_words
from fixstats.charts.parts import (
    SMALL,
    WIDTH,
    Record,
    counts_beside,
    edge_of,
    row_height,
    rows_at,
)
from fixstats.charts.sheet import Sheet, lay_out
from fixstats.charts.style import finished, nothing, percent_axis
from fixstats.charts.twin_lines import Figure, Twins, twin_layers
from fixstats.charts.words import (
    Row,
    bare,
    count_words,
    interval_words,
    level_words,
    percent,
    range_words,
    rate_words,
    subtitle_of,
    telling,
    totals,
    view_words,
)
from fixstats.findings.base import Finding
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

MODEL = ("model",)


def pooled_chart(finding: Finding) -> Picture:
    """Raw and pooled rates by model, under headings of the other keys; counts and share borrowed.

    A row without a failure shows its raw one-sided upper limit, dashed. A row that was not pooled
    has its raw rate only.
    """
    if not finding.rows:
        return nothing(finding)
    steps = [*(level for level in levels(finding) if level != MODEL), MODEL]
    shown = kept(groups(finding, steps))
    sheet = lay_out(shown)
    rows = [row for group in shown for row in group.rows]
    twins, counts = _records(sheet, _edge(rows))
    y = rows_at(sheet.names, sheet.heads)
    x = alt.X(
        "from:Q",
        scale=alt.Scale(domain=[0, twins.right], nice=False, zero=True),
        axis=percent_axis(title="failures per opportunity, %", tickCount=6, labelFlush=False),
    )
    names = (
        f"raw: {interval_words(finding)}", f"pooled: {level_words(finding)} posterior interval"
    )  # fmt: skip
    picture = alt.layer(
        *twin_layers(twins, names, x, y),
        *counts_beside(counts, y, "failures of opportunities; share borrowed"),
    ).properties(width=WIDTH, height=row_height(sheet.names))
    left = len(finding.rows) - len(rows)
    words = subtitle_of(
        [totals(finding), view_words(finding)],
        finding,
        f"{left:,} of {len(finding.rows):,} rows not drawn: fewest opportunities" if left else "",
        "arrows go on beyond the scale" if twins.beyond else "",
        "dashed: no failure seen, up to the raw one-sided limit" if _zeros(rows) else "",
        "borrowed: from the other models and the prior",
        range_words(_pooled(shown), finding.keys),
    )
    title = _title(finding, shown)
    return finished(picture, title, words, _description(title, rows))


def _zeros(rows: Sequence[Row]) -> bool:
    return any(row["at_most"] is not None for row in rows)


def _edge(rows: Sequence[Row]) -> float:
    """Where the scale ends: all of the larger rows' intervals are within."""
    most = max(row["opportunities"] for row in rows)
    highs: list[float] = [
        row["pooled_high"]
        for row in rows
        if row["pooled_high"] is not None and row["opportunities"] >= SMALL * most
    ]
    return min(1.0, max([edge_of(rows), *(1.03 * high for high in highs)]))


def _records(sheet: Sheet, edge: float) -> tuple[Twins, list[Record]]:
    twins, counts = Twins(0.0, edge), []
    for place, name, row in sheet.rows:
        counts.append({"place": place, "words": _beside(row)})
        if row["rate"] is not None:
            twins.add(0, place, _raw(row), f"{name}, raw: {rate_words(row)}")
        if row["pooled_rate"] is not None:
            figure = Figure(row["pooled_rate"], row["pooled_low"], row["pooled_high"])
            twins.add(1, place, figure, f"{name}, pooled: {_pooled_words(row)}")
    return twins, counts


def _raw(row: Row) -> Figure:
    """The raw rate; where no failure was seen, its limit."""
    if row["at_most"] is not None:
        return Figure(row["at_most"], 0.0, row["at_most"], limit=True)
    return Figure(row["rate"], row["low"], row["high"])


def _beside(row: Row) -> str:
    words = count_words(row) if row["opportunities"] else "no opportunity"
    share = row["borrowed"]
    return f"{words}; {'not pooled' if share is None else f'{100 * share:.0f} %'}"


def _pooled_words(row: Row) -> str:
    ends = f"{bare(row['pooled_low'])} to {bare(row['pooled_high'])}"
    return f"{percent(row['pooled_rate'])} ({ends}), {100 * row['borrowed']:.0f} % borrowed"


def _pooled(shown: Sequence[Group]) -> list[Row]:
    return [row for group in shown for row in group.rows if row["pooled_rate"] is not None]


def _title(finding: Finding, shown: Sequence[Group]) -> str:
    """From where to where the raw rates go, and the pooled ones; both of the same rows that tell.

    The widest raw rates are those of a handful of jobs: 1 of 2 is no rate of 50 %.
    """
    steps = [level for level in levels(finding) if level not in (("mode",), MODEL)]
    by = by_keys([*steps, MODEL], finding.labels)
    subject = f"{subject_words(finding)} by {by}"
    rows = _pooled(shown)
    raw = sorted(telling(rows, finding.keys), key=lambda row: row["rate"])
    if not raw:
        return f"{subject}: too few models to borrow from, so nothing is pooled"
    pooled = sorted(row["pooled_rate"] for row in raw)
    if not raw[-1]["failures"]:
        start = f"no failure seen in {counted(len(raw), 'row')}"
    else:
        low = percent(raw[0]["rate"]) if raw[0]["failures"] else "none seen"
        start = f"raw from {low} to {percent(raw[-1]['rate'])}"
    return f"{subject}: {start}, pooled from {percent(pooled[0])} to {percent(pooled[-1])}"


def _description(title: str, rows: Sequence[Row]) -> str:
    """The text alternative: what is drawn, and the row that moves most."""
    text = [f"{title}. {counted(len(rows), 'row')} with raw and pooled rate, intervals and counts."]
    moved = [row for row in rows if None not in (row["rate"], row["pooled_rate"])]
    if moved:
        row = max(moved, key=lambda row: abs(row["rate"] - row["pooled_rate"]))
        text.append(f"Moved most: {row['model']}: {rate_words(row)}; pooled {_pooled_words(row)}.")
    return " ".join(text)
