"""Jobs followed after hand-over, as at-risk tables: who was still watched, who came back."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies.ask import Ask, check_modes, day_conditions, fill, lay_conditions
from fixstats.tallies.keys import SOURCES, resolve

if TYPE_CHECKING:
    import duckdb

# Reasons that are no failure mode: unrelated returns compete; of the others nobody wrote down why.
UNRELATED, NOT_STATED = "unrelated", ""


@dataclass(frozen=True)
class Leaving:
    """Rows of ``queries/tallies/at_risk.sql``: jobs by when and how their follow-up ended.

    Attributes
    ----------
    keys
        Name of each key -> its values, one a row.
    day, jobs, at_risk
        Day after hand-over, jobs that left then, jobs still followed when it began.
    reason
        A mode, ``UNRELATED``, ``NOT_STATED``, or None for the end of follow-up.
    """

    keys: dict[str, list[Any]]
    day: list[int]
    reason: list[str | None]
    jobs: list[int]
    at_risk: list[int]


def count_leaving(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask, days: int, as_of: date
) -> Leaving:
    """Follow-up of the completed jobs asked about, to ``days`` and no further than ``as_of``.

    Keys of parts speak of the piece in the device at hand-over, keys of steps of the first choice.
    ``ask.modes`` only settles what short forms of keys mean.

    Raises
    ------
    UsageError
        If a mode, key or value is unknown, or the dates make no sense.
    """
    names = lay_followups(con, catalogue, ask)
    text = fill("tallies/at_risk", {"keys": "".join(f'"{name}", ' for name in names)})
    rows = con.execute(text, {"days": days, "as_of": as_of}).fetchall()
    columns = [list(column) for column in zip(*rows, strict=True)] or [
        [] for _ in range(len(names) + 4)
    ]
    return Leaving(dict(zip(names, columns, strict=False)), *columns[len(names) :])


def lay_followups(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask
) -> tuple[str, ...]:
    """Create the temporary view asked_followups of the completed jobs asked about; its keys.

    Raises as ``count_leaving`` does.
    """
    modes = check_modes(ask.modes, catalogue)
    resolved = [resolve(name, catalogue, modes) for name in dict.fromkeys(ask.by)]
    keys = [replace(key, handed_over=True) for key in resolved]
    conditions = {
        replace(key, handed_over=True): text
        for key, text in lay_conditions(con, catalogue, ask, modes).items()
    }
    every = {key.name: key for key in [*keys, *conditions]}.values()
    slots = {
        "keys": "".join(f"{key.of_job}, " for key in every),
        "joins": " ".join(key.join for key in every),
        "filters": " ".join([*conditions.values(), *day_conditions(ask)]),
    }
    con.execute(fill("tallies/asked_followups", slots))
    return tuple(key.name for key in keys)


def statements_for(by: Collection[str], where: Collection[tuple[str, str]]) -> list[str]:
    """The statements that such a count runs, and names of views that fill their slots."""
    views = ["last_pieces", *(one.view for one in SOURCES.values())] if by or where else []
    names = ["known_names"] if where else []
    return [statement("tallies/asked_followups"), *views, *names]
