"""Values that a person sets for a question's parameters, checked by what kind they are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.errors import UsageError
from fixstats.folder import Catalogue, ShopFolder, fold
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

# No limit; and: as the shop's settings say.
ANY, SHOP = "any", "shop"
# Names that nobody can close: what the records know is allowed.
OPEN_KINDS = ("model", "technician", "supplier")
CODES: Mapping[str, Callable[[Catalogue], Any]] = {
    "step": lambda catalogue: catalogue.step_codes,
    "part": lambda catalogue: catalogue.part_codes,
    "repair": lambda catalogue: [repair.code for repair in catalogue.repairs],
    "mode": lambda catalogue: catalogue.modes,
}
OF_SHOP: Mapping[str, Callable[[ShopFolder], Any]] = {
    "level": lambda folder: folder.settings.confidence_level,
    "days": lambda folder: folder.settings.warranty_days,
}


def value_of(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    kind: str,
    name: str,
    given: str | None,
    default: str,
) -> Any:
    """The value of a parameter; None for no limit. ``given`` is None where nothing was set.

    Raises
    ------
    UsageError
        If the value is not of that kind; what is allowed or near is named.
    """
    text = (default if given is None else given).strip()
    if text == SHOP and default == SHOP:
        return OF_SHOP[kind](folder)
    if text == ANY and default == ANY:
        return None
    if not text:
        raise UsageError(f"{name} is empty; leave it out for the default ({default})")
    if kind in CODES:
        return _code(folder.catalogue, kind, name, text)
    if kind in OPEN_KINDS:
        return _known_name(con, kind, name, text)
    return _TYPED[kind](name, text)


def _code(catalogue: Catalogue, kind: str, name: str, text: str) -> str:
    codes = list(CODES[kind](catalogue))
    if text not in codes:
        near = did_you_mean(text, codes)
        raise UsageError(f"{name}={text}: the catalogue has no such {kind}{near}")
    return text


def _known_name(con: duckdb.DuckDBPyConnection, kind: str, name: str, text: str) -> str:
    rows = con.execute("from known_names where kind = $1", [kind]).fetchall()
    known = {folded: shown for _, folded, shown in rows}
    if fold(text) not in known:
        near = did_you_mean(text, known.values())
        raise UsageError(f"{name}={text}: the records know no such {kind}{near}")
    return str(known[fold(text)])


def _number(name: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < float("inf"):
        raise UsageError(f"{name}={text}: write a number, such as 20")
    return value


def _days(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 < int(text) < 100_000):
        raise UsageError(f"{name}={text}: write a whole number of days above 0, such as 90")
    return int(text)


def _date(name: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{name}={text}: write a date like 2026-03-31") from None


def _level(name: str, text: str) -> float:
    value = _number(name, text)
    if not 0.5 < value < 1:
        raise UsageError(f"{name}={text}: must lie between 0.5 and 1, such as 0.95")
    return value


_TYPED: Mapping[str, Callable[[str, str], Any]] = {
    "number": _number,
    "days": _days,
    "date": _date,
    "level": _level,
}
KINDS = (*CODES, *OPEN_KINDS, *_TYPED)
