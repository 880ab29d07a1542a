"""Checks each entry of a catalogue by itself: its keys, their types, what is allowed."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, NoReturn

from fixstats.errors import FolderError
from fixstats.words import did_you_mean, listed

CODE = re.compile(r"[a-z][a-z0-9_]*")

# Columns that every job sheet may have; no code may be named like one.
FIXED_COLUMNS = (
    "job", "finished", "model", "repair", "received", "branch", "technician", "outcome",
    "minutes", "price", "failure_cost", "notes", "failures", "unchecked", "preexisting",
    "returned", "return_reason", "return_of", "trial", "assigned",
)  # fmt: skip
# Keys and words that results use for something of their own.
RESERVED = (
    "unrelated", "all", "any", "seen", "none", "rework", "month", "quarter", "year", "method",
    "grade", "supplier", "lot", "part", "mode", "family", "unit", "view", "pair", "part_a",
    "grade_a", "part_b", "grade_b", "opportunities", "unknown", "unknown_failed", "rate", "low",
    "high", "at_most", "bound_low", "bound_high", "one_in", "entry", "batch", "covers", "target",
    "step", "piece", "attempt", "held_back", "reason", "plan", "cluster",
    "clusters", "maybe", "number", "place", "units", "option", "excluded", "unclear", "standing",
    "since", "until", "entries", "value", "key", "job_key", "ff", "fn", "nn", "label", "position",
    "jobs", "returns", "n_at_risk", "days", "p_value", "p_corrected", "day", "days_back",
    "days_watched", "last_day", "at_risk",
)  # fmt: skip
PART_COLUMNS = ("grade", "supplier", "lot", "cost", "fitted")
OPEN_LISTS = ("model", "technician", "supplier", "lot", "branch")


@dataclass(frozen=True)
class Key:
    """One key of an entry: the test its value must pass, the words for it, is it required."""

    test: Callable[[Any], bool]
    allowed: str
    required: bool = False


def _text(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip()) and "\n" not in value


def _number(value: Any) -> bool:
    # TOML has inf and nan; neither is an amount or an edge
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and math.isfinite(value)


def _list_of(test: Callable[[Any], bool], least: int = 0) -> Callable[[Any], bool]:
    def holds(value: Any) -> bool:
        return isinstance(value, list) and len(value) >= least and all(test(item) for item in value)

    return holds


def _code(value: Any) -> bool:
    return isinstance(value, str) and CODE.fullmatch(value) is not None


def _codes(least: int = 0) -> Callable[[Any], bool]:
    """A list of codes, none of them twice: a step named twice would be counted twice."""
    return lambda value: _list_of(_code, least)(value) and len(set(value)) == len(value)


def _day(value: Any) -> bool:
    return isinstance(value, date) and not isinstance(value, datetime)


def _rising(value: Any) -> bool:
    return _list_of(_number)(value) and all(a < b for a, b in itertools.pairwise(value))


_CODE = Key(_code, "small letters, digits and _, a letter first", required=True)
_LABEL = Key(_text, "some text", required=True)
_CODES = Key(_codes(), "a list of codes, each once")
_MONEY = Key(lambda value: _number(value) and value >= 0, "money, 0 or more")
_SINCE = Key(_day, "a date such as 2026-01-31", required=True)
_NAME = Key(_text, "some text")


def _needed(key: Key) -> Key:
    return Key(key.test, key.allowed, required=True)


def _one_of(*words: str, required: bool = False) -> Key:
    return Key(lambda value: value in words, f"one of {listed(words, 'or')}", required)


ENTRIES: Mapping[str, Mapping[str, Key]] = {
    "step": {"code": _CODE, "label": _LABEL, "order": Key(_number, "a number", required=True)},
    "method": {
        "step": _CODE,
        "code": _CODE,
        "label": _LABEL,
        "consumables": _MONEY,
        "cautions": Key(_list_of(_text), "a list of sentences"),
    },
    "part": {"code": _CODE, "label": _LABEL},
    "grade": {"code": _CODE, "label": _LABEL, "origin": Key(_code, _CODE.allowed)},
    "repair": {"code": _CODE, "label": _LABEL, "steps": _CODES, "parts": _CODES, "factors": _CODES},
    "factor": {
        "code": _CODE,
        "label": _LABEL,
        "kind": _one_of("flag", "category", "number", required=True),
        "values": Key(_list_of(_text), "a list of texts"),
        "bands": Key(_rising, "a list of rising numbers"),
        "when": _one_of("intake", "during"),
        "at": Key(_code, "the code of a step"),
    },
    "failure_mode": {
        "code": _CODE,
        "label": _LABEL,
        "family": _CODE,
        "severity": Key(
            lambda value: _number(value) and value in (1, 2, 3, 4, 5), "1 to 5", required=True
        ),
        "cost_minutes": Key(lambda value: _number(value) and value >= 0, "minutes, 0 or more"),
        "cost_money": _MONEY,
        "safety": Key(lambda value: isinstance(value, bool), "true or false"),
        "steps": Key(_codes(1), "a list of step codes, each once"),
        "methods": Key(_codes(1), "a list of method codes, each once"),
        "part": Key(_code, 'a part code or "any"'),
        "grades": Key(_codes(1), "a list of grade codes, each once"),
        "mixed": Key(_codes(2), "a list of two or more different part codes"),
        "cautions": Key(_list_of(_text), "a list of sentences"),
    },
    "price": {
        "part": _CODE,
        "grade": _CODE,
        "money": _needed(_MONEY),
        "since": _SINCE,
        "model": _NAME,
    },
    "standard": {
        "choice": _CODE,
        "option": _needed(_NAME),
        "since": _SINCE,
        "model": _NAME,
    },
    "alias": {
        "kind": _one_of(*OPEN_LISTS, required=True),
        "is": _LABEL,
        "also": Key(_list_of(_text, 1), "a list of other spellings", required=True),
    },
}  # fmt: skip
TOP_KEYS = ("format", "unrecorded_grade", *ENTRIES)


def refuse(where: Path, entry: str, key: str, fault: str, allowed: str) -> NoReturn:
    """Raise the one form of catalogue error: file, entry, key, fault, what is allowed."""
    raise FolderError(f"{where}: {entry}: {key}: {fault}; allowed: {allowed}")


def title(kind: str, raw: Mapping[str, Any], position: int) -> str:
    """How an error names an entry: ``method 'heat_mat'`` or ``the 3rd [[price]]``."""
    code = raw.get("code")
    # as Python writes it, so that a line break in it makes no second line
    return f"{kind} {code!r}" if isinstance(code, str) else f"[[{kind}]] number {position}"


def _check_entry(where: Path, kind: str, raw: Any, position: int) -> dict[str, Any]:
    if not isinstance(raw, dict):
        refuse(where, f"[[{kind}]] number {position}", kind, "is no table", f"[[{kind}]] entries")
    name, keys = title(kind, raw, position), ENTRIES[kind]
    for key, value in raw.items():
        if key not in keys:
            refuse(where, name, key, f"unknown key{did_you_mean(key, keys)}", ", ".join(keys))
        if not keys[key].test(value):
            refuse(where, name, key, f"{value!r} is not allowed", keys[key].allowed)
    for key, rule in keys.items():
        if rule.required and key not in raw:
            refuse(where, name, key, "is missing", rule.allowed)
    return raw


def check_entries(raw: Mapping[str, Any], where: Path) -> dict[str, list[dict[str, Any]]]:
    """The entries of each kind, every one well formed by itself.

    Raises
    ------
    FolderError
        At the first fault, naming file, entry, key and what is allowed.
    """
    for key in raw:
        if key not in TOP_KEYS:
            fault = f"unknown key{did_you_mean(key, TOP_KEYS)}"
            refuse(where, "top of the file", key, fault, ", ".join(TOP_KEYS))
    if raw.get("format") != 1 or isinstance(raw.get("format"), bool):
        fault = f"{raw['format']!r} is not known here" if "format" in raw else "is missing"
        refuse(where, "top of the file", "format", fault, "format = 1")
    found: dict[str, list[dict[str, Any]]] = {}
    for kind in ENTRIES:
        entries = raw.get(kind, [])
        if not isinstance(entries, list):
            refuse(where, "top of the file", kind, "is no list of tables", f"[[{kind}]] entries")
        found[kind] = [_check_entry(where, kind, item, n) for n, item in enumerate(entries, 1)]
    return found
