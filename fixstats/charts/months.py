"""Rates over months (or quarters, or years) with intervals and counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts import TIMES
from fixstats.charts.names import level_label, levels, natural, subject_words, subjects, wrapped
from fixstats.charts.parts import Record, legend_of, plot, texts
from fixstats.charts.style import COLOURS, GREY, finished, nothing, percent_axis
from fixstats.charts.words import (
    Row,
    greatest,
    interval_words,
    level_words,
    overlapping,
    percent,
    rate_words,
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
PARTIAL = " *"

# Periods of a year and what stands between year and number.
_PER_YEAR = {"month": (12, "-"), "quarter": (4, "-Q"), "year": (1, "")}


@dataclass(frozen=True)
class _Panel:
    """One series: its name (empty where there is one only) and its rows."""

    name: str
    rows: tuple[Row, ...]


def months_chart(finding: Finding) -> Picture:
    """Rates over time, a panel for each mode and other keys, all on one scale.

    Periods without a row or an opportunity stay empty; the one that was not over is open and
    starred; without a failure the one-sided upper limit is shown, dashed.
    """
    if not finding.rows:
        return nothing(finding)
    time = next(key for key in TIMES if key in finding.keys)
    panels = _panels(finding, time)
    shown = sorted(panels, key=lambda panel: -sum(row["opportunities"] for row in panel.rows))
    shown = [panel for panel in panels if panel in shown[:MOST_PANELS]]
    rows = [row for panel in shown for row in panel.rows]
    periods = _filled([row[time] for row in rows if row[time] is not None], time)
    undated = sum(row[time] is None for row in rows)
    unfinished = _unfinished(finding, time)
    ends = [
        row["high"] if row["at_most"] is None else row["at_most"]
        for row in rows
        if row["rate"] is not None
    ]
    edge = min(1.0, 1.05 * max(ends, default=1.0))
    drawn = [_panel(panel, time, periods, unfinished, edge, finding) for panel in shown]
    left = len(panels) - len(shown)
    lines = subtitle(
        finding,
        *([f"* {unfinished} is not over"] if unfinished in periods else []),
        *([f"{undated} rows without a {time}"] if undated else []),
        *([f"{left} of {len(panels)} panels with fewest opportunities not drawn"] if left else []),
    )
    title = _title(finding, shown, time)
    return finished(alt.vconcat(*drawn, spacing=22), title, lines, _description(title, rows, time))


def _panels(finding: Finding, time: str) -> list[_Panel]:
    """Rows apart by everything but the time."""
    several = len(subjects(finding)) > 1
    steps = [one for one in levels(finding, without=[time]) if several or one != ("mode",)]
    apart: dict[tuple[Any, ...], list[Row]] = {}
    for row in finding.rows:
        name = tuple(level_label(level, row, finding.labels) for level in steps)
        apart.setdefault(name, []).append(row)
    modes = {row["mode"]: place for place, row in reversed(list(enumerate(finding.rows)))}

    def order(name: tuple[Any, ...]) -> Any:
        first = apart[name][0]
        return [
            modes[first["mode"]] if level == ("mode",) else natural(level, first, finding.labels)
            for level in steps
        ]

    return [_Panel(", ".join(name), tuple(apart[name])) for name in sorted(apart, key=order)]


def _filled(found: Sequence[str], time: str) -> list[str]:
    """Every period from the first to the last, also those without a row."""
    per_year, between = _PER_YEAR[time]
    if not found:
        return []

    def number(text: str) -> int:
        year, _, part = text.partition(between) if between else (text, "", "1")
        return int(year) * per_year + int(part) - 1

    def text(number: int) -> str:
        year, part = divmod(number, per_year)
        wide = {"month": f"{part + 1:02d}", "quarter": f"{part + 1}", "year": ""}[time]
        return f"{year}{between}{wide}"

    return [text(one) for one in range(number(min(found)), number(max(found)) + 1)]


def _unfinished(finding: Finding, time: str) -> str | None:
    """The period that the note ``partial`` speaks of: the one in which the records end."""
    as_of = finding.settings.get("as_of")
    if not as_of or all(note.code != "partial" for note in finding.notes):
        return None
    year, month = as_of[:4], int(as_of[5:7])
    period = {"month": as_of[:7], "quarter": f"{year}-Q{(month + 2) // 3}", "year": year}[time]
    # The month may be open where the quarter is over, and the other way round.
    text = " ".join(note.text for note in finding.notes if note.code == "partial")
    return period if period in text.split(":")[0] else None


def _panel(
    panel: _Panel,
    time: str,
    periods: list[str],
    unfinished: str | None,
    edge: float,
    finding: Finding,
) -> alt.LayerChart | alt.FacetChart:
    """One series: intervals, points, a faint line broken at gaps, counts below."""
    at = {row[time]: row for row in panel.rows}
    kinds = {
        True: f"no failure seen: one-sided {level_words(finding)} upper limit",
        False: interval_words(finding),
    }
    records = [_record(period, at.get(period), period == unfinished, kinds) for period in periods]
    roomy = len(periods) <= MOST_ROOMY
    x = alt.X(
        "period:O",
        scale=alt.Scale(domain=periods),
        title=None,
        axis=alt.Axis(
            labelExpr=_below(records, roomy),
            labelAngle=0 if roomy else -90,
            labelLineHeight=13,
            labelOverlap=False,
            ticks=False,
            labelPadding=6,
            labelFontSize=10,
            labelAlign="center" if roomy else "right",
            labelBaseline="top" if roomy else "middle",
        ),
    )
    y = alt.Y(
        "rate:Q",
        scale=alt.Scale(domain=[0, edge], nice=False),
        axis=percent_axis(title="failures per opportunity, %", tickCount=5),
    )
    drawn = alt.layer(*_marks(records, x, y, kinds)).properties(
        width=alt.Step(STEP if roomy else NARROW_STEP), height=HEIGHT
    )
    if not panel.name:
        return drawn
    name = wrapped(panel.name, 90)
    return drawn.properties(
        title=alt.TitleParams(name, fontSize=12, anchor="start", frame="group", offset=6)
    )


def _record(period: str, row: Row | None, unfinished: bool, kinds: dict[bool, str]) -> Record:
    star = PARTIAL if unfinished else ""
    base = {"period": period, "head": f"{period}{star}", "open": unfinished}
    if row is None or row["rate"] is None:
        return base | {"rate": None, "count": ["no", "opport."], "short": "none"}
    zero = row["at_most"] is not None
    return base | {
        "rate": row["at_most"] if zero else row["rate"],
        "line": row["rate"],
        "low": 0 if zero else row["low"],
        "high": row["at_most"] if zero else row["high"],
        "zero": zero,
        "kind": kinds[zero],
        "count": [f"{row['failures']:,} of", f"{row['opportunities']:,}"],
        "short": f"{row['failures']:,} of {row['opportunities']:,}",
    }


def _below(records: Sequence[Record], roomy: bool) -> str:
    """Labels of the axis: the period and its counts."""
    labels = {
        record["period"]: [record["head"], *record["count"]]
        if roomy
        else f"{record['head']}  {record['short']}"
        for record in records
    }
    return texts(labels)


def _marks(
    records: Sequence[Record], x: alt.X, y: alt.Y, kinds: dict[bool, str]
) -> list[alt.Chart]:
    known = [record for record in records if record["rate"] is not None]
    used = [kinds[zero] for zero in (False, True) if any(one["zero"] == zero for one in known)]
    looks = [[4, 3] if kind == kinds[True] else [1, 0] for kind in used]
    line = plot(records).mark_line(color=GREY, opacity=0.5, strokeWidth=1)
    spans = plot(known).mark_rule(color=COLOURS[0], strokeWidth=2)
    points = plot(known).mark_point(size=60, color=COLOURS[0], opacity=1)
    dash = alt.StrokeDash(
        "kind:N",
        scale=alt.Scale(type="ordinal", domain=used, range=looks),
        legend=legend_of(used),
    )
    hollow = (alt.datum.open == True) | (alt.datum.zero == True)  # noqa: E712 - builds a test
    return [
        line.encode(x=x, y=alt.Y("line:Q")),
        spans.encode(x=x, y=alt.Y("low:Q"), y2="high:Q", strokeDash=dash),
        points.encode(
            x=x,
            y=y,
            shape=alt.condition(
                alt.datum.zero == True,  # noqa: E712
                alt.value("triangle-down"),
                alt.value("circle"),
            ),
            fill=alt.condition(hollow, alt.value("white"), alt.value(COLOURS[0])),
        ),
    ]


def _title(finding: Finding, shown: Sequence[_Panel], time: str) -> str:
    """The range over time and whether the intervals overlap; no word of a trend."""
    subject = f"{subject_words(finding)} by {time}"
    rows = [row for panel in shown for row in panel.rows if row["rate"] is not None]
    if not rows:
        return f"{subject}: no opportunity is known, so there is no rate"
    if len(rows) == 1:
        return f"{subject_words(finding)} in {rows[0][time]}: {rate_words(rows[0])}"
    top = greatest(rows, "rate") or rows[0]
    if not top["failures"]:
        limit = max(row["at_most"] for row in rows)
        return f"{subject}: no failure seen; highest upper limit {percent(limit)}"
    lowest = min(row["rate"] for row in rows)
    start = f"{percent(lowest)} to" if lowest else "up to"
    alike = sum(overlapping(panel.rows) for panel in shown)
    if len(shown) == 1:
        overlap = "all intervals overlap" if alike else "not all intervals overlap"
    else:
        overlap = f"in {alike} of {len(shown)} panels all intervals overlap"
    return f"{subject}: {start} {percent(top['rate'])}; {overlap}"


def _description(title: str, rows: Sequence[Row], time: str) -> str:
    """The text alternative: range, highest and latest."""
    known = [row for row in rows if row["rate"] is not None and row[time] is not None]
    text = [f"{title}. {counted(len(known), time)} with rate, interval and counts."]
    if len(known) > 1:
        top = greatest(known, "rate") or known[0]
        if top["failures"]:
            text.append(f"Highest: {top[time]}: {rate_words(top)}.")
        last = max(known, key=lambda row: str(row[time]))
        text.append(f"Latest: {last[time]}: {rate_words(last)}.")
    return " ".join(text)
