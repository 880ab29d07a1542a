"""``shop.toml``: the settings of one workshop, read and checked."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from fixstats.errors import FolderError
from fixstats.words import did_you_mean

FORMAT = 1


@dataclass(frozen=True)
class Settings:
    """What the owner set: money, time, certainty and the limits of decisions.

    Attributes
    ----------
    name, currency, time_zone
        Shown name; ISO 4217 code; IANA zone in which days and months begin.
    labour_rate
        Money per hour.
    warranty_days
        Days after hand-over within which a come-back is on the workshop.
    confidence_level
        Two-sided level of every interval, between 0.5 and 1.
    standardise_at, tolerance, worth_knowing, safety_limit, horizon_months
        Decision limits: probability of being best; money per job; rate difference; rate; months.
    """

    name: str
    currency: str = "EUR"
    labour_rate: float = 60.0
    warranty_days: int = 90
    confidence_level: float = 0.95
    time_zone: str = "UTC"
    standardise_at: float = 0.95
    tolerance: float = 0.50
    worth_knowing: float = 0.02
    safety_limit: float = 0.02
    horizon_months: int = 12
    format: int = FORMAT


def _number(test: Callable[[float], bool]) -> Callable[[Any], bool]:
    def holds(value: Any) -> bool:
        # TOML has inf and nan; neither is a setting
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return number and math.isfinite(value) and test(value)

    return holds


def _whole(test: Callable[[float], bool]) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, int) and _number(test)(value)


def _time_zone(value: Any) -> bool:
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(value)
    except (KeyError, ValueError, TypeError, OSError):
        return False
    return True


_fraction = _number(lambda value: 0 < value < 1)
_money = _number(lambda value: value >= 0)
_days = _whole(lambda value: value > 0)

# key -> (test, what is allowed)
RULES: Mapping[str, tuple[Callable[[Any], bool], str]] = {
    "format": (
        lambda value: value == FORMAT and not isinstance(value, bool),
        f"the number {FORMAT}",
    ),
    "name": (lambda value: isinstance(value, str) and bool(value.strip()), "some text"),
    "currency": (
        lambda value: isinstance(value, str) and re.fullmatch("[A-Z]{3}", value) is not None,
        "three capitals of ISO 4217, such as EUR",
    ),
    "labour_rate": (_money, "money per hour, 0 or more"),
    "warranty_days": (_days, "a whole number of days above 0"),
    "confidence_level": (
        _number(lambda value: 0.5 < value < 1),
        "a number between 0.5 and 1, such as 0.95",
    ),
    "time_zone": (_time_zone, "a zone of the IANA list, such as Europe/Lisbon"),
    "standardise_at": (_fraction, "a number between 0 and 1, such as 0.95"),
    "tolerance": (_money, "money per job, 0 or more"),
    "worth_knowing": (_fraction, "a difference of rates between 0 and 1, such as 0.02"),
    "safety_limit": (_fraction, "a rate between 0 and 1, such as 0.02"),
    "horizon_months": (_days, "a whole number of months above 0"),
}


def read_toml(path: Path) -> dict[str, Any]:
    """The content of a TOML file, or a FolderError naming the file and the line."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as trouble:
        raise FolderError(f"{path}: cannot be read ({trouble.strerror})") from trouble
    except UnicodeDecodeError as trouble:
        raise FolderError(f"{path}: is not UTF-8 text; save it as UTF-8") from trouble
    except tomllib.TOMLDecodeError as trouble:
        raise FolderError(f"{path}: {trouble}; see the TOML rules for that line") from trouble


def check_settings(raw: Mapping[str, Any], where: Path) -> Settings:
    """Settings from the parsed file; the first fault raises with key, value and what is allowed."""
    for key, value in raw.items():
        if key not in RULES:
            raise FolderError(f"{where}: unknown key '{key}'{did_you_mean(key, RULES)}")
        test, allowed = RULES[key]
        if not test(value):
            raise FolderError(f"{where}: {key} = {value!r} is not allowed; allowed: {allowed}")
    for key in ("format", "name"):
        if key not in raw:
            raise FolderError(f"{where}: {key} is missing; allowed: {RULES[key][1]}")
    return Settings(**raw)


def read_settings(path: Path) -> Settings:
    """Settings from ``shop.toml``."""
    return check_settings(read_toml(path), path)


def settings_text(settings: Settings) -> str:
    """The text of a ``shop.toml`` that reads back as ``settings``."""
    from json import dumps

    names = ["format", *(field.name for field in fields(Settings) if field.name != "format")]
    lines = [
        f"{name} = {dumps(getattr(settings, name), ensure_ascii=False)}  # {RULES[name][1]}"
        for name in names
    ]
    return "# Settings of this workshop.\n" + "\n".join(lines) + "\n"
