"""Counts of what the records lack, as the statements ``queries/tallies/check_*`` give them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fixstats.resources import statement

if TYPE_CHECKING:
    import duckdb

Rows = list[Mapping[str, Any]]


@dataclass(frozen=True)
class CheckCounts:
    """Rows of each statement; their columns are in its header.

    ``gone``: codes without an entry in the catalogue. ``held_back``: rows waiting, by file.
    ``unknown``: units of each mode and why they are unknown. ``unattributed``: jobs by mode.
    ``names``: names of open lists. ``copies``: jobs alike. ``blank``: blank steps and grades.
    ``filled``: cells filled in by column. ``months``: jobs by month.
    ``trials``: names of trials that were never begun.
    """

    gone: Rows
    held_back: Rows
    unknown: Rows
    unattributed: Rows
    names: Rows
    copies: Rows
    blank: Rows
    filled: Rows
    months: Rows
    trials: Rows = field(default_factory=list)


STATEMENTS = {
    "gone": "check_gone",
    "held_back": "check_heldback",
    "unknown": "check_unknown",
    "unattributed": "check_unattributed",
    "names": "check_names",
    "copies": "check_copies",
    "blank": "check_blank",
    "filled": "check_filled",
    "months": "check_months",
    "trials": "trial_unknown",
}


def check_counts(con: duckdb.DuckDBPyConnection) -> CheckCounts:
    """All counts; ``con`` is a session with the catalogue and views of a shop."""
    return CheckCounts(**{name: _rows(con, file) for name, file in STATEMENTS.items()})


def jobs_by_month(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Jobs finished in each month that has any, by ``YYYY-MM``."""
    return {row["month"]: row["jobs"] for row in _rows(con, STATEMENTS["months"])}


def _rows(con: duckdb.DuckDBPyConnection, file: str) -> Rows:
    cursor = con.execute(statement(f"tallies/{file}"))
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
