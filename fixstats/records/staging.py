"""Builds the temporary table ``sheet``: what every row of a file means, whatever its spelling."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import md5
from typing import TYPE_CHECKING

from fixstats.folder import Catalogue
from fixstats.folder.entries import FIXED_COLUMNS, PART_COLUMNS
from fixstats.records.columns import HELD_BACK_COLUMNS
from fixstats.records.templates import code, column, fill

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

_BESIDE = ("supplier", "lot", "cost")
# Cells for which "none" is the written form of "nothing".
_LISTS = ("failures", "unchecked", "preexisting")
# Not judged cell by cell; only their ends are trimmed.
_PLAIN = ("job", "return_of", "held_back")


@dataclass(frozen=True)
class Stage:
    """The columns of a sheet by what is done with them; ``names`` are those in the file."""

    names: Sequence[str]
    catalogue: Catalogue

    def has(self, name: str) -> bool:
        """Whether the file has this column."""
        return name in self.names

    @property
    def columns(self) -> list[str]:
        """Columns of the table ``sheet``, beside row, covers, declared and held_back."""
        parts = [f"{part}_grade" for part in self.catalogue.part_codes]
        always = [*FIXED_COLUMNS, *self.catalogue.step_codes, *parts]
        dynamic = [n for n in self.names if n not in always and n not in HELD_BACK_COLUMNS]
        return [*always, *dynamic]


def tidy_rows(names: Sequence[str], rewritten: Iterable[str], row: str) -> str:
    """SQL of the rows of ``raw_sheet`` in our spelling; ``row`` is the SQL of a row's number."""
    joined = set(rewritten)
    picked = ["null::integer as covers", "null::varchar as declared"]
    picked += [] if "held_back" in names else ["null::varchar as held_back"]
    joins = []
    for name in names:
        if name in joined:
            alias = column(f"c_{name}")
            joins.append(fill("cell_join", alias=alias, code=code(name), column=column(name)))
            picked.append(f"{alias}.clean as {column(name)}")
        elif name in _PLAIN:
            template = "columns/unquoted" if "held_back" in names else "columns/plain"
            picked.append(fill(template, column=column(name)))
        elif name != "reason":
            picked.append(f"raw_sheet.{column(name)}")
    return fill("tidy_rows", row=row, columns=", ".join(picked), joins="\n".join(joins))


def prepare(con: Connection, catalogue: Catalogue) -> None:
    """What repairs and failures of ``met`` imply: belongs, sightings, seen_parts."""
    places = [*catalogue.step_codes, *catalogue.part_codes]
    flags = [fill("belongs_flag", code=code(p), column=column(p)) for p in places]
    con.execute(fill("belongs", flags=", ".join(flags) or "true as nothing"))
    con.execute(fill("sightings"))
    con.execute(fill("seen_parts"))


def build_sheet(con: Connection, stage: Stage, source: str, declared: str) -> None:
    """Fill ``sheet`` from the rows that ``source`` selects; needs ``met``.

    ``declared``: the covers as declared for the whole file, part of a row's content.
    """
    prepare(con, stage.catalogue)
    graded = [_step(stage, step) for step in stage.catalogue.step_codes]
    graded += [_grade(stage, part) for part in stage.catalogue.part_codes]
    columns = [_column(stage, name) for name in stage.columns]
    hashed = [
        fill("columns/hashed", token=_token(name), column=column(name))
        for name in sorted(stage.columns)
        if name not in stage.catalogue.step_codes
        and (name in _always_filled(stage) or stage.has(name))
    ]
    tried = [
        fill("columns/tried", column=column(step), code=code(step))
        for step in stage.catalogue.step_codes
    ]
    text = fill(
        "sheet",
        source=source,
        repair=_cell(stage, "repair"),
        failures=_cell(stage, "failures"),
        graded=", ".join(graded),
        columns=", ".join(columns),
        attempts="".join(tried),
        content=", ".join(hashed),
    )
    con.execute(text, {"declared": declared})


def _token(name: str) -> str:
    """A short stable stand-in for a column's name: hashing a million rows is paid by the byte."""
    return "\x1f" + md5(name.encode(), usedforsecurity=False).hexdigest()[:5]


def _always_filled(stage: Stage) -> set[str]:
    """Columns that can have content though the file does not have them."""
    parts = {f"{part}_grade" for part in stage.catalogue.part_codes}
    return {"outcome", *stage.catalogue.step_codes, *parts}


def _step(stage: Stage, step: str) -> str:
    template = "columns/step" if stage.has(step) else "columns/step_absent"
    return fill(template, column=column(step), result=column(f"done_{step}"))


def _cell(stage: Stage, name: str) -> str:
    """A cell of the file, or null where the file has no such column."""
    return f"t.{column(name)}" if stage.has(name) else "null::varchar"


def _grade(stage: Stage, part: str) -> str:
    beside = [_cell(stage, f"{part}_{kind}") for kind in _BESIDE]
    fitted = _cell(stage, f"{part}_fitted")
    lengths = [f"len(string_split(coalesce({cell}, ''), ' > '))" for cell in beside]
    return fill(
        "columns/grade",
        grade=_cell(stage, f"{part}_grade"),
        outcome=_cell(stage, "outcome"),
        beside=", ".join([*beside, fitted]),
        lengths=", ".join(lengths),
        part=column(part),
        code=code(part),
        result=column(f"pieces_{part}"),
        blank=column(f"blank_{part}"),
    )


def _column(stage: Stage, name: str) -> str:
    """The meaning of one column, as SQL over ``graded``."""
    part, _, kind = name.rpartition("_")
    if name in stage.catalogue.step_codes:
        return f"{column(f'done_{name}')} as {column(name)}"
    if part in stage.catalogue.part_codes and kind in PART_COLUMNS:
        return _part_column(stage, name, part, kind)
    if name == "outcome":
        return f"coalesce({_cell(stage, name)}, 'completed') as outcome"
    if name in _LISTS:
        return f"nullif({_cell(stage, name)}, 'none') as {column(name)}"
    return f"{_cell(stage, name)} as {column(name)}"


def _part_column(stage: Stage, name: str, part: str, kind: str) -> str:
    """Grade, supplier, lot, cost or fitted of a part, one entry for each piece."""
    pieces = column(f"pieces_{part}")
    if kind == "grade":
        others = [column(f"pieces_{other}") for other in stage.catalogue.part_codes]
        return fill(
            "columns/grade_final",
            pieces=pieces,
            blank=column(f"blank_{part}"),
            any_piece=", ".join(others),
            result=column(name),
        )
    template = "columns/fitted" if kind == "fitted" else "columns/beside_grade"
    return fill(template, pieces=pieces, column=column(name))
