"""What the shell offers when a person presses the tab key: codes of the catalogue, names, keys."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from fixstats.errors import FixstatsError

if TYPE_CHECKING:
    from fixstats.shop import Shop


def _shop() -> Shop | None:
    """The shop found without options; None where there is none: completion never complains."""
    from fixstats.shop import open_shop

    try:
        return open_shop()
    except FixstatsError:
        return None


def _beginning(words: Iterable[str], incomplete: str) -> list[str]:
    return [word for word in words if word.startswith(incomplete)]


def modes(incomplete: str) -> list[str]:
    """Failure modes."""
    shop = _shop()
    return _beginning(shop.folder.catalogue.modes, incomplete) if shop else []


def families(incomplete: str) -> list[str]:
    """Families of failure modes."""
    shop = _shop()
    return _beginning(shop.folder.catalogue.families, incomplete) if shop else []


def modes_and_families(incomplete: str) -> list[str]:
    """Failure modes and families."""
    return [*families(incomplete), *modes(incomplete)]


def steps(incomplete: str) -> list[str]:
    """Steps."""
    shop = _shop()
    return _beginning(shop.folder.catalogue.step_codes, incomplete) if shop else []


def methods(incomplete: str) -> list[str]:
    """Methods of all steps."""
    shop = _shop()
    known = [method.code for method in shop.folder.catalogue.methods] if shop else []
    return _beginning(known, incomplete)


def choices(incomplete: str) -> list[str]:
    """What a workshop can standardise: steps, grades and suppliers of parts."""
    shop = _shop()
    if shop is None:
        return []
    catalogue = shop.folder.catalogue
    parts = [f"{part}_{field}" for part in catalogue.part_codes for field in ("grade", "supplier")]
    return _beginning([*catalogue.step_codes, *parts], incomplete)


def options(ctx: Any, incomplete: str) -> list[str]:
    """Options of the choice named before: methods, grades or suppliers."""
    choice, shop = str(ctx.params.get("choice") or ""), _shop()
    if shop is None or choice.endswith("_supplier"):
        return _beginning(_names("supplier"), incomplete)
    catalogue = shop.folder.catalogue
    if choice.endswith("_grade"):
        return _beginning([grade.code for grade in catalogue.grades], incomplete)
    return _beginning(catalogue.methods_of(choice), incomplete)


def models(incomplete: str) -> list[str]:
    """Models that the records know."""
    return _beginning(_names("model"), incomplete)


def _names(kind: str) -> list[str]:
    """Names of an open list that the records know."""
    from fixstats.tallies.values import known_names

    shop = _shop()
    try:
        if shop is not None:
            with shop.session() as con:
                return list(dict.fromkeys(known_names(con, kind).values()))
    except FixstatsError:
        pass
    return []


def repairs(incomplete: str) -> list[str]:
    """Repairs."""
    shop = _shop()
    known = [repair.code for repair in shop.folder.catalogue.repairs] if shop else []
    return _beginning(known, incomplete)


def cells(incomplete: str) -> list[str]:
    """``COLUMN=`` of a job sheet and, after the sign, the codes that it may hold."""
    from fixstats.records.cells import options_of
    from fixstats.records.columns import sheet_columns

    shop = _shop()
    if shop is None:
        return []
    columns = sheet_columns(shop.folder.catalogue)
    name, sign, value = incomplete.partition("=")
    if not sign:
        return _beginning([f"{column}=" for column in columns], name)
    known = options_of(shop.folder.catalogue, columns[name]) if name in columns else []
    return [f"{name}={word}" for word in _beginning(known, value)]


def keys(incomplete: str) -> list[str]:
    """Keys to group by; after a comma the next one."""
    from fixstats.tallies.keys import known_keys

    shop = _shop()
    before, comma, last = incomplete.rpartition(",")
    found = _beginning(known_keys(shop.folder.catalogue), last) if shop else []
    return [f"{before}{comma}{key}" for key in found]


def pairs(incomplete: str) -> list[str]:
    """``KEY=`` and, after the sign, the names of an open list that the records know."""
    key, sign, value = incomplete.partition("=")
    if not sign:
        return [f"{name}=" for name in keys(key)]
    return [f"{key}={shown}" for shown in _beginning(_names(key), value)]


def questions(incomplete: str) -> list[str]:
    """Questions that ship with fixstats."""
    from fixstats.tallies.questions import all_questions

    return _beginning(all_questions(), incomplete)


def trials(incomplete: str) -> list[str]:
    """Trials that were begun."""
    shop = _shop()
    try:
        return _beginning([row["trial"] for row in shop.trials().rows], incomplete) if shop else []
    except FixstatsError:
        return []


def terms(incomplete: str) -> list[str]:
    """Words of the glossary."""
    from fixstats.glossary import entries

    return _beginning((word for entry in entries() for word in entry.words), incomplete)


def prices(incomplete: str) -> list[str]:
    """``PART:GRADE=`` of every part and grade."""
    return [f"{one}=" for one in _beginning(_parts_and_grades(), incomplete)]


def inputs(incomplete: str) -> list[str]:
    """What a decision may flip along: the labour rate, prices, costs of failure modes."""
    return [*_beginning(["labour_rate", *_parts_and_grades()], incomplete), *modes(incomplete)]


def _parts_and_grades() -> list[str]:
    shop = _shop()
    if shop is None:
        return []
    catalogue = shop.folder.catalogue
    grades = [grade.code for grade in catalogue.grades]
    return [f"{part}:{grade}" for part in catalogue.part_codes for grade in grades]
