"""Fills the slots of the statements in ``queries/records/``.

A slot ``/*name*/`` takes a quoted column name or a code of the catalogue, never a value of the
records: those come in as parameters.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fixstats.folder.entries import CODE
from fixstats.resources import statement

if TYPE_CHECKING:
    import duckdb


def column(name: str) -> str:
    """A column name as SQL writes it."""
    if CODE.fullmatch(name) is None:
        raise ValueError(f"not a column of ours: {name!r}")
    return f'"{name}"'


def code(name: str) -> str:
    """A code of the catalogue as an SQL text."""
    if CODE.fullmatch(name) is None:
        raise ValueError(f"not a code: {name!r}")
    return f"'{name}'"


def fill(name: str, **slots: str) -> str:
    """The statement ``queries/records/<name>.sql`` with its slots filled."""
    text = statement(f"records/{name}")
    for slot, content in slots.items():
        text = text.replace(f"/*{slot}*/", content)
    return text


def one_number(
    con: duckdb.DuckDBPyConnection,
    name: str,
    values: Mapping[str, Any] | None = None,
    **slots: str,
) -> int:
    """The one number that a statement gives (the first column of its only row)."""
    return int(con.execute(fill(name, **slots), values).fetchall()[0][0])
