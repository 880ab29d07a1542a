"""Text of the records made harmless: markup, formulas, and signs that turn the reading order."""

from __future__ import annotations

import re
from collections.abc import Iterator

from markupsafe import Markup, escape

# Letters that are read from right to left (Unicode blocks of Hebrew, Arabic and their relatives).
_RIGHT_TO_LEFT = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff"
_RUN = re.compile(f"[{_RIGHT_TO_LEFT}]+(?:[ -]+[{_RIGHT_TO_LEFT}]+)*")
# Joiners of letters in several scripts, and the blank at which no line breaks: they steer nothing.
_KEPT = "\u200c\u200d\u00a0"
# FIRST STRONG ISOLATE and POP DIRECTIONAL ISOLATE: plain text has no element for it.
_ISOLATE, _END = "\u2068", "\u2069"
_MARKDOWN_SIGNS = re.compile(r"([\\`*_{}\[\]<>#|~!&$])")
# At the beginning of a line these would make a list, a heading or a rule of it.
_MARKDOWN_START = re.compile(r"^(\d*)([-+=.)])(?=[\s=-]|$)")


def cleaned(text: str) -> str:
    """One line of printable text: no control signs, none that change the reading order."""
    return "".join(
        sign if sign.isprintable() or sign in _KEPT else " " for sign in str(text)
    ).strip()


def html_text(text: str) -> Markup:
    """Running text as HTML; words read from right to left can't reach their surroundings."""
    pieces = (
        Markup("<bdi>{}</bdi>").format(words) if turned else escape(words)
        for words, turned in _by_direction(cleaned(text))
    )
    return Markup("").join(pieces)


def html_name(text: str) -> Markup:
    """A name or a cell of its own as HTML, in its own reading order."""
    words = cleaned(text)
    return Markup("<bdi>{}</bdi>").format(words) if _RUN.search(words) else escape(words)


def markdown_text(text: str) -> str:
    """Running text as Markdown that shows every sign as itself."""
    words = _MARKDOWN_SIGNS.sub(r"\\\1", cleaned(text))
    words = _MARKDOWN_START.sub(r"\1\\\2", words)
    return "".join(
        f"{_ISOLATE}{part}{_END}" if turned else part for part, turned in _by_direction(words)
    )


def _by_direction(text: str) -> Iterator[tuple[str, bool]]:
    """The text in pieces, each with whether it is read from right to left."""
    end = 0
    for found in _RUN.finditer(text):
        yield text[end : found.start()], False
        yield found[0], True
        end = found.end()
    yield text[end:], False
