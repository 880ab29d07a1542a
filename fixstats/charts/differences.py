"""Differences to a baseline with their intervals, raw and like for like side by side."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.comparison import (
    TURNS,
    adjusted_words,
    against,
    comparison_subtitle,
    comparison_title,
    hundred,
    labelled,
    modes_of,
    option_label,
    overall,
    pair_counts,
    smaller,
    verdict_of,
)
from fixstats.charts.layout import MOST_ROWS
from fixstats.charts.names import mode_label, natural
from fixstats.charts.parts import SMALL, WIDTH, Record, counts_beside, plot, row_height, rows_at
from fixstats.charts.sheet import Sheet
from fixstats.charts.style import COLOURS, GREY, finished, nothing
from fixstats.charts.twin_lines import Figure, Twins, twin_layers
from fixstats.charts.words import Row, level_words
from fixstats.findings.base import Finding
from fixstats.findings.compare_words import lead_of
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

# Room on each side of zero for the words that say which way is which.
ROOM = 0.28
# Words above the picture.
ABOVE: Any = {"baseline": "bottom", "fontSize": 11, "fontWeight": "bold"}
# The narrowest scale: half a failure in a hundred on either side.
NARROWEST = 0.005


def differences_chart(finding: Finding) -> Picture:
    """Rows of a comparison: by option, or by model under a heading for each option.

    Each has its raw difference above and the like-for-like one below (adjusted; within strata
    where there is no fit). A zero line says what no difference is, a band which differences the
    shop does not find worth knowing.
    """
    if not finding.rows:
        return nothing(finding)
    rows = _kept(finding.rows)
    sheet = _lay_out(rows, finding)
    twins, counts = _records(sheet, rows)
    y = rows_at(sheet.names, sheet.heads)
    x = _axis(twins, finding)
    worth = finding.settings.get("worth_knowing") or 0.0
    names = (
        f"raw: {level_words(finding)} interval",
        f"like for like: {level_words(finding)} interval",
    )
    picture = alt.layer(
        *_backdrop(x, worth),
        *twin_layers(twins, names, x, y),
        *counts_beside(counts, y, "failures: option | baseline"),
    ).properties(width=WIDTH, height=row_height(sheet.names))
    left = len(finding.rows) - len(rows)
    words = comparison_subtitle(
        finding,
        adjusted_words(finding),
        f"{left:,} of {len(finding.rows):,} rows not drawn: fewest opportunities" if left else "",
        "arrows go on beyond the scale" if twins.beyond else "",
        f"grey band: less than the {100 * worth:g} in 100 worth knowing" if worth else "",
        "turns round: raw and like for like say the opposite" if _turning(rows) else "",
    )
    title = f"{comparison_title(finding)}{_by_model(finding)}"
    return finished(picture, title, words, _description(title, finding, rows))


def _by_model(finding: Finding) -> str:
    """On how many models the like-for-like interval lies wholly on one side of zero.

    Of those that had both and a failure: elsewhere the figure is that of the other models.
    """
    models = [row for row in finding.rows if row["model"] is not None]
    told = [
        verdict_of(finding, row)
        for row in models
        if smaller(row) and row["failures"] + row["baseline_failures"]
    ]
    told = [one for one in told if one]
    if not told:
        return ""
    less, more = told.count("less"), told.count("more")
    pairs = len({(row["option"], row["mode"], row["family"]) for row in models})
    noun = "models" if pairs == 1 else "pairs of model and option"
    return (
        f"; of {len(told)} {noun} with a failure the interval shows fewer on {less or 'none'}, "
        f"more on {more or 'none'}"
    )


def _kept(rows: Sequence[Row]) -> list[Row]:
    """The rows that tell most, in their order."""
    order = sorted(range(len(rows)), key=lambda place: -smaller(rows[place]))
    overall_first = sorted(order, key=lambda place: rows[place]["model"] is not None)
    return [rows[place] for place in sorted(overall_first[:MOST_ROWS])]


def _turning(rows: Sequence[Row]) -> bool:
    return any(row["reversal"] in TURNS for row in rows)


def _lay_out(rows: Sequence[Row], finding: Finding) -> Sheet:
    """Headings for the mode where there are several, and for the option where rows are models."""
    sheet, labels = Sheet(), finding.labels
    by_model = any(row["model"] is not None for row in rows)
    modes = len(modes_of(finding)) > 1
    options = by_model and len({(row["option"], row["baseline"]) for row in rows}) > 1
    one_baseline = len({row["baseline"] for row in rows}) == 1
    before: tuple[str, ...] = ()
    for row in sorted(rows, key=lambda row: _order(row, finding)):
        option = option_label(row["option"], labels) if one_baseline else against(row, labels)
        above = [mode_label(row, labels)] if modes else []
        headings = (*above, option) if options else tuple(above)
        for depth in range(len(headings)):
            if headings[: depth + 1] != before[: depth + 1]:
                sheet.heads[sheet.write(headings[depth])] = depth
        before = headings
        name = (row["model"] or "All models") if by_model else option
        sheet.rows.append((sheet.write(name), name, row))
    return sheet


def _order(row: Row, finding: Finding) -> tuple[object, ...]:
    options = list(dict.fromkeys(one["option"] for one in finding.rows))
    modes = modes_of(finding)
    model = natural(("model",), row, {}) if row["model"] is not None else ()
    mode = modes.index(mode_label(row, finding.labels))
    return (mode, options.index(row["option"]), row["model"] is not None, model)


def _records(sheet: Sheet, rows: Sequence[Row]) -> tuple[Twins, list[Record]]:
    twins = Twins(*_ends(rows))
    counts: list[Record] = []
    for place, name, row in sheet.rows:
        lead = lead_of(row)
        words = [pair_counts(row)]
        words += [TURNS[row["reversal"]]] if row["reversal"] in TURNS else []
        words += [] if smaller(row) else ["not used there"]
        words += ["within strata, no fit"] if lead and lead.kind == "strata" else []
        words += ["no like-for-like figure"] if lead is None else []
        counts.append({"place": place, "words": "; ".join(words)})
        if row["difference"] is not None:
            figure = Figure(row["difference"], row["difference_low"], row["difference_high"])
            twins.add(0, place, figure, f"{name}, raw: {_span(figure)}, {pair_counts(row)}")
        if lead is not None:
            figure = Figure(lead.difference, lead.low, lead.high)
            twins.add(1, place, figure, f"{name}, like for like: {_span(figure)}")
    return twins, counts


def _span(figure: Figure) -> str:
    return f"{hundred(figure.at)} in 100 ({hundred(figure.low)} to {hundred(figure.high)})"


def _ends(rows: Sequence[Row]) -> tuple[float, float]:
    """Ends of the scale: the intervals of rows that are not small, and room on both sides of 0."""
    large = SMALL * median(smaller(row) for row in rows)
    found = [0.0]
    for row in rows:
        lead = lead_of(row)
        if smaller(row) >= large and row["difference_low"] is not None:
            found += [row["difference_low"], row["difference_high"]]
        if lead is not None and smaller(row) >= large:
            found += [lead.low, lead.high]
    span = max(max(found) - min(found), NARROWEST)
    room = ROOM * span
    margin = 0.03 * span
    return max(min(min(found) - margin, -room), -1.0), min(max(max(found) + margin, room), 1.0)


def _axis(twins: Twins, finding: Finding) -> alt.X:
    unit = finding.settings["unit"]
    baselines = {row["baseline"] for row in overall(finding)}
    name = option_label(baselines.pop(), finding.labels) if len(baselines) == 1 else "the baseline"
    label = "(datum.value > 0 ? '+' : '') + format(100 * datum.value, '~g')"
    return alt.X(
        "from:Q",
        scale=alt.Scale(domain=[twins.left, twins.right], nice=False, zero=False),
        axis=alt.Axis(
            labelExpr=label,
            title=f"failures in 100 {unit}, more or fewer than with {name}",
            tickCount=6,
            labelFlush=False,
        ),
    )


def _backdrop(x: alt.X, worth: float) -> list[alt.Chart]:
    """The band of differences not worth knowing, the zero line, and which way is which."""
    layers = []
    if worth:
        band = plot([{"from": -worth, "to": worth}]).mark_rect(color=GREY, opacity=0.13, clip=True)
        layers.append(band.encode(x=x, x2="to:Q"))
    zero = plot([{"from": 0.0}])
    layers.append(zero.mark_rule(color=GREY, strokeWidth=1.5).encode(x=x))
    less = zero.mark_text(align="right", dx=-8, color=COLOURS[0], **ABOVE)
    more = zero.mark_text(align="left", dx=8, color=COLOURS[1], **ABOVE)
    for text, words in ((less, "← fails less"), (more, "fails more →")):
        layers.append(text.encode(x=x, y=alt.value(-2), text=alt.value(words)))
    return layers


def _description(title: str, finding: Finding, rows: Sequence[Row]) -> str:
    """The text alternative: what is drawn, and what the first row says."""
    text = [f"{title}. {counted(len(rows), 'row')} with raw and like-for-like differences."]
    first, *others = overall(finding)
    if others:
        text.append(f"First: {labelled(finding, first)}.")
    return " ".join(text)
