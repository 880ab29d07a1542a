"""Values that a person filters by, brought to the spelling of the records or refused."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from fixstats.errors import UsageError
from fixstats.folder import Catalogue, fold
from fixstats.tallies.keys import OPEN_KEYS, Key
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

NOT_RECORDED = ""
NOT_DONE = "-"
DERIVED_VALUES = {
    "parts_together": ("none", "1", "2", "3 or more"),
    "grades_mixed": ("yes", "no"),
    "practice": ("0-9", "10-29", "30-99", "practised", NOT_DONE),
    "another_try": ("yes", "no", NOT_DONE),
}
PERIODS = {
    "month": (r"\d{4}-\d{2}", "2026-03"),
    "quarter": (r"\d{4}-Q[1-4]", "2026-Q1"),
    "year": (r"\d{4}", "2026"),
}


def spelled(con: duckdb.DuckDBPyConnection, catalogue: Catalogue, key: Key, value: str) -> str:
    """The value as the records spell it.

    Raises
    ------
    UsageError
        If the key cannot have that value; the nearest one is named.
    """
    if value == NOT_RECORDED:
        return value
    if key.code in PERIODS and key.kind == "job":
        pattern, example = PERIODS[key.code]
        if not re.fullmatch(pattern, value):
            raise UsageError(f"{key.name}={value}: write a {key.code} like {example}")
        return value
    known = _known(con, catalogue, key)
    if known is None:
        return value
    if fold(value) not in known:
        near = did_you_mean(value, known.values())
        raise UsageError(f"{key.name}={value}: not in the records or the catalogue{near}")
    return known[fold(value)]


def known_names(con: duckdb.DuckDBPyConnection, kind: str) -> dict[str, str]:
    """Folded spelling -> spelling of the names of an open list that the records know."""
    rows = con.execute("from known_names where kind = $1", [kind]).fetchall()
    return {folded: shown for _, folded, shown in rows}


def _by_fold(words: Iterable[str]) -> dict[str, str]:
    return {fold(word): word for word in words}


def _known(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, key: Key
) -> Mapping[str, str] | None:
    """Folded spelling -> spelling of all values of a key; None where anything goes."""
    kind = key.field if key.kind == "part" else key.code
    if kind in (*OPEN_KEYS, "supplier", "lot"):
        return known_names(con, kind) | _by_fold([NOT_DONE])
    if key.kind == "step":
        return _by_fold([*catalogue.methods_of(key.code), NOT_DONE])
    if key.kind == "part":
        return _by_fold([*(grade.code for grade in catalogue.grades), NOT_DONE])
    if key.kind in DERIVED_VALUES:
        return _by_fold(DERIVED_VALUES[key.kind])
    if key.kind == "factor":
        return _factor_values(con, catalogue, key)
    words = {
        "repair": tuple(repair.code for repair in catalogue.repairs),
        "rework": ("yes", "no"),
        "outcome": ("completed", "abandoned", "returned_unrepaired"),
    }
    return _by_fold(words[key.code]) if key.code in words else None


def _factor_values(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, key: Key
) -> Mapping[str, str] | None:
    factor = next(one for one in catalogue.factors if one.code == key.code)
    if factor.kind == "flag":
        return _by_fold(["yes", "no"])
    if factor.kind == "category":
        return _by_fold(factor.values)
    rows = con.execute("select band from factor_bands where factor = $1", [key.code]).fetchall()
    return _by_fold(band for (band,) in rows) or None
