"""What is out: months with their limits and the day of the change, groups against the shop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.names import wrapped
from fixstats.charts.parts import Record, plot, texts
from fixstats.charts.style import COLOURS, FAINT, GREY, INK, finished, nothing, percent_axis
from fixstats.charts.words import bare
from fixstats.findings.base import Finding
from fixstats.findings.watch_words import alarm_words, group_words
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

WIDTH, HEIGHT = 560, 150
# More panels than this make a picture nobody reads; the first in order are kept.
MOST_PANELS = 6
OUT = COLOURS[1]
PEOPLE = (
    "about technicians: no ranking, and a number cannot tell why; it may be chance, failures that "
    "others did not write down, or harder devices"
)
# State of a point -> colour and shape; the same in all panels, so that one legend serves them.
STATES = {
    "baseline": (GREY, "circle"),
    "not out": (COLOURS[0], "circle"),
    "out": (OUT, "square"),
}

Alarm = Mapping[str, Any]


def watch_chart(finding: Finding) -> Picture:
    """A panel for each thing that is out, in the order of the finding.

    Modes and families: the rate of each month, those of the baseline grey, a step for what is
    expected and one for the limit, a square where a month is out, a line at the day of the change.
    Groups: failures over those expected by how many were expected, each with its limits; those out
    are named. Where nothing is out, the months of what was asked for by name.
    """
    if not finding.rows:
        return nothing(finding)
    panels = _panels(finding)
    if not panels:
        return _all_quiet(finding)
    shown = panels[:MOST_PANELS]
    over_time = any(one["group"] is None for one in shown)
    states = [*STATES] if over_time else [state for state in STATES if state != "baseline"]
    drawn = [
        _months(finding, one, states) if one["group"] is None else _groups(finding, one, states)
        for one in shown
    ]
    picture = alt.vconcat(*drawn, spacing=26)
    title = _title(finding)
    left = len(panels) - len(shown)
    words = [
        _period(finding),
        PEOPLE if any(one["group"] == "technician" for one in shown) else "",
        f"{counted(left, 'panel')} not drawn: last in order" if left else "",
    ]
    told = [alarm_words(one, finding.labels) for one in finding.parts["alarms"][:3]]
    return finished(picture, title, [one for one in words if one], ". ".join([title, *told]))


def _panels(finding: Finding) -> list[Alarm]:
    """One for each mode or family, and one for each kind of group, chart and mode."""
    alarms: Sequence[Alarm] = finding.parts["alarms"]
    found = {_key(one): one for one in reversed(alarms) if not one["explained_by"]}
    ordered = [one for one in alarms if found.get(_key(one)) is one]
    drawn = {(row["mode"], row["family"]) for row in finding.parts["months"]}
    ordered = [one for one in ordered if one["group"] or (one["mode"], one["family"]) in drawn]
    if ordered:
        return ordered
    named = set(finding.settings["mode"]) | set(finding.settings["family"])
    asked = [pair for pair in sorted(drawn, key=str) if named & set(pair)]
    return [
        {"mode": mode, "family": family, "group": None, "since": None, "charts": ["p"]}
        for mode, family in asked
    ]


def _key(one: Alarm) -> tuple[Any, ...]:
    return one["mode"], one["family"], one["group"], tuple(one["charts"]) if one["group"] else ()


def _title(finding: Finding) -> str:
    alarms = [one for one in finding.parts["alarms"] if not one["explained_by"]]
    if not alarms:
        return "Nothing is out, which is no proof that nothing changed"
    first = alarm_words(alarms[0], finding.labels)
    first = first[:1].upper() + first[1:]
    more = len(alarms) - 1
    return f"{first}; {counted(more, 'other thing')} out" if more else first


def _period(finding: Finding) -> str:
    of = finding.settings
    return (
        f"n: {counted(len(finding.rows), 'point')}; "
        f"watched {of['since']} to {of['until']} against {of['baseline_since']} to the day before; "
        f"by first choice; had nothing changed, about {of['expected_false']:.1f} false alarms a run"
    )


def _all_quiet(finding: Finding) -> Picture:
    """Words only: no point is out and nothing was asked for by name."""
    lines = wrapped(
        f"No month, lasting change or group is out among {counted(len(finding.rows), 'point')}.",
        70,
        most=3,
    )
    words = plot([{"words": lines}]).mark_text(
        align="left", baseline="top", fontSize=13, color=INK, lineHeight=18
    )
    picture = alt.layer(words.encode(text="words:N", x=alt.value(0), y=alt.value(0))).properties(
        width=520, height=20 * len(lines)
    )
    title = _title(finding)
    return finished(picture, title, [_period(finding)], f"{title}. {' '.join(lines)}")


def _name(one: Alarm, labels: Mapping[str, str]) -> str:
    code = one["mode"] or one["family"]
    return labels.get(code, code) if code else "any reason"


def _heading(text: str) -> alt.TitleParams:
    return alt.TitleParams(
        text=wrapped(text, 84, most=3), anchor="start", fontSize=12, fontWeight="bold", offset=20
    )


def _by_state(drawn: Sequence[str]) -> tuple[alt.Color, alt.Shape]:
    """Colour and shape of the states that any panel draws, in one legend for all."""
    legend = alt.Legend(orient="right")
    colours, shapes = zip(*(STATES[state] for state in drawn), strict=True)
    scale = alt.Scale(domain=[*drawn], range=[*colours])
    forms = alt.Scale(domain=[*drawn], range=[*shapes])
    return alt.Color("state:N", scale=scale, legend=legend), alt.Shape(
        "state:N", scale=forms, legend=legend
    )


def _months(finding: Finding, one: Alarm, states: Sequence[str]) -> Picture:
    """Rates by month with centre and limit; a month cut in two by the first watched day is two."""
    rows = [
        row
        for row in finding.parts["months"]
        if (row["mode"], row["family"]) == (one["mode"], one["family"])
    ]
    names = [row["period"] for row in rows]
    records: list[Record] = [
        {
            "place": n,
            "next": n + 1,
            "middle": n + 0.5,
            "rate": row["value"],
            "centre": row["centre"],
            "limit": row["upper_limit"],
            "state": "out" if row["alarm"] else "not out" if row["watched"] else "baseline",
        }
        for n, row in enumerate(rows)
    ]
    x = alt.X(
        "middle:Q",
        title=None,
        scale=alt.Scale(domain=[0, len(rows)], nice=False),
        axis=alt.Axis(
            values=[n + 0.5 for n in range(len(rows))],
            labelExpr=texts(names).replace("[datum.value]", "[floor(datum.value)]"),
            labelAngle=-45 if len(rows) > 8 else 0,
            grid=False,
        ),
    )
    top = 1.12 * max(max(r["rate"], r["limit"] or 0) for r in records)
    scale = alt.Scale(domain=[0, min(top, 1.0) or 1.0], nice=False)
    y = alt.Y(
        "rate:Q", title="failures per opportunity, %", scale=scale, axis=percent_axis(tickCount=5)
    )
    colour, shape = _by_state(states)
    base = plot(records)
    step = alt.X("place:Q", scale=alt.Scale(domain=[0, len(rows)], nice=False))
    layers: list[Any] = [
        base.mark_rule(color=GREY, strokeWidth=1.5).encode(x=step, x2="next:Q", y="centre:Q"),
        base.mark_rule(color=INK, strokeDash=[4, 3], strokeWidth=1.5).encode(
            x=step, x2="next:Q", y="limit:Q"
        ),
        base.mark_line(color=FAINT, strokeWidth=1.5).encode(x=x, y=y),
        base.mark_point(filled=True, size=70, opacity=1).encode(
            x=x, y=y, color=colour, shape=shape
        ),
    ]
    if one["since"]:
        layers.append(_since_line(one["since"], names, rows))
    words = "lines: expected (solid), limit of a single month (dashed)"
    heading = _heading(f"{_name(one, finding.labels)}; {words}")
    return alt.layer(*layers).properties(width=WIDTH, height=HEIGHT, title=heading)


def _since_line(since: str, names: Sequence[str], rows: Sequence[Alarm]) -> Picture:
    """A line at the day of the change, at its place within its month."""
    month, day = since[:7], int(since[8:10])
    watched = [n for n, row in enumerate(rows) if row["watched"] and names[n] == month]
    place = (watched[0] if watched else 0) + (day - 1) / 31
    mark = plot([{"at": place, "words": f"since {since}"}])
    x = alt.X("at:Q", scale=alt.Scale(domain=[0, len(rows)], nice=False))
    rule = mark.mark_rule(color=OUT, strokeWidth=1.5).encode(x=x)
    words = mark.mark_text(
        align="left", baseline="bottom", fontSize=11, color=OUT, fontWeight="bold"
    ).encode(x=x, y=alt.value(-3), text="words:N")
    return alt.layer(rule, words)


def _groups(finding: Finding, one: Alarm, states: Sequence[str]) -> Picture:
    """Seen over expected of each value of a group, by how many were expected."""
    rows = [
        row
        for row in finding.rows
        if (row["mode"], row["group"], row["chart"]) == (one["mode"], one["group"], *one["charts"])
        and (row["centre"] > 0 or row["alarm"])
    ]
    records: list[Record] = [
        {
            "expected": row["centre"] * row["opportunities"],
            **_over_expected(row),
            "state": "out" if row["alarm"] else "not out",
            "words": row["value_of_group"] if row["alarm"] else "",
            "told": f"{row['value_of_group']}: {row['failures']} of {row['opportunities']}, "
            f"{bare(row['centre'])} % expected",
        }
        for row in rows
    ]
    ends = [r["ratio"] for r in records if r["ratio"] is not None]
    # Limits reach anywhere where little is expected, or others are few: they are cut off.
    top = 1.25 * max([*ends, 1.0])
    records = [{**r, "ratio": top if r["ratio"] is None else r["ratio"]} for r in records]
    x = alt.X(
        "expected:Q",
        title="failures expected, like for like"
        if one["charts"] == ["funnel"]
        else "come-backs expected, like for like and as long as followed",
        scale=alt.Scale(
            nice=False, domainMin=0, domainMax=1.12 * max(r["expected"] for r in records) or 1
        ),
        axis=alt.Axis(grid=False, tickCount=8),
    )
    scale = alt.Scale(domain=[0, top], nice=False, clamp=True)
    y = alt.Y("ratio:Q", title="seen over expected", scale=scale, axis=alt.Axis(tickCount=5))
    colour, shape = _by_state(states)
    base = plot(records)
    layers: list[Any] = [
        plot([{"one": 1}]).mark_rule(color=GREY).encode(y=alt.Y("one:Q", scale=scale)),
        base.mark_rule(color=GREY, strokeDash=[4, 3], clip=True).encode(
            x=x, y=alt.Y("low:Q", scale=scale), y2="high:Q"
        ),
        base.mark_point(filled=True, size=70, opacity=1).encode(
            x=x, y=y, color=colour, shape=shape
        ),
        base.mark_text(align="left", dx=8, fontSize=11, color=OUT, fontWeight="bold").encode(
            x=x, y=y, text="words:N"
        ),
    ]
    kind = group_words(one["group"], "", finding.labels).strip()
    what = "come-backs for " if one["charts"] == ["comebacks"] else ""
    name = _name(one, finding.labels)
    what += f"{name[:1].lower()}{name[1:]}"
    text = f"each {kind} against the shop, {what}; dashed: limits of a single one"
    return alt.layer(*layers).properties(
        width=WIDTH, height=HEIGHT, title=_heading(text[:1].upper() + text[1:])
    )


def _over_expected(row: Alarm) -> Record:
    """Seen and its limits over the expected; no ratio where no other failed: drawn at the top."""
    names = {"ratio": "value", "low": "lower_limit", "high": "upper_limit"}
    if not row["centre"]:
        return {"ratio": None, "low": 1.0, "high": 1.0}
    return {name: row[key] / row["centre"] for name, key in names.items()}
