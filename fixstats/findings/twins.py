"""Which names of an open list are likely one thing spelt in two ways? Pure, and fast for many."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterator, Mapping
from difflib import SequenceMatcher
from functools import cache

# Words this short are codes: one letter more or less makes another code.
SHORTEST_WORD = 4
# Likeness of two words (difflib ratio) from which one looks like a slip of the other: a wrong,
# missing or swapped letter in a word of five has 0.8.
LIKENESS = 0.8
# Beyond this many names a list is compared by letters and digits only, not by slips.
MANY_NAMES = 50_000


def near_twins(names: Mapping[str, int]) -> list[tuple[str, str]]:
    """Pairs (name, the one in wider use that it resembles) of ``names`` with their numbers of jobs.

    Two names resemble each other if they differ only in spaces, signs, accents or leading zeros,
    or by one slip of the pen in one word of at least four letters. Numbers must be the same: "X2"
    and "X3" are two things. The name in wider use never appears on the left itself.
    """
    ranked = sorted(names, key=lambda name: (-names[name], name))
    slips = len(ranked) <= MANY_NAMES
    kept: dict[str, list[str]] = defaultdict(list)
    found = []
    for name in ranked:
        marks = list(_marks(name, slips))
        known = (other for mark in marks for other in kept.get(mark, ()))
        like = next((other for other in known if _alike(name, other)), None)
        if like is not None:
            found.append((name, like))
            continue
        for mark in marks:
            kept[mark].append(name)
    return found


@cache
def _words(name: str) -> tuple[str, ...]:
    """Runs of letters and of digits, without case, accents and leading zeros."""
    plain = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    runs = re.findall(r"[^\W\d_]+|\d+", plain)
    return tuple(run.lstrip("0") or "0" if run.isdigit() else run for run in runs)


def _marks(name: str, slips: bool) -> Iterator[str]:
    """Keys that names one slip apart share, so that no two lists need be compared in full."""
    words = _words(name)
    # a name of signs only is its own mark
    yield "".join(words) or name
    if not slips:
        return
    yield " ".join(("", *words))
    for place, word in enumerate(words):
        if len(word) < SHORTEST_WORD or word.isdigit():
            continue
        before, after = words[:place], words[place + 1 :]
        shorter = {word[:letter] + word[letter + 1 :] for letter in range(len(word))}
        yield from (" ".join(("", *before, rest, *after)) for rest in sorted(shorter))


def _alike(one: str, other: str) -> bool:
    a, b = _words(one), _words(other)
    if "".join(a) == "".join(b):
        return bool(a)
    if len(a) != len(b):
        return False
    differing = [pair for pair in zip(a, b, strict=True) if pair[0] != pair[1]]
    return len(differing) == 1 and _slip(*differing[0])


def _slip(one: str, other: str) -> bool:
    if one.isdigit() or other.isdigit() or min(len(one), len(other)) < SHORTEST_WORD:
        return False
    return SequenceMatcher(None, one, other, autojunk=False).ratio() >= LIKENESS
