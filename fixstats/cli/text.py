"""Plain text for people: aligned tables, rates in words, intervals drawn on a common scale."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Mapping, Sequence
from typing import Any

BAR_WIDTH = 24
# Rows with fewer opportunities do not stretch the common scale.
TELLING = 20
EMPTY = "·"


def percent(value: float | None) -> str:
    """``3.1``: a fraction in percent with about three figures, never a false zero."""
    if value is None:
        return EMPTY
    share = 100 * value
    if share == 0:
        return "0"
    if share < 0.01:
        return "<0.01"
    digits = 2 if share < 1 else 1
    return f"{share:.{digits}f}"


def rate_words(row: Mapping[str, Any]) -> str:
    """``3.1 % (1.4 to 6.6)``; for no failure its upper limit; words for no opportunity."""
    if row["rate"] is None:
        return "not known"
    if row["failures"] == 0:
        return f"none seen, at most {percent(row['at_most'])} %"
    return f"{percent(row['rate'])} % ({percent(row['low'])} to {percent(row['high'])})"


def one_in_words(row: Mapping[str, Any]) -> str:
    """``about 1 in 32``, '' where it says nothing."""
    value = row["one_in"]
    return "" if value is None or value < 1.5 else f"about 1 in {value:,.0f}"


def count_words(row: Mapping[str, Any]) -> str:
    """``6 of 193``."""
    return f"{row['failures']:,} of {row['opportunities']:,}"


def bounds_words(row: Mapping[str, Any]) -> str:
    """``2.0 to 9.1 %``: how far the unknown units could move the rate."""
    return f"{percent(row['bound_low'])} to {percent(row['bound_high'])} %"


def scale_top(rows: Sequence[Mapping[str, Any]]) -> float:
    """Where the common scale ends: rows of a handful of jobs would squeeze all others together."""
    ends = [(row["opportunities"], row["at_most"] or row["high"] or 0.0) for row in rows]
    telling = [end for jobs, end in ends if jobs >= TELLING]
    return max(telling or [end for _, end in ends])


def interval_bar(row: Mapping[str, Any], top: float, *, plain: bool) -> str:
    """The interval on a scale from 0 to ``top``, a dot at the rate; open at 0 for none seen."""
    if row["rate"] is None or top <= 0:
        return ""
    line, dot, left, right, none, beyond = "-o||<>" if plain else "─●├┤◁▷"

    def place(value: float) -> int:
        return min(int(value / top * (BAR_WIDTH - 1) + 0.5), BAR_WIDTH - 1)

    cells = [" "] * BAR_WIDTH
    zero = row["failures"] == 0
    low, high = (0.0, row["at_most"]) if zero else (row["low"], row["high"])
    for n in range(place(low), place(high) + 1):
        cells[n] = line
    cells[place(low)] = left
    cells[place(high)] = beyond if high > top else none if zero else right
    if not zero:
        cells[place(row["rate"])] = dot
    return "".join(cells).rstrip()


def can_draw() -> bool:
    """True where the output can show line-drawing characters."""
    return (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf")


def width() -> int | None:
    """Columns of the terminal, None where the output is no terminal (nothing is cut there)."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def shortened(text: str, most: int) -> str:
    """The text, cut with an ellipsis where it is longer than ``most``."""
    return text if len(text) <= most else f"{text[: max(most - 1, 1)]}…"


def printable(text: str) -> str:
    """The text without signs that would steer a terminal: nothing of the records does."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[bool]) -> str:
    """Aligned columns; the longest text columns are shortened to fit a terminal."""
    rows = [[printable(cell) for cell in row] for row in rows]
    widths = [
        max(len(head), *(len(row[n]) for row in rows), 0) if rows else len(head)
        for n, head in enumerate(heads)
    ]
    room = width()
    if room:
        excess = sum(widths) + 2 * (len(widths) - 1) - room
        while excess > 0 and max(widths) > 12:
            longest = widths.index(max(w for n, w in enumerate(widths) if not right[n]))
            widths[longest] -= 1
            excess -= 1
    lines = [
        "  ".join(
            shortened(cell, size).rjust(size) if right[n] else shortened(cell, size).ljust(size)
            for n, (cell, size) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in [heads, ["─" * size if can_draw() else "-" * size for size in widths], *rows]
    ]
    return "\n".join(lines)


def asked_words(settings: Mapping[str, Any]) -> str:
    """``up to 2026-09-30; model=Alder 2``: days and conditions that a result is about."""
    since, until = settings["since"], settings["until"] or settings["as_of"]
    period = f"{since} to {until}" if since else f"up to {until}"
    return "; ".join([period, *([", ".join(settings["where"])] if settings["where"] else [])])
