"""Where a decision flips: expected cost per job of each option along one input."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import altair as alt

from fixstats.charts.decide import decision_subtitle, money, option_label
from fixstats.charts.names import key_label, plain, wrapped
from fixstats.charts.parts import WIDTH, Record, plot
from fixstats.charts.style import COLOURS, GREY, INK, finished, nothing
from fixstats.charts.words import Row
from fixstats.findings.base import Finding
from fixstats.words import counted, listed

if TYPE_CHECKING:
    from fixstats.charts import Picture

HEIGHT = 300
# A dash goes with each colour, so colour is never alone.
DASHES = ([1, 0], [8, 3], [3, 3], [9, 3, 2, 3], [5, 2], [2, 2])
# The scale reaches so many times beyond the present value, or the flip where that is further.
BEYOND_NOW, BEYOND_FLIP = 2.0, 1.25
# Intervals at the present value stand side by side, so many dots apart.
APART = 7
LEAST_GAP = 13  # dots between names at the ends of lines


def flips_chart(finding: Finding) -> Picture:
    """A line for each option along ``settings["along"]``; the present value and the flip marked.

    Costs are straight lines in each input, all else being as it is. Of the first scope asked for.
    """
    if not finding.rows:
        return nothing(finding)
    row, along = finding.rows[0], finding.settings["along"]
    lines = _lines(finding, row, along)
    if not lines:
        return nothing(finding)
    flip = _flip(finding, row, along)
    now = lines[0]["now"]
    right = _right(now, flip)
    records = [_record(n, line, right, finding) for n, line in enumerate(lines)]
    low, high = _span(records)
    x = alt.X(
        "from:Q",
        scale=alt.Scale(domain=[0, right], nice=False),
        axis=alt.Axis(title=_axis_title(along, finding), format=",~f", labelFlush=False),
    )
    y = alt.Y(
        "cost:Q",
        scale=alt.Scale(domain=[low, high], nice=False),
        axis=alt.Axis(
            title=f"expected cost per job, {finding.settings['currency']}",
            format=",~f",
            tickCount=6,
        ),
    )
    picture = alt.layer(
        *_marks(now, flip, right, x),
        *_drawn(records, x, y),
        *_present(records, now, x, y),
        *_names(records, (low, high)),
    ).properties(width=WIDTH + 60, height=HEIGHT)
    title = _title(finding, row, along, now, flip)
    return finished(picture, title, _subtitle(finding, row, now), _about(title, records, finding))


def _lines(finding: Finding, row: Row, along: str) -> list[Row]:
    """The lines of options that may be recommended, as many as can be told apart."""
    found = [
        line
        for line in finding.parts["lines"]
        if (line["choice"], line["model"], line["input"]) == (row["choice"], row["model"], along)
    ]
    found.sort(key=lambda line: line["cost_per_job"])
    return found[: len(DASHES)]


def _flip(finding: Finding, row: Row, along: str) -> Row | None:
    """Where the leader changes; None where no value changes it."""
    for one in finding.parts["flips"]:
        if (one["choice"], one["model"], one["input"]) == (row["choice"], row["model"], along):
            return one if one["flips_at"] is not None else None
    return None


def _right(now: float | None, flip: Row | None) -> float:
    """The end of the scale."""
    ends = [BEYOND_NOW * (now or 0.0), BEYOND_FLIP * (flip["flips_at"] if flip else 0.0)]
    return max(ends) or 100.0


def _record(number: int, line: Row, right: float, finding: Finding) -> Record:
    now = line["now"] or 0.0
    at_zero = line["cost_per_job"] - line["per_unit"] * now
    return {
        "number": number,
        "name": option_label(line["option"], line["choice"], finding.labels),
        "left": at_zero,
        "right": at_zero + line["per_unit"] * right,
        "end": right,
        "at": line["cost_per_job"],
        "low": line["cost_low"],
        "high": line["cost_high"],
    }


def _span(records: Sequence[Record]) -> tuple[float, float]:
    """Ends of the cost scale: the lines and the intervals at present, with some room."""
    values = [one[key] for one in records for key in ("left", "right", "low", "high")]
    room = 0.06 * (max(values) - min(values)) or 1.0
    low = min(values) - room
    return (max(low, 0.0) if min(values) >= 0 else low), max(values) + room


# ---------------------------------------------------------------- what is drawn


def _drawn(records: Sequence[Record], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    drawn = []
    for one in records:
        ends = [
            {"from": 0.0, "cost": one["left"], "about": one["name"]},
            {"from": one["end"], "cost": one["right"], "about": one["name"]},
        ]
        line = plot(ends).mark_line(
            color=COLOURS[one["number"]], strokeDash=DASHES[one["number"]], strokeWidth=2.2
        )
        drawn.append(line.encode(x=x, y=y, description="about:N"))
    return drawn


def _present(records: Sequence[Record], now: float | None, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Intervals at the present value, side by side."""
    if now is None:
        return []
    drawn = []
    for one in records:
        shift = APART * (one["number"] - (len(records) - 1) / 2)
        at = [
            {
                "from": now,
                "cost": one["low"],
                "high": one["high"],
                "at": one["at"],
                "about": f"{one['name']}: {money(one['at'])} ({money(one['low'])} to "
                f"{money(one['high'])})",
            }
        ]
        look = {"xOffset": shift, "color": COLOURS[one["number"]]}
        rule = plot(at).mark_rule(strokeWidth=2, opacity=0.75, **look)
        point = plot(at).mark_point(shape="diamond", size=40, filled=True, opacity=1, **look)
        drawn += [
            rule.encode(x=x, y=y, y2="high:Q", description="about:N"),
            point.encode(x=x, y="at:Q", description="about:N"),
        ]
    return drawn


def _marks(now: float | None, flip: Row | None, right: float, x: alt.X) -> list[alt.Chart]:
    """Upright lines at the present value and at the flip, with words above."""
    found: list[tuple[float, str, bool]] = []
    if now is not None:
        found.append((now, f"now {money(now)}", False))
    if flip is not None:
        found.append((flip["flips_at"], f"flips at {money(flip['flips_at'])}", True))
    drawn = []
    for number, (at, told, is_flip) in enumerate(found):
        one = plot([{"from": at, "words": told}])
        rule = one.mark_rule(
            color=INK if is_flip else GREY, strokeDash=[1, 0] if is_flip else [3, 3]
        )
        leftish = at < right / 2
        words = one.mark_text(
            align="left" if leftish else "right",
            baseline="bottom",
            fontSize=11,
            fontWeight="bold" if is_flip else "normal",
            color=INK if is_flip else GREY,
            dx=-3 if leftish else 3,
        )
        drawn += [
            rule.encode(x=x),
            words.encode(x=x, y=alt.value(-3 - 14 * number), text="words:N"),
        ]
    return drawn


def _names(records: Sequence[Record], span: tuple[float, float]) -> list[alt.Chart]:
    """The options' names at the right ends of their lines, moved apart where these meet."""
    low, high = span
    order = sorted(records, key=lambda one: -one["right"])
    tops: list[float] = []
    for one in order:
        top = HEIGHT * (high - one["right"]) / (high - low)
        tops.append(max(top, tops[-1] + LEAST_GAP * len(_wrapped(one))) if tops else top)
    over = max(tops[-1] - HEIGHT, 0.0)
    return [
        plot([{"words": _wrapped(one)}])
        .mark_text(
            align="left",
            fontSize=11,
            fontWeight="bold",
            color=COLOURS[one["number"]],
            lineHeight=13,
        )
        .encode(x=alt.value(WIDTH + 70), y=alt.value(top - over), text="words:N")
        for one, top in zip(order, tops, strict=True)
    ]


def _wrapped(one: Record) -> list[str]:
    return wrapped(one["name"], 30)


# ---------------------------------------------------------------- words


def input_label(along: str, finding: Finding) -> str:
    """``labour rate``, ``price of Battery, Original``, ``cost of Tab snapped``."""
    kind, _, name = along.partition(" ")
    if not name:
        return kind.replace("_", " ")
    words = [finding.labels.get(code, plain(code)) for code in name.split(":")]
    return f"{kind} of {', '.join(words)}"


def _axis_title(along: str, finding: Finding) -> str:
    per = " an hour" if along == "labour_rate" else " each time" if along[:4] == "cost" else ""
    return f"{input_label(along, finding)}, {finding.settings['currency']}{per}, all else as it is"


def _title(finding: Finding, row: Row, along: str, now: float | None, flip: Row | None) -> str:
    """Who has the lowest expected cost, and from which value on another has."""
    label, currency = input_label(along, finding), finding.settings["currency"]
    subject = key_label(row["choice"], finding.labels)
    on = f" on {row['model']}" if row["model"] else ""
    if row["option"] is None:
        return f"{subject}{on}: no option may be recommended: safety failures"
    leader = option_label(row["option"], row["choice"], finding.labels)
    said = f"{subject}{on}: lowest expected cost with {leader}"
    if flip is None:
        return f"{said}, whatever the {label}"
    to = option_label(flip["to"], row["choice"], finding.labels)
    value = flip["flips_at"]
    way = "up to" if now is None or value >= now else "down to"
    is_now = "not set now" if now is None else f"{money(now)} now"
    return f"{said} {way} a {label} of {money(value)} {currency} ({is_now}), beyond that with {to}"


def _subtitle(finding: Finding, row: Row, now: float | None) -> list[str]:
    gone = [
        option_label(one["option"], row["choice"], finding.labels)
        for one in finding.parts["options"]
        if (one["choice"], one["model"]) == (row["choice"], row["model"])
        and one["safety"] == "worse"
    ]
    others = len(finding.rows) - 1
    return decision_subtitle(
        finding,
        "intervals at the present value" if now is not None else "no value is set at present",
        "lines are expected costs; a verdict also needs certainty",
        f"not drawn, ruled out by safety failures: {listed(gone)}" if gone else "",
        f"{counted(others, 'further row')} not drawn" if others else "",
        sure=False,
    )


def _about(title: str, records: Sequence[Record], finding: Finding) -> str:
    first = records[0]
    return (
        f"{title}. {counted(len(records), 'line')} of expected cost per job. At present: "
        f"{first['name']} {money(first['at'])} {finding.settings['currency']} "
        f"({money(first['low'])} to {money(first['high'])})."
    )
