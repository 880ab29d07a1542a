"""Proposes a mapping for a workshop's own spreadsheet, from its header and from its cells."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path

from fixstats.folder import Catalogue, ShopFolder
from fixstats.records import dates
from fixstats.records.columns import REQUIRED, Column, known_words, sheet_columns, slug
from fixstats.records.header import is_personal_name
from fixstats.records.mapping import Formats
from fixstats.records.sheets import CsvSource, Source, open_sheet
from fixstats.records.templates import column, fill

# Words that workshops put over these columns, compared without case and signs.
_WORDS: Mapping[str, tuple[str, ...]] = {
    "job": ("ticket", "order", "id", "number", "no", "nr", "job no", "repair no", "order no",
            "ticket no", "auftrag"),
    "finished": ("done", "date", "closed", "completed on", "handed over", "end", "out",
                 "finish date", "date out", "fertig", "datum"),
    "received": ("in", "date in", "opened", "intake", "start", "booked in", "eingang"),
    "model": ("device", "device model", "phone", "type", "unit", "gerät", "modell"),
    "repair": ("service", "work", "job type", "repair type", "reparatur"),
    "technician": ("tech", "bench", "by", "repaired by", "done by", "staff", "techniker"),
    "branch": ("shop", "store", "location", "site", "filiale"),
    "outcome": ("result", "status", "state"),
    "minutes": ("time", "duration", "mins", "time spent", "dauer"),
    "price": ("charged", "amount", "total", "paid", "preis"),
    "failure_cost": ("damage cost", "loss"),
    "notes": ("note", "comment", "comments", "remarks", "bemerkung"),
    "failures": ("failure", "problems", "what went wrong", "damage", "faults", "issues", "fehler"),
    "returned": ("came back", "return date", "comeback", "warranty date"),
    "return_reason": ("why back", "warranty reason", "comeback reason"),
}  # fmt: skip
_LEAST_NAME = 0.72
_LEAST_CONTENT = 0.6
# Cells looked at per column.
_SAMPLE = 2000


@dataclass(frozen=True)
class _Guess:
    """How well one of their columns fits one of ours, and why."""

    score: float
    place: int
    ours: str
    why: str


def _name_score(name: str, ours: str) -> float:
    theirs = slug(name)
    if theirs == ours:
        return 1.0
    if theirs in {slug(word) for word in _WORDS.get(ours, ())}:
        return 0.9
    return 0.9 * SequenceMatcher(None, theirs, ours).ratio()


def _words_of(catalogue: Catalogue) -> dict[tuple[str, str], set[str]]:
    found: dict[tuple[str, str], set[str]] = {}
    for kind, owner, word, _, _ in known_words(catalogue):
        found.setdefault((kind, owner), set()).add(word)
    return found


def _content_score(cells: Sequence[str], ours: Column, words: Mapping[tuple[str, str], set[str]]) \
        -> float:  # fmt: skip
    """The share of different cells that are words of this column; 0 where it has no words."""
    options = words.get((ours.kind, ours.owner))
    if not options or not cells or ours.kind in ("flag", "fitted"):
        return 0.0
    pattern = re.escape(ours.separator) if ours.separator else "\0"
    parts = {slug(part.split("@")[0]) for cell in cells for part in re.split(pattern, cell)}
    return len(parts & options) / len(parts)


def _could_be(cells: Sequence[str], ours: Column) -> bool:
    """Whether the cells do not speak against the column: dates in one of dates, and so on."""
    if not cells:
        return True
    if ours.kind == "date":
        return sum(dates.read_day(c, "DMY") is not None or dates.read_day(c, "MDY") is not None
                   for c in cells) > len(cells) / 2  # fmt: skip
    if ours.kind in ("amount", "number", "cost"):
        return sum(bool(re.fullmatch(r"[-+]?[\d.,' ]+ ?%?", c)) for c in cells) > len(cells) / 2
    return True


def _guesses(
    header: Sequence[str], samples: Sequence[Sequence[str]], catalogue: Catalogue
) -> list[_Guess]:
    words, found = _words_of(catalogue), []
    for place, name in enumerate(header):
        for ours in sheet_columns(catalogue).values():
            by_name = _name_score(name, ours.name)
            by_content = _content_score(samples[place], ours, words)
            if by_name < _LEAST_NAME and by_content < _LEAST_CONTENT:
                continue
            if (is_personal_name(name) and by_name < 1) or not _could_be(samples[place], ours):
                continue
            why = "by its cells" if by_content > by_name else "by its name"
            found.append(_Guess(by_name + by_content, place, ours.name, why))
    return sorted(found, key=lambda guess: -guess.score)


def _assign(guesses: Sequence[_Guess]) -> dict[int, _Guess]:
    """The best fit first; each column of theirs and of ours once."""
    taken: dict[int, _Guess] = {}
    for guess in guesses:
        if guess.place not in taken and guess.ours not in {g.ours for g in taken.values()}:
            taken[guess.place] = guess
    return taken


def _samples(source: Source) -> list[list[str]]:
    """Some different cells of each column, tidied."""
    import duckdb

    wanted = {place: f"column_{place}" for place in range(len(source.header))}
    found = []
    with duckdb.connect(":memory:") as con:
        source.load(con, wanted)
        for name in wanted.values():
            rows = con.execute(fill("samples", column=column(name)), {"most": _SAMPLE}).fetchall()
            found.append([cell for (cell,) in rows])
    return found


def _formats(source: Source, taken: Mapping[int, _Guess], samples: Sequence[Sequence[str]],
             known: Mapping[str, Column]) -> list[str]:  # fmt: skip
    lines = []
    if isinstance(source, CsvSource):
        lines.append(f"separator = {json.dumps(source.file.separator)}")
    numbers = [cell for place, guess in taken.items()
               if known[guess.ours].kind in ("amount", "number", "cost")
               for cell in samples[place]]  # fmt: skip
    if any(re.fullmatch(r"[-+]?[\d.]*\d,\d{1,2}", cell) for cell in numbers):
        lines.append('decimal = ","')
    days = [cell for place, guess in taken.items() if known[guess.ours].kind == "date"
            for cell in samples[place]]  # fmt: skip
    seen = dates.evidence(days)
    patterns = {"DMY": "DD/MM/YYYY", "MDY": "MM/DD/YYYY"}
    settled = [order for order in patterns if seen[order]]
    if len(settled) == 1:
        lines.append(f"dates = {json.dumps(patterns[settled[0]])}")
    elif settled or seen["either"]:
        lines.append('# dates = "DD/MM/YYYY"   # or "MM/DD/YYYY": the dates do not tell; say which')
    return lines


def _unknown_values(
    taken: Mapping[int, _Guess], samples: Sequence[Sequence[str]], catalogue: Catalogue
) -> list[str]:
    """Tables for values that are no codes of ours, to be filled in by hand."""
    words, known, lines = _words_of(catalogue), sheet_columns(catalogue), []
    for place, guess in taken.items():
        ours = known[guess.ours]
        options = words.get((ours.kind, ours.owner))
        if not options:
            continue
        pattern = re.escape(ours.separator) if ours.separator else "\0"
        parts = {
            part.split("@")[0].strip() for c in samples[place] for part in re.split(pattern, c)
        }
        foreign = sorted(p for p in parts if p and p not in "?-" and slug(p) not in options)
        if foreign:
            lines += ["", f"[values.{ours.name}]"]
            lines += [f'# {json.dumps(word, ensure_ascii=False)} = ""' for word in foreign[:40]]
    return lines


def draft_mapping(folder: ShopFolder, file: Path) -> str:
    """The text of a mapping file that fits the columns of ``file`` as well as can be guessed.

    Columns are matched by likeness of names and by codes in their cells. What could not be
    matched, and values that are no codes, stand there as comments to be completed by hand.

    Raises
    ------
    SheetError
        If the file cannot be read as a table.
    """
    catalogue = folder.catalogue
    known = sheet_columns(catalogue)
    with tempfile.TemporaryDirectory() as scratch:
        source = open_sheet(file, Formats(), Path(scratch))
        samples = _samples(source)
    taken = _assign(_guesses(source.header, samples, catalogue))
    lines = [f"# Draft of a mapping for {file.name}: read it through before you use it.",
             "format = 1", '# covers = "all"   # if the bench looked for every failure mode',
             "", "[columns]"]  # fmt: skip
    for place, name in enumerate(source.header):
        quoted = json.dumps(name, ensure_ascii=False)
        if place in taken:
            lines.append(f'{quoted} = "{taken[place].ours}"   # {taken[place].why}')
        elif is_personal_name(name):
            lines.append(f"# {quoted}: means a person or a device, stays out")
        elif name.strip():
            lines.append(f'# {quoted} = ""')
    missing = [name for name in REQUIRED if name not in {g.ours for g in taken.values()}]
    lines += [f"# required and not found: {', '.join(missing)}"] if missing else []
    formats = _formats(source, taken, samples, known)
    lines += ["", "[formats]", *formats] if formats else []
    lines += _unknown_values(taken, samples, catalogue)
    return "\n".join(lines) + "\n"
