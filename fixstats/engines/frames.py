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
_INT64 = 2**63


def frame_of(
    columns: Sequence[str], types: Sequence[str], rows: Sequence[Sequence[Any]]
) -> pl.DataFrame:
    """The frame; names of columns must differ."""
    values = list(zip(*rows, strict=True)) or [()] * len(columns)
    return pl.DataFrame(
        [
            pl.Series(name, list(cells), dtype=_dtype(kind, cells), strict=False)
            for name, kind, cells in zip(columns, types, values, strict=True)
        ]
    )


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
