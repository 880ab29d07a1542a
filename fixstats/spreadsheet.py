"""Rows as CSV that a spreadsheet can open without running any of it."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

# A spreadsheet takes text that begins with one of these for a formula.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


def joined(value: Any) -> Any:
    """A list as one cell; anything else as it is."""
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else value


def inert(value: Any) -> Any:
    """Text that a spreadsheet would run as a formula, made plain text."""
    value = joined(value)
    if isinstance(value, str) and value.startswith(FORMULA_SIGNS) and value != "-":
        return f"'{value}"
    return value


def plain(cell: str) -> str:
    """What `inert` was given, where it is text."""
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(FORMULA_SIGNS) else cell


def csv_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """The rows under the names of their keys, figures unrounded; nothing where there is no row."""
    if not rows:
        return "\n"
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    names = list(rows[0])
    writer.writerow(names)
    writer.writerows([inert(row[name]) for name in names] for row in rows)
    return out.getvalue()
