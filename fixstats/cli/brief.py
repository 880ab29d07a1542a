"""``fixstats brief``: one page before the job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli import complete
from fixstats.cli.options import ShopOption, check_format

if TYPE_CHECKING:
    from fixstats.findings.base import Finding

WIDTH = 100


def brief(
    model: Annotated[
        str,
        typer.Option(
            "--model",
            metavar="MODEL",
            autocompletion=complete.models,
            help="Device model, also one never seen.",
        ),
    ],
    repair: Annotated[
        str,
        typer.Option(
            "--repair",
            metavar="REPAIR",
            autocompletion=complete.repairs,
            help="Repair, by its code or label.",
        ),
    ],
    form: Annotated[
        str | None,
        typer.Option(
            "--format",
            metavar="table|html|markdown|json|csv",
            help="How to print (default: table).",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Write to FILE: .html, .md, .json, .csv or .txt."
        ),
    ] = None,
    shop: ShopOption = None,
) -> int:
    """One page before the job: how to do each step, what goes wrong, what to check and to say.

    \b
    Examples:
      fixstats brief --model "Norvane 22" --repair battery_swap
      fixstats brief --model "Norvane 22" --repair battery_swap --out brief.html
    """
    from fixstats.cli.emit import emit
    from fixstats.shop import open_shop

    check_format(form, PAGES)  # before the work, not after it
    finding = open_shop(shop).brief(model=model, repair=repair).finding
    emit(finding, brief_text, form=form, out=out, pages=PAGES)
    return 0


def _html(finding: Finding) -> str:
    from fixstats.report.brief_page import brief_page
    from fixstats.report.page import html_page

    return html_page(brief_page(finding)).rstrip("\n")


def _markdown(finding: Finding) -> str:
    from fixstats.report.brief_page import brief_page
    from fixstats.report.markdown import markdown_page

    return markdown_page(brief_page(finding)).rstrip("\n")


def _json(finding: Finding) -> str:
    """With the other parts of the page beside what every answer has."""
    from fixstats.cli.emit import as_json_text

    return as_json_text(finding, parts=dict(finding.parts))


def _csv(finding: Finding) -> str:
    """A line for each failure of each step or part: a table has no room for a list in a cell."""
    from dataclasses import replace

    from fixstats.cli.emit import as_csv_text

    names = ("place", "choice", "option", "word", "failures_of")
    rows = [
        {**{n: row[n] for n in names}, **one} for row in finding.rows for one in row["failures"]
    ]
    return as_csv_text(replace(finding, rows=rows))


PAGES = {"html": _html, "markdown": _markdown, "json": _json, "csv": _csv}


def brief_text(finding: Finding) -> str:
    """The brief for a terminal: the same words as on paper, in the same order."""
    from fixstats.cli import text
    from fixstats.report import brief_page as page

    settings, parts = finding.settings, finding.parts
    room = min(text.width() or WIDTH, WIDTH)
    lines = [text.printable(page.title_of(settings)), *_wrapped(page.subtitle_of(settings), room)]

    def section(title: str, items: list[str]) -> None:
        if items:
            lines.extend(["", title.upper()])
            lines.extend(line for item in items for line in _wrapped(item, room, "- "))

    stop = [str(row["text"]) for row in parts["stop_first"]]
    section("Stop first", [*finding.cautions[:1], *stop] if stop else [])
    lines.extend(["", "STEP BY STEP"])
    for row in finding.rows:
        lines.extend(_wrapped(f"{row['label']}: {page.choice_words(row)}", room))
        lines.extend(_wrapped(row["why"], room, "    "))
        for failure in page.failure_lines(row):
            lines.extend(_wrapped(failure, room, "  ! "))
    minutes = [f"minutes: {row['text']}" for row in parts["minutes"]]
    section("Have ready, and plan", [*(row["text"] for row in parts["ready"]), *minutes])
    section("Check at intake, and write it down", page.intake_lines(parts["intake"]))
    section("Tell the customer", [row["text"] for row in parts["customer"]])
    section("Allowance for the price", [row["text"] for row in parts["allowance"]])
    section("Take care", page.method_cautions(finding))
    section("How to read this", [note.text for note in finding.notes])
    return "\n".join(lines)


def _wrapped(words: str, room: int, lead: str = "") -> list[str]:
    """The text in lines that fit, the first one led in."""
    import textwrap

    from fixstats.cli.text import printable

    return textwrap.wrap(
        printable(words), room, initial_indent=lead, subsequent_indent=" " * len(lead)
    )
