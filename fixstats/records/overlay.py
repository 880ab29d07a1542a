"""Updates: some columns of known jobs change, everything else stays as it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fixstats.folder import Catalogue

if TYPE_CHECKING:
    import duckdb


def overlay(
    con: duckdb.DuckDBPyConnection, rows: str, names: Sequence[str], catalogue: Catalogue,
    *, keep_covers: bool,
) -> tuple[str, list[str]]:  # fmt: skip
    raise NotImplementedError
