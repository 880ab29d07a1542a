"""Share of devices that came back by day after hand-over, with limits and numbers at risk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.names import by_keys, plain, value_label, wrapped
from fixstats.charts.parts import LINE, Record, plot
from fixstats.charts.style import COLOURS, GREY, INK, finished, nothing, percent_axis
from fixstats.charts.words import (
    Row,
    bare,
    percent,
    share_words,
    subtitle_of,
)
from fixstats.findings.base import Finding
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

WIDTH, HEIGHT = 400, 250
NAME_WIDTH = 30  # characters of a name in a line
# More groups than this: areas of their limits would cover each other; bars stand at the end.
MOST_AREAS = 3
# Limits further up than so many times the highest share go on beyond the picture.
ROOM_FOR_LIMITS = 2.5
# Beside its colour each line has a dash of its own.
DASHES = ([1, 0], [7, 3], [2, 2], [9, 3, 2, 3], [5, 5], [12, 3])
TABLE_TOP = HEIGHT + 50  # below the axis and its title
NAMES_END, SHARES = -56, WIDTH + 30  # clear of the numbers at both ends
ANY = "any"


@dataclass(frozen=True)
class _Line:
    """One group: its look, its steps as drawn, its last row, and the numbers still followed."""

    name: list[str]
    number: int
    steps: Sequence[Row]
    last: Row
    at_risk: Sequence[Row]

    @property
    def colour(self) -> str:
        return COLOURS[self.number]


def comebacks_chart(finding: Finding) -> Picture:
    """A panel for each reason: a line a group that only rises, and numbers at risk below."""
    if not finding.rows:
        return nothing(finding)
    reasons = finding.settings["reason"]
    panels = [_lines(finding, reason) for reason in reasons]
    top = _top([line for lines in panels for line in lines])
    drawn = [
        _panel(lines, finding, top).properties(
            width=WIDTH,
            height=HEIGHT,
            **({"title": _heading(finding, reason)} if reasons[1:] else {}),
        )
        for lines, reason in zip(panels, reasons, strict=True)
    ]
    picture = drawn[0] if len(drawn) == 1 else alt.vconcat(*drawn, spacing=30)
    title = _title(finding)
    return finished(picture, title, _subtitle(finding, panels[0], top), _described(finding, title))


def _keys(finding: Finding) -> list[str]:
    return list(finding.settings["by"])


def _identity(row: Row, finding: Finding) -> tuple[Any, ...]:
    return tuple(row[key] for key in _keys(finding))


def _lines(finding: Finding, reason: str) -> list[_Line]:
    """The groups with curves, in the order of their last share, highest first."""
    steps: dict[tuple[Any, ...], list[Row]] = {}
    for row in finding.parts["curve"]:
        if row["reason"] == reason:
            steps.setdefault(_identity(row, finding), []).append(row)
    at_risk = [row for row in finding.parts["at_risk"] if row["reason"] == reason]
    ordered = sorted(steps, key=lambda one: -(steps[one][-1]["rate"] or 0.0))
    return [
        _Line(
            name=wrapped(_name(one, finding), NAME_WIDTH),
            number=list(steps).index(one),  # a group has one colour in all panels
            steps=[row for row in steps[one] if row["rate"] is not None],
            last=steps[one][-1],
            at_risk=[row for row in at_risk if _identity(row, finding) == one],
        )
        for one in ordered
    ]


def _name(group: tuple[Any, ...], finding: Finding) -> str:
    labels = finding.labels
    words = [
        value_label(key, value, labels) for key, value in zip(_keys(finding), group, strict=True)
    ]
    return ", ".join(words) if words else "all jobs"


def _top(lines: Sequence[_Line]) -> float:
    """Where the scale ends: at the highest limit, unless that is far above all shares."""
    known = [line.steps[-1] for line in lines if line.steps]
    highest = max((row["rate"] for row in known), default=0.0)
    limits = [row["high"] for row in known]
    if not limits:
        return 0.05
    return float(
        min(1.0, max(limits) if not highest else min(max(limits), ROOM_FOR_LIMITS * highest))
    )


def _panel(lines: Sequence[_Line], finding: Finding, top: float) -> Any:
    days = finding.settings["days"]
    ticks = sorted({row["day"] for line in lines for row in line.at_risk})
    x = alt.X(
        "day:Q",
        scale=alt.Scale(domain=[0, days], nice=False),
        axis=alt.Axis(
            title="days after hand-over", values=ticks, format="d", grid=False, labelFlush=False
        ),
    )
    y = alt.Y(
        "rate:Q",
        scale=alt.Scale(domain=[0, top], nice=False),
        axis=percent_axis(title="came back, % of jobs handed over", tickCount=5),
    )
    areas = len(lines) <= MOST_AREAS
    layers: list[alt.Chart] = []
    for place, line in enumerate(lines):
        # A line at 0 % with nothing above it would say that nothing can happen.
        shaded = areas and line.last["returns"]
        layers.append(
            _area(line, x, top) if shaded else _bar(line, place, len(lines), x, days, top)
        )
    layers += [_curve(line, x, y, top) for line in lines]
    return alt.layer(*layers, *_table(lines, x, finding))


def _points(line: _Line, top: float) -> list[Record]:
    start = {"day": 0, "rate": 0.0, "low": 0.0, "high": 0.0}
    found = [
        {"day": row["days"], **{name: min(row[name], top) for name in ("rate", "low", "high")}}
        for row in line.steps
    ]
    return found if found and found[0]["day"] == 0 else [start, *found]


def _curve(line: _Line, x: alt.X, y: alt.Y, top: float) -> alt.Chart:
    drawn: alt.Chart = (
        plot(_points(line, top) if line.steps else [])
        .mark_line(
            interpolate="step-after", strokeWidth=2, color=line.colour,
            strokeDash=DASHES[line.number],
        )
        .encode(x=x, y=y)
    )  # fmt: skip
    return drawn


def _area(line: _Line, x: alt.X, top: float) -> alt.Chart:
    drawn: alt.Chart = (
        plot(_points(line, top) if line.steps else [])
        .mark_area(interpolate="step-after", opacity=0.13, color=line.colour)
        .encode(x=x, y=alt.Y("low:Q"), y2="high:Q")
    )
    return drawn


def _bar(line: _Line, place: int, number: int, x: alt.X, days: int, top: float) -> alt.Chart:
    """The limits at the end of a line, each beside the others."""
    records = _points(line, top)[-1:] if line.steps else []
    beside = [one | {"day": one["day"] - (number - 1 - place) * days / 70} for one in records]
    drawn: alt.Chart = (
        plot(beside)
        .mark_rule(strokeWidth=2, color=line.colour, opacity=0.75)
        .encode(x=x, y=alt.Y("low:Q"), y2="high:Q")
    )
    return drawn


def _table(lines: Sequence[_Line], x: alt.X, finding: Finding) -> list[alt.Chart]:
    """Numbers still followed under the axis, names at the left, shares at the right."""
    days = finding.settings["days"]
    layers = [
        _words("still followed:", NAMES_END, TABLE_TOP, "right", GREY),
        _words(f"within {days} days", SHARES, TABLE_TOP, "left", GREY),
    ]
    height = TABLE_TOP + LINE + 4
    for line in lines:
        dash = plot([{"from": 0}]).mark_rule(
            color=line.colour, strokeWidth=2, strokeDash=DASHES[line.number]
        )
        numbers = plot(
            [{"day": row["day"], "words": f"{row['n_at_risk']:,}"} for row in line.at_risk]
        ).mark_text(fontSize=10, color=INK)
        layers += [
            dash.encode(
                x=alt.value(NAMES_END + 6), x2=alt.value(NAMES_END + 26), y=alt.value(height)
            ),
            numbers.encode(x=x, y=alt.value(height), text="words:N"),
            _words(_share(line.last), SHARES, height, "left", INK),
        ]
        for n, words in enumerate(line.name):
            layers.append(_words(words, NAMES_END, height + n * LINE, "right", INK))
        height += LINE * len(line.name) + 4
    return layers


def _words(words: str, x: int, y: int, align: Any, colour: str) -> alt.Chart:
    drawn: alt.Chart = (
        plot([{"words": words}])
        .mark_text(align=align, fontSize=11, color=colour)
        .encode(x=alt.value(x), y=alt.value(y), text="words:N")
    )
    return drawn


def _share(row: Row) -> str:
    """``9.5 % (7.3 to 12.2), 53 of 608``."""
    of = f"{row['returns']:,} of {row['jobs']:,}"
    if row["rate"] is None:
        return f"too few followed, {of}"
    if not row["returns"]:
        return f"none so far (up to {percent(row['high'])}), {of}"
    return f"{percent(row['rate'])} ({bare(row['low'])} to {bare(row['high'])}), {of}"


def _reason_words(finding: Finding, reason: str) -> str:
    if reason == ANY:
        return "because of the repair"
    return f"with “{finding.labels.get(reason, plain(reason))}”"


def _heading(finding: Finding, reason: str) -> alt.TitleParams:
    return alt.TitleParams(
        f"Back {_reason_words(finding, reason)}", fontSize=12, anchor="start", frame="group"
    )


def _groups(finding: Finding) -> Sequence[Row]:
    return finding.parts["groups"]


def _title(finding: Finding) -> str:
    """What the picture says, and no more."""
    settings = finding.settings
    days, reasons = counted(settings["days"], "day"), settings["reason"]
    overall = finding.parts["overall"][0]
    why = f" {_reason_words(finding, reasons[0])}" if len(reasons) == 1 else ""
    if not settings["by"] and not reasons[1:]:
        if overall["rate"] is None:
            return f"Come-backs{why} within {days}: too few jobs were followed for so long"
        return f"Came back{why} within {days}: {_share(overall)}"
    by = by_keys([(key,) for key in settings["by"]], finding.labels) if settings["by"] else "reason"
    begin = f"Come-backs{why} within {days} by {by}"
    if reasons[1:] or len(_groups(finding)) < 2:
        return begin
    limit = 1 - settings["confidence_level"]
    rows = _groups(finding)
    differ = sum((row["p_corrected"] or 1.0) < limit for row in rows)
    tested = sum(row["p_corrected"] is not None for row in rows)
    if not tested:
        return begin if overall["returns"] else f"{begin}: no come-back seen yet"
    if not differ:
        return f"{begin}: no difference between groups could be shown"
    verb = "differs" if differ == 1 else "differ"
    return f"{begin}: {share_words(differ, len(rows), 'group')} {verb} from the rest"


def _subtitle(finding: Finding, lines: Sequence[_Line], top: float) -> list[str]:
    settings = finding.settings
    rows, overall = _groups(finding), finding.parts["overall"][0]
    groups = len(rows) // len(settings["reason"])
    known = f"returns known up to {settings['as_of']}" if settings["until"] else ""
    short = any(line.last["rate"] is None for line in lines)
    beyond = any(row["high"] > top for line in lines for row in line.steps)
    returns = counted(overall["returns"], "come-back")
    n = f"n: {returns} of {counted(overall['jobs'], 'completed job')}"
    parts = _keys_words(finding)
    return subtitle_of(
        [n, parts],
        finding,
        f"limits: {_limits_words(lines, finding)}"
        + (", those at the top edge go on" if beyond else ""),
        known,
        f"drawn: {len(lines)} of {groups} groups, those that differ and those with most jobs"
        if groups > len(lines)
        else "",
        "curves end where fewer than 10 jobs are still followed" if short else "",
    )


def _limits_words(lines: Sequence[_Line], finding: Finding) -> str:
    """How limits are drawn; bars stand side by side, which is not to be read as different days."""
    areas = len(lines) <= MOST_AREAS
    shaded = areas and any(line.last["returns"] for line in lines)
    bars = [
        place
        for place, line in enumerate(lines)
        if line.steps and not (areas and line.last["returns"])
    ]
    if not bars:
        return "shaded"
    words = "shaded, or a bar where nobody came back" if shaded else "bars at the end"
    if bars == [len(lines) - 1]:  # at its own day, see `_bar`
        return words
    whole = all(line.last["rate"] is not None for line in lines)
    day = f"all are of day {finding.settings['days']}" if whole else "each is of its curve's end"
    return f"{words} (side by side, though {day})"


def _keys_words(finding: Finding) -> str:
    """Which method and piece a group is told by."""
    labels = finding.labels
    fields = ("_grade", "_supplier", "_lot")
    parts = [key for key in finding.settings["by"] if key.endswith(fields)]
    if parts:
        return f"{by_keys([(key,) for key in parts], labels)} at hand-over"
    return "methods by first choice"


def _described(finding: Finding, title: str) -> str:
    """The text alternative: the title, and the shares of the first groups."""
    rows = [*_groups(finding)][:6]
    words = [f"{_name(_identity(row, finding), finding)}: {_share(row)}" for row in rows]
    return f"{title}. {'; '.join(words)}." if words else f"{title}."
