"""Counts of failures and opportunities, as the statements of ``queries/tallies`` give them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from fixstats.errors import UsageError
from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies.ask import Ask, Layout, beside, fill, lay_out, own_places
from fixstats.tallies.keys import PAIR, PAIR_KEYS, SOURCES

if TYPE_CHECKING:
    import duckdb
    import polars as pl


@dataclass(frozen=True)
class Counts:
    """Counted rows.

    Attributes
    ----------
    keys
        Names of the key columns, in the order asked for.
    columns
        Column name -> values, all of one length: ``mode`` (None for a union), the keys,
        ``failures``, ``opportunities``, ``unknown``, ``unknown_failed`` and, for the effect of
        clustering, ``clusters``, ``ff``, ``fn``, ``nn`` (sums over technicians).
    """

    keys: tuple[str, ...]
    columns: dict[str, list[Any]]

    def __len__(self) -> int:
        return len(self.columns["failures"])

    @property
    def frame(self) -> pl.DataFrame:
        """The rows as a Polars frame."""
        import polars as pl

        return pl.DataFrame(self.columns, strict=False)


@dataclass(frozen=True)
class Period:
    """What the records cover; dates are None where there are none."""

    jobs: int
    first: Any
    last: Any
    as_of: Any
    rework: int
    batches: tuple[int, ...]


def _columns(con: duckdb.DuckDBPyConnection, text: str) -> dict[str, list[Any]]:
    cursor = con.execute(text)
    names = [column[0] for column in cursor.description or ()]
    rows = cursor.fetchall()
    if not rows:
        return {name: [] for name in names}
    return {name: list(values) for name, values in zip(names, zip(*rows, strict=True), strict=True)}


# What the statement of a union reads of a job as a whole, and of one place of it.
OF_JOB = {"marks": "flags", "unit": "", "unclear": "false", "excluded": "preexisting"}
OF_PLACE = {
    "marks": "marks_first",
    "unit": "and f.place = u.place",
    "unclear": "f.unclear",
    "excluded": "excluded",
}


def _folded(
    name: str,
    layout: Layout,
    *,
    mode: bool,
    pair: bool = False,
    slots: Mapping[str, str] = OF_JOB,
) -> tuple[tuple[str, ...], str]:
    """Keys and text of the statement ``name``, which counts by technician, folded over them."""
    keys = (*(key.name for key in layout.keys), *(PAIR_KEYS if pair else ()))
    folded = layout.columns + "".join(f"{key}, " for key in PAIR_KEYS if pair)
    rows = fill(name, {**slots, "keys": layout.columns})
    outer = {"keys": f"mode, {folded}" if mode else folded, "rows": rows}
    return keys, fill("tallies/folded", outer)


def count_modes(con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask) -> Counts:
    """Failures and opportunities of every mode asked for, by the keys asked for.

    Raises
    ------
    UsageError
        If a mode, key, value, date or view is unknown or makes no sense.
    """
    keys, text = _modes(con, catalogue, ask)
    return Counts(keys, _columns(con, text))


def _modes(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask
) -> tuple[tuple[str, ...], str]:
    """Keys and text of the statement that ``count_modes`` asks, its tables laid down."""
    layout = lay_out(con, catalogue, ask)
    lay_counts(con, layout, ask.view)
    return _folded("tallies/modes", layout, mode=True)


def lay_counts(con: duckdb.DuckDBPyConnection, layout: Layout, view: str) -> None:
    """Lay down the tables asked_totals and asked_marks, which the statement ``modes`` adds up."""
    by_plan = view == "first" and "steps" in layout.kinds
    listed = view == "attempted" or layout.kinds != {"steps"}
    names = [*(["at_steps"] if by_plan else []), *(["of_units"] if listed else [])]
    # Several small statements plan in half the time of one large one. Units are read twice: by
    # first choice they lie in a table; tries are too many for that.
    if listed:
        what = "table" if view == "first" else "view"
        con.execute(f"create or replace temp {what} asked_listed_{view} as {layout.listed}")
    slots = {"keys": layout.columns, "view": view}
    for table in ("totals", "marks"):
        rows = " union all ".join(f"({fill(f'tallies/{table}_{name}', slots)})" for name in names)
        con.execute(f"create or replace temp table asked_{table} as {rows}")


def count_union(con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask) -> Counts:
    """Jobs on which any of the modes went wrong, out of those where all that applied were checked.

    Raises
    ------
    UsageError
        As for ``count_modes``; also for the attempted view, in which a union has no unit.
    """
    if ask.view == "attempted":
        raise UsageError(
            "a family (or --any) is a union over the job and has no as-attempted rate\n"
            "ask for single modes with --mode, or use --view first"
        )
    keys, text = _union(con, catalogue, ask)
    counts = Counts(keys, _columns(con, text))
    return Counts(keys, {"mode": [None] * len(counts), **counts.columns})


def count_option_dangers(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask
) -> dict[tuple[str, str], tuple[int, ...]]:
    """Option and model -> jobs, failures, opportunities, unknown, unknown_failed and returned.

    Of the union of the modes, in jobs; the option is that of the choice which ``ask.by`` names.
    ``returned``: the device came back for one of the modes and the job says nothing of it. Raises
    as ``count_union``.
    """
    (choice,) = ask.by
    keys = (choice, "model")
    found = count_union(con, catalogue, replace(ask, by=keys, chosen=True)).columns
    names = (*keys, "failures", "opportunities", "unknown", "unknown_failed")
    union = {
        (option, model): counts
        for option, model, *counts in zip(*(found[name] for name in names), strict=True)
    }
    text = fill("tallies/safety_jobs", {"keys": f'"{choice}", model, '})
    rows = con.execute(text, {"until": ask.until}).fetchall()
    return {
        (option, model): (jobs, *map(int, union.get((option, model), (0, 0, 0, 0))), returned)
        for option, model, jobs, returned in rows
        if option not in (None, "-")
    }


def _union(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask
) -> tuple[tuple[str, ...], str]:
    """Keys and text of the statement that ``count_union`` asks."""
    layout = lay_out(con, catalogue, ask)
    slots = {
        **(OF_PLACE if ask.place else OF_JOB),
        "beside": beside(layout.kinds),
        "places": own_places([ask.place] if ask.place else ()),
        "part": f"'{ask.place}'",
    }
    beside_rows = ("beside", "chosen") if ask.chosen and "mixed" in layout.kinds else ("beside",)
    for table, names in (
        ("spoken", ("spoken",)), ("beside_units", ("units",)), ("beside", beside_rows)
    ):  # fmt: skip
        rows = " union all ".join(f"({fill(f'tallies/union_{name}', slots)})" for name in names)
        con.execute(f"create or replace temp table asked_{table} as {rows}")
    return _folded("tallies/union", layout, mode=False, slots=slots)


def lay_cells(con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask) -> tuple[str, ...]:
    """Lay the counts down as the temporary table asked_cells, to be asked in turn; its keys.

    One mode by itself, as ``count_modes``; several as their union. Raises as these do.
    """
    laying = _modes if len(ask.modes) == 1 else _union
    keys, text = laying(con, catalogue, ask)
    con.execute(f"create or replace temp table asked_cells as {text}")
    return keys


def count_pairs(con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask) -> Counts:
    """Conflicts by pair of mixed parts and their grades; rows overlap.

    Raises
    ------
    UsageError
        As for ``count_modes``; also for modes that are not of mixed parts.
    """
    for mode in ask.modes:
        if mode in catalogue.modes and not catalogue.modes[mode].mixed:
            raise UsageError(f"--by {PAIR} is for conflicts of mixed parts; '{mode}' is none")
    layout = lay_out(con, catalogue, ask)
    keys, text = _folded("tallies/pairs", layout, mode=True, pair=True)
    return Counts(keys, _columns(con, text))


# Beside those of "first": what the counts of an option's dangers read.
DANGERS = ("union_chosen", "safety_jobs")
# The statements by which counts read the session's views.
READING = {
    "first": (
        "asked_plans", "asked_jobs", "totals_at_steps", "marks_at_steps", "totals_of_units",
        "marks_of_units", "union", "union_beside", "union_spoken", "union_units",
    ),
    "attempted": ("asked_plans", "asked_jobs", "totals_of_units", "marks_of_units"),
}  # fmt: skip


def statements_for(by: Collection[str], where: Collection[tuple[str, str]], view: str) -> list[str]:
    """The statements that such a count may run, and the names of views that fill their slots.

    For ``build_session``: a short question need not wait for views that it does not read.
    """
    names = [*READING.get(view, ()), *(["pairs"] if PAIR in by else [])]
    texts = [fill(f"tallies/{name}", {"view": view}) for name in names]
    units = "units_attempted" if view == "attempted" else "units_beside_steps"
    slots = [units, f"marks_{view}", "flags"]
    keys = [source.view for source in SOURCES.values()] if by or where else []
    return [*texts, *slots, *keys, *(["known_names"] if where else [])]


def period(con: duckdb.DuckDBPyConnection) -> Period:
    """The time and the imports that the records cover."""
    (row,) = con.execute(statement("tallies/period")).fetchall()
    jobs, first, last, as_of, rework, batches = row
    numbers = tuple(int(word) for word in (batches or "").split(",") if word)
    return Period(jobs, first, last, as_of, rework, numbers)
