"""Writes what is left in ``sheet`` into the tables of records; old versions go to the past."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fixstats.engines.versions import ENTRY_TABLES
from fixstats.folder import Catalogue
from fixstats.records.templates import code, column, fill

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection


def attempts_of(catalogue: Catalogue, source: str) -> str:
    """SQL of all attempts of the rows in ``source``; of none where the catalogue has no steps."""
    none = fill("attempts", code="''", column="null::varchar", source="(select 0 as row limit 0)")
    found = (
        fill("attempts", code=code(step), column=column(step), source=source)
        for step in catalogue.step_codes
    )
    return " union all ".join(found) or none


def pieces_of(catalogue: Catalogue, columns: Sequence[str], source: str) -> str:
    """SQL of all pieces of the rows in ``source``, which has these columns; maybe of none."""
    if not catalogue.parts:
        blank = dict.fromkeys(("grade", "supplier", "lot", "cost", "fitted"), "null::varchar")
        return fill("pieces", code="''", source="(select 0 as row limit 0)", **blank)
    found = []
    for part in catalogue.part_codes:
        slots = {
            kind: column(name) if (name := f"{part}_{kind}") in columns else "null::varchar"
            for kind in ("grade", "supplier", "lot", "cost", "fitted")
        }
        found.append(fill("pieces", code=code(part), source=source, **slots))
    return " union all ".join(found)


def to_past(con: Connection, batch: int) -> None:
    """Move the entries in ``leaving`` out of the records, replaced by this batch."""
    for table in ENTRY_TABLES:
        picked = "*, $batch" if table == "jobs" else "*"
        values = {"batch": batch} if table == "jobs" else {}
        con.execute(fill("copy_to_past", table=table, columns=picked), values)
        con.execute(fill("delete_leaving", place="records", table=table))


def store(
    con: Connection, catalogue: Catalogue, columns: Sequence[str], batch: int, covers: int | None
) -> list[tuple[str, str]]:
    """Store every row of ``sheet``, which has these columns; returns new names with their kind."""
    base = con.execute(fill("next_entry")).fetchall()[0][0]
    con.execute(fill("jobs"), {"base": base, "covers": covers, "batch": batch})
    if catalogue.steps:
        rows = attempts_of(catalogue, "sheet")
        con.execute(fill("store_attempts", attempts=rows), {"base": base})
        con.execute(fill("plans"), {"base": base, "batch": batch})
    if catalogue.parts:
        rows = pieces_of(catalogue, columns, "sheet")
        con.execute(fill("store_pieces", pieces=rows), {"base": base})
    con.execute(fill("store_failures"), {"base": base})
    for table in ("unchecked", "preexisting"):
        con.execute(fill("store_marks", column=table), {"base": base})
    _store_long(con, catalogue, columns, base)
    return _store_names(con, catalogue, columns)


def _store_long(con: Connection, catalogue: Catalogue, columns: Sequence[str], base: int) -> None:
    """Minutes of steps and factors: one row each where something was recorded."""
    minutes = [
        fill("step_minutes", code=code(step), column=column(f"{step}_minutes"))
        for step in catalogue.step_codes
        if f"{step}_minutes" in columns
    ]
    factors = [
        fill(
            "factors",
            code=code(factor.code),
            column=column(factor.code),
            number=f"cast({column(factor.code)} as double)" if factor.kind == "number" else "null",
        )
        for factor in catalogue.factors
        if factor.code in columns
    ]
    for table, parts in (("step_minutes", minutes), ("factors", factors)):
        if parts:
            text = f"insert into records.{table} " + " union all ".join(parts)
            con.execute(text, {"base": base})


def _store_names(
    con: Connection, catalogue: Catalogue, columns: Sequence[str]
) -> list[tuple[str, str]]:
    places = [(kind, kind) for kind in ("model", "technician", "branch")]
    places += [
        (kind, name)
        for part in catalogue.part_codes
        for kind in ("supplier", "lot")
        if (name := f"{part}_{kind}") in columns
    ]
    used = [fill("names_used", kind=code(kind), column=column(name)) for kind, name in places]
    con.execute("create or replace temp table names_used as " + " union all ".join(used))
    con.execute("delete from names_used where shown = '?'")
    rows: list[tuple[str, str]] = con.execute(fill("new_names")).fetchall()
    return rows
