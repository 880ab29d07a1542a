"""The columns a job sheet may have for a given catalogue, and the words their cells may hold."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fixstats.folder import Catalogue

REQUIRED = ("job", "finished", "model", "repair")
OUTCOMES = ("completed", "abandoned", "returned_unrepaired")
# Columns of an exported sheet of held-back rows that no job sheet has.
HELD_BACK_COLUMNS = ("held_back", "reason")
# Between elements of one cell: successive attempts or pieces, and lists.
SEPARATORS: Mapping[str, str] = {
    **dict.fromkeys(("step", "grade", "supplier", "lot", "cost"), ">"),
    **dict.fromkeys(("repair", "failures", "unchecked", "preexisting"), ";"),
}
_FIXED_KINDS: Mapping[str, str] = {
    "job": "job",
    "finished": "date",
    "model": "name",
    "repair": "repair",
    "received": "date",
    "branch": "name",
    "technician": "name",
    "outcome": "outcome",
    "minutes": "amount",
    "price": "amount",
    "failure_cost": "amount",
    "notes": "notes",
    "failures": "failures",
    "unchecked": "unchecked",
    "preexisting": "preexisting",
    "returned": "date",
    "return_reason": "return_reason",
    "return_of": "job",
    "trial": "text",
    "assigned": "text",
}
_YES = ("yes", "y", "true", "1", "x")
_NO = ("no", "n", "false", "0")
# Whose cells need a look-up by code.
CODED = (
    "repair", "outcome", "failures", "unchecked", "preexisting", "return_reason",
    "step", "grade", "fitted", "flag", "category",
)  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column of a job sheet: what its cells are and what it belongs to.

    ``kind`` decides how a cell is read; ``owner`` is its step, part, factor or open list.
    """

    name: str
    kind: str
    owner: str = ""

    @property
    def separator(self) -> str | None:
        """What stands between the elements of a cell; None where it has only one."""
        return SEPARATORS.get(self.kind)


def _columns(catalogue: Catalogue) -> Iterator[Column]:
    for name, kind in _FIXED_KINDS.items():
        yield Column(name, kind, name if kind == "name" else "")
    for step in catalogue.step_codes:
        yield Column(step, "step", step)
    for step in catalogue.step_codes:
        yield Column(f"{step}_minutes", "amount", step)
    for part in catalogue.part_codes:
        for kind in ("grade", "supplier", "lot", "cost", "fitted"):
            yield Column(f"{part}_{kind}", kind, part)
    for factor in catalogue.factors:
        yield Column(factor.code, factor.kind, factor.code)


def sheet_columns(catalogue: Catalogue) -> dict[str, Column]:
    """Every column a job sheet of this shop may have, by name, in the order of a sheet."""
    return {column.name: column for column in _columns(catalogue)}


def slug(word: str) -> str:
    """How codes are compared: case, spaces and hyphens do not count."""
    return re.sub(r"[\s_-]+", "_", word.strip().lower())


def _words(catalogue: Catalogue) -> Iterator[tuple[str, str, str, list[str]]]:
    """(kind, owner, word, what it stands for); a later one with the same word wins."""
    label = catalogue.label
    modes = list(catalogue.modes)
    lists: list[tuple[str, str, list[str]]] = [
        ("repair", "", [repair.code for repair in catalogue.repairs]),
        ("failures", "", modes),
        ("preexisting", "", modes),
        ("return_reason", "", modes),
        ("unchecked", "", modes),
    ]
    lists += [("step", step, list(catalogue.methods_of(step))) for step in catalogue.step_codes]
    grades = [grade.code for grade in catalogue.grades]
    lists += [("grade", part, grades) for part in catalogue.part_codes]
    for kind, owner, codes in lists:
        yield from ((kind, owner, label(code), [code]) for code in codes)
    for family, members in catalogue.families.items():
        yield "unchecked", "", family, list(members)
    for kind, owner, codes in lists:
        yield from ((kind, owner, code, [code]) for code in codes)
    yield "unchecked", "", "all", ["all"]
    yield "return_reason", "", "unrelated", ["unrelated"]
    yield from (("outcome", "", word, [word]) for word in OUTCOMES)
    yield from _choices(catalogue)


def _choices(catalogue: Catalogue) -> Iterator[tuple[str, str, str, list[str]]]:
    """Words of flags, of categories and of whether a part was fitted."""
    owners = [("fitted", part) for part in catalogue.part_codes]
    owners += [("flag", factor.code) for factor in catalogue.factors if factor.kind == "flag"]
    for kind, owner in owners:
        yield from ((kind, owner, word, ["yes"]) for word in _YES)
        yield from ((kind, owner, word, ["no"]) for word in _NO)
    for factor in catalogue.factors:
        yield from (("category", factor.code, word, [word]) for word in factor.values)


def known_words(catalogue: Catalogue) -> list[tuple[str, str, str, str, int]]:
    """Rows (kind, owner, slug, code, position): every word a coded cell may hold.

    A family among unchecked modes stands for all of its modes. position is the order in which
    several codes of one cell are written.
    """
    found = {(kind, owner, slug(word)): codes for kind, owner, word, codes in _words(catalogue)}
    order = {code: place for place, (_, entry) in enumerate(catalogue.entries())
             for code in [entry.code]}  # fmt: skip
    return [
        (kind, owner, word, code, order.get(code, 0))
        for (kind, owner, word), codes in found.items()
        for code in codes
    ]


def choices(catalogue: Catalogue, kind: str, owner: str) -> list[str]:
    """The codes a cell of this kind may hold, for messages."""
    rows = known_words(catalogue)
    return sorted({code for k, o, _, code, _ in rows if (k, o) == (kind, owner)})
