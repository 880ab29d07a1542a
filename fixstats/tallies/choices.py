"""How a choice was used: which option, by whom, when; and which factors were ever recorded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies.ask import Ask, fill, lay_out

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class Use:
    """Jobs with one option, by one technician, in one quarter.

    ``option`` is '-' where the step was not done or no such part fitted, None where it was not
    recorded; ``first`` and ``last`` are days of hand-over.
    """

    option: str | None
    technician: str | None
    year: int
    quarter: int
    jobs: int
    first: Any
    last: Any


def use_of_choice(con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask) -> list[Use]:
    """Uses of the one key that ``ask.by`` names, on the jobs that ``ask`` lets through.

    Raises
    ------
    UsageError
        If a mode, key, value or date is unknown or makes no sense.
    """
    layout = lay_out(con, catalogue, ask)
    rows = con.execute(fill("tallies/choice_use", {"keys": layout.columns})).fetchall()
    return [Use(*row) for row in rows]


def jobs_by(con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask) -> dict[str, list[Any]]:
    """Jobs by the keys of ``ask.by``: a column for each key, and ``jobs``.

    Raises
    ------
    UsageError
        As for ``use_of_choice``.
    """
    layout = lay_out(con, catalogue, ask)
    rows = con.execute(fill("tallies/choice_jobs", {"keys": layout.columns})).fetchall()
    names = [*(key.name for key in layout.keys), "jobs"]
    return {name: [row[n] for row in rows] for n, name in enumerate(names)}


def factors_met(con: duckdb.DuckDBPyConnection) -> frozenset[str]:
    """Codes of the factors that some job has a value of."""
    rows = con.execute(statement("tallies/factors_met")).fetchall()
    return frozenset(factor for factor, _ in rows)
