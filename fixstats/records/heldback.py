"""Rows that were not let in: listed, and exported as a sheet to mend and import again."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fixstats.engines.duck import reading
from fixstats.errors import StoreError, UsageError
from fixstats.folder import ShopFolder
from fixstats.records.columns import HELD_BACK_COLUMNS, sheet_columns
from fixstats.records.templates import fill

# A cell that begins so is a formula to a spreadsheet; an apostrophe in front keeps it a text.
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a row; ``column`` None: with the row as a whole."""

    column: str | None
    value: str | None
    reason: str

    def __str__(self) -> str:
        return f"{self.column}: {self.reason}" if self.column else self.reason


@dataclass(frozen=True)
class HeldBackRow:
    """One row that waits to be mended; ``cells`` are its filled cells by our column names."""

    batch: int
    file: str
    row: int
    job: str | None
    branch: str | None
    faults: tuple[Fault, ...]
    cells: Mapping[str, str]

    @property
    def key(self) -> str:
        """What stands in the column held_back of an exported sheet."""
        return f"{self.batch}:{self.row}"


def heldback(folder: ShopFolder) -> list[HeldBackRow]:
    """Every row that is held back, oldest import first."""
    with reading(folder.database) as con:
        rows = con.execute(fill("held_rows")).fetchall()
    return [
        HeldBackRow(
            batch, file, row, job, branch,
            tuple(Fault(f["column"], f["value"], f["reason"]) for f in faults),
            json.loads(line),
        )
        for batch, file, row, job, branch, faults, line in rows
    ]  # fmt: skip


def inert(cell: str) -> str:
    """The cell so that no spreadsheet takes it for a formula; numbers and '-' stay as they are."""
    if not cell.startswith(_FORMULA_SIGNS) or cell == "-":
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def export_heldback(folder: ShopFolder, out: Path) -> int:
    """Write the held-back rows as a sheet, CSV or XLSX by its ending; returns how many.

    Beside our columns it has ``held_back`` (batch:row, to find the row again) and ``reason``.

    Raises
    ------
    UsageError
        If the ending is neither .csv nor .xlsx.
    StoreError
        If the file cannot be written.
    """
    import polars as pl

    if out.suffix.lower() not in (".csv", ".xlsx"):
        raise UsageError(f"{out}: held-back rows are written as .csv or .xlsx")
    rows = heldback(folder)
    filled = {name for row in rows for name in row.cells}
    columns = [name for name in sheet_columns(folder.catalogue) if name in filled]
    names = [*HELD_BACK_COLUMNS, *(columns or ["job"])]
    table = [
        {
            "held_back": row.key,
            "reason": inert("; ".join(map(str, row.faults))),
            **{name: inert(row.cells[name]) for name in columns if name in row.cells},
        }
        for row in rows
    ]
    frame = pl.DataFrame(table, schema=dict.fromkeys(names, pl.String))
    try:
        if out.suffix.lower() == ".csv":
            frame.write_csv(out, include_bom=True)
        else:
            frame.write_excel(out, worksheet="held back", autofit=True)
    except OSError as trouble:
        raise StoreError(f"{out}: cannot be written ({trouble.strerror or trouble})") from trouble
    return len(rows)
