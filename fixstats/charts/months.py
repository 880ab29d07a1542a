"""Rates over months (or quarters, or years) with intervals and counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts import TIMES
from fixstats.charts.names import (
    by_keys,
    level_label,
    levels,
    mode_label,
    natural,
    subject_words,
    subjects,
    wrapped,
)
from fixstats.charts.parts import (
    BOUNDS,
    LINE,
    Record,
    edge_of,
    legend_of,
    line_scales,
    many_unknown,
    plot,
    texts,
)
from fixstats.charts.periods import filled, unfinished
from fixstats.charts.style import COLOURS, GREY, finished, nothing, percent_axis
from fixstats.charts.words import (
    Row,
    count_words,
    greatest,
    interval_words,
    level_words,
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

STEP, NARROW_STEP = 50, 22
# More periods than this: counts are written upright.
MOST_ROOMY = 24
HEIGHT = 170
# More panels than this are a table's business; those with most opportunities are drawn.
MOST_PANELS = 12
SIGNS = {"rate": "circle", "limit": "triangle-down", "goes on": "triangle-up"}


@dataclass(frozen=True)
class _Panel:
    """One series: its name (empty where there is one only) and its rows."""

    name: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class _Frame:
    """What all panels share: time key, periods, scale, kinds of line and what they are called."""

    time: str
    periods: list[str]
    unfinished: str | None
    edge: float
    kinds: dict[str, str]
    missing: list[str]  # what stands for the counts of a period without a row


def months_chart(finding: Finding) -> Picture:
    """Rates over time, a panel for each mode and other keys, all on one scale.

    Periods without a row or an opportunity stay empty; the one that was not over is open and
    starred; without a failure the one-sided upper limit is shown, dashed.
    """
    if not finding.rows:
        return nothing(finding)
    time = next(key for key in TIMES if key in finding.keys)
    panels = _panels(finding, time)
    sizes = sorted((_size(panel) for panel in panels), reverse=True)
    fewest = sizes[:MOST_PANELS][-1]
    shown = [panel for panel in panels if _size(panel) >= fewest][:MOST_PANELS]
    rows = [row for panel in shown for row in panel.rows]
    frame = _frame(finding, rows, time)
    undated = sum(row[time] is None for row in rows)
    left = len(panels) - len(shown)
    lines = subtitle(
        finding,
        f"* {frame.unfinished} is not over (open mark)"
        if frame.unfinished in frame.periods
        else "",
        "bars at the top edge go on beyond the scale" if _beyond(rows, frame.edge) else "",
        f"{counted(undated, 'row')} without a {time} not drawn" if undated else "",
        f"{left} of {len(panels)} panels not drawn: fewest opportunities" if left else "",
        range_words(rows, finding.keys),
    )
    picture = alt.vconcat(*(_panel(panel, frame) for panel in shown), spacing=22)
    title = _title(finding, shown, time)
    return finished(picture, title, lines, _description(title, shown, time))


def _size(panel: _Panel) -> int:
    return sum(row["opportunities"] for row in panel.rows)


def _frame(finding: Finding, rows: Sequence[Row], time: str) -> _Frame:
    """What all panels share, so that they can be compared."""
    kinds = {
        "interval": interval_words(finding),
        "limit": f"no failure seen: one-sided {level_words(finding)} upper limit",
        "bounds": BOUNDS,
    }
    occur = {_kind(row) for row in rows if row["rate"] is not None}
    occur.update({"bounds"} if any(many_unknown(row) for row in rows) else ())
    return _Frame(
        time=time,
        periods=filled([row[time] for row in rows if row[time] is not None], time),
        unfinished=unfinished(finding, time),
        edge=edge_of(rows),
        kinds={kind: text for kind, text in kinds.items() if kind in occur},
        missing=["too few"] if finding.settings.get("min_opportunities") else ["0 of", "0"],
    )


def _beyond(rows: Sequence[Row], edge: float) -> bool:
    """Whether an interval, limit or shown bound does not fit the scale."""
    return any(
        (row["rate"] is not None and (row["at_most"] or row["high"]) > edge)
        or (many_unknown(row) and row["bound_high"] > edge)
        for row in rows
    )


def _kind(row: Row) -> str:
    return "interval" if row["at_most"] is None else "limit"


def _panels(finding: Finding, time: str) -> list[_Panel]:
    """Rows apart by everything but the time."""
    several = len(subjects(finding)) > 1
    steps = [one for one in levels(finding, without=[time]) if several or one != ("mode",)]
    apart: dict[tuple[Any, ...], list[Row]] = {}
    for row in finding.rows:
        name = tuple(level_label(level, row, finding.labels) for level in steps)
        apart.setdefault(name, []).append(row)
    modes = subjects(finding)

    def order(name: tuple[Any, ...]) -> Any:
        first = apart[name][0]
        mode = modes.index(mode_label(first, finding.labels))
        keys = [level for level in steps if level != ("mode",)]
        return [mode, *(natural(level, first, finding.labels) for level in keys)]

    return [_Panel(", ".join(name), tuple(apart[name])) for name in sorted(apart, key=order)]


def _panel(panel: _Panel, frame: _Frame) -> alt.LayerChart | alt.FacetChart:
    """One series: intervals, points, a faint line broken at gaps, counts below."""
    at = {row[frame.time]: row for row in panel.rows}
    records = [_record(period, at.get(period), frame) for period in frame.periods]
    roomy = len(frame.periods) <= MOST_ROOMY
    axis = alt.Axis(
        labelExpr=_below(records, roomy),
        labelAngle=0 if roomy else -90,
        labelAlign="center" if roomy else "right",
        labelBaseline="top" if roomy else "middle",
        labelLineHeight=LINE,
        labelOverlap=False,
        labelPadding=6,
        labelFontSize=10,
        ticks=False,
    )
    x = alt.X("period:O", scale=alt.Scale(domain=frame.periods), title=None, axis=axis)
    drawn = alt.layer(*_marks(records, x, frame)).properties(
        width=alt.Step(STEP if roomy else NARROW_STEP), height=HEIGHT
    )
    if not panel.name:
        return drawn
    name = wrapped(panel.name, 90)
    return drawn.properties(
        title=alt.TitleParams(name, fontSize=12, anchor="start", frame="group", offset=6)
    )


def _record(period: str, row: Row | None, frame: _Frame) -> Record:
    """What is drawn and written of one period."""
    star = " *" if period == frame.unfinished else ""
    counts = frame.missing if row is None else count_words(row).rsplit(" ", 1)
    record: Record = {"period": period, "head": f"{period}{star}", "counts": counts}
    if row is None:
        return record
    if many_unknown(row):
        high = min(row["bound_high"], frame.edge)
        record |= {"bound_low": row["bound_low"], "bound_high": high}
        record["bounds"] = frame.kinds["bounds"]
    if row["rate"] is None:
        return record
    limit = row["at_most"] is not None
    low, high = (0, row["at_most"]) if limit else (row["low"], row["high"])
    at = row["at_most"] if limit else row["rate"]
    beyond = at > frame.edge
    return record | {
        "kind": frame.kinds[_kind(row)],
        "rate": min(row["rate"], frame.edge),
        "low": min(low, frame.edge),
        "high": min(high, frame.edge),
        "at": min(at, frame.edge),
        "sign": "goes on" if beyond else "limit" if limit else "rate",
        "open": limit or period == frame.unfinished,
        "about": f"{period}: {rate_words(row)}",
    }


def _below(records: Sequence[Record], roomy: bool) -> str:
    """Labels of the axis: the period and its counts."""
    lines = {record["period"]: [record["head"], *record["counts"]] for record in records}
    if roomy:
        return texts(lines)
    return texts({period: f"{head}: {' '.join(n)}" for period, (head, *n) in lines.items()})


def _marks(records: Sequence[Record], x: alt.X, frame: _Frame) -> list[alt.Chart]:
    """Bounds lowest, then a faint line that breaks at gaps, intervals and limits, points."""
    scale = alt.Scale(domain=[0, frame.edge], nice=False)
    axis = percent_axis(title="failures per opportunity, %", tickCount=5)
    known = [record for record in records if "rate" in record]
    bounded = [record for record in records if "bounds" in record]
    dash, width, clear = line_scales(frame.kinds)

    def kind(field: str) -> dict[str, Any]:
        legend = legend_of(frame.kinds)
        return {
            "strokeDash": alt.StrokeDash(f"{field}:N", scale=dash, legend=legend),
            "strokeWidth": alt.StrokeWidth(f"{field}:N", scale=width, legend=legend),
            "opacity": alt.Opacity(f"{field}:N", scale=clear, legend=legend),
        }

    y = alt.Y("low:Q", scale=scale, axis=axis)
    line = plot([{"rate": None} | record for record in records])
    shape = alt.Scale(domain=[*SIGNS], range=[*SIGNS.values()])
    fill = alt.condition("datum.open", alt.value("white"), alt.value(COLOURS[0]))
    return [
        plot(bounded)
        .mark_rule(color=GREY)
        .encode(x=x, y=alt.Y("bound_low:Q"), y2="bound_high:Q", **kind("bounds")),
        line.mark_line(color=GREY, opacity=0.5, strokeWidth=1).encode(x=x, y="rate:Q"),
        plot(known)
        .mark_rule(color=COLOURS[0])
        .encode(x=x, y=y, y2="high:Q", description="about:N", **kind("kind")),
        plot(known)
        .mark_point(size=60, color=COLOURS[0], opacity=1)
        .encode(
            x=x,
            y="at:Q",
            shape=alt.Shape("sign:N", scale=shape, legend=None),
            fill=fill,
            description="about:N",
        ),
    ]


def _title(finding: Finding, shown: Sequence[_Panel], time: str) -> str:
    """The range over time and whether the intervals overlap; no word of a trend."""
    keys = [level for level in levels(finding) if level != ("mode",)]
    subject = f"{subject_words(finding)} by {by_keys(keys, finding.labels)}"
    rows = [row for panel in shown for row in panel.rows if row["rate"] is not None]
    if not rows:
        return f"{subject}: no opportunity is known, so there is no rate"
    if len(rows) == 1:
        return f"{subject_words(finding)} in {rows[0][time]}: {rate_words(rows[0])}"
    top = greatest(rows, "rate") or rows[0]
    if not top["failures"]:
        limit = max(row["at_most"] for row in rows)
        return f"{subject}: no failure seen; highest upper limit {percent(limit)}"
    dated = [[row for row in panel.rows if row[time] is not None] for panel in shown]
    alike = sum(map(overlapping, dated))
    overlap = "all intervals overlap" if alike else "not all intervals overlap"
    if len(shown) > 1:
        overlap = f"intervals overlap in {share_words(alike, len(shown), 'panel')}"
    return f"{subject}: {span_words(rows, finding.keys)}; {overlap}"


def _description(title: str, shown: Sequence[_Panel], time: str) -> str:
    """The text alternative: range, highest and latest."""
    known = [
        (row, f"{row[time]}, {panel.name}" if panel.name else str(row[time]))
        for panel in shown
        for row in panel.rows
        if row["rate"] is not None and row[time] is not None
    ]
    text = [f"{title}. {counted(len(known), 'rate')} with interval and counts, by {time}."]
    if len(known) > 1:
        top, name = max(known, key=lambda pair: pair[0]["rate"])
        if top["failures"]:
            text.append(f"Highest: {name}: {rate_words(top)}.")
        last, name = max(known, key=lambda pair: str(pair[0][time]))
        text.append(f"Latest: {name}: {rate_words(last)}.")
    return " ".join(text)
