"""Cells of one condition and what it is adjusted for, out of the counts laid down once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixstats.engines.session import load
from fixstats.folder import Catalogue
from fixstats.tallies.ask import Ask, fill
from fixstats.tallies.counts import lay_cells

if TYPE_CHECKING:
    import duckdb

# Of more failures, or more other units, fits read evenly drawn ones: their cells can be nearly as
# many as the jobs. So many still tell an odds ratio of 1.2 from 1 as a rule.
MOST = 8_000


@dataclass(frozen=True)
class LevelCounts:
    """Units with one value of a condition, by what became of them."""

    level: str | None
    failures: int
    opportunities: int
    unknown: int


@dataclass(frozen=True)
class Cells:
    """Units that a fit reads, grouped by the keys asked for.

    ``keys``: name -> value of each cell; ``failures``, ``others``: units read in each cell.
    """

    keys: dict[str, list[str | None]]
    failures: list[float]
    others: list[float]


def lay_conditions(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask
) -> tuple[float, float]:
    """Lay down the counts by all keys asked for, and the units that fits read of them.

    Returns how many failures of the records, and how many other units, one that is read stands
    for: 1 where all are. Raises as ``count_modes`` does.
    """
    keys = "".join(f'"{key}", ' for key in lay_cells(con, catalogue, ask))
    text = fill("tallies/thinned_cells", {"keys": keys})
    con.execute(f"create or replace temp table asked_read as {text}", {"most": MOST})
    failures, others, all_failures, all_others = con.execute(
        "select sum(failures), sum(others), any_value(all_failures), any_value(all_others) "
        "from asked_read"
    ).fetchall()[0]
    return (all_failures / failures if failures else 1.0, all_others / others if others else 1.0)


def levels_of(con: duckdb.DuckDBPyConnection, key: str) -> list[LevelCounts]:
    """Counts by the value of ``key``, one of the keys laid down; of all units."""
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

    Keys are among those laid down; ``mark_levels`` has said which values count.
    """
    names = [*conditions, *adjusters]
    slots = {
        "keys": "".join(f'"{name}", ' for name in names),
        "filters": "".join(
            f" and \"{key}\" in (select level from asked_levels where key = '{key}')"  # noqa: S608
            for key in conditions
        ),
    }
    rows = con.execute(fill("tallies/condition_cells", slots)).fetchall()
    columns = [list(one) for one in zip(*rows, strict=True)] or [[] for _ in range(len(names) + 2)]
    return Cells(dict(zip(names, columns, strict=False)), columns[-2], columns[-1])
