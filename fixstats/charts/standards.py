"""House standards: what failed since each was adopted against before, and how it is followed."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.comparison import hundred
from fixstats.charts.names import key_label, wrapped
from fixstats.charts.parts import (
    NAME_WIDTH,
    SMALL,
    WIDTH,
    Record,
    counts_beside,
    plot,
    row_height,
    rows_at,
)
from fixstats.charts.style import COLOURS, GREY, finished, nothing
from fixstats.charts.words import NO_BREAK, Row, level_words, percent, view_words
from fixstats.findings.base import Finding
from fixstats.findings.standards_words import FEW
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

MOST_ROWS = 80
# The narrowest scale, and room for the words that say which way is which.
NARROWEST = 0.02
ABOVE = -2
TINT = alt.Color("tint:N", scale=None, legend=None)


def standards_chart(finding: Finding) -> Picture:
    """A row for each standard: failures since less failures before, with the interval.

    Beside it how often it was the first choice since. Before against since is not like for like,
    and the picture says so.
    """
    if not finding.rows:
        return nothing(finding)
    rows = sorted(finding.rows, key=lambda row: -row["jobs_since"])[:MOST_ROWS]
    rows = [row for row in finding.rows if row in rows]
    names = [wrapped(_name(row, finding), NAME_WIDTH) for row in rows]
    edge = _edge(rows)
    lines, ends, words = _records(rows, finding, edge)
    y = rows_at(names)
    x = alt.X(
        "from:Q",
        scale=alt.Scale(domain=[-edge, edge], nice=False),
        axis=alt.Axis(
            labelExpr="(datum.value > 0 ? '+' : '') + format(100 * datum.value, '~g')",
            title="failures in 100 jobs at the choice, since less before",
            tickCount=6,
            labelFlush=False,
        ),
    )
    picture = alt.layer(
        *_zero(x),
        plot(lines)
        .mark_rule(strokeWidth=2.2, strokeCap="butt")
        .encode(x=x, x2="to:Q", y=y, color=TINT, description="about:N"),
        _ends(ends, x, y),
        *counts_beside(words, y, "day; first choice since; failures before, since"),
    ).properties(width=WIDTH, height=row_height(names))
    title = _title(finding)
    left = len(finding.rows) - len(rows)
    sizes = [row["jobs_since"] for row in finding.rows]
    between = f"{min(sizes):,} to {max(sizes):,}" if min(sizes) < max(sizes) else f"{max(sizes):,}"
    until = finding.settings["until"] or finding.settings["as_of"]
    subtitle = [
        f"n: {between} jobs since; {view_words(finding)}; come-back jobs left out",
        f"{level_words(finding)} intervals; as many days before as since, up to {until}",
        "not like for like: whatever else changed is in it, too",
        f"{left:,} of {len(finding.rows):,} rows not drawn: fewest jobs" if left else "",
    ]
    about = (
        f"{title}. {counted(len(rows), 'row')} with the change of the failure rate and its "
        f"interval. First: {_name(rows[0], finding)}: {_about(rows[0])}."
    )
    return finished(picture, title, [line for line in subtitle if line], about)


def _name(row: Row, finding: Finding) -> str:
    labels, choice = finding.labels, row["choice"]
    supplier = choice.endswith("_supplier")
    option = row["option"] if supplier else labels.get(row["option"], row["option"])
    where = f", {row['model']}" if row["model"] else ""
    return f"{key_label(choice, labels)}: {option}{where}"


def _edge(rows: Sequence[Row]) -> float:
    """Half of the scale, zero in the middle: intervals of rows that are not of few jobs."""
    known = [row for row in rows if row["difference"] is not None]
    sizes = [min(row["opportunities_before"], row["opportunities_after"]) for row in known]
    large = SMALL * median(sizes) if sizes else 0
    ends = [
        abs(row[end])
        for row, size in zip(known, sizes, strict=True)
        if size >= large
        for end in ("difference_low", "difference_high")
    ]
    return float(min(1.05 * max([*ends, NARROWEST]), 1.0))


def _records(
    rows: Sequence[Row], finding: Finding, edge: float
) -> tuple[list[Record], list[Record], list[Record]]:
    """Lines, points and arrows, words at the right."""
    lines: list[Record] = []
    ends: list[Record] = []
    words: list[Record] = []
    for place, row in enumerate(rows):
        base = {
            "place": str(place),
            "tint": GREY if _few(row) else COLOURS[0],
            "about": f"{_name(row, finding)}: {_about(row)}",
        }
        words.append(base | {"words": _beside(row)})
        if row["difference"] is None:
            continue
        low, high = row["difference_low"], row["difference_high"]
        lines.append(base | {"from": max(low, -edge), "to": min(high, edge)})
        if abs(row["difference"]) <= edge:
            ends.append(base | {"from": row["difference"], "sign": "change"})
        ends += [base | {"from": -edge, "sign": "less"}] if low < -edge else []
        ends += [base | {"from": edge, "sign": "more"}] if high > edge else []
    return lines, ends, words


def _beside(row: Row) -> str:
    if not row["jobs_since"]:
        return f"from {row['since']}; no job since"
    share = f"{percent(row['share'])}, {row['followed']:,} of {row['jobs_since']:,}"
    thin = "; too few jobs" if row["difference"] is not None and _few(row) else ""
    return f"from {row['since']}; {share}; {_counts(row, 'before')}, {_counts(row, 'after')}{thin}"


def _few(row: Row) -> bool:
    """Too few jobs on a side for any word of fewer or more."""
    return bool(min(row["opportunities_before"], row["opportunities_after"]) < FEW)


def _counts(row: Row, side: str) -> str:
    return f"{row[f'failures_{side}']:,} of {row[f'opportunities_{side}']:,}"


def _about(row: Row) -> str:
    if row["difference"] is None:
        return "no change to tell"
    span = f"{hundred(row['difference_low'])} to {hundred(row['difference_high'])}"
    return f"{hundred(row['difference'])} in 100 ({span})"


def _zero(x: alt.X) -> list[alt.Chart]:
    zero = plot([{"from": 0.0}])
    words: dict[str, Any] = {"baseline": "bottom", "fontSize": 11, "fontWeight": "bold"}
    less = zero.mark_text(align="right", dx=-8, color=COLOURS[0], **words)
    more = zero.mark_text(align="left", dx=8, color=COLOURS[1], **words)
    return [
        zero.mark_rule(color=GREY, strokeWidth=1.5).encode(x=x),
        less.encode(x=x, y=alt.value(ABOVE), text=alt.value("← fewer since")),
        more.encode(x=x, y=alt.value(ABOVE), text=alt.value("more since →")),
    ]


def _ends(ends: Sequence[Record], x: alt.X, y: alt.Y) -> alt.Chart:
    signs = ["change", "less", "more"]
    shapes = alt.Scale(domain=signs, range=["diamond", "triangle-left", "triangle-right"])
    drawn: alt.Chart = (
        plot(ends)
        .mark_point(size=60, filled=True, opacity=1)
        .encode(
            x=x,
            y=y,
            color=TINT,
            shape=alt.Shape("sign:N", legend=None, scale=shapes),
            description="about:N",
        )
    )
    return drawn


def _title(finding: Finding) -> str:
    """Of how many the interval shows a change; of one, its share too."""
    rows = finding.rows
    if len(rows) == 1:
        row = rows[0]
        if row["share"] is None:
            return f"House standard, {_name(row, finding)}: no job since, nothing to tell yet"
        span = f"{100 * row['share_low']:.0f} to {100 * row['share_high']:.0f}{NO_BREAK}%"
        return (
            f"House standard, {_name(row, finding)}: first choice on {percent(row['share'])} of "
            f"jobs since ({span}); {_change(rows)}"
        )
    followed = [row["share"] for row in rows if row["share"] is not None]
    shares = ""
    if followed:
        ends = dict.fromkeys((percent(min(followed)), percent(max(followed))))
        shares = f"first choice on {' to '.join(ends)} of jobs since; "
    return f"{counted(len(rows), 'house standard')}: {shares}{_change(rows)}"


def _change(rows: Sequence[Row]) -> str:
    known = [row for row in rows if row["difference"] is not None and not _few(row)]
    if not known:
        return "too few jobs to tell a change of failures"
    fewer = sum(row["difference_high"] < 0 for row in known)
    more = sum(row["difference_low"] > 0 for row in known)
    if len(known) == 1:
        word = "fewer failures" if fewer else "more failures" if more else "no change shown"
        return f"{word} since, {_about(known[0])}"
    return (
        f"of {len(known)} the interval shows fewer failures on {fewer or 'none'}, "
        f"more on {more or 'none'}"
    )
