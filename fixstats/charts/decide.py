"""What a job costs with each option of a choice: its parts, its interval, the verdict in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.names import key_label
from fixstats.charts.parts import SMALL, WIDTH, Record, counts_beside, plot, row_height, rows_at
from fixstats.charts.sheet import Sheet
from fixstats.charts.style import COLOURS, INK, finished, nothing
from fixstats.charts.words import NO_BREAK, Row, level_words, period_words, view_words
from fixstats.findings.base import Finding
from fixstats.words import counted, sure_percent

if TYPE_CHECKING:
    from fixstats.charts import Picture

# More lines make a picture nobody reads; scopes with the most jobs are kept.
MOST_LINES = 80
# Room for names where plots stand one above the other.
EXTENT = 250
# key of an option -> words of the legend and colour, in the order in which they are laid end to end
PARTS = {
    "used_money": ("consumables or part", COLOURS[4]),
    "minutes_money": ("minutes at the labour rate", COLOURS[5]),
    "failures_money": ("failures", COLOURS[1]),
    "comebacks_money": ("come-backs", COLOURS[3]),
}
# What a verdict says of the option, beside the name of the scope.
VERDICTS = {
    "unproven": "safety of {option} not shown",
    "only_one": "only {option}, nothing to compare it with",
    "equal_enough": "{option} or {runner_up}, equal enough",
    "standardise": "make {option} the standard",
    "trial": "{option} leads, a trial is worth its cost",
    "lean": "lean to {option}",
    "wait": "wait: too little recorded",
}
SAFETY = {"worse": "ruled out: safety failures", "unproven": "safety not shown"}
BY_SAFETY = "no option may be recommended: safety failures"


def decide_chart(finding: Finding) -> Picture:
    """Under a heading for each scope: a bar of parts for each option, and the interval.

    Bars begin at 0 and are laid end to end; the point is their sum, the expected cost per job.
    Several choices have a panel each, with a scale of its own, and are drawn over all models only.
    """
    if not finding.rows:
        return nothing(finding)
    choices = list(dict.fromkeys(row["choice"] for row in finding.rows))
    shown = _kept(finding, several=len(choices) > 1)
    every = [option for _, options in shown for option in options]
    parts = {key: look for key, look in PARTS.items() if any(option[key] for option in every)}
    panels = [
        _panel([one for one in shown if one[0]["choice"] == choice], finding, parts, choices)
        for choice in choices
    ]
    picture = alt.vconcat(*(drawn for drawn, _ in panels), spacing=12) if choices[1:] else None
    title = decision_title(finding)
    left = len(finding.rows) - len(shown)
    why = "ask for one choice to see its models" if choices[1:] else "fewest jobs"
    subtitle = decision_subtitle(
        finding,
        f"{left:,} of {counted(len(finding.rows), 'row')} not drawn: {why}" if left else "",
        "arrows go on beyond the scale" if any(beyond for _, beyond in panels) else "",
    )
    about = (
        f"{title}. {counted(sum(len(options) for _, options in shown), 'bar')} of the expected "
        f"cost per job by its parts, with intervals. {_first(finding)}"
    )
    return finished(picture or panels[0][0], title, subtitle, about)


def _panel(
    shown: Sequence[tuple[Row, list[Row]]],
    finding: Finding,
    parts: Mapping[str, tuple[str, str]],
    choices: Sequence[str],
) -> tuple[alt.LayerChart | alt.FacetChart, bool]:
    """One choice, and whether some interval goes on beyond its scale."""
    several = len(choices) > 1
    sheet, verdicts = _lay_out(shown, finding, several)
    edge = _edge([option for _, options in shown for option in options])
    bars, spans, words = _records(sheet, finding, edge)
    y = rows_at(sheet.names, sheet.heads, EXTENT if several else 0)
    x = _axis(edge, finding)
    heading = f"{finding.settings['currency']} a job, interval; n; sure"
    drawn = alt.layer(
        *_bars(bars, parts, x, y),
        *_spans(spans, x, y),
        *_verdicts(verdicts, y),
        *counts_beside(words, y, heading),
    ).properties(width=WIDTH, height=row_height(sheet.names))
    return drawn, any(one["sign"] == "more" for one in spans)


def options_of(finding: Finding, row: Row) -> list[Row]:
    """The options behind a row, cheapest first; those ruled out stand last."""
    found = [
        one
        for one in finding.parts["options"]
        if (one["choice"], one["model"]) == (row["choice"], row["model"])
    ]
    return sorted(
        found,
        key=lambda one: (
            one["safety"] == "worse",
            one["cost_per_job"] is None,
            one["cost_per_job"] or 0.0,
        ),
    )


def option_label(option: str, choice: str, labels: Mapping[str, str]) -> str:
    """What an option is called; a supplier's name is never taken for a code."""
    return option if choice.endswith("_supplier") else labels.get(option, option)


def verdict_words(row: Row, labels: Mapping[str, str]) -> str:
    """``make Heated plate the standard``; says where it is borderline."""
    if row["option"] is None:
        return BY_SAFETY
    names = {
        name: option_label(row[name], row["choice"], labels)
        for name in ("option", "runner_up")
        if row[name] is not None
    }
    said = VERDICTS[row["verdict"]].format(**{"runner_up": "another", **names})
    if row["verdict"] == "standardise" and row["option"] == row["current"]:
        said = f"keep {names['option']}"
    if row["verdict"] == "equal_enough" and row["runner_up_safety"] != "cleared":
        said = f"{names['option']}; safety of {names['runner_up']} not shown, costs as much"
    return f"{said} (borderline)" if row.get("borderline") else said


def money(value: float) -> str:
    """``9.10``, ``1,240``: cents only where they say something."""
    return f"{value:,.2f}" if abs(value) < 100 else f"{value:,.0f}"


def cost_words(row: Row) -> str:
    """``9.10 (8.40 to 9.90)``."""
    if row["cost_per_job"] is None:
        return "cost not known"
    return f"{money(row['cost_per_job'])} ({money(row['cost_low'])} to {money(row['cost_high'])})"


# ---------------------------------------------------------------- what is drawn


def _kept(finding: Finding, *, several: bool) -> list[tuple[Row, list[Row]]]:
    """Rows with their options, in their order; of many those over all models and with most jobs."""
    rows = [row for row in finding.rows if row["model"] is None] if several else []
    every = [(row, options_of(finding, row)) for row in rows or finding.rows]
    sizes = [sum(one["jobs"] for one in options) for _, options in every]
    order = sorted(range(len(every)), key=lambda n: (every[n][0]["model"] is not None, -sizes[n]))
    room = MOST_LINES
    kept: list[int] = []
    for n in order:
        lines = len(every[n][1]) + 1
        if lines <= room or not kept:
            kept.append(n)
            room -= lines
    return [every[n] for n in sorted(kept)]


def _lay_out(
    shown: Sequence[tuple[Row, list[Row]]], finding: Finding, several: bool
) -> tuple[Sheet, list[Record]]:
    """A heading for each scope, its options below it, and the verdicts beside the headings."""
    sheet, labels = Sheet(), finding.labels
    verdicts: list[Record] = []
    for row, options in shown:
        scope = row["model"] or ("" if several else "All models")
        head = key_label(row["choice"], labels) if several else ""
        place = sheet.write(", ".join(filter(None, (head, scope))))
        sheet.heads[place] = 0
        verdicts.append({"place": place, "words": verdict_words(row, labels)})
        for one in options:
            name = option_label(one["option"], row["choice"], labels)
            mark = "house standard" if one["standard"] else "in use" if one["current"] else ""
            whole = f"{name} ({mark})" if mark else name
            sheet.rows.append((sheet.write(whole), whole, one))
    return sheet, verdicts


def _verdicts(verdicts: Sequence[Record], y: alt.Y) -> list[alt.Chart]:
    words = plot(verdicts).mark_text(align="left", fontSize=11, fontWeight="bold", color=INK, dx=4)
    return [words.encode(x=alt.value(0), y=y, text="words:N")]


def _edge(options: Sequence[Row]) -> float:
    """The end of the scale: all costs, and the intervals of options that are not of few jobs."""
    known = [one for one in options if one["cost_per_job"] is not None]
    if not known:
        return 1.0
    large = SMALL * median(one["jobs"] for one in known)
    ends = [one["cost_high"] for one in known if one["jobs"] >= large]
    return 1.04 * max([*ends, *(one["cost_per_job"] for one in known)]) or 1.0


def _records(
    sheet: Sheet, finding: Finding, edge: float
) -> tuple[list[Record], list[Record], list[Record]]:
    """Pieces of bars, ends of intervals, words at the right."""
    bars: list[Record] = []
    spans: list[Record] = []
    words: list[Record] = []
    for place, name, one in sheet.rows:
        words.append({"place": place, "words": _beside(one)})
        start = 0.0
        for key, (part, _) in PARTS.items():
            if one[key]:
                about = f"{name}, {part}: {money(one[key])} {finding.settings['currency']} a job"
                end = min(start + one[key], edge)
                bars.append(
                    {"place": place, "from": start, "to": end, "part": part, "about": about}
                    | {"pale": one["safety"] == "worse"}
                )
                start = end
        if one["cost_per_job"] is not None:
            about = f"{name}: {cost_words(one)} {finding.settings['currency']} a job"
            beyond = one["cost_high"] > edge
            spans.append(
                {
                    "place": place,
                    "from": max(one["cost_low"], 0.0),
                    "to": min(one["cost_high"], edge),
                    "at": one["cost_per_job"],
                    "sign": "more" if beyond else "",
                    "about": about,
                }
            )
    return bars, spans, words


def _beside(one: Row) -> str:
    """``9.10 (8.40 to 9.90); 812; 97 %``."""
    parts = [cost_words(one), f"{one['jobs']:,}"]
    if one["safety"] == "worse":
        return "; ".join([*parts, SAFETY["worse"]])
    sure = f"{sure_percent(one['p_best'])}{NO_BREAK}%" if one["p_best"] is not None else ""
    return "; ".join(filter(None, [*parts, sure, SAFETY.get(one["safety"], "")]))


def _axis(edge: float, finding: Finding) -> alt.X:
    return alt.X(
        "from:Q",
        scale=alt.Scale(domain=[0, edge], nice=False),
        axis=alt.Axis(
            title=f"expected cost per job, {finding.settings['currency']}",
            format=",~f",
            tickCount=6,
            labelFlush=False,
        ),
    )


def _bars(
    bars: Sequence[Record], parts: Mapping[str, tuple[str, str]], x: alt.X, y: alt.Y
) -> list[alt.Chart]:
    """Pieces end to end; pale for options that are ruled out."""
    scale = alt.Scale(
        domain=[part for part, _ in parts.values()], range=[tint for _, tint in parts.values()]
    )
    legend = alt.Legend(symbolType="square", symbolStrokeWidth=0) if parts else None
    colour = alt.Color("part:N", scale=scale, legend=legend)
    return [
        plot([bar for bar in bars if bar["pale"] == pale])
        .mark_bar(height=11, opacity=0.3 if pale else 0.8, stroke="white", strokeWidth=1)
        .encode(x=x, x2="to:Q", y=y, color=colour, description="about:N")
        for pale in (False, True)
    ]


def _spans(spans: Sequence[Record], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    line = plot(spans).mark_rule(color=INK, strokeWidth=1.6, strokeCap="butt")
    point = plot(spans).mark_point(
        shape="diamond", size=52, filled=True, fill="white", stroke=INK, strokeWidth=1.4, opacity=1
    )
    arrow = plot([one for one in spans if one["sign"]]).mark_point(
        shape="triangle-right", size=52, filled=True, color=INK, opacity=1
    )
    return [
        line.encode(x=x, x2="to:Q", y=y, description="about:N"),
        point.encode(x="at:Q", y=y, description="about:N"),
        arrow.encode(x="to:Q", y=y, description="about:N"),
    ]


# ---------------------------------------------------------------- words


def decision_title(finding: Finding) -> str:
    """The verdict of the first row; of several, how many say what."""
    rows, labels = finding.rows, finding.labels
    choices = list(dict.fromkeys(row["choice"] for row in rows))
    first = rows[0]
    if len(choices) > 1:
        overall = [row for row in rows if row["model"] is None] or rows
        return f"{counted(len(choices), 'choice')}: {_tally(overall)}"
    subject = key_label(first["choice"], labels)
    if len(rows) > 1 and first["model"] is not None:
        return f"{subject}, {counted(len(rows), 'model')}: {_tally(rows)}"
    on = f", {first['model']}" if first["model"] else ""
    said = f"{subject}{on}: {verdict_words(first, labels)}{_saving(first, finding)}"
    models = [row for row in rows if row["model"] is not None]
    if first["model"] is None and models:
        said += f"; of {counted(len(models), 'model')}: {_tally(models)}"
    return said


def _saving(row: Row, finding: Finding) -> str:
    """What the leader saves against the second best; the interval says if that may be nothing."""
    if row["saving_per_job"] is None or row["runner_up"] is None:
        return ""
    against = option_label(row["runner_up"], row["choice"], finding.labels)
    return (
        f"; {money(row['saving_per_job'])} {finding.settings['currency']} a job less than "
        f"{against} ({money(row['saving_low'])} to {money(row['saving_high'])})"
    )


def _tally(rows: Sequence[Row]) -> str:
    """``standardise 2, lean 3``."""
    counts = {
        name: sum(row["verdict"] == name for row in rows)
        for name in VERDICTS
        if any(row["verdict"] == name for row in rows)
    }
    return ", ".join(f"{name.replace('_', ' ')} {number}" for name, number in counts.items())


def decision_subtitle(finding: Finding, *more: str, sure: bool = True) -> list[str]:
    """Lines under a title: n, view, level, period, labour rate, what if, what was left out.

    ``sure``: the picture gives chances, and says of what.
    """
    settings = finding.settings
    sizes = [one["jobs"] for one in finding.parts["options"]]
    low, high = min(sizes, default=0), max(sizes, default=0)
    between = f"{low:,} to {high:,}" if low < high else f"{high:,}"
    where = [one for one in settings.get("where") or () if one != "rework=no"]
    changed: Any = settings.get("changed") or ()
    lines = (
        (f"n: {between} jobs an option", view_words(finding), "come-back jobs left out"),
        (
            f"{level_words(finding)} intervals, adjusted and partly pooled over models",
            period_words(settings),
        ),
        (
            f"{settings['labour_rate']:g} {settings['currency']} an hour",
            f"what if: {', '.join(changed)}" if changed else "",
            f"only {', '.join(where)}" if where else "",
        ),
        ("sure: chance of being the cheapest of those not ruled out" if sure else "", *more),
    )
    return ["; ".join(filter(None, parts)) for parts in lines if any(parts)]


def _first(finding: Finding) -> str:
    """What the first row says, for the text alternative."""
    row = finding.rows[0]
    if row["option"] is None:
        return f"First: {BY_SAFETY}."
    label = option_label(row["option"], row["choice"], finding.labels)
    return f"First: {label}, {cost_words(row)} {finding.settings['currency']} a job."
