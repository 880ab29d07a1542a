"""What a page is made of, before it is HTML or Markdown: frozen blocks of plain text.

Text is plain: whoever renders a block makes it harmless. Nothing here may hold markup, but for
`Figure.svg`, which comes out of `charts.save` with everything in it escaped already.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Section:
    """A heading with what stands under it; ``anchor`` is its name in links."""

    title: str
    anchor: str
    blocks: Sequence[Block]


@dataclass(frozen=True)
class Paragraph:
    """Running text; ``small`` for what qualifies a figure."""

    text: str
    small: bool = False


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    items: Sequence[str]
    small: bool = False


@dataclass(frozen=True)
class Cautions:
    """What can hurt someone: set apart and never folded away."""

    items: Sequence[str]


@dataclass(frozen=True)
class Action:
    """One line of what to do: a word for how it is meant, what to do, the number behind it."""

    kind: str
    text: str
    number: str
    urgent: bool = False


@dataclass(frozen=True)
class Actions:
    """Lines of what to do, most urgent first."""

    items: Sequence[Action]


@dataclass(frozen=True)
class Span:
    """An interval to be drawn beside its words, all in the unit of the column.

    ``low`` and ``high`` are its ends, ``at`` the estimate (None: none to draw), ``first`` and
    ``last`` the ends of the column's scale, ``mark`` where a line is drawn through (such as 0).
    """

    low: float
    at: float | None
    high: float
    first: float
    last: float
    mark: float | None = None


@dataclass(frozen=True)
class Lines:
    """Several lines of text in one cell; ``lead``: the first one is what the others are about."""

    items: Sequence[str]
    lead: bool = False


Cell = str | Span | Lines | None


@dataclass(frozen=True)
class Column:
    """A column: its heading, and whether its cells are figures (flush right)."""

    head: str
    figures: bool = False


@dataclass(frozen=True)
class Table:
    """A table for people; ``source`` names the CSV file that holds its figures unrounded.

    A column of `Span` is drawn in HTML and left out of Markdown, since the words stand beside it.
    """

    title: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    source: str | None = None


@dataclass(frozen=True)
class Figure:
    """A picture with its table behind it; ``title`` and ``description`` are its words."""

    svg: str
    title: str
    description: str
    behind: Table


@dataclass(frozen=True)
class Fold:
    """Blocks that only who asks unfolds; on paper they are left out, in Markdown they are shown."""

    title: str
    blocks: Sequence[Block]


@dataclass(frozen=True)
class Page:
    """A whole page.

    ``tables`` are the rows behind it, by name of the CSV file; ``kind`` is a word for the style
    sheet: ``brief`` fits a page of paper; ``name``: of the folder it is kept in.
    """

    title: str
    subtitle: str
    blocks: Sequence[Block]
    tables: Mapping[str, Sequence[Mapping[str, Any]]]
    kind: str = "report"
    name: str = ""


Block = Section | Paragraph | Bullets | Cautions | Actions | Table | Figure | Fold
