"""``fixstats query``: the questions that ship with fixstats."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli.options import FormatOption, OutOption, ShopOption, pairs

if TYPE_CHECKING:
    from fixstats.findings.base import Note
    from fixstats.tallies.questions import Answer


def query(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="A question; without it: list them.")
    ] = None,
    values: Annotated[
        list[str] | None, typer.Option("--set", metavar="KEY=VALUE", help="A parameter's value.")
    ] = None,
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """List the questions that ship with fixstats, or run one.

    \b
    Examples:
      fixstats query
      fixstats query minutes_by_method --set step=opening
    """
    from fixstats.cli.emit import emit
    from fixstats.cli.sql import rows_text
    from fixstats.findings.base import listing
    from fixstats.shop import open_shop
    from fixstats.tallies.questions import run_question

    if name is None:
        emit(listing("questions", _questions()), rows_text, form=form, out=out)
        return 0
    answer = run_question(open_shop(shop).folder, name, dict(pairs(values, "--set")))
    rows = [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]
    settings = {"question": answer.question.question, **answer.settings}
    found = listing(name, rows, settings=settings, notes=_notes(answer))
    emit(found, rows_text, form=form, out=out)
    return 0


def _notes(answer: Answer) -> list[Note]:
    """What the question says of itself, and how to read a row without a failure."""
    from fixstats.findings.base import Note

    notes = [Note("question", text) for text in answer.question.notes]
    limits = [n for n, name in enumerate(answer.columns) if name.endswith("at_most")]
    if any(row[n] is not None for row in answer.rows for n in limits):
        level = f"{100 * answer.settings['confidence_level']:g} %"
        text = (
            f"none seen does not mean none: at_most is the exact one-sided "
            f"{level} upper limit; low and high of such a row are the two-sided interval"
        )
        notes.append(Note("zero_failures", text))
    return notes


def _questions() -> list[dict[str, str]]:
    """Every question with its parameters and their defaults."""
    from fixstats.tallies.questions import all_questions

    return [
        {
            "name": one.name,
            "question": one.question,
            "set": ", ".join(f"{p.name}={p.default}" for p in one.parameters),
        }
        for one in all_questions().values()
    ]
