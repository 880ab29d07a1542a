"""``fixstats import``: job sheets in."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli import text
from fixstats.cli.door import DONE
from fixstats.cli.options import ShopOption
from fixstats.errors import UsageError
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.folder import ShopFolder
    from fixstats.records.importer import ImportReport, SheetReport

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
        return _draft(folder, files or [], draft_map)
    if not files and not folder.waiting:
        raise UsageError("name the sheets to take in: fixstats import FILE...")
    report = import_sheets(
        folder, files or [], mapping=mapping, covers=covers, update=update, add_codes=add_codes,
        check=check, progress=progress_line(),
    )  # fmt: skip
    print(report_text(report))
    return report.exit_code


def _draft(folder: ShopFolder, files: list[Path], target: Path) -> int:
    """Propose a mapping for one sheet; never over a file that somebody has mended."""
    from fixstats.records.draft import draft_mapping

    if len(files) != 1:
        raise UsageError("--draft-map reads one sheet: fixstats import SHEET --draft-map FILE")
    if target.exists():
        raise UsageError(f"{target}: is there already; name a new file, or remove it first")
    text = draft_mapping(folder, files[0])
    try:
        target.write_text(text, encoding="utf-8")
    except OSError as trouble:
        raise UsageError(f"{target}: cannot be written ({trouble.strerror})") from trouble
    print(f"wrote {target}: read it, mend it, then")
    print(f"  fixstats import {files[0]} --map {target}")
    return DONE


def progress_line() -> Callable[[str], None] | None:
    """Shows the stage on one line of a terminal; nothing where nobody watches."""
    if not sys.stderr.isatty():
        return None

    def show(stage: str) -> None:
        print(f"\r\033[K{stage}", end="\n" if not stage else "", file=sys.stderr, flush=True)

    return show


def report_text(report: ImportReport) -> str:
    """What became of the sheets, in a few lines each."""
    lines = [line for sheet in report.sheets for line in _sheet_lines(sheet)]
    if report.codes_added:
        verb = "would be added" if report.checked else "added"
        lines.append(f"{verb} to the catalogue: {', '.join(report.codes_added)}")
    if report.held_back and not report.checked:
        lines.append("held-back rows: fixstats heldback shows them, --out FILE to mend them")
    if report.checked:
        lines.append("only checked: nothing was stored")
    return "\n".join(text.printable(line) for line in lines)


def _sheet_lines(sheet: SheetReport) -> list[str]:
    counts = {
        "new": sheet.added, "changed": sheet.changed, "unchanged": sheet.unchanged,
        "repeated": sheet.repeated, "held back": sheet.held_back,
    }  # fmt: skip
    told = ", ".join(f"{number:,} {word}" for word, number in counts.items() if number)
    batch = "" if sheet.batch is None else f" (import {sheet.batch})"
    lines = [f"{sheet.file}{batch}: {counted(sheet.rows_read, 'row')}: {told or 'nothing new'}"]
    lines += [f"  {note}" for note in sheet.notes]
    for row, column, value, reason in sheet.preview[:SHOWN]:
        what = f" {column}" if column else ""
        shown = f" '{text.shortened(value, 40)}'" if value else ""
        lines.append(f"  row {row}:{what}{shown}: {reason}")
    if len(sheet.preview) > SHOWN:
        lines.append(f"  ... and {len(sheet.preview) - SHOWN:,} more faults")
    return lines
