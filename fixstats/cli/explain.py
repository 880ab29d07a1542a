"""``fixstats explain``: what a word of the output means."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fixstats.cli import complete
from fixstats.cli.options import FormatOption, OutOption, ShopOption

if TYPE_CHECKING:
    from pathlib import Path

    from fixstats.findings.base import Finding

WIDTH = 88
Row = Mapping[str, Any]


def explain(
    term: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[TERM]",
            help="A word of the output; without it: list them.",
            autocompletion=complete.terms,
        ),
    ] = None,
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """What a word of the output means, in plain words, and the source of a method.

    Codes of the catalogue, columns of the questions of `query` and commands are explained, too.

    \b
    Examples:
      fixstats explain p_best
      fixstats explain within strata
      fixstats explain
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.base import listing

    word = " ".join(term or []).strip()
    rows = list(_meanings(word, shop)) if word else [_row(one) for one in _glossary()]
    finding = listing("explain", rows, settings={"term": word or None})
    emit(finding, _told if word else _list, form=form, out=out)
    return 0


def _glossary() -> tuple[Any, ...]:
    from fixstats.glossary import entries

    return entries()


def _row(entry: Any) -> dict[str, Any]:
    return {
        "term": entry.term,
        "also": list(entry.words[1:]),
        "theme": entry.theme,
        "meaning": entry.text,
        "source": entry.source,
    }


def _meanings(word: str, shop: Path | None) -> Iterator[dict[str, Any]]:
    """What the glossary says of a word; else the catalogue, else the questions of ``query``."""
    from fixstats.cli.explain_codes import of_catalogue, of_commands, of_questions
    from fixstats.errors import UsageError
    from fixstats.glossary import find, near
    from fixstats.words import listed

    entry = find(word)
    if entry:
        yield _row(entry)
        return

    others = [*of_catalogue(word, shop), *of_questions(word), *of_commands(word)]
    if not others:
        known = [f"'{one}'" for one in near(word)]
        hint = f"; near: {listed(known, 'or')}" if known else ""
        raise UsageError(f"'{word}' is not explained{hint}\nfixstats explain lists all words")
    yield from others


def _told(finding: Finding) -> str:
    """Each meaning: the words, where they belong, the text, the source."""
    from textwrap import fill

    from fixstats.cli.text import printable

    blocks = []
    for row in finding.rows:
        words = ", ".join([row["term"], *row["also"]])
        text = fill(row["meaning"], WIDTH, initial_indent="  ", subsequent_indent="  ")
        lines = [fill(f"{words}  [{row['theme']}]", WIDTH), text]
        lines += [f"  Source: {row['source']}"] if row["source"] else []
        blocks.append("\n".join(printable(line) for part in lines for line in part.split("\n")))
    return "\n\n".join(blocks)


def _list(finding: Finding) -> str:
    """The words theme by theme."""
    from itertools import groupby
    from textwrap import fill

    blocks = []
    for theme, rows in groupby(finding.rows, key=lambda row: row["theme"]):
        words = ", ".join(row["term"] for row in rows)
        blocks.append(
            f"{theme}\n" + fill(words, WIDTH, initial_indent="  ", subsequent_indent="  ")
        )
    return "\n\n".join([*blocks, "fixstats explain TERM tells what one means"])
