"""Adds codes that a sheet uses and the catalogue lacks, as new entries at the end of its file."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.errors import FolderError, SheetError
from fixstats.folder import Catalogue, build_catalogue
from fixstats.folder.entries import CODE
from fixstats.records.columns import slug

if TYPE_CHECKING:
    import duckdb

_ENTRY_OF = {
    "step": "method",
    "grade": "grade",
    "repair": "repair",
    "failures": "failure_mode",
    "preexisting": "failure_mode",
    "unchecked": "failure_mode",
}
# New modes get these until somebody says better.
_FAMILY = "unsorted"
_SEVERITY = 1


@dataclass(frozen=True)
class NewCode:
    """An entry to add: its kind, code, the words it was found as, and the step of a method."""

    entry: str
    code: str
    words: str
    step: str = ""


def new_codes(con: duckdb.DuckDBPyConnection) -> list[NewCode]:
    """The codes that the sheet just judged uses and nobody knows; needs the table ``elements``."""
    from fixstats.records.templates import fill

    rows = con.execute(fill("unresolved")).fetchall()
    found: dict[tuple[str, str, str], NewCode] = {}
    for kind, owner, _, _, word in sorted(rows):
        entry, code = _ENTRY_OF.get(kind), slug(word)
        if entry and CODE.fullmatch(code):
            step = owner if entry == "method" else ""
            found.setdefault((entry, code, step), NewCode(entry, code, word, step))
    return list(found.values())


def _texts(new: NewCode, catalogue: Catalogue) -> Iterable[str]:
    yield f"[[{new.entry}]]"
    if new.step:
        yield f"step = {json.dumps(new.step)}"
    yield f"code = {json.dumps(new.code)}"
    words = new.words.replace("_", " ")
    yield f"label = {json.dumps(words[:1].upper() + words[1:], ensure_ascii=False)}"
    if new.entry == "failure_mode":
        yield f"family = {json.dumps(_FAMILY)}"
        yield f"severity = {_SEVERITY}"
        # nobody said where it occurs: at any step
        yield f"steps = {json.dumps(list(catalogue.step_codes))}"


def with_codes(catalogue: Catalogue, codes: Sequence[NewCode]) -> tuple[Catalogue, str]:
    """The catalogue with the new entries, checked, and the text of its file.

    Raises
    ------
    SheetError
        If an entry cannot be added, such as a code that already means something else.
    """
    text = catalogue.where.read_text(encoding="utf-8-sig")
    # a file that ends inside a table would take the new lines for its own
    lines = [line for new in codes for line in ("", *_texts(new, catalogue))]
    added = "# Added by an import: complete the labels, costs and links.\n" + "\n".join(lines[1:])
    whole = re.sub(r"\n*\Z", "\n\n", text) + added + "\n"
    try:
        checked = build_catalogue(tomllib.loads(whole), catalogue.where, whole.encode())
    except (FolderError, tomllib.TOMLDecodeError) as trouble:
        raise SheetError(f"codes cannot be added: {trouble}\nnothing was changed") from trouble
    return checked, whole


def write_catalogue(path: Path, text: str) -> None:
    """Replace the catalogue's file, whole or not at all.

    Raises
    ------
    FolderError
        If it cannot be written.
    """
    part = path.with_suffix(".part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as trouble:
        raise FolderError(f"{path}: cannot be written ({trouble.strerror})") from trouble
