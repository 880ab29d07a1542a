"""Builds what one session needs as temporary objects: catalogue tables, then the views."""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fixstats.folder import Catalogue, fold
from fixstats.resources import statement

if TYPE_CHECKING:
    import duckdb

# In an order in which each view finds those it reads.
VIEWS = (
    "renamed",
    "known_names",
    "jobs",
    "attempts",
    "pieces",
    "first_choices",
    "first_pieces",
    "last_pieces",
    "followups",
    "factors",
    "first_grades",
    "device_grades",
    "step_targets",
    "part_units",
    "mixed_units",
    "units_beside_steps",
    "units_first",
    "tries",
    "units_attempted",
    "mentions",
    "flags",
    "mixed_pairs",
    "spoken_first",
    "spoken_attempted",
    "marks",
    "practice",
    "another_tries",
    "parts_together",
    "grades_mixed",
)
# Views for digging that no tally reads; a rate need not wait for them.
DIGGING = ("first_methods", "outcomes")
# A view whose text has the slot "view" is built for both, as NAME_first and NAME_attempted.
BOTH = ("first", "attempted")

Rows = list[tuple[Any, ...]]

# table -> columns; "position" keeps the catalogue's order where results follow it.
TABLES: Mapping[str, str] = {
    "steps": "step varchar, label varchar, position integer",
    "methods": "step varchar, method varchar, label varchar, consumables double",
    "parts": "part varchar, label varchar, position integer",
    "grades": "grade varchar, label varchar, origin varchar",
    "repairs": "repair varchar, label varchar, position integer",
    "repair_steps": "repair varchar, step varchar",
    "repair_parts": "repair varchar, part varchar",
    "repair_factors": "repair varchar, factor varchar",
    "catalogue_factors": "factor varchar, kind varchar, moment varchar",
    "factor_values": "factor varchar, value varchar",
    "factor_bands": "factor varchar, low double, high double, band varchar",
    "modes": "mode varchar, label varchar, family varchar, severity integer, "
    "cost_minutes double, cost_money double, safety boolean, kind varchar, "
    "unit_first varchar, unit_attempted varchar, "
    "target_first integer, target_attempted integer, position integer",
    "mode_steps": "mode varchar, step varchar",
    "mode_methods": "mode varchar, method varchar",
    "mode_parts": "mode varchar, part varchar",
    "mode_grades": "mode varchar, grade varchar",
    "mode_mixed": "mode varchar, part varchar, position integer",
    "targets": "target integer, kind varchar, limited boolean",
    "target_places": "target integer, place varchar",
    "target_options": "target integer, option varchar",
    "prices": "part varchar, grade varchar, money double, since varchar, model varchar",
    "standards": "choice varchar, option varchar, since varchar, model varchar",
    "aliases": "kind varchar, folded varchar, shown varchar",
    "shop_settings": "unrecorded_grade varchar",
}


def band_rows(factor: str, edges: Sequence[float]) -> Rows:
    """Bands between inner edges: (factor, from, below, name); a value on an edge is above it."""
    if not edges:
        return []
    words = [f"{edge:g}" for edge in edges]
    middle = [f"{a}-{b}" for a, b in itertools.pairwise(words)]
    names = [f"<{words[0]}", *middle, f">={words[-1]}"]
    lows, highs = [None, *edges], [*edges, None]
    return [(factor, *row) for row in zip(lows, highs, names, strict=True)]


# kind of mode -> its unit by first choice and as attempted.
UNITS = {"steps": ("job", "attempt"), "part": ("piece", "piece"), "mixed": ("job", "job")}
# Tables that the tallies read; the others are for imports, questions and a person's own SQL.
FOR_TALLIES = (
    "grades", "factor_bands", "modes", "mode_mixed", "targets", "target_places", "target_options",
    "aliases", "shop_settings",
)  # fmt: skip


class _Targets:
    """Numbers what a mode can happen to, so that modes with the same target share one count."""

    def __init__(self) -> None:
        self.numbers: dict[tuple[Any, ...], int] = {}

    def number(self, kind: str, places: Iterable[str], options: Iterable[str]) -> int:
        key = (kind, tuple(sorted(places)), tuple(sorted(options)))
        return self.numbers.setdefault(key, len(self.numbers) + 1)


def _mode_rows(catalogue: Catalogue, targets: _Targets) -> dict[str, Rows]:
    rows: dict[str, Rows] = {"modes": []}
    for position, mode in enumerate(catalogue.failure_modes):
        kind = "steps" if mode.steps else "mixed" if mode.mixed else "part"
        part = catalogue.part_codes if mode.part == "any" else (mode.part or "",)
        places = {"steps": mode.steps, "mixed": mode.mixed, "part": part}[kind]
        options = (*mode.methods, *mode.grades)
        rows["modes"].append(
            (mode.code, mode.label, mode.family, mode.severity, mode.cost_minutes,
             mode.cost_money, mode.safety, kind, *UNITS[kind], targets.number(kind, places, ()),
             targets.number(kind, places, options), position)
        )  # fmt: skip
        rows.setdefault("mode_steps", []).extend((mode.code, step) for step in mode.steps)
        rows.setdefault("mode_methods", []).extend((mode.code, one) for one in mode.methods)
        rows.setdefault("mode_grades", []).extend((mode.code, one) for one in mode.grades)
        if kind == "part":
            rows.setdefault("mode_parts", []).extend((mode.code, one) for one in part)
        order = [part for part in catalogue.part_codes if part in mode.mixed]
        rows.setdefault("mode_mixed", []).extend(
            (mode.code, part, place) for place, part in enumerate(order)
        )
    return rows


def catalogue_rows(catalogue: Catalogue) -> dict[str, Rows]:
    """The rows of every catalogue table, by table name."""
    targets = _Targets()
    rows = _mode_rows(catalogue, targets)
    numbered = targets.numbers.items()
    rows["targets"] = [(number, kind, bool(limit)) for (kind, _, limit), number in numbered]
    rows["target_places"] = [(n, place) for (_, places, _), n in numbered for place in places]
    rows["target_options"] = [(n, option) for (_, _, limit), n in numbered for option in limit]
    rows["steps"] = [
        (code, catalogue.label(code), n) for n, code in enumerate(catalogue.step_codes)
    ]
    rows["methods"] = [(m.step, m.code, m.label, m.consumables) for m in catalogue.methods]
    rows["parts"] = [(part.code, part.label, n) for n, part in enumerate(catalogue.parts)]
    rows["grades"] = [(grade.code, grade.label, grade.origin) for grade in catalogue.grades]
    rows["repairs"] = [(one.code, one.label, n) for n, one in enumerate(catalogue.repairs)]
    for name, key in (("step", "steps"), ("part", "parts"), ("factor", "factors")):
        rows[f"repair_{name}s"] = [
            (one.code, code) for one in catalogue.repairs for code in getattr(one, key)
        ]
    rows["catalogue_factors"] = [(one.code, one.kind, one.when) for one in catalogue.factors]
    rows["factor_values"] = [(one.code, word) for one in catalogue.factors for word in one.values]
    rows["factor_bands"] = [
        row for one in catalogue.factors for row in band_rows(one.code, one.bands)
    ]
    rows["prices"] = [
        (p.part, p.grade, p.money, p.since.isoformat(), p.model) for p in catalogue.prices
    ]
    rows["standards"] = [
        (s.choice, s.option, s.since.isoformat(), s.model) for s in catalogue.standards
    ]
    rows["aliases"] = [
        (one.kind, fold(word), one.name) for one in catalogue.aliases for word in one.also
    ]
    rows["shop_settings"] = [(catalogue.unrecorded_grade,)]
    return rows


def load(con: duckdb.DuckDBPyConnection, table: str, columns: str, rows: Rows) -> None:
    """A temporary table with the given rows, in one statement (row-wise inserts are slow)."""
    names = [column.split()[0] for column in columns.split(",")]
    kinds = ", ".join(f'"{name}": "{kind}"' for name, kind in _typed(columns))
    content = json.dumps([dict(zip(names, row, strict=True)) for row in rows])
    con.execute(
        f"create or replace temp table {table} as "
        f"""select unnest(from_json($1, '[{{{kinds}}}]'), recursive := true)""",
        [content],
    )


def _typed(columns: str) -> list[tuple[str, str]]:
    return [(word.split()[0], word.split()[1].upper()) for word in columns.split(",")]


def catalogue_tables(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, names: Iterable[str] = tuple(TABLES)
) -> None:
    """Catalogue tables as temporary tables of this connection; all, or those named."""
    rows = catalogue_rows(catalogue)
    for table in names:
        load(con, table, TABLES[table], rows.get(table, []))


def view_texts(names: Iterable[str]) -> dict[str, str]:
    """View -> the statement that builds it; files with the slot view build two."""
    texts: dict[str, str] = {}
    for name in names:
        text = statement(f"views/{name}")
        if "/*view*/" in text:
            texts |= {f"{name}_{view}": text.replace("/*view*/", view) for view in BOTH}
        else:
            texts[name] = text
    return texts


def _named(text: str) -> list[str]:
    """Words that may be names of views; the tables of the records have theirs after a dot."""
    return re.findall(r"(?<![.\w])\w+", re.sub("--.*", "", text))


def _reached(texts: dict[str, str], statements: Iterable[str]) -> list[str]:
    """The views that these statements name, and all that those read, in order."""
    needed = set(_named("\n".join(statements)))
    for name in reversed(texts):  # each view reads only earlier ones
        if name in needed:
            needed.update(_named(texts[name]))
    return [text for name, text in texts.items() if name in needed]


def build_session(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    *,
    digging: bool = True,
    statements: Iterable[str] | None = None,
) -> None:
    """Catalogue tables and views, as temporary objects of this connection.

    ``digging=False`` leaves out what only imports, questions and a person's own SQL read.
    ``statements``: where all of a question are known, only views that they read are built.
    """
    catalogue_tables(con, catalogue, TABLES if digging else FOR_TALLIES)
    texts = view_texts((*VIEWS, *(DIGGING if digging else ())))
    for text in texts.values() if statements is None else _reached(texts, statements):
        con.execute(text)
