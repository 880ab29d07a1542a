"""A query's answer as a Polars frame, with types from the engine's, not guessed from values."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import polars as pl

_DTYPES: dict[str, Any] = {
    "BOOLEAN": pl.Boolean,
    "TINYINT": pl.Int8,
    "SMALLINT": pl.Int16,
    "INTEGER": pl.Int32,
    "BIGINT": pl.Int64,
    "HUGEINT": pl.Int128,
    "UTINYINT": pl.UInt8,
    "USMALLINT": pl.UInt16,
    "UINTEGER": pl.UInt32,
    "UBIGINT": pl.UInt64,
    "FLOAT": pl.Float32,
    "DOUBLE": pl.Float64,
    "VARCHAR": pl.String,
    "UUID": pl.String,
    "DATE": pl.Date,
    "TIME": pl.Time,
    "TIMESTAMP": pl.Datetime("us"),
    "TIMESTAMP WITH TIME ZONE": pl.Datetime("us", "UTC"),
    "INTERVAL": pl.Duration("us"),
    "BLOB": pl.Binary,
    '"NULL"': pl.Null,
}
_TEMPORAL = tuple(
    _DTYPES[kind] for kind in ("DATE", "TIME", "TIMESTAMP", "TIMESTAMP WITH TIME ZONE")
)
_INT64 = 2**63


def frame_of(
    columns: Sequence[str], types: Sequence[str], rows: Sequence[Sequence[Any]]
) -> pl.DataFrame:
    """The frame; names of columns must differ."""
    values = list(zip(*rows, strict=True)) or [()] * len(columns)
    return pl.DataFrame([_series(*column) for column in zip(columns, types, values, strict=True)])


def _series(name: str, kind: str, cells: Sequence[Any]) -> pl.Series:
    dtype = _dtype(kind, cells)
    if dtype in _TEMPORAL and any(isinstance(cell, str) for cell in cells):
        # Days before the year 1 or after 9999 come as text; so does the column then.
        texts = [None if cell is None else str(cell) for cell in cells]
        return pl.Series(name, texts, dtype=pl.String)
    return pl.Series(name, list(cells), dtype=dtype, strict=False)


def _dtype(kind: str, cells: Sequence[Any]) -> Any:
    """The Polars type; None (from the values) for structs, maps and what is rare."""
    if kind.endswith("]"):
        inner = _DTYPES.get(re.sub(r"\[\d*\]$", "", kind))
        return None if inner is None else pl.List(inner)
    decimal = re.fullmatch(r"DECIMAL\((\d+),(\d+)\)", kind)
    if decimal and decimal[2] != "0":
        return pl.Decimal(int(decimal[1]), int(decimal[2]))
    if decimal or kind == "HUGEINT":
        # Sums of integers come this wide; nearly all of them are ordinary.
        small = all(cell is None or -_INT64 <= cell < _INT64 for cell in cells)
        return pl.Int64 if small else pl.Int128
    return pl.String if kind.startswith("ENUM") else _DTYPES.get(kind)
