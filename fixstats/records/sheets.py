"""Reads a file into the temporary table ``raw_sheet``: text cells under our column names.

A source knows its header before anything is loaded; then ``load`` takes the wanted columns in.
Rows are numbered as a spreadsheet shows them: the header is row 1.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from fixstats.errors import SheetError
from fixstats.records.mapping import Formats
from fixstats.records.templates import column, fill, one_number
from fixstats.records.textfile import TextFile, as_utf8, inspect_text

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

# A longer cell is no value of a job sheet: held back, and shown cut.
LONGEST_CELL = 1_000_000
_LONGEST_LINE = 4 * LONGEST_CELL
# (row, column or "", what is wrong with it, the value)
RowFault = tuple[int, str, str, str]


@dataclass(frozen=True)
class Loaded:
    """What ``load`` found: the SQL of a row's number, and rows that are broken as rows."""

    row: str
    faults: list[RowFault]


class Source(Protocol):
    """A file whose header is known."""

    @property
    def header(self) -> Sequence[str]:
        """The names of the columns, in order."""

    def load(self, con: Connection, wanted: Mapping[int, str]) -> Loaded:
        """Fill ``raw_sheet`` with the columns at these positions, under these names."""


def row_expression(con: Connection) -> str:
    """The number of a row from its place in ``raw_sheet``, which keeps the order of the file.

    Rows of an uncommitted table are numbered from a large base, so it is taken off.
    """
    rows = con.execute(fill("raw_span")).fetchall()
    first, last, count = rows[0]
    if count and last - first + 1 != count:
        raise RuntimeError("the rows of the sheet lost their order")
    return f"raw_sheet.rowid - {first or 0} + 2"


@dataclass(frozen=True)
class CsvSource:
    """A text file with separators, already in UTF-8."""

    file: TextFile
    shown: Path
    scratch: Path

    @property
    def header(self) -> Sequence[str]:
        """The names of the columns, in order."""
        return self.file.header

    def load(self, con: Connection, wanted: Mapping[int, str]) -> Loaded:
        """Fill ``raw_sheet``: in one statement, or row by row where some rows do not fit."""
        if self.file.plain and self._fast(con, self.file.path, self._names(wanted)):
            return Loaded(row_expression(con), [])
        return self._slow(con, wanted)

    def _names(self, wanted: Mapping[int, str]) -> list[str | None]:
        return [wanted.get(place) for place in range(len(self.header))]

    def _fast(self, con: Connection, path: Path, names: Sequence[str | None]) -> bool:
        """One statement for the whole file; False if any row does not fit the header."""
        con.execute("drop table if exists reject_errors; drop table if exists reject_scans")
        slots = [name or f"left_out_{place}" for place, name in enumerate(names)]
        text = fill(
            "read_csv",
            columns=", ".join(column(name) for name in names if name),
            slots=", ".join(f"{column(name)}: 'VARCHAR'" for name in slots),
        )
        sign = "," if path != self.file.path else self.file.separator
        con.execute(text, {"path": str(path), "separator": sign, "longest": _LONGEST_LINE})
        return not one_number(con, "count", table="reject_errors")

    def _slow(self, con: Connection, wanted: Mapping[int, str]) -> Loaded:
        """Row by row, for files in which some rows do not fit; clean copies of the rest."""
        faults: list[RowFault] = []
        target = self.scratch / "mended.csv"
        width, order = len(self.header), list(wanted)
        csv.field_size_limit(1 << 30)
        with (
            self.file.path.open(encoding="utf-8-sig", newline="") as source,
            target.open("w", encoding="utf-8", newline="") as sink,
        ):
            writer = csv.writer(sink, lineterminator="\n", quoting=csv.QUOTE_ALL)
            writer.writerow(["sheet_row", *(wanted[place] for place in order)])
            reader = csv.reader(source, delimiter=self.file.separator, strict=True)
            number = 0
            try:
                for number, cells in enumerate(reader, 1):
                    if not cells or number == 1:
                        continue
                    faults += _row_faults(number, cells, width, wanted)
                    fitted = [cell[:LONGEST_CELL].replace("\0", "") for cell in cells[:width]]
                    fitted += [""] * (width - len(fitted))
                    writer.writerow([number, *(fitted[place] for place in order)])
            except csv.Error as trouble:
                raise SheetError(
                    f"{self.shown}: row {number + 1}: {_csv_words(str(trouble))}; nothing was "
                    "changed\nmend that row in the spreadsheet and save the file again"
                ) from trouble
        names = ["sheet_row", *(wanted[place] for place in order)]
        if not self._fast(con, target, names):
            raise SheetError(f"{self.shown}: has rows that cannot be read; nothing was changed")
        return Loaded("cast(raw_sheet.sheet_row as bigint)", faults)


def _csv_words(message: str) -> str:
    if "unexpected end of data" in message or "expected after" in message:
        return "a quotation mark is opened and never closed"
    return f"cannot be read ({message})"


def _row_faults(
    number: int, cells: Sequence[str], width: int, wanted: Mapping[int, str]
) -> list[RowFault]:
    found: list[RowFault] = []
    if len(cells) != width:
        found.append(
            (number, "", f"the row has {len(cells)} cells where the header has {width}", "")
        )
    for place, name in wanted.items():
        if place < len(cells) and len(cells[place]) > LONGEST_CELL:
            size = len(cells[place]) / 1_000_000
            found.append((number, name, f"a cell of {size:.0f} million characters", "..."))
    return found


@dataclass(frozen=True)
class ParquetSource:
    """A Parquet file; ``faults`` come from whoever wrote it for us (XLSX)."""

    path: Path
    header: Sequence[str]
    rows: bool = False
    faults: tuple[tuple[int, int, str, str], ...] = ()

    def load(self, con: Connection, wanted: Mapping[int, str]) -> Loaded:
        """Fill ``raw_sheet`` with the wanted columns."""
        picked = [
            f'cast("c{place}" as varchar) as {column(name)}' for place, name in wanted.items()
        ]
        picked += ["sheet_row"] if self.rows else []
        aliases = ", ".join(f'"c{place}"' for place in range(len(self.header)))
        aliases += ", sheet_row" if self.rows else ""
        text = fill("read_parquet", columns=", ".join(picked), aliases=aliases)
        con.execute(text, {"path": str(self.path)})
        faults = [(row, wanted[place], reason, value)
                  for row, place, reason, value in self.faults if place in wanted]  # fmt: skip
        return Loaded("raw_sheet.sheet_row" if self.rows else row_expression(con), faults)


@dataclass(frozen=True)
class JsonSource:
    """JSON lines: one object a line, keys as columns. Row 1 is the first line."""

    path: Path
    header: Sequence[str]

    def load(self, con: Connection, wanted: Mapping[int, str]) -> Loaded:
        """Fill ``raw_sheet`` with the values under the wanted keys."""
        # a JSON path as text: the keys are the file's own words, so each is a parameter
        keys = {f"key{place}": '$."' + self.header[place].replace('"', '\\"') + '"'
                for place in wanted}  # fmt: skip
        picked = [f"json ->> $key{place} as {column(name)}" for place, name in wanted.items()]
        text = fill("read_json", columns=", ".join(picked))
        con.execute(text, {"path": str(self.path), **keys})
        return Loaded(row_expression(con) + " - 1", [])


def _keys(line: str, where: str) -> list[str]:
    """The keys of one line of JSON."""
    try:
        row = json.loads(line)
    except ValueError as trouble:
        row, why = None, f" ({trouble})"
    else:
        why = ""
    if not isinstance(row, dict):
        raise SheetError(
            f"{where} is no JSON object{why}; nothing was changed\n"
            'every line holds one job, such as {"job": "1017", "finished": "2026-01-31"}'
        )
    return list(row)


def _json_source(path: Path) -> JsonSource:
    names: dict[str, None] = {}
    with path.open(encoding="utf-8-sig", errors="replace") as lines:
        for number, line in enumerate(lines, 1):
            if line.strip():
                names |= dict.fromkeys(_keys(line, f"{path}: line {number}"))
    if not names:
        raise SheetError(f"{path}: is empty; nothing was changed")
    return JsonSource(path, list(names))


def _parquet_source(path: Path) -> ParquetSource:
    import polars as pl

    try:
        return ParquetSource(path, list(pl.read_parquet_schema(path)))
    except (pl.exceptions.PolarsError, OSError) as trouble:
        raise SheetError(f"{path}: is no Parquet file; nothing was changed") from trouble


def open_sheet(path: Path, formats: Formats, scratch: Path) -> Source:
    """The file, with its header read; ``scratch`` is a folder for temporary copies.

    Raises
    ------
    SheetError
        If the file is missing, empty, or nothing that can be read as a table.
    """
    if not path.is_file():
        raise SheetError(f"{path}: no such file; nothing was changed")
    if path.stat().st_size == 0:
        raise SheetError(f"{path}: is empty; nothing was changed")
    ending = path.suffix.lower()
    if ending in (".xlsx", ".xlsm", ".xls", ".ods"):
        from fixstats.records.workbook import workbook_source

        return workbook_source(path, scratch)
    if ending in (".jsonl", ".ndjson", ".json"):
        return _json_source(path)
    if ending == ".parquet":
        return _parquet_source(path)
    file = inspect_text(path, formats)
    if file.encoding not in ("utf-8", "utf-8-sig"):
        file = as_utf8(file, scratch / "utf8.csv")
    return CsvSource(file, path, scratch)
