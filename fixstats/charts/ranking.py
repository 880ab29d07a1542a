"""Failure modes ranked by what they cost, with what the rate's interval leaves open."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import altair as alt

from fixstats.charts.names import mode_label, wrapped
from fixstats.charts.parts import (
    NAME_WIDTH,
    WIDTH,
    Record,
    counts_beside,
    legend_of,
    line_scales,
    plot,
    row_height,
    rows_at,
)
from fixstats.charts.style import COLOURS, finished, nothing
from fixstats.charts.words import (
    Row,
    count_words,
    interval_words,
    level_words,
    money,
    subtitle_of,
    view_words,
)
from fixstats.findings.base import Finding
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

MOST_ROWS = 40


def ranking_chart(costs: Finding) -> Picture:
    """Money by failure mode, greatest first, with whiskers and counts.

    The whiskers are the rate's interval at the cost of one failure; a mode without a cost in the
    catalogue is named, not ranked.
    """
    if not costs.rows:
        return nothing(costs)
    known = [row for row in costs.rows if row["money"] is not None]
    ranked = sorted(known, key=lambda row: -row["money"])
    unknown = [row for row in costs.rows if row["money"] is None]
    rows = [*ranked, *unknown][:MOST_ROWS]
    records = [_record(place, row, costs) for place, row in enumerate(rows)]
    names = [wrapped(mode_label(row, costs.labels), NAME_WIDTH) for row in rows]
    picture = _draw(records, names, costs).properties(width=WIDTH, height=row_height(names))
    left = len(costs.rows) - len(rows)
    lines = subtitle_of(
        [_sizes(costs.rows), view_words(costs)],
        costs,
        "whiskers carry the uncertainty of the rate, none of the cost",
        f"{left:,} rows of least money not drawn" if left else "",
    )
    title = _title(ranked, costs)
    return finished(picture, title, lines, _description(title, ranked, unknown, costs))


def _sizes(rows: Sequence[Row]) -> str:
    sizes = [row["opportunities"] for row in rows]
    between = f"{min(sizes):,}" if min(sizes) == max(sizes) else f"{min(sizes):,} to {max(sizes):,}"
    return f"n: {between} opportunities a row"


def _record(place: int, row: Row, costs: Finding) -> Record:
    words = count_words(row) if row["opportunities"] else "no opportunity"
    if row["cost_per_failure"] is None:
        words = f"{words}, no cost in the catalogue"
    kind = _kinds(costs)["interval" if row["failures"] else "limit"]
    return {
        "place": str(place),
        "from": row["money_low"],
        "to": row["money_high"],
        "money": row["money"],
        "kind": kind,
        "words": words,
    }


def _kinds(costs: Finding) -> dict[str, str]:
    return {
        "interval": interval_words(costs),
        "limit": f"no failure seen: up to the upper end of the {level_words(costs)} interval",
    }


def _draw(
    records: Sequence[Record], names: Sequence[Sequence[str]], costs: Finding
) -> alt.LayerChart | alt.FacetChart:
    y = rows_at(names)
    edge = max((record["to"] or 0 for record in records), default=0) or 1
    x = alt.X(
        "from:Q",
        scale=alt.Scale(domain=[0, 1.03 * edge], nice=False),
        axis=alt.Axis(
            title=f"money over the period, {costs.settings['currency']}",
            format=",~f",
            tickCount=5,
            labelFlush=False,
        ),
    )
    priced = [record for record in records if record["money"] is not None]
    used = {
        kind: text
        for kind, text in _kinds(costs).items()
        if any(record["kind"] == text for record in priced)
    }
    dash, _, _ = line_scales(used)
    legend = legend_of(used)
    whiskers = plot(priced).mark_rule(strokeWidth=2, color=COLOURS[0])
    points = plot([record for record in priced if record["money"]]).mark_point(
        shape="diamond", size=70, filled=True, color=COLOURS[0], opacity=1
    )
    return alt.layer(
        whiskers.encode(
            x=x, x2="to:Q", y=y, strokeDash=alt.StrokeDash("kind:N", scale=dash, legend=legend)
        ),
        points.encode(x="money:Q", y=y),
        *counts_beside(records, y),
    )


def _amount(row: Row, costs: Finding) -> str:
    """``5,100 EUR (3,700 to 7,000), 34 of 1,900``."""
    spread = f"{row['money_low']:,.0f} to {row['money_high']:,.0f}"
    return f"{money(row['money'], costs.settings['currency'])} ({spread}), {count_words(row)}"


def _title(ranked: Sequence[Row], costs: Finding) -> str:
    """The costliest mode, only as far as its interval stands clear of the others."""
    if not ranked:
        return "Cost of failures: no mode has a cost in the catalogue and a rate"
    first, *others = ranked
    name = mode_label(first, costs.labels)
    if not first["money"]:
        return f"Cost of failures: no failure seen in {counted(len(ranked), 'mode')} with a cost"
    near = sum(row["money_high"] >= first["money_low"] for row in others)
    if not others:
        return f"{name}: {_amount(first, costs)}"
    if not near:
        return f"Most money goes to {name}: {_amount(first, costs)}"
    modes = "1 other mode overlaps" if near == 1 else f"{near} other modes overlap"
    return f"{name}: {_amount(first, costs)}; {modes} its interval"


def _description(title: str, ranked: Sequence[Row], unknown: Sequence[Row], costs: Finding) -> str:
    text = [f"{title}. Failure modes ranked by money, {counted(len(ranked), 'row')}."]
    if len(ranked) > 1:
        text.append(f"Second: {mode_label(ranked[1], costs.labels)}: {_amount(ranked[1], costs)}.")
    if unknown:
        text.append(f"{counted(len(unknown), 'mode')} without a known cost or rate.")
    return " ".join(text)
