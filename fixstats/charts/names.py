"""What rows are called in a picture: labels of codes, words for empty keys, order, wrapping."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.charts import PAIR_KEYS
from fixstats.findings.base import Finding

# Values of these keys are names that people wrote; they are never looked up as codes.
_WRITTEN = re.compile(r"^(model|technician|branch|trial|assigned|.*_(supplier|lot))$")
_PART_KEY = re.compile(r"^(?P<part>.+)_(?P<field>grade|supplier|lot)$")

Level = tuple[str, ...]


def plain(code: str) -> str:
    """A code that has no label, as words: ``display_damage`` -> ``Display damage``."""
    words = code.replace("_", " ")
    return words[:1].upper() + words[1:]


def key_label(key: str, labels: Mapping[str, str]) -> str:
    """What a key is called: the label of its step, part or factor."""
    part = _PART_KEY.match(key)
    if key not in labels and part and part["part"] in labels:
        return f"{labels[part['part']]} {part['field']}"
    return labels.get(key, plain(key))


def value_label(key: str, value: Any, labels: Mapping[str, str]) -> str:
    """What a key's value is called; a bare yes, no or number is said with its key."""
    if value is None:
        return f"{key_label(key, labels)}: not recorded"
    if value == "-":
        return "none fitted" if _PART_KEY.match(key) else "not done"
    text = str(value)
    if _WRITTEN.match(key):
        return text
    codes = text.split("; ")
    if all(code in labels for code in codes):
        return ", ".join(labels[code] for code in codes)
    if key in labels or key == "rework":
        return f"{key_label(key, labels)}: {text}"
    return plain(text)


def mode_label(row: Mapping[str, Any], labels: Mapping[str, str]) -> str:
    """What a row counts: its mode, or any mode of its family."""
    if row["mode"] is not None:
        return labels.get(row["mode"], plain(row["mode"]))
    if row["family"] is not None:
        return labels.get(row["family"], plain(row["family"]))
    return "Any of the modes asked for"


def subjects(finding: Finding) -> list[str]:
    """What the rows count, each once, in the order of the rows."""
    return list(dict.fromkeys(mode_label(row, finding.labels) for row in finding.rows))


def subject_words(finding: Finding) -> str:
    """What the rows count, as a title begins."""
    found = subjects(finding)
    if len(found) == 1:
        return found[0]
    unions = any(row["mode"] is None for row in finding.rows)
    return f"{len(found)} {'families of failures' if unions else 'failure modes'}"


def levels(finding: Finding, without: Sequence[str] = ()) -> list[Level]:
    """Groups of row keys from the outermost to the innermost; a pair of parts is one level.

    The mode is a level where rows differ in it or nothing else tells them apart.
    """
    single = [key for key in finding.keys if key not in (*PAIR_KEYS, *without)]
    found: list[Level] = [(key,) for key in single]
    if set(PAIR_KEYS) <= set(finding.keys):
        found.append(PAIR_KEYS)
    if len(subjects(finding)) > 1 or not found:
        found.insert(0, ("mode",))
    return found


def level_label(level: Level, row: Mapping[str, Any], labels: Mapping[str, str]) -> str:
    """What a row is called at one level."""
    if level == ("mode",):
        return mode_label(row, labels)
    if level == PAIR_KEYS:
        sides = (("part_a", "grade_a"), ("part_b", "grade_b"))
        return " + ".join(
            f"{labels.get(row[part], row[part])} "
            f"({labels.get(row[grade], row[grade]) if row[grade] else 'grade not recorded'})"
            for part, grade in sides
        )
    return value_label(level[0], row[level[0]], labels)


def natural(level: Level, row: Mapping[str, Any], labels: Mapping[str, str]) -> tuple[Any, ...]:
    """Sort key within a level: numbers as numbers, bands by their edge, not recorded last."""
    value = row[level[0]]
    place = 2 if value is None else int(value == "-")
    text = str(value) if value in (None, "-") else level_label(level, row, labels)
    band = {"<": 0, ">": 2}.get(str(value)[:1], 1)
    chunks = [
        (not chunk.isdigit(), int(chunk) if chunk.isdigit() else 0, chunk.casefold())
        for chunk in re.split(r"(\d+)", text)
        if chunk
    ]
    return (place, band, chunks)


def by_keys(keys: Sequence[Level], labels: Mapping[str, str]) -> str:
    """``model and opening the device``: the levels as a sentence names them."""
    names = {PAIR_KEYS: "pair of parts", ("mode",): "failure mode"}
    words = [names.get(level) or _lower(key_label(level[0], labels)) for level in keys]
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]


def _lower(words: str) -> str:
    """The first letter small, unless the word is an abbreviation."""
    return words if words[1:2].isupper() else words[:1].lower() + words[1:]


def wrapped(text: str, width: int, most: int = 2) -> list[str]:
    """``text`` in at most ``most`` lines of ``width``; too much is left out of its middle.

    The middle, because names that share a beginning differ at their end.
    """
    lines = textwrap.wrap(text, width) or [""]
    if len(lines) <= most:
        return lines
    # Wrapping leaves lines short of their width: less fits than the width says.
    room = width * most - 1
    while len(lines) > most:
        head = (room - 1) * 2 // 3
        lines = textwrap.wrap(
            f"{text[:head].rstrip()}…{text[-(room - head - 1) :].lstrip()}", width
        )
        room -= 1
    return lines
