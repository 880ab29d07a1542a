"""Blocks as one self-contained HTML page: no network, no script, for screen, phone and paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from fixstats.report.blocks import (
    Actions,
    Block,
    Bullets,
    Cautions,
    Cell,
    Column,
    Figure,
    Fold,
    Lines,
    Page,
    Paragraph,
    Section,
    Span,
    Table,
)
from fixstats.report.harmless import html_name, html_text

# Nothing may be fetched, run or sent.
_POLICY = Markup(
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
)
_SKELETON = Markup(
    """<!DOCTYPE html>
<html lang="en" dir="ltr">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{title}</title>
<style>
{style}</style>
</head>
<body class="{kind}">
<header><h1>{title}</h1><p>{subtitle}</p>{contents}</header>
<main>
{body}
</main>
</body>
</html>
"""
)
# A page of fewer sections is read without links.
FEWEST_LINKS = 8
# An interval beside its words: 90 by 14 units, the estimate as a dot.
_SPAN_WIDTH, _SPAN_HEIGHT = 90, 14


def html_page(page: Page) -> str:
    """The page as one HTML file; the same blocks give the same bytes."""
    return str(
        _SKELETON.format(
            policy=_POLICY,
            kind=page.kind,
            title=html_text(page.title),
            subtitle=html_text(page.subtitle),
            style=Markup(files(__package__).joinpath("page.css").read_text(encoding="utf-8")),
            contents=_contents(page.blocks),
            body=html_blocks(page.blocks),
        )
    )


def _contents(blocks: Sequence[Block]) -> Markup:
    """Links to the sections, where there are many."""
    sections = [block for block in blocks if isinstance(block, Section)]
    if len(sections) < FEWEST_LINKS:
        return Markup("")
    links = (
        Markup('<a href="#{}">{}</a>').format(one.anchor, html_text(one.title)) for one in sections
    )
    return Markup('\n<nav aria-label="Contents">{}</nav>').format(Markup("\n").join(links))


def html_blocks(blocks: Sequence[Block]) -> Markup:
    """Blocks one below the other."""
    return Markup("\n").join(_SHOWN[type(block)](block) for block in blocks)


def _section(block: Section) -> Markup:
    words = Markup('<section aria-labelledby="{a}"><h2 id="{a}">{}</h2>\n{}\n</section>')
    return words.format(html_text(block.title), html_blocks(block.blocks), a=block.anchor)


def _paragraph(block: Paragraph) -> Markup:
    return Markup("<p{}>{}</p>").format(_small(block.small), html_text(block.text))


def _bullets(block: Bullets) -> Markup:
    items = Markup("").join(Markup("<li>{}</li>").format(html_text(one)) for one in block.items)
    return Markup("<ul{}>{}</ul>").format(_small(block.small), items)


def _small(small: bool) -> Markup:
    return Markup(' class="small"') if small else Markup("")


def _cautions(block: Cautions) -> Markup:
    items = Markup("").join(Markup("<li>{}</li>").format(html_text(one)) for one in block.items)
    return Markup('<ul class="cautions">{}</ul>').format(items)


def _actions(block: Actions) -> Markup:
    line = Markup('<li{}><b>{}</b><span class="do">{}</span><span class="number">{}</span></li>')
    items = (
        line.format(
            Markup(' class="urgent"') if one.urgent else "",
            *map(html_text, (one.kind, one.text, one.number)),
        )
        for one in block.items
    )
    return Markup('<ol class="actions">\n{}\n</ol>').format(Markup("\n").join(items))


def _table(block: Table) -> Markup:
    """The table in a frame that scrolls by itself, by keyboard too, where it is too wide."""
    frame = Markup(
        '<div class="scroll" role="group" aria-label="{title}" tabindex="0"><table>'
        "<caption>{title}{source}</caption>"
        "<thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}\n</tbody></table></div>"
    )
    heads = (
        Markup('<th scope="col"{}>{}</th>').format(_flush(column), html_text(column.head))
        for column in block.columns
    )
    rows = (
        Markup("<tr>{}</tr>").format(
            Markup("").join(
                _cell(cell, column, first=n == 0)
                for n, (cell, column) in enumerate(zip(row, block.columns, strict=True))
            )
        )
        for row in block.rows
    )
    return frame.format(
        title=html_text(block.title),
        source=_source(block),
        heads=Markup("").join(heads),
        rows=Markup("\n").join(rows),
    )


def _source(block: Table) -> Markup:
    """Where the figures lie unrounded."""
    words = Markup(' <span class="source">{}</span>')
    return words.format(block.source) if block.source else Markup("")


def _flush(column: Column) -> Markup:
    return Markup(' class="figures"') if column.figures else Markup("")


def _cell(cell: Cell, column: Column, *, first: bool) -> Markup:
    if isinstance(cell, Span):
        return Markup('<td class="span">{}</td>').format(_span(cell))
    words = _lines(cell) if isinstance(cell, Lines) else html_name(cell or "")
    if first:
        return Markup('<th scope="row">{}</th>').format(words)
    return Markup("<td{}>{}</td>").format(_flush(column), words)


def _lines(cell: Lines) -> Markup:
    line, lead = Markup('<span class="cell-line">{}</span>'), Markup('<b class="cell-line">{}</b>')
    return Markup("").join(
        (lead if cell.lead and n == 0 else line).format(html_name(item))
        for n, item in enumerate(cell.items)
    )


def _span(span: Span) -> Markup:
    """The interval as a line with its estimate; the words beside it say the same."""
    middle = _SPAN_HEIGHT / 2
    low, high = _place(span, span.low), _place(span, span.high)
    parts = []
    if span.mark is not None:
        at = _place(span, span.mark)
        parts.append(f'<path class="mark" d="M{at} 0V{_SPAN_HEIGHT}"/>')
    parts.append(f'<path class="line" d="M{low} {middle}H{high}"/>')
    if span.at is not None:
        parts.append(f'<circle cx="{_place(span, span.at)}" cy="{middle}" r="3"/>')
    return Markup(
        f'<svg class="interval" viewBox="0 0 {_SPAN_WIDTH} {_SPAN_HEIGHT}" '
        f'width="{_SPAN_WIDTH}" height="{_SPAN_HEIGHT}" aria-hidden="true" focusable="false">'
        f"{''.join(parts)}</svg>"
    )


def _place(span: Span, value: float) -> float:
    """Where a value lies, within the drawing."""
    wide = span.last - span.first
    share = (value - span.first) / wide if wide > 0 else 0.0
    return round(4 + (_SPAN_WIDTH - 8) * min(max(share, 0.0), 1.0), 1)


def _figure(block: Figure) -> Markup:
    """The picture, its words, and the table behind it."""
    frame = Markup(
        '<figure><div class="scroll picture" role="group" aria-label="{title}" tabindex="0">'
        "{svg}</div>\n<figcaption>{name}</figcaption>\n"
        "<details><summary>The table behind it</summary>\n{table}\n</details></figure>"
    )
    # The description stands in the SVG, where those find it who cannot see the picture.
    return frame.format(
        title=html_text(block.title),
        svg=Markup(block.svg),
        name=_source(block.behind) or html_text(block.behind.title),
        table=_table(block.behind),
    )


def _fold(block: Fold) -> Markup:
    words = Markup("<details><summary>{}</summary>\n{}\n</details>")
    return words.format(html_text(block.title), html_blocks(block.blocks))


_SHOWN: dict[type, Callable[[Any], Markup]] = {
    Section: _section,
    Paragraph: _paragraph,
    Bullets: _bullets,
    Cautions: _cautions,
    Actions: _actions,
    Table: _table,
    Figure: _figure,
    Fold: _fold,
}
