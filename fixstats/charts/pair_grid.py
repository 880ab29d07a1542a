"""Which grades of two parts disagree in one device: a grid of rates with counts in every cell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.names import mode_label, subject_words, wrapped
from fixstats.charts.parts import LINE, Record, many_unknown, plot, texts
from fixstats.charts.style import GREY, INK, finished, nothing
from fixstats.charts.words import (
    Row,
    bare,
    count_words,
    percent,
    rate_words,
    span_words,
    subtitle,
    telling,
)
from fixstats.findings.base import Finding
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.charts import Picture

# ColorBrewer's "Blues" of seven classes (Brewer, Hatchard and Harrower 2003), safe with any colour
# vision; without the fifth, on which no ink stands out, and the last. The darkest takes white text.
SHADES = ("#EFF3FF", "#C6DBEF", "#9ECAE1", "#6BAED6", "#2171B5")
DARK = 4
# A cell of fewer pairs is not shaded: one conflict more or less would change its colour.
ENOUGH = 20
# A cell of fewer is shaded in its middle only: at 100 pairs a rate of 5 % may still be 2 or 11 %.
FIRM = 100
CELL = (104, 50)
NAME, HEAD = 26, 15  # characters of a grade at the left, and over a column, in a line
MOST_CELLS = 120
NOT_KNOWN = "not known"


@dataclass(frozen=True)
class Panel:
    """One mode and two parts: the grades of the first are rows, of the second columns."""

    heading: str
    parts: tuple[str, str]
    rows: tuple[Row, ...]


def pair_grid(finding: Finding) -> Picture:
    """A grid for every mode and pair of parts; cells say rate, interval and counts.

    Darker is a higher rate; the words in the cell say the same. A cell of fewer than ``FIRM`` pairs
    looks uncertain, with a smaller shade; of fewer than ``ENOUGH`` it has no shade. A cell without
    a known opportunity says how many pairs are unknown.
    """
    if not finding.rows:
        return nothing(finding)
    panels, left = _panels(finding)
    rows = [row for panel in panels for row in panel.rows]
    top = max([row["rate"] for row in rows if _enough(row)], default=0.0)
    drawn = [_grid(panel, finding, top) for panel in panels]
    picture = alt.vconcat(*drawn, spacing=22)
    words = subtitle(
        finding,
        "darker: more often",
        f"smaller shade: fewer than {FIRM} pairs; no shade: fewer than {ENOUGH}",
        f"{counted(left, 'grid')} not drawn: fewest pairs" if left else "",
    )
    title = _title(finding, rows)
    return finished(picture, title, words, _description(title, rows))


def _enough(row: Row) -> bool:
    return bool(row["opportunities"] >= ENOUGH)


def _panels(finding: Finding) -> tuple[list[Panel], int]:
    """Panels in the order of the rows, and how many are left out: those of fewest pairs."""
    apart: dict[tuple[Any, ...], list[Row]] = {}
    for row in finding.rows:
        key = (row["mode"], row["family"], row["part_a"], row["part_b"])
        apart.setdefault(key, []).append(row)
    sizes = {key: sum(row["opportunities"] for row in rows) for key, rows in apart.items()}
    kept: set[tuple[Any, ...]] = set()
    room = MOST_CELLS
    for key in sorted(apart, key=lambda key: -sizes[key]):
        if not kept or len(apart[key]) <= room:
            kept.add(key)
            room -= len(apart[key])
    panels = [_panel(apart[key], finding) for key in apart if key in kept]
    return panels, len(apart) - len(panels)


def _panel(rows: Sequence[Row], finding: Finding) -> Panel:
    first = rows[0]
    parts = [finding.labels.get(first[part], first[part]) for part in ("part_a", "part_b")]
    heading = f"{mode_label(first, finding.labels)}: {parts[0]} with {parts[1]}"
    return Panel(heading, (parts[0], parts[1]), tuple(rows))


def _grades(rows: Sequence[Row], key: str, labels: Mapping[str, str]) -> list[str | None]:
    """Grades in the order of the catalogue, whose labels come in it; not known last."""
    order = [*labels]
    found = dict.fromkeys(row[key] for row in rows)
    return sorted(
        found,
        key=lambda grade: (grade is None, order.index(grade) if grade in labels else len(order)),
    )


def _grid(panel: Panel, finding: Finding, top: float) -> alt.LayerChart | alt.FacetChart:
    down, across = (_grades(panel.rows, key, finding.labels) for key in ("grade_a", "grade_b"))
    part_down, part_across = panel.parts
    keys = ("grade_a", "grade_b")
    if len(across) > max(len(down), 6):  # a grid is read better long than wide
        down, across, keys = across, down, keys[::-1]
        part_down, part_across = part_across, part_down
    cells = [
        _cell(row, top) | {"down": str(down.index(row[keys[0]])),
                           "across": str(across.index(row[keys[1]]))}
        for row in panel.rows
    ]  # fmt: skip
    y = alt.Y(
        "down:N",
        scale=alt.Scale(domain=[str(n) for n in range(len(down))], padding=0),
        axis=_axis(down, finding.labels, part_down, NAME),
    )
    x = alt.X(
        "across:N",
        scale=alt.Scale(domain=[str(n) for n in range(len(across))], padding=0),
        axis=_axis(across, finding.labels, part_across, HEAD),
    )
    heading = alt.TitleParams(
        wrapped(panel.heading, 90), fontSize=12, anchor="start", frame="group", offset=6
    )
    deep = max(len(cell["lines"]) for cell in cells) - 2
    return alt.layer(*_marks(cells, x, y, deep)).properties(
        width=alt.Step(CELL[0]), height=alt.Step(CELL[1] + LINE * deep), title=heading
    )


def _axis(
    grades: Sequence[str | None], labels: Mapping[str, str], part: str, width: int
) -> alt.Axis:
    names = [
        wrapped(NOT_KNOWN if grade is None else labels.get(grade, grade), width) for grade in grades
    ]
    padding = 6
    side: dict[str, Any] = {}
    if width == HEAD:  # further lines go down, into the grid: the first one starts higher
        padding += LINE * (max(map(len, names)) - 1)
        side = {"orient": "top", "labelAngle": 0}
    return alt.Axis(
        title=part, labelExpr=texts(names), ticks=False, domain=False, grid=False,
        labelPadding=padding, labelLineHeight=LINE, labelOverlap=False, **side,
    )  # fmt: skip


def _cell(row: Row, top: float) -> Record:
    """What is drawn and written in a cell."""
    counts = [count_words(row)]
    counts += [f"{row['unknown']:,} unknown"] if many_unknown(row) else []
    if row["rate"] is None:
        head, lines = NOT_KNOWN, ["no opportunity", f"{row['unknown']:,} unknown"]
    elif row["at_most"] is not None:
        head, lines = "none seen", [f"at most {percent(row['at_most'])}", *counts]
    else:
        head = percent(row["rate"])
        lines = [f"{bare(row['low'])} to {bare(row['high'])}", *counts]
    shade = -1
    if row["rate"] is not None and _enough(row):
        shade = min(int(len(SHADES) * row["rate"] / top), len(SHADES) - 1) if top else 0
    firm = row["opportunities"] >= FIRM
    about = f"{row['grade_a'] or NOT_KNOWN} with {row['grade_b'] or NOT_KNOWN}: {rate_words(row)}"
    ink = "white" if shade >= DARK else GREY if shade < 0 else INK
    return {"head": head, "lines": lines, "shade": shade, "firm": firm} | {
        "about": about, "ink": ink,
    }  # fmt: skip


def _marks(cells: Sequence[Record], x: alt.X, y: alt.Y, deep: int) -> list[alt.Chart]:
    """Borders, shades and words of all cells; ``deep``: lines of words beyond the usual two."""
    up = deep * LINE / 2
    fill = alt.Fill(
        "shade:N", legend=None,
        scale=alt.Scale(domain=[-1, *range(len(SHADES))], range=["white", *SHADES]),
    )  # fmt: skip
    base = plot(cells).encode(x=x, y=y)
    ink = alt.Color("ink:N", scale=None)
    head = base.mark_text(dy=-14 - up, fontSize=12, fontWeight="bold")
    lines = base.mark_text(dy=1 - up, fontSize=10, lineHeight=LINE)
    border = base.mark_rect(stroke=GREY, strokeWidth=0.7, fill="white")
    small: Any = {"width": {"band": 0.76}, "height": {"band": 0.88}}
    return [
        border.encode(description="about:N"),
        *(
            plot([cell for cell in cells if cell["firm"] == firm and cell["shade"] >= 0])
            .mark_rect(**size, stroke=GREY, strokeWidth=0.7 if firm else 0)
            .encode(x=x, y=y, fill=fill)
            for firm, size in ((True, {}), (False, small))
        ),
        head.encode(text="head:N", color=ink),
        lines.encode(text="lines:N", color=ink),
    ]


def _title(finding: Finding, rows: Sequence[Row]) -> str:
    """From where to where the rates of cells with enough pairs go."""
    subject = f"{subject_words(finding)} by pair of grades"
    known = [row for row in rows if row["rate"] is not None]
    if not known:
        return f"{subject}: no pair with two known grades, so there is no rate"
    if not any(row["failures"] for row in known):
        return f"{subject}: no conflict seen in {counted(len(known), 'pair')} of grades"
    keys = ("grade_a", "grade_b")
    return f"{subject}: {span_words(known, keys)} of the pairs conflict"


def _description(title: str, rows: Sequence[Row]) -> str:
    text = [f"{title}. {counted(len(rows), 'cell')} with rate, interval and counts."]
    known = telling(rows, ("grade_a", "grade_b"))
    if known and any(row["failures"] for row in known):
        row = max(known, key=lambda row: row["rate"])
        pair = f"{row['part_a']} {row['grade_a']} with {row['part_b']} {row['grade_b']}"
        text.append(f"Highest: {pair}: {rate_words(row)}.")
    return " ".join(text)
