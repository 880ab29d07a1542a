"""The plain-words meaning of the words that the output uses, one file a theme beside this one.

An entry is ``words = text``: several words of one meaning stand together, commas between, the
first is the entry's name. Where a method is meant, the text ends in ``Source:`` with author and
year. A test compares the entries with what every command prints.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fixstats.words import nearest

# In the order in which they are listed.
THEMES = (
    "answers", "counting", "comparing", "causes", "practice", "comebacks", "watching", "trials",
    "deciding", "brief", "records", "settings", "notes", "statistics", "trade",
)  # fmt: skip
SOURCE = "Source:"
_HERE = Path(__file__).resolve().parent
_NUMBER = re.compile(r"\d[\d.,]*")
# A currency as ISO 4217 writes it.
_CURRENCY = re.compile(r"\b[A-Z]{3}\b")
_BETWEEN = re.compile(r"[^\w%.+]+|_+")


@dataclass(frozen=True)
class Entry:
    """One meaning: all words that have it, the theme's title, the text and the method's source.

    ``general``: of a theme whose words need not stand in any output.
    """

    words: tuple[str, ...]
    theme: str
    text: str
    source: str | None = None
    general: bool = False

    @property
    def term(self) -> str:
        """The word that the entry goes by."""
        return self.words[0]


@cache
def entries() -> tuple[Entry, ...]:
    """All entries, theme by theme."""
    return tuple(entry for theme in THEMES for entry in _read(_HERE / f"{theme}.toml"))


def _read(path: Path) -> Iterator[Entry]:
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    for names, text in content["terms"].items():
        words = tuple(word.strip() for word in names.split(","))
        told, _, source = " ".join(text.split()).partition(SOURCE)
        yield Entry(
            words, content["title"], told.strip(), source.strip() or None,
            content.get("general", False),
        )  # fmt: skip


def find(word: str) -> Entry | None:
    """The entry of a word, however it is spelt: case, ``_`` and signs do not matter.

    A heading with a number or a currency in it (``0 to 38.6 %``, ``EUR per 100 jobs``) is found
    under ``N`` and ``MONEY``.
    """
    known = _by_spelling()
    return next((known[one] for one in spellings(word) if one in known), None)


def near(word: str, most: int = 3) -> list[str]:
    """Words of the glossary that look like this one, likest first."""
    return nearest(word, (one for entry in entries() for one in entry.words), most)


def spelling(word: str) -> str:
    """Small letters and single blanks: ``P (corrected)`` and ``p_corrected`` are one word."""
    return _BETWEEN.sub(" ", word.casefold()).strip(" .")


def spellings(word: str) -> Iterator[str]:
    """The word as it is looked up: as it is, and with N for numbers, MONEY for a currency."""
    yield spelling(word)
    yield spelling(_CURRENCY.sub("MONEY", _NUMBER.sub("N", word)))


@cache
def _by_spelling() -> Mapping[str, Entry]:
    return {one: entry for entry in entries() for word in entry.words for one in spellings(word)}
