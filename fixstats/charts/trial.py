"""The confidence sequence of a trial over its jobs: how it closes in on the difference."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.names import plain
from fixstats.charts.parts import plot
from fixstats.charts.style import COLOURS, GREY, INK, finished, nothing
from fixstats.charts.words import Row, bare
from fixstats.findings.base import Finding
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

WIDTH, HEIGHT = 520, 300
# The scale reaches so many times the difference worth having, or the last interval, whichever is
# more: the first intervals, which say nothing, go on beyond it.
ROOM_FOR_WORTH, ROOM_FOR_INTERVAL = 2.5, 1.6
OPTION_MORE, OPTION_LESS = "fails more ↑", "fails less ↓"


def trial_chart(finding: Finding) -> Picture:
    """Difference and confidence sequence by jobs, the zero line, the band not worth having.

    A rule marks the day on which the trial could stop.
    """
    points = finding.parts["path"]
    if not points:
        return nothing(finding)
    row = finding.rows[-1]
    top = _top(row, points)
    x = alt.X(
        "jobs:Q",
        scale=alt.Scale(domain=[0, max(points[-1]["jobs"], 2)], nice=False),
        axis=alt.Axis(title="jobs in complete pairs, both options", grid=False, tickCount=6),
    )
    name = _axis_title(finding)
    y = _height("low", top, name)
    start = {"jobs": 0, "difference": None, "low": -1.0, "high": 1.0}
    drawn = [_clipped(point, top) for point in (start, *points)]
    line: Any = {"color": COLOURS[0], "interpolate": "step-after", "clip": True}
    layers = [
        *_backdrop(row["worth_having"], top, name),
        plot(drawn).mark_area(opacity=0.18, **line).encode(x=x, y=y, y2="high:Q"),
        *(
            plot(drawn).mark_line(strokeWidth=1, **line).encode(x=x, y=_height(end, top, name))
            for end in ("low", "high")
        ),
        plot(drawn).mark_line(color=COLOURS[0], strokeWidth=2.2, clip=True, point=len(points) == 1)
        .encode(x=x, y=_height("difference", top, name)),
        *_stop(points, x),
    ]  # fmt: skip
    title = _title(finding, row)
    picture = alt.layer(*layers).properties(width=WIDTH, height=HEIGHT)
    return finished(picture, title, _subtitle(finding, row), _description(title, row))


def _height(field: str, top: float, title: str) -> alt.Y:
    """One scale; all layers must name its title, or it is lost."""
    label = "(datum.value > 0 ? '+' : '') + format(100 * datum.value, '~g')"
    scale = alt.Scale(domain=[-top, top], nice=False)
    return alt.Y(f"{field}:Q", scale=scale, axis=alt.Axis(labelExpr=label, title=title))


def _top(row: Row, points: Sequence[Mapping[str, Any]]) -> float:
    ends = [abs(row[name]) for name in ("difference_low", "difference_high") if row[name]]
    most = max([ROOM_FOR_WORTH * row["worth_having"], *(ROOM_FOR_INTERVAL * end for end in ends)])
    return float(min(most, 1.0))


def _clipped(point: Mapping[str, Any], top: float) -> dict[str, Any]:
    """Ends beyond the scale stand at its edge: an area that leaves the picture is not drawn."""
    cut = {
        name: None if point[name] is None else min(max(point[name], -top), top)
        for name in ("low", "high")
    }
    return {"jobs": point["jobs"], "difference": point["difference"], **cut}


def _axis_title(finding: Finding) -> str:
    baseline = plain(finding.labels.get(finding.settings["baseline"], finding.settings["baseline"]))
    return f"difference to {baseline[:24]}, in 100 jobs"


def _backdrop(worth: float, top: float, name: str) -> list[alt.Chart]:
    """The band of differences not worth having, the zero line, and which way is which."""
    band = plot([{"from": -worth, "to": worth}]).mark_rect(color=GREY, opacity=0.13, clip=True)
    zero = plot([{"zero": 0.0}]).mark_rule(color=GREY, strokeWidth=1.5)
    words: Any = {"align": "right", "fontSize": 11, "fontWeight": "bold"}
    at = alt.value(WIDTH - 6)
    return [
        band.encode(y=_height("from", top, name), y2="to:Q"),
        zero.encode(y=_height("zero", top, name)),
        plot([{"words": OPTION_MORE}]).mark_text(baseline="top", color=COLOURS[1], **words)
        .encode(x=at, y=alt.value(6), text="words:N"),
        plot([{"words": OPTION_LESS}]).mark_text(baseline="bottom", color=COLOURS[0], **words)
        .encode(x=at, y=alt.value(HEIGHT - 6), text="words:N"),
    ]  # fmt: skip


def _stop(points: Sequence[Mapping[str, Any]], x: alt.X) -> list[alt.Chart]:
    """A rule where the trial could first stop, with the day."""
    stops = [point for point in points if point["verdict"].startswith("stop")]
    if not stops:
        return []
    first = stops[0]
    late = first["jobs"] > 0.6 * points[-1]["jobs"]
    at = plot([{"jobs": first["jobs"], "words": f"{first['verdict']}, {first['day']}"}])
    words = at.mark_text(
        align="right" if late else "left", dx=-5 if late else 5, baseline="top", fontSize=11,
        color=INK,
    )  # fmt: skip
    return [
        at.mark_rule(color=INK, strokeDash=[4, 3]).encode(x=x),
        words.encode(x=x, y=alt.value(24), text="words:N"),
    ]


def _title(finding: Finding, row: Row) -> str:
    names = [
        plain(finding.labels.get(finding.settings[which], finding.settings[which]))
        for which in ("option", "baseline")
    ]
    difference, verdict = row["difference"], row["verdict"]
    less = "fewer" if difference < 0 else "more"
    told = f"{bare(abs(difference))} {less} failures in 100 jobs with {names[0]} than {names[1]}"
    if verdict in ("go on", "ended (not shown)"):
        told = f"no difference between {names[0]} and {names[1]} is shown"
    elif "no difference" in verdict:
        told = f"{names[0]} and {names[1]} differ by less than {100 * row['worth_having']:g} in 100"
    elif "harm" in verdict:
        told = f"take {names[0]} off the bench"
    return f"Trial {row['trial']}: {verdict}; {told}"


def _subtitle(finding: Finding, row: Row) -> list[str]:
    settings = finding.settings
    name = settings["mode"] or f"any of {settings['family'] or 'these failures'}"
    outcome = plain(finding.labels.get(name, name))
    jobs = sum(one["opportunities"] for one in finding.rows)
    return [
        f"{outcome}; n: {jobs:,} jobs of known outcome, {row['pairs']:,} complete pairs, at most "
        f"{row['max_jobs']:,} jobs; by what was drawn",
        f"{_span(row)}: confidence sequence, {100 * settings['confidence_level']:g}\u00a0% at all "
        f"looks together; evidence {_evidence(row['evidence'])} (25 shows a difference), of "
        f"harm {_evidence(row['harm_evidence'])} (100 stops the trial)",
        f"grey band: less than the {100 * row['worth_having']:g} in 100 worth having; intervals "
        f"beyond the scale are cut off; up to {settings['as_of']}",
    ]


def _evidence(value: float) -> str:
    return f"{value:,.2f}" if value < 100 else f"{min(value, 1e6):,.0f}"


def _span(row: Row) -> str:
    if row["difference_low"] is None:
        return "no single difference fits all pairs"
    ends = (row["difference_low"], row["difference_high"])
    return " to ".join(f"{100 * end:+.1f}" for end in ends) + " in 100"


def _description(title: str, row: Row) -> str:
    return (
        f"{title}. Confidence sequence of the difference after {counted(row['pairs'], 'pair')}: "
        f"{_span(row)}."
    )
