"""Failure rate and minutes by the technician's number of jobs with a method, a line a method."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.names import wrapped
from fixstats.charts.parts import Record, edge_of, plot
from fixstats.charts.style import COLOURS, GREY, INK, SHAPES, finished, nothing, percent_axis
from fixstats.charts.words import (
    Row,
    count_words,
    interval_words,
    level_words,
    percent,
    rate_words,
    subtitle,
)
from fixstats.findings.base import Finding
from fixstats.findings.practice_figures import SETTLED
from fixstats.findings.practice_notes import WHY_NOT
from fixstats.words import counted, listed

if TYPE_CHECKING:
    from fixstats.charts import Picture

RATE_WIDTH, MINUTES_WIDTH, HEIGHT = 380, 250, 210
# More methods make a picture nobody reads; those with the most jobs are drawn.
MOST = 4
# Where technicians who used the method from the beginning stand, beyond the last job.
BESIDE = 1.35
COUNT = "n-th job of the technician, log scale"


NOBODY = "No technician took up a method after the first 90 days of the records: no curve to draw."


@dataclass(frozen=True)
class _Panel:
    """One method: its rows by band, the points of its curves, its summary; the common edge."""

    name: str
    rows: Sequence[Row]
    curve: Sequence[Row]
    summary: Mapping[str, Any]
    last: int
    edge: float


def practice_chart(finding: Finding) -> Picture:
    """Rates of the bands and the falling curve at the left, minutes at the right."""
    if not finding.rows:
        return nothing(finding)
    learned = [one for one in finding.parts["methods"] if one["reason"] != SETTLED]
    shown = _largest(finding, learned)
    title = _title(finding, learned)
    beside = [one["method"] for one in finding.parts["methods"] if one not in shown]
    labels = listed([finding.labels.get(one, one) for one in beside]) if beside else ""
    drawn_rows = [row for row in finding.rows if row["method"] not in beside] or finding.rows
    counted_rows = replace(finding, rows=drawn_rows)
    limits = any(row["at_most"] is not None for row in drawn_rows)
    lines = subtitle(
        counted_rows,
        f"not drawn: {labels}" if beside else "",
        "triangle: no failure seen, the line ends at the one-sided limit" if limits else "",
    )
    text = f"{title}. {_counted(finding)}."
    if not shown:
        words = plot([{"words": NOBODY}]).mark_text(
            align="left", baseline="top", fontSize=13, color=INK
        )
        drawn = words.encode(text="words:N", x=alt.value(0), y=alt.value(0))
        return finished(alt.layer(drawn).properties(width=520, height=24), title, lines, text)
    edge = edge_of(drawn_rows)
    panels = [_of(finding, one, edge) for one in shown]
    kinds = _kinds(finding, drawn_rows)
    rows = [
        alt.hconcat(_rates(panel, kinds), *_minutes(panel, kinds), spacing=30) for panel in panels
    ]
    picture = alt.vconcat(*rows, spacing=26).resolve_scale(color="shared")
    return finished(picture, title, lines, text)


def _kinds(finding: Finding, rows: Sequence[Row]) -> dict[str, tuple[str, str]]:
    """Kind of mark -> its words in the legend and its colour."""
    level = level_words(finding)
    settled = ("technicians who used it from the beginning", COLOURS[2])
    return {
        "band": (f"jobs of a band: rate or median minutes, {level} interval", COLOURS[0]),
        "curve": (f"curves: rate that only falls, {level} resampled; Wright's of minutes",
                  COLOURS[1]),
        **({"settled": settled} if any(row["band"] == SETTLED for row in rows) else {}),
    }  # fmt: skip


def _largest(finding: Finding, learned: Sequence[Row]) -> list[Row]:
    """The methods with the most jobs, in their order."""

    def jobs(one: Row) -> int:
        return sum(row["opportunities"] for row in finding.rows if row["method"] == one["method"])

    kept = sorted(learned, key=jobs, reverse=True)[:MOST]
    return [one for one in learned if one in kept]


def _of(finding: Finding, summary: Row, edge: float) -> _Panel:
    method = summary["method"]
    curve = [one for one in finding.parts["curve"] if one["method"] == method]
    return _Panel(
        finding.labels.get(method, method),
        [row for row in finding.rows if row["method"] == method],
        curve,
        summary,
        max((one["uses"] + 1 for one in curve), default=1),
        edge,
    )


def _rates(panel: _Panel, kinds: Mapping[str, tuple[str, str]]) -> Any:
    """Bands with their intervals over the falling curve."""
    bands = [_rate_of(row, panel) for row in panel.rows if row["rate"] is not None]
    curve: list[Record] = [
        {"job": one["uses"] + 1, "at": min(one["fitted"], panel.edge), "low": one["low"],
         "high": min(one["high"], panel.edge), "kind": kinds["curve"][0]}
        for one in panel.curve
        # A curve at 0 % would say that nothing can happen.
        if one["low"] <= panel.edge and panel.curve[0]["fitted"]
    ]  # fmt: skip
    y = alt.Y(
        "at:Q",
        scale=alt.Scale(domain=[0, panel.edge], nice=False),
        axis=percent_axis(title="failures per opportunity, %", tickCount=5),
    )
    layers = [*_curve(curve, y, panel, kinds), *_practised(panel), *_bands(bands, y, panel, kinds)]
    return alt.layer(*layers).properties(width=RATE_WIDTH, height=HEIGHT, title=_heading(panel))


def _rate_of(row: Row, panel: _Panel) -> Record:
    """A band's rate and interval, within the edge; of no failure only how high the rate may be."""
    limit = row["at_most"] is not None
    at, low, high = (row["at_most"], 0.0, row["at_most"]) if limit else (
        row["rate"], row["low"], row["high"]
    )  # fmt: skip
    band = _band(row, panel)
    figures = {"at": at, "low": low, "high": high}
    band |= {name: min(value, panel.edge) for name, value in figures.items()}
    words = {"about": rate_words(row), "count": count_words(row)}
    return band | words | {"shape": "limit" if limit else band["who"]}


def _minutes(panel: _Panel, kinds: Mapping[str, tuple[str, str]]) -> list[Any]:
    """Median minutes of the bands over Wright's curve; nothing where none are recorded."""
    bands = []
    for row in panel.rows:
        if row["minutes"] is not None:
            low, high = row["minutes_low"], row["minutes_high"]
            band = _band(row, panel) | {"at": row["minutes"], "low": low, "high": high}
            words = {"about": f"{row['minutes']:.1f} minutes", "count": ""}
            bands.append(band | words | {"shape": band["who"]})
    if not bands:
        return []
    curve: list[Record] = [
        {"job": one["uses"] + 1, "at": one["minutes"], "kind": kinds["curve"][0]}
        for one in panel.curve
        if one["minutes"] is not None
    ]
    y = alt.Y(
        "at:Q", scale=alt.Scale(zero=True), axis=alt.Axis(title="minutes of the step", tickCount=5)
    )
    layers = [*_curve(curve, y, panel, kinds), *_practised(panel), *_bands(bands, y, panel, kinds)]
    return [alt.layer(*layers).properties(width=MINUTES_WIDTH, height=HEIGHT)]


def _band(row: Row, panel: _Panel) -> Record:
    """Where a band stands: over its jobs, the point at their middle on the log scale."""
    if row["band"] == SETTLED:
        return {
            "who": "settled",
            "from": panel.last,
            "job": panel.last * BESIDE,
            "to": panel.last * BESIDE**2,
        }
    first = row["uses_from"] + 1
    last = max(first, min((row["uses_to"] or panel.last) + 1, panel.last))
    return {"who": "band", "from": first, "job": (first * last) ** 0.5, "to": last}


def _x(panel: _Panel, title: str | None = COUNT) -> alt.X:
    ticks = [n for n in (1, 3, 10, 30, 100, 300, 1000) if n <= panel.last]
    beside = any(row["band"] == SETTLED for row in panel.rows)
    end = panel.last * (BESIDE**2 if beside else 1.05)
    return alt.X(
        "job:Q",
        scale=alt.Scale(type="log", domain=[0.9, max(end, 2)], nice=False),
        axis=alt.Axis(title=title, values=ticks, format="d", grid=False),
    )


def _colour(kinds: Mapping[str, tuple[str, str]]) -> alt.Color:
    scale = alt.Scale(
        domain=[words for words, _ in kinds.values()], range=[one for _, one in kinds.values()]
    )
    return alt.Color("kind:N", scale=scale, legend=alt.Legend(symbolType="circle", symbolSize=90))


def _curve(
    curve: Sequence[Record], y: alt.Y, panel: _Panel, kinds: Mapping[str, tuple[str, str]]
) -> list[alt.Chart]:
    """The curve as a line, its interval as a faint area where it has one."""
    if not curve:
        return []
    colour, x = _colour(kinds), _x(panel)
    if "low" not in curve[0]:
        return [plot(curve).mark_line(strokeWidth=2).encode(x=x, y=y, color=colour)]
    line = plot(curve).mark_line(strokeWidth=2, interpolate="step-after")
    area = plot(curve).mark_area(opacity=0.14, color=COLOURS[1], interpolate="step-after")
    return [
        area.encode(x=x, y=alt.Y("low:Q"), y2="high:Q"),
        line.encode(x=x, y=y, color=colour),
    ]


def _bands(
    bands: Sequence[Record], y: alt.Y, panel: _Panel, kinds: Mapping[str, tuple[str, str]]
) -> list[alt.Chart]:
    """A level over the jobs of each band, its interval and a point at the middle."""
    records = [band | {"kind": kinds[band["who"]][0]} for band in bands]
    colour, x = _colour(kinds), _x(panel)
    seen = [one for one in records if one["shape"] != "limit"]
    level = plot(seen).mark_rule(strokeWidth=1.5, opacity=0.6)
    span = plot([one for one in records if one["low"] is not None]).mark_rule(strokeWidth=2)
    shapes = {"band": SHAPES[0], "settled": SHAPES[1], "limit": "triangle-down"}
    scale = alt.Scale(domain=[*shapes], range=[*shapes.values()])
    shape = alt.Shape("shape:N", scale=scale, legend=None)
    point = plot(records).mark_point(size=50, filled=True, opacity=1)
    count = plot([one for one in records if one["count"]]).mark_text(
        fontSize=10, color=GREY, baseline="bottom", dy=-3
    )
    return [
        level.encode(x=alt.X("from:Q"), x2="to:Q", y=y, color=colour),
        span.encode(x=x, y=alt.Y("low:Q"), y2="high:Q", color=colour),
        point.encode(x=x, y=y, color=colour, shape=shape, description="about:N"),
        count.encode(x=x, y=alt.Y("high:Q"), text="count:N"),
    ]


def _practised(panel: _Panel) -> list[alt.Chart]:
    """A dashed line at the practised number."""
    at = panel.summary["practised_at"]
    if at is None:
        return []
    rule = plot([{"job": at + 1}]).mark_rule(strokeDash=[4, 3], color=GREY)
    return [rule.encode(x=_x(panel))]


def _heading(panel: _Panel) -> alt.TitleParams:
    """The method; below it when it is practised, or why that is not known."""
    summary = panel.summary
    words = WHY_NOT.get(summary["reason"], "")
    if not words:
        low, high = summary["practised_at_low"], summary["practised_at_high"]
        words = f"practised after {counted(summary['practised_at'], 'use')} ({low} to {high})"
    timed = any(row["minutes"] is not None for row in panel.rows)
    words = words if timed else f"{words}; no minutes recorded"
    return alt.TitleParams(
        wrapped(panel.name, 58),
        subtitle=wrapped(words, 66, most=2),
        subtitleColor=GREY,
        fontSize=12,
        anchor="start",
        frame="group",
        offset=8,
    )


def _title(finding: Finding, learned: Sequence[Row]) -> str:
    """What the picture says, and no more."""
    step = finding.settings["step"]
    where = f"Practice at {finding.labels.get(step, step)}"
    if not learned:
        return f"{where}: all methods were in use from the beginning of the records"
    if len(learned) > 1:
        return f"{where}: {counted(len(learned), 'method')} taken up during the records"
    (one,) = learned
    name = finding.labels.get(one["method"], one["method"])
    if one["practised_at"] is None:
        return f"{where}, {name}: no practised number"
    early, late = one["early"], one["late"]
    return (
        f"{where}, {name}: {percent(early[2])} failed ({early[0]:,} of {early[1]:,}) up to "
        f"{counted(one['practised_at'], 'use')}, {percent(late[2])} ({late[0]:,} of "
        f"{late[1]:,}) after"
    )


def _counted(finding: Finding) -> str:
    """The figures of the text alternative."""
    learned = [row for row in finding.rows if row["band"] != SETTLED and row["rate"] is not None]
    rows = [f"{row['method']} {row['band']} uses: {rate_words(row)}" for row in learned[:4]]
    words = f"Failure rate and minutes by earlier uses with {interval_words(finding)}"
    return f"{words}: {'; '.join(rows)}" if rows else words
