"""Counts behind decisions: what jobs of each option of a choice use, take, and fail in."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.engines.session import load
from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies import counts, followups
from fixstats.tallies.ask import Ask, fill, lay_out
from fixstats.tallies.coded import Coded, in_order
from fixstats.tallies.followups import Leaving, lay_followups
from fixstats.tallies.keys import resolve

if TYPE_CHECKING:
    import duckdb

Columns = dict[str, Any]
# Jobs of each model that are left out to see whether the records said the same before.
LEFT_OUT = 20
# Views that every choice reads: worked out once, and kept as tables.
KEPT = ("marks_first", "mixed_units")
# The statements that read views of the session; the others read what these lay down.
READING = ("learning", "failure_costs", "unlooked", "modes", "paid")


@dataclass(frozen=True)
class Tallied:
    """All that is counted of one choice; tables as column name -> values, long ones as arrays.

    ``jobs``: option, model, the keys, late, jobs. ``failures``: mode, the same, failures.
    ``minutes``: option, model, the keys, late, jobs, minutes, squares. ``unlooked``: mode, option,
    jobs. ``paid``: option, model, grade, pieces, paid, money. ``pace``: option, model, jobs,
    recent, year, first. ``leaving``: follow-up by option, model, technician.
    """

    jobs: Columns
    failures: Columns
    unlooked: Columns
    minutes: Columns
    paid: Columns
    pace: Columns
    leaving: Leaving


def statements_for(where: Collection[tuple[str, str]]) -> list[str]:
    """The statements that decisions run, and names of views that fill their slots."""
    by = ("model",)
    own = [statement(f"tallies/decide_{name}") for name in READING]
    own += [fill(f"tallies/{name}", {}) for name in counts.DANGERS]
    return [
        *counts.statements_for(by, where, "first"),
        *followups.statements_for(by, where),
        *own,
        *KEPT,
        "known_names",
    ]


def learning_steps(con: duckdb.DuckDBPyConnection, first: date) -> frozenset[str]:
    """Steps at which somebody began with a method after the first 90 days of the records."""
    rows = con.execute(statement("tallies/decide_learning"), {"first": first}).fetchall()
    return frozenset(step for (step,) in rows)


def timed_steps(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Jobs laid down with recorded minutes: step -> jobs, '' for those of the whole job."""
    rows = con.execute(statement("tallies/decide_timed")).fetchall()
    return dict(rows)


def failure_costs(con: duckdb.DuckDBPyConnection) -> Columns:
    """Recorded costs of failures: mode, jobs, stated, money."""
    return _columns(con, statement("tallies/decide_failure_costs"))


def lay_jobs(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    ask: Ask,
    choices: Sequence[str],
    conditions: Sequence[str],
) -> dict[str, int]:
    """Lay down the jobs with all choices and conditions, and their follow-up; jobs by choice.

    Raises
    ------
    UsageError
        If a key or value is unknown, or the dates make no sense.
    """
    by = tuple(dict.fromkeys(("model", *conditions, *choices)))
    layout = lay_out(con, catalogue, Ask((), by, "first", ask.where, ask.since, ask.until))
    con.execute(fill("tallies/decide_told", {"keys": layout.columns}))
    slot = "".join(
        f"count(case when {quoted(name)} <> '-' then 1 end) as {quoted(name)}, " for name in choices
    )
    found = _columns(con, fill("tallies/decide_choices", {"choices": slot}))
    _code(con, by)
    for view in KEPT:
        con.execute(fill("tallies/decide_kept", {"view": view}))
    return {name: found[name][0] for name in choices}


def _code(con: duckdb.DuckDBPyConnection, by: Sequence[str]) -> None:
    """Lay down decide_jobs: the jobs with their keys as codes."""
    each = [
        fill("tallies/decide_levels", {"choice": quoted(name), "place": f"'{name}'"}) for name in by
    ]
    met: dict[str, set[Any]] = {name: set() for name in by}
    for name, word in con.execute(" union all ".join(f"({text})" for text in each)).fetchall():
        met[name].add(word)
    rows = [(name, w, n) for name in by for n, w in enumerate(in_order(met[name]))]
    load(con, "decide_words", "name varchar, word varchar, code integer", rows)
    keys = "".join(f"{quoted(f'of {name}')}.code as {quoted(name)}, " for name in by)
    joins = "".join(
        f" inner join decide_words as {quoted(f'of {name}')} on {quoted(f'of {name}')}.name = "
        f"'{name}' and {quoted(f'of {name}')}.word is not distinct from t.{quoted(name)}"
        for name in by
    )
    con.execute(fill("tallies/decide_jobs", {"keys": keys, "joins": joins}))
    con.execute("drop table decide_told")


def lay_follow_up(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask, choices: Sequence[str]
) -> None:
    """Lay down the follow-up of the completed jobs with all choices, as a table."""
    by = tuple(dict.fromkeys(("model", "technician", *choices)))
    lay_followups(con, catalogue, Ask((), by, "first", ask.where, ask.since, ask.until))
    con.execute(statement("tallies/decide_followups"))
    con.execute("create or replace temp view asked_followups as select * from decide_followups")


def clear(con: duckdb.DuckDBPyConnection) -> None:
    """Drop what was laid down: of a million jobs it is half a gigabyte."""
    kept = [f"decide_{view}" for view in KEPT]
    for table in ("decide_chosen", "decide_modes", "decide_followups", "decide_jobs", *kept):
        con.execute(f"drop table if exists {table}")


def tally_choice(  # noqa: PLR0913 (what a choice is made of)
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    choice: str,
    keys: Sequence[str],
    modes: Sequence[str],
    costed: Sequence[str],
    *,
    step: str | None,
    as_of: date,
    days: int,
) -> Tallied:
    """Count one choice over the jobs laid down.

    ``keys``: conditions beside the model; ``modes``: that can follow from the choice; ``costed``:
    modes whose jobs tell nothing of minutes, as these are paid with the failure; ``step``: whose
    minutes are asked for, None for those of the whole job; ``days``: of the warranty.
    """
    part = resolve(choice, catalogue, ())
    load(con, "asked_codes", "mode varchar", [(mode,) for mode in modes])
    load(con, "decide_costed", "mode varchar", [(mode,) for mode in costed])
    slots = {
        "choice": quoted(choice),
        "name": f"'{choice}'",
        "keys": "".join(f"{quoted(key)}, " for key in keys),
        "place": f"'{part.code}'",
    }
    con.execute(fill("tallies/decide_chosen", slots))
    con.execute(fill("tallies/decide_modes", slots), {"days": days, "as_of": as_of})

    def rows(name: str, **values: Any) -> Columns:
        return _columns(con, fill(f"tallies/{name}", slots), values)

    levels = _levels(con, {"option": choice, "model": "model"} | dict(zip(keys, keys, strict=True)))

    def coded_rows(name: str, **values: Any) -> Columns:
        return _coded(con, fill(f"tallies/{name}", slots), {"left_out": LEFT_OUT, **values}, levels)

    paid: Columns = {}
    if part.kind == "part":
        paid = rows("decide_paid", part=part.code)
    return Tallied(
        jobs=coded_rows("decide_cells"),
        failures=coded_rows("decide_failures"),
        unlooked=rows("decide_unlooked"),
        minutes=coded_rows("decide_minutes", step=step),
        paid=paid,
        pace=rows("decide_pace", as_of=as_of),
        leaving=_leaving(con, choice, days, as_of),
    )


def _leaving(con: duckdb.DuckDBPyConnection, choice: str, days: int, as_of: date) -> Leaving:
    names = (choice, "model", "technician")
    text = fill("tallies/at_risk", {"keys": "".join(f"{quoted(name)}, " for name in names)})
    found = _columns(con, text, {"days": days, "as_of": as_of})
    keys = {name: found[name] for name in names}
    return Leaving(keys, *(found[name] for name in ("day", "reason", "jobs", "at_risk")))


def quoted(name: str) -> str:
    """A name that the catalogue has checked, as SQL writes it."""
    return f'"{name}"'


def _columns(
    con: duckdb.DuckDBPyConnection, text: str, values: dict[str, Any] | None = None
) -> Columns:
    cursor = con.execute(text, values or {})
    names = [column[0] for column in cursor.description or ()]
    rows = cursor.fetchall()
    columns = list(zip(*rows, strict=True)) or [()] * len(names)
    return {name: list(column) for name, column in zip(names, columns, strict=True)}


def _levels(con: duckdb.DuckDBPyConnection, names: dict[str, str]) -> dict[str, tuple[Any, ...]]:
    """The words of columns (name -> key) in the order of their codes."""
    rows = con.execute("select name, word from decide_words order by name, code").fetchall()
    return {
        column: tuple(word for name, word in rows if name == key) for column, key in names.items()
    }


def _coded(
    con: duckdb.DuckDBPyConnection,
    text: str,
    values: dict[str, Any],
    levels: dict[str, tuple[Any, ...]],
) -> Columns:
    """The answer as arrays; columns of codes with their words."""
    found = con.execute(text, values).fetchnumpy()
    return {
        name: Coded(levels[name], column) if name in levels else column
        for name, column in found.items()
    }
