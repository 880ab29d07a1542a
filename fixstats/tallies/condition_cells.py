"""Cells of one condition and what it is adjusted for, out of the counts laid down once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixstats.engines.session import load
from fixstats.tallies.ask import fill

if TYPE_CHECKING:
    import duckdb

# Where there are more failures, or more other units, a fit reads evenly drawn ones: its cells can
# be nearly as many as the jobs. So many still tell an odds ratio of 1.2 from 1 as a rule.
MOST = 10_000


@dataclass(frozen=True)
class LevelCounts:
    """Units with one value of a condition, by what became of them."""

    level: str | None
    failures: int
    opportunities: int
    unknown: int


@dataclass(frozen=True)
class Cells:
    """Units grouped by the keys asked for.

    ``keys``: name -> value of each cell; ``failures``, ``others``: units read in each cell.
    ``failure_weight``, ``other_weight``: how many units of the records one of them stands for,
    1 where all were read.
    """

    keys: dict[str, list[str | None]]
    failures: list[float]
    others: list[float]
    failure_weight: float
    other_weight: float


def levels_of(con: duckdb.DuckDBPyConnection, key: str) -> list[LevelCounts]:
    """Counts by the value of ``key``, one of those that asked_cells has."""
    rows = con.execute(fill("tallies/condition_levels", {"key": f'"{key}"'})).fetchall()
    return [LevelCounts(*row) for row in rows]


def mark_levels(con: duckdb.DuckDBPyConnection, levels: Mapping[str, Sequence[str]]) -> None:
    """Lay down which values of each condition count: the others are no opportunity of its fit."""
    rows = [(key, level) for key, found in levels.items() for level in found]
    load(con, "asked_levels", "key varchar, level varchar", rows)


def cells_of(
    con: duckdb.DuckDBPyConnection, conditions: Sequence[str], adjusters: Sequence[str]
) -> Cells:
    """Cells by conditions, of units with values that count, and by adjusters.

    Keys are those that asked_cells has; ``mark_levels`` has said which values count.
    """
    names = [*conditions, *adjusters]
    slots = {
        "keys": "".join(f'"{name}", ' for name in names),
        "filters": "".join(
            f" and \"{key}\" in (select level from asked_levels where key = '{key}')"  # noqa: S608
            for key in conditions
        ),
    }
    rows = con.execute(fill("tallies/condition_cells", slots), {"most": MOST}).fetchall()
    columns = [list(one) for one in zip(*rows, strict=True)] or [[] for _ in range(len(names) + 4)]
    failures, others, all_failures, all_others = columns[len(names) :]
    return Cells(
        keys=dict(zip(names, columns, strict=False)),
        failures=failures,
        others=others,
        failure_weight=_weight(failures, all_failures),
        other_weight=_weight(others, all_others),
    )


def _weight(read: Sequence[float], of: Sequence[int]) -> float:
    """How many units each one that was read stands for."""
    return of[0] / sum(read) if sum(read) else 1.0
