"""Jobs of the records as rows of a job sheet, and updates laid over them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from fixstats.folder import Catalogue
from fixstats.folder.entries import FIXED_COLUMNS
from fixstats.records.columns import sheet_columns
from fixstats.records.templates import code, column, fill

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

_DATES = ("finished", "received", "returned")
_AMOUNTS = ("minutes", "price", "failure_cost")
_LISTS = ("failures", "unchecked", "preexisting")


def sheet_rows(catalogue: Catalogue, place: str = "records") -> str:
    """SQL of the entries in ``wanted`` as rows of a job sheet: the inverse of an import."""
    steps = [
        fill("cell_pivot", value="method", number="attempt", place="step", code=code(step),
             column=column(step))
        for step in catalogue.step_codes
    ]  # fmt: skip
    minutes = [
        fill("value_pivot", value="plain(minutes)", place="step", code=code(step),
             column=column(f"{step}_minutes"))
        for step in catalogue.step_codes
    ]  # fmt: skip
    factors = [
        fill("value_pivot", value="value", place="factor", code=code(factor.code),
             column=column(factor.code))
        for factor in catalogue.factors
    ]  # fmt: skip
    parts = [text for part in catalogue.part_codes for text in _part(part)]
    return fill(
        "sheet_rows",
        place=place,
        steps=_or_nothing(steps),
        parts=_or_nothing(parts),
        minutes=_or_nothing(minutes),
        factors=_or_nothing(factors),
        columns=", ".join(_stored(catalogue)),
    )


def _or_nothing(texts: Sequence[str]) -> str:
    return ", ".join(texts) or "null as nothing"


def _part(part: str) -> Iterable[str]:
    yield fill("cell_pivot", value="grade", number="piece", place="part", code=code(part),
               column=column(f"{part}_grade"))  # fmt: skip
    for kind, value in (("supplier", "supplier"), ("lot", "lot"), ("cost", "plain(cost)")):
        yield fill("beside_pivot", value=value, code=code(part), column=column(f"{part}_{kind}"))
    yield fill("value_pivot", value="case when not fitted then 'no' end", place="part",
               code=code(part), column=column(f"{part}_fitted"))  # fmt: skip


def _stored(catalogue: Catalogue) -> Iterable[str]:
    """Every column of a stored row, written as a cell."""
    marked = {*catalogue.step_codes, *(f"{part}_grade" for part in catalogue.part_codes)}
    for name in sheet_columns(catalogue):
        if name in marked:
            yield f"coalesce({column(name)}, '-') as {column(name)}"
        elif name in _DATES:
            yield f"cast(j.{column(name)} as varchar) as {column(name)}"
        elif name in _AMOUNTS:
            yield f"plain(j.{column(name)}) as {column(name)}"
        elif name in FIXED_COLUMNS and name not in _LISTS:
            yield f"j.{column(name)}"
        else:
            yield column(name)


def overlay(
    con: Connection, rows: str, names: Sequence[str], catalogue: Catalogue, *, keep_covers: bool
) -> tuple[str, list[str]]:
    """Lay an update over what is stored: SQL of the whole rows, and their columns.

    Rows that mean no job, or several, are noted in ``faults``.
    """
    con.execute(f"create or replace temp table given as {rows}")
    branch = "g.branch" if "branch" in names else "null"
    con.execute(fill("update_matches", branch=branch))
    con.execute(fill("update_faults"))
    con.execute(fill("matched"))
    columns = list(sheet_columns(catalogue))
    picked = [f"coalesce(g.{column(name)}, s.{column(name)}) as {column(name)}"
              if name in names else f"s.{column(name)}" for name in columns]  # fmt: skip
    con.execute(
        fill(
            "overlaid",
            stored=sheet_rows(catalogue),
            columns=", ".join(picked),
            covers="s.covers" if keep_covers else "null::integer",
            declared="s.declared" if keep_covers else "null::varchar",
        )
    )
    con.execute(fill("met_again"))
    return "select * from overlaid", columns
