"""Small helpers for sentences: the nearest known name, lists, counts."""

from __future__ import annotations

import math
from collections.abc import Iterable

# Below this likeness (difflib ratio) a suggestion puzzles more than it helps.
_LIKENESS = 0.6


def nearest(word: str, known: Iterable[str], most: int = 1) -> list[str]:
    """Known names that look like ``word``, likest first, at most ``most`` of them."""
    from difflib import get_close_matches

    by_fold = {name.casefold(): name for name in sorted(known, reverse=True)}
    found = get_close_matches(word.casefold(), list(by_fold), n=most, cutoff=_LIKENESS)
    return [by_fold[name] for name in found]


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """``; did you mean 'x'?`` where something is near, else the known names if they are few."""
    names = sorted(set(known))
    near = nearest(word, names)
    if near:
        return f"; did you mean '{near[0]}'?"
    return f"; known: {', '.join(names)}" if 0 < len(names) <= 12 else ""


def listed(words: Iterable[str], last: str = "and") -> str:
    """``a, b and c``."""
    items = list(words)
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} {last} {items[-1]}"


def counted(number: int, noun: str, plural: str | None = None) -> str:
    """``1 job``, ``2 jobs``, ``1,200 jobs``."""
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def sure_percent(chance: float, line: float | None = None) -> str:
    """``97``: a chance in percent, never a false 0 or 100, ``<1`` and ``>99`` instead.

    A chance below ``line`` does not read as if it had reached it: ``94.9`` where 0.95 is the line.
    """
    if chance < 0.005:
        return "<1"
    if chance >= 0.995:
        return ">99"
    rounded = round(100 * chance)
    if line is not None and chance < line <= rounded / 100:
        return f"{math.floor(1000 * chance) / 10:g}"
    return f"{rounded}"
