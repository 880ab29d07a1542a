"""Where the order of two options turns round: their rates in every stratum, and all together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.comparison import (
    TURNS,
    against,
    comparison_subtitle,
    hundred,
    labelled,
    option_label,
    pair_counts,
    smaller,
    subject_of,
)
from fixstats.charts.names import by_keys, level_label, mode_label
from fixstats.charts.parts import WIDTH, Record, counts_beside, plot, row_height, rows_at
from fixstats.charts.sheet import Sheet
from fixstats.charts.style import COLOURS, GREY, INK, finished, nothing, percent_axis
from fixstats.charts.words import Row, percent
from fixstats.findings.base import Finding
from fixstats.findings.compare_words import Lead, spanned
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

# More strata than this are a thicket: those alike in the first keys are taken together, then cut.
MOST_STRATA = 24
MOST_PANELS = 3
# One option of a stratum with fewer opportunities does not set the scale.
TELLING = 20
WAYS = {"less": COLOURS[0], "more": COLOURS[1], "same": GREY}
HOW = {"adjusted": "like for like", "strata": "within strata"}
ARROWS = ("arrow less", "arrow more")
AREA = 420  # of the largest point


@dataclass(frozen=True)
class Side:
    """One option in one place: where it stands, out of how many; None: a fitted rate."""

    rate: float
    opportunities: int | None = None


@dataclass(frozen=True)
class Line:
    """Baseline and option in one place; ``strong``: all strata together."""

    name: str
    baseline: Side
    option: Side
    words: str
    strong: bool = False

    @property
    def way(self) -> str:
        """Whether the option fails less or more here than the baseline."""
        step = self.option.rate - self.baseline.rate
        return "same" if step == 0 else "less" if step < 0 else "more"


def strata_chart(finding: Finding) -> Picture:
    """Rows of a comparison whose order turns round, each with its strata below it.

    In every line an arrow runs from the rate of the baseline to that of the option; the area of a
    point is its number of opportunities. All jobs together and the like-for-like rates come first,
    then the strata, those that fail least on top: where few jobs of one option and many of the
    other lie in the hard strata, the raw order is theirs, not the options'.
    """
    rows = [row for row in finding.rows if row["reversal"] in TURNS]
    if not rows:
        return nothing(finding)
    rows.sort(key=lambda row: (row["reversal"] != "sure", -smaller(row)))
    shown = rows[:MOST_PANELS]
    sheet = Sheet()
    placed: list[tuple[str, Line]] = []
    said = ""
    for row in shown:
        if len(shown) > 1:
            sheet.heads[sheet.write(_heading(row, finding))] = 0
        strata, said = _strata(row, finding)
        for line in [*_together(row), *strata]:
            place = sheet.write(line.name)
            placed.append((place, line))
            if line.strong:
                sheet.heads[place] = 1
    edge = _edge([line for _, line in placed])
    counts = [{"place": place, "words": line.words} for place, line in placed]
    y = rows_at(sheet.names, sheet.heads)
    names = _names(shown, finding)
    picture = alt.layer(
        *_layers(placed, edge, y, names), *counts_beside(counts, y, "failures: option | baseline")
    ).properties(width=WIDTH, height=row_height(sheet.names))
    more = len(rows) - len(shown)
    more = len(rows) - len(shown)
    words = [
        *comparison_subtitle(
            finding, f"{counted(more, 'more row')} that may turn round, not drawn" if more else ""
        ),
        *([_spans(shown[0], finding), said] if len(shown) == 1 else []),
        "area of a point: its opportunities; an arrow to the left: the option fails less there",
    ]
    title = _title(shown[0], finding)
    text = f"{title}. {labelled(finding, shown[0])}. {_turned(placed)}"
    return finished(picture, title, [line for line in words if line], text)


def _names(shown: Sequence[Row], finding: Finding) -> tuple[str, str]:
    pairs = {(row["option"], row["baseline"]) for row in shown}
    if len(pairs) > 1:
        return "the baseline", "the option"
    option, baseline = pairs.pop()
    return option_label(baseline, finding.labels), option_label(option, finding.labels)


def _raw(row: Row) -> Lead:
    return Lead("raw", row["difference"], row["difference_low"], row["difference_high"])


def _fair(row: Row) -> Lead:
    """The figure that points the other way than the raw one: adjusted, else within strata."""
    fitted = row["adjusted_difference"]
    kind = "strata" if fitted is None or fitted * row["difference"] >= 0 else "adjusted"
    figures = [row[f"{kind}_{name}"] for name in ("difference", "low", "high")]
    return Lead(HOW[kind], *figures)


def _spans(row: Row, finding: Finding) -> str:
    """The raw difference and the one that turns it round with their intervals, in words."""
    unit = finding.settings["unit"]
    fair = _fair(row)
    words = spanned(fair, unit).replace(f" in 100 {unit}", "")
    return f"raw: {spanned(_raw(row), unit)}; {fair.kind}: {words}"


def _heading(row: Row, finding: Finding) -> str:
    mode = f"{mode_label(row, finding.labels)}: " if row["mode"] or row["family"] else ""
    return f"{mode}{against(row, finding.labels)}"


def _title(row: Row, finding: Finding) -> str:
    """What all jobs together say, and whether that holds like for like; as far as intervals go."""
    option = option_label(row["option"], finding.labels)
    raw, fair = _raw(row), _fair(row)
    here, there = ("more", "less") if raw.difference > 0 else ("less", "more")
    sure = [lead.low * lead.high > 0 for lead in (raw, fair)]
    if all(sure):
        said = (
            f"the order turns round. {option} fails {here} in all jobs together, but {there} "
            f"{fair.kind}"
        )
    elif sure[0]:
        said = f"{option} fails {here} in all jobs together, but that does not hold {fair.kind}"
    elif sure[1]:
        said = f"{option} fails {there} {fair.kind}, though all jobs together point the other way"
    else:
        said = (
            f"the order may turn round. {option} failed {here} in all jobs together, {there} "
            f"{fair.kind}, and either may be chance"
        )
    return f"{subject_of(finding)}: {said}"


def _turned(placed: Sequence[tuple[str, Line]]) -> str:
    """How many strata lie which way, for the text alternative."""
    ways = [line.way for _, line in placed if not line.strong]
    return (
        f"{counted(len(ways), 'stratum', 'strata')} drawn: the option fails less in "
        f"{ways.count('less')}, more in {ways.count('more')}."
    )


def _together(row: Row) -> list[Line]:
    """All jobs as they stand in the records, and like for like where there is a fit."""
    baseline, option = (
        Side(row[f"{of}failures"] / row[f"{of}opportunities"], row[f"{of}opportunities"])
        for of in ("baseline_", "")
    )
    before, after = row["baseline_adjusted_rate"], row["adjusted_rate"]
    words = pair_counts(row)
    if None in (before, after):  # no fit: within strata there is a difference, but no two rates
        words += f"; within strata {hundred(row['strata_difference'])} in 100"
    found = [Line("All jobs together, raw", baseline, option, words, strong=True)]
    if None not in (before, after):
        words = f"{percent(after)} | {percent(before)}, adjusted"
        found.append(Line("Like for like", Side(before), Side(after), words, strong=True))
    return found


def _strata(row: Row, finding: Finding) -> tuple[list[Line], str]:
    """The strata of a row where both options were used, and what is not seen of them.

    Many strata are taken together by adding up their counts over the last keys: models with all
    their technicians, say. What fails least comes first.
    """
    keys = finding.settings["strata"]
    entries = [
        one
        for one in finding.parts.get("strata", ())
        if one["option"] in (row["option"], row["baseline"])
        and (one["mode"], one["family"]) == (row["mode"], row["family"])
    ]
    strata: list[_Stratum] = []
    both: list[_Stratum] = []
    used = keys
    for depth in range(len(keys), 0, -1):
        used = keys[:depth]
        strata = _added(entries, used, row)
        both = [one for one in strata if one.both]
        if len(both) <= MOST_STRATA:
            break
    both.sort(key=lambda one: -min(one.jobs))
    kept = sorted(both[:MOST_STRATA], key=lambda one: one.rate)
    left = len(strata) - len(kept)
    said = [_names_of(keys, "strata of", finding)] if strata else []
    said += [_names_of(used, "drawn by", finding)] if len(used) < len(keys) else []
    said += [f"{left:,} not drawn: one option only, or few jobs"] if left else []
    return [one.line(finding) for one in kept], ", ".join(said)


def _names_of(keys: Sequence[str], begin: str, finding: Finding) -> str:
    return f"{begin} {by_keys([(key,) for key in keys], finding.labels)}"


@dataclass
class _Stratum:
    """Counts of one stratum: baseline, option."""

    keys: dict[str, Any]
    failures: list[int]
    jobs: list[int]

    @property
    def both(self) -> bool:
        return min(self.jobs) > 0

    @property
    def rate(self) -> float:
        return sum(self.failures) / sum(self.jobs)

    def line(self, finding: Finding) -> Line:
        labels = finding.labels
        name = ", ".join(level_label((key,), self.keys, labels) for key in self.keys)
        baseline, option = (Side(k / n, n) for k, n in zip(self.failures, self.jobs, strict=True))
        words = [f"{k:,} of {n:,}" for k, n in zip(self.failures, self.jobs, strict=True)]
        return Line(name, baseline, option, " | ".join(words[::-1]))


def _added(entries: Sequence[Row], keys: Sequence[str], row: Row) -> list[_Stratum]:
    found: dict[tuple[Any, ...], _Stratum] = {}
    for one in entries:
        values = {key: one[key] for key in keys}
        stratum = found.setdefault(tuple(values.values()), _Stratum(values, [0, 0], [0, 0]))
        side = int(one["option"] == row["option"])
        stratum.failures[side] += one["failures"]
        stratum.jobs[side] += one["opportunities"]
    return [one for one in found.values() if sum(one.jobs)]


def _edge(lines: Sequence[Line]) -> float:
    """Where the scale ends: at the highest rate of what is not small."""
    rates = [
        side.rate
        for line in lines
        for side in (line.baseline, line.option)
        if line.strong or (side.opportunities or 0) >= TELLING
    ]
    return min(1.0, 1.06 * max(rates)) or 0.05


def _layers(
    placed: Sequence[tuple[str, Line]], edge: float, y: alt.Y, names: tuple[str, str]
) -> list[alt.Chart]:
    """Lines, the arrow in the middle of each, and the points at their ends."""
    x = alt.X(
        "from:Q",
        scale=alt.Scale(domain=[0, edge], nice=False, zero=True),
        axis=percent_axis(title="failures per opportunity, %", tickCount=6, labelFlush=False),
    )
    sizes = [
        side.opportunities or 0
        for _, line in placed
        for side in (line.baseline, line.option)
        if not line.strong
    ]
    largest = max(sizes, default=1)
    lines: list[Record] = []
    arrows: list[Record] = []
    points: list[Record] = []
    for place, line in placed:
        ends = [min(side.rate, edge) for side in (line.baseline, line.option)]
        base = {"place": place, "way": line.way, "strong": line.strong}
        base["about"] = f"{line.name}: {line.words}"
        lines.append(base | {"from": ends[0], "to": ends[1]})
        if line.way != "same":
            arrows.append(base | {"from": sum(ends) / 2, "who": f"arrow {line.way}"})
        for who, side, at in zip(names, (line.baseline, line.option), ends, strict=True):
            size = largest if line.strong else side.opportunities
            points.append(base | {"from": at, "who": who, "size": min(size or 0, largest)})
    signs = alt.Scale(
        domain=[*names, *ARROWS], range=["square", "circle", "triangle-left", "triangle-right"]
    )
    return [
        _rules(lines, x, y),
        _arrows(arrows, x, y, signs),
        _points(points, x, y, signs, largest),
    ]


def _colour() -> alt.Color:
    scale = alt.Scale(domain=[*WAYS], range=[*WAYS.values()])
    return alt.Color("way:N", legend=None, scale=scale)


def _legend(signs: alt.Scale) -> alt.Legend:
    """Points only; the same with every encoding, else the legend comes twice."""
    return alt.Legend(values=signs["domain"][:2], symbolSize=120)


def _rules(lines: Sequence[Record], x: alt.X, y: alt.Y) -> alt.Chart:
    width = alt.condition("datum.strong", alt.value(4), alt.value(1.8))
    drawn: alt.Chart = (
        plot(lines)
        .mark_rule()
        .encode(x=x, x2="to:Q", y=y, color=_colour(), strokeWidth=width, description="about:N")
    )
    return drawn


def _arrows(arrows: Sequence[Record], x: alt.X, y: alt.Y, signs: alt.Scale) -> alt.Chart:
    shape = alt.Shape("who:N", scale=signs, legend=_legend(signs))
    size = alt.condition("datum.strong", alt.value(190), alt.value(75))
    drawn: alt.Chart = (
        plot(arrows)
        .mark_point(filled=True, opacity=1)
        .encode(x=x, y=y, shape=shape, color=_colour(), size=size)
    )
    return drawn


def _points(
    points: Sequence[Record],
    x: alt.X,
    y: alt.Y,
    signs: alt.Scale,
    largest: int,
) -> alt.Chart:
    """Square: the baseline; circle: the option. See-through, since they may lie on each other."""
    legend = _legend(signs)
    # The same domain as the shapes, arrows included: else there are two legends.
    fill = alt.Scale(domain=signs["domain"], range=["#BFBFBF", INK, INK, INK])
    size = alt.Scale(type="linear", domain=[0, largest], range=[12, AREA])
    drawn: alt.Chart = (
        plot(points)
        .mark_point(stroke=INK, strokeWidth=1.2, fillOpacity=0.45, opacity=1)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("who:N", scale=signs, legend=legend),
            fill=alt.Fill("who:N", scale=fill, legend=legend),
            size=alt.Size("size:Q", scale=size, legend=None),
            description="about:N",
        )
    )
    return drawn
