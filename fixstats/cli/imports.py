"""``fixstats import``: job sheets in."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli.door import DONE, HELD_BACK
from fixstats.cli.options import ShopOption
from fixstats.errors import UsageError
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.records.importer import ImportReport

# So many held-back rows are shown at once; all of them are in `fixstats heldback`.
SHOWN = 5


def import_(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE...", help="CSV, TSV, XLSX, Parquet, JSONL.")
    ] = None,
    mapping: Annotated[
        Path | None, typer.Option("--map", metavar="FILE", help="Says what your columns are.")
    ] = None,
    draft_map: Annotated[
        Path | None,
        typer.Option("--draft-map", metavar="FILE", help="Only write a proposed mapping here."),
    ] = None,
    covers: Annotated[
        str | None,
        typer.Option(metavar="all|seen|CODE,..", help="Failure modes that the bench looked for."),
    ] = None,
    update: Annotated[
        bool, typer.Option("--update", help="Change only the columns of this sheet.")
    ] = False,
    add_codes: Annotated[
        bool, typer.Option("--add-codes", help="Add unknown codes to the catalogue.")
    ] = False,
    check: Annotated[bool, typer.Option("--check", help="Validate only; change nothing.")] = False,
    shop: ShopOption = None,
) -> int:
    """Take in job sheets: all good rows or none; bad rows are held back, never lost.

    \b
    Examples:
      fixstats import jobs.csv
      fixstats import ours.xlsx --draft-map ours.toml
      fixstats import ours.xlsx --map ours.toml --covers all
    """
    from fixstats.folder import find_folder
    from fixstats.records.importer import import_sheets

    folder = find_folder(shop)
    if draft_map is not None:
        from fixstats.records.draft import write_draft

        if not files or len(files) != 1:
            raise UsageError("--draft-map reads one sheet: fixstats import SHEET --draft-map FILE")
        write_draft(folder, files[0], draft_map)
        print(f"wrote {draft_map}: read it, mend it, then")
        print(f"  fixstats import {files[0]} --map {draft_map}")
        return DONE
    reports = import_sheets(
        folder, files or [], mapping=mapping, covers=covers, update=update, add_codes=add_codes,
        check=check, progress=_progress(),
    )  # fmt: skip
    for report in reports:
        print(report_text(report, check=check))
    return HELD_BACK if any(report.held_back for report in reports) else DONE


def _progress() -> object:
    """Shows the stage on one line of a terminal; nothing where nobody watches."""
    if not sys.stderr.isatty():
        return None

    def show(stage: str) -> None:
        print(f"\r\033[K{stage}", end="\n" if not stage else "", file=sys.stderr, flush=True)

    return show


def report_text(report: ImportReport, *, check: bool = False) -> str:
    """What happened to a sheet, in a few lines."""
    return str(report)
