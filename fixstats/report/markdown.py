"""Blocks as Markdown; pictures become the tables behind them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from fixstats.report.blocks import (
    Actions,
    Block,
    Bullets,
    Cautions,
    Cell,
    Figure,
    Fold,
    Lines,
    Page,
    Paragraph,
    Section,
    Span,
    Table,
)
from fixstats.report.harmless import markdown_text


def markdown_page(page: Page) -> str:
    """The page as Markdown; the same blocks give the same bytes."""
    head = [f"# {markdown_text(page.title)}", markdown_text(page.subtitle)]
    return "\n\n".join([*head, *markdown_blocks(page.blocks)]) + "\n"


def markdown_blocks(blocks: Sequence[Block]) -> Iterator[str]:
    """Blocks as paragraphs of Markdown."""
    for block in blocks:
        yield from _SHOWN[type(block)](block)


def _section(block: Section) -> Iterator[str]:
    yield f"## {markdown_text(block.title)}"
    yield from markdown_blocks(block.blocks)


def _paragraph(block: Paragraph) -> Iterator[str]:
    yield markdown_text(block.text)


def _bullets(block: Bullets) -> Iterator[str]:
    yield "\n".join(f"- {markdown_text(one)}" for one in block.items)


def _cautions(block: Cautions) -> Iterator[str]:
    yield "\n".join(f"- **Caution:** {markdown_text(one)}" for one in block.items)


def _actions(block: Actions) -> Iterator[str]:
    lines = [
        [markdown_text(words) for words in (one.kind, one.text, one.number)] for one in block.items
    ]
    yield "\n".join(
        f"{n}. **{kind}**: {text} ({number})" for n, (kind, text, number) in enumerate(lines, 1)
    )


def _table(block: Table) -> Iterator[str]:
    source = f" (`{block.source}`)" if block.source else ""
    yield f"**{markdown_text(block.title)}**{source}"
    drawn = {n for row in block.rows for n, cell in enumerate(row) if isinstance(cell, Span)}
    kept = [n for n in range(len(block.columns)) if n not in drawn]
    lines = [
        [markdown_text(block.columns[n].head) for n in kept],
        ["---:" if block.columns[n].figures else "---" for n in kept],
        *([_cell(row[n]) for n in kept] for row in block.rows),
    ]
    yield "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def _cell(cell: Cell) -> str:
    """A cell is one line: what stands below each other goes side by side."""
    items = cell.items if isinstance(cell, Lines) else (str(cell or ""),)
    return "; ".join(map(markdown_text, items))


def _figure(block: Figure) -> Iterator[str]:
    yield markdown_text(block.description)
    yield from _table(block.behind)


def _fold(block: Fold) -> Iterator[str]:
    yield f"### {markdown_text(block.title)}"
    yield from markdown_blocks(block.blocks)


_SHOWN: dict[type, Callable[[Any], Iterator[str]]] = {
    Section: _section,
    Paragraph: _paragraph,
    Bullets: _bullets,
    Cautions: _cautions,
    Actions: _actions,
    Table: _table,
    Figure: _figure,
    Fold: _fold,
}
