"""Reads the first sheet of a workbook as text, and finds cells that hold no stored value."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.errors import SheetError
from fixstats.records.sheets import LONGEST_CELL, ParquetSource

if TYPE_CHECKING:
    import polars as pl

_CELL = re.compile(rb'<c r="([A-Z]+)(\d+)"([^>]*?)(?:/>|>(.*?)</c>)', re.DOTALL)
_VALUE = re.compile(rb"<v[^>]*>([^<]+)</v>|<is>")
# One cell at fault: spreadsheet row, column from 0, reason, value.
CellFault = tuple[int, int, str, str]


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number - 1


def _first_sheet(archive: zipfile.ZipFile) -> bytes:
    """The XML of the first sheet, by the workbook's own list."""
    book = archive.read("xl/workbook.xml").decode("utf-8", "replace")
    links = archive.read("xl/_rels/workbook.xml.rels").decode("utf-8", "replace")
    sheet = re.search(r"<sheet [^>]*?r:id=\"([^\"]+)\"", book)
    for link in re.findall(r"<Relationship [^>]*>", links):
        if sheet and f'Id="{sheet[1]}"' in link:
            target = re.search(r'Target="([^"]+)"', link)
            if target:
                name = target[1].lstrip("/")
                return archive.read(name if name.startswith("xl/") else f"xl/{name}")
    return b""


def _without_value(path: Path) -> Iterator[CellFault]:
    """Cells that show an error, and formulas whose result is not stored in the file."""
    try:
        with zipfile.ZipFile(path) as archive:
            xml = _first_sheet(archive)
    except (zipfile.BadZipFile, KeyError):
        return
    if b"<f" not in xml and b't="e"' not in xml:
        return
    for letters, row, attributes, inner in _CELL.findall(xml):
        place = (int(row), _column_number(letters))
        value = _VALUE.search(inner)
        if b't="e"' in attributes:
            shown = value[1].decode() if value and value[1] else "#ERROR"
            yield *place, "a formula that went wrong, not a value", shown
        elif b"<f" in inner and value is None:
            formula = re.search(rb"<f[^>]*>([^<]*)</f>", inner)
            shown = "=" + formula[1].decode("utf-8", "replace") if formula else "="
            yield *place, "a formula, not a value", shown


def _frame(path: Path) -> pl.DataFrame:
    import fastexcel

    try:
        book = fastexcel.read_excel(path)
        sheet = book.load_sheet(0, header_row=None, dtypes="string")
    except (fastexcel.FastExcelError, OSError) as trouble:
        raise SheetError(
            f"{path}: is no workbook that can be read; nothing was changed\n"
            "save it again as .xlsx or .csv"
        ) from trouble
    return sheet.to_polars()


def workbook_source(path: Path, scratch: Path) -> ParquetSource:
    """The first sheet, every cell as text, its rows numbered as the spreadsheet shows them."""
    import polars as pl

    frame = _frame(path).with_row_index("sheet_row", offset=1)
    cells = frame.columns[1:]
    filled = frame.filter(pl.any_horizontal(pl.col(cells).str.strip_chars().str.len_bytes() > 0))
    if filled.height == 0:
        raise SheetError(f"{path}: is empty; nothing was changed")
    header = [str(name or "") for name in filled.row(0)[1:]]
    rows = filled.slice(1).select(
        *(pl.col(name).str.head(LONGEST_CELL).alias(f"c{n}") for n, name in enumerate(cells)),
        pl.col("sheet_row").cast(pl.Int64),
    )
    target = scratch / "workbook.parquet"
    rows.write_parquet(target)
    top = int(filled.row(0)[0])
    faults = tuple(fault for fault in _without_value(path) if fault[0] > top)
    return ParquetSource(target, header, rows=True, faults=faults)
