"""One cell of a job sheet typed at the bench: what it may hold, and its words as codes."""

from __future__ import annotations

from collections.abc import Sequence

from fixstats.errors import UsageError
from fixstats.folder import Catalogue
from fixstats.records.columns import CODED, Column, choices, known_words, sheet_columns, slug
from fixstats.records.judging import unknown_word

# Signs between elements as they are written: what follows what, and lists.
_WRITTEN = {">": " > ", ";": "; "}
# Not a code, but allowed: done and not recorded, not done.
_BLANKS = {"step": ("?", "-"), "grade": ("?", "-")}


def _codes(catalogue: Catalogue, kind: str, owner: str) -> dict[str, list[str]]:
    """Every word of a coded cell, folded as codes are -> the codes it stands for."""
    found: dict[str, list[str]] = {}
    for one, of, word, code, _ in known_words(catalogue):
        if (one, of) == (kind, owner):
            found.setdefault(word, []).append(code)
    return found


def column_of(catalogue: Catalogue, name: str) -> Column:
    """The column of this name."""
    return sheet_columns(catalogue)[name]


def options_of(catalogue: Catalogue, column: Column) -> list[str]:
    """The codes that a cell of this column may hold, in the order of the catalogue."""
    if column.kind == "step":
        return list(catalogue.methods_of(column.owner))
    if column.kind == "repair":
        return [repair.code for repair in catalogue.repairs]
    if column.kind == "grade":
        return [grade.code for grade in catalogue.grades]
    if column.kind not in CODED:
        return []
    return choices(catalogue, column.kind, _owner(column))


def _owner(column: Column) -> str:
    return column.owner if column.kind in ("step", "grade", "flag", "category", "fitted") else ""


def _element(catalogue: Catalogue, column: Column, word: str, listed: Sequence[str]) -> str:
    if word in _BLANKS.get(column.kind, ()):
        return word
    bare, mark, place = word.partition("@") if column.kind == "failures" else (word, "", "")
    codes = _codes(catalogue, column.kind, _owner(column)).get(slug(bare))
    if codes is None and word.isdigit() and 0 < int(word) <= len(listed):
        return listed[int(word) - 1]
    if codes is None:
        options = options_of(catalogue, column)
        raise UsageError(unknown_word(column.kind, column.owner, bare.strip(), options))
    # a family among the unchecked modes stays one word
    code = codes[0] if len(codes) == 1 else slug(bare)
    return f"{code}{mark}{place.strip()}"


def clean_cell(catalogue: Catalogue, column: Column, text: str, listed: Sequence[str] = ()) -> str:
    """What was typed, words as codes; a number means that place in ``listed``.

    What is no coded cell is only trimmed: whether it is a date or a number is for the check of the
    whole job.

    Raises
    ------
    UsageError
        If a word is no code of the column; the nearest one is named.
    """
    text = " ".join(text.split())
    if column.kind not in CODED or not text:
        return text
    if text == "none" and column.kind in ("failures", "unchecked", "preexisting"):
        return text
    sign = column.separator
    words = [word.strip() for word in (text.split(sign) if sign else [text])]
    found = [_element(catalogue, column, word, listed) for word in words if word]
    return _WRITTEN.get(sign or "", " ").join(found)
