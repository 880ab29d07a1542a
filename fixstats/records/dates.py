"""Reads the dates of a column, whichever way round they are written; never by a guess."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

from fixstats.errors import SheetError

# Spreadsheets count days from here (their day 60, 1900-02-29, never was; later days are right).
_SERIAL_ZERO = date(1899, 12, 30)
_TIME = re.compile(
    r"[T ]+(?P<hour>\d{1,2}):(?P<minute>\d\d)(:\d\d(\.\d+)?)?"
    r"( ?[AaPp]\.?[Mm]\.?| ?(?P<offset>Z|[+-]\d\d(:?\d\d)?))?$"
)
_YEAR_FIRST = re.compile(r"(\d{4})([-/.]?)(\d{1,2})\2(\d{1,2})")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/. ])(\d{1,2})\2(\d{4}|\d{2})")
_NAMED = re.compile(r"(\d{1,2})[ .-]*([A-Za-z]{3})[a-z]*[ .,-]*(\d{4})")
_SERIAL = re.compile(r"([2-7]\d{4})(\.\d+)?")
_MONTHS = {"jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6,
           "jul": 7, "aug": 8, "sep": 9, "oct": 10, "nov": 11, "dec": 12}  # fmt: skip
# Above this share of dates the other way round a column is mixed rather than mistyped.
_MISTYPED = 0.05
# No records of repairs reach further back; what claims to is a slip of the keyboard.
EARLIEST = date(1970, 1, 1)

Order = str  # "DMY", "MDY" or "YMD"


def order_of(pattern: str) -> Order:
    """The order in a pattern such as ``DD/MM/YYYY``; ValueError if it is none."""
    letters = re.sub(r"(.)\1*", r"\1", re.sub(r"[^A-Z]", "", pattern.upper()))
    if letters not in ("DMY", "MDY", "YMD"):
        raise ValueError(pattern)
    return letters


def _bare(text: str) -> str:
    return _TIME.sub("", text.strip())


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year + 2000 if year < 100 else year, month, day)
    except ValueError:
        return None


def read_day(
    text: str, order: Order | None, serial: bool = False, zone: str = "UTC"
) -> date | None:
    """The day that ``text`` means, or None where it means none.

    ``order`` decides 03/04/2026; a year in front or the name of a month needs no order.
    ``serial``: a bare number counts days as spreadsheets do. A time of day with an offset from
    UTC gives the day it was in ``zone`` then; one without is taken to be the shop's.
    """
    day = _written_day(_bare(text), order, serial)
    clock = _TIME.search(text.strip())
    if day is None or clock is None or clock["offset"] is None:
        return day
    try:
        moment = datetime.combine(
            day, time(int(clock["hour"]), int(clock["minute"])), _offset(clock["offset"])
        )
        return moment.astimezone(ZoneInfo(zone)).date()
    except (ValueError, OverflowError):
        return None


def _offset(text: str) -> timezone:
    if text == "Z":
        return UTC
    hours, minutes = int(text[1:3]), int(text[3:].lstrip(":") or 0)
    ahead = timedelta(hours=hours, minutes=minutes)
    return timezone(-ahead if text[0] == "-" else ahead)


def _written_day(bare: str, order: Order | None, serial: bool) -> date | None:
    """The day of a text without a time of day."""
    if serial and (found := _SERIAL.fullmatch(bare)):
        return _SERIAL_ZERO + timedelta(days=int(found[1]))
    if found := _YEAR_FIRST.fullmatch(bare):
        return _day(int(found[1]), int(found[3]), int(found[4])) if _whole(found) else None
    if found := _NAMED.fullmatch(bare):
        month = _MONTHS.get(found[2].lower())
        return _day(int(found[3]), month, int(found[1])) if month else None
    found = _YEAR_LAST.fullmatch(bare)
    if found is None or order not in ("DMY", "MDY"):
        return None
    first, second, year = int(found[1]), int(found[3]), int(found[4])
    return _day(year, second, first) if order == "DMY" else _day(year, first, second)


def _whole(found: re.Match[str]) -> bool:
    """Without separators only the eight digits of YYYYMMDD are a date."""
    return found[2] != "" or len(found[0]) == 8


def evidence(texts: Iterable[str]) -> Counter[str]:
    """How many dates can only be ``DMY``, only be ``MDY``, or ``either``."""
    found: Counter[str] = Counter()
    for text in texts:
        match = _YEAR_LAST.fullmatch(_bare(text))
        if match is None:
            continue
        first, second = int(match[1]), int(match[3])
        if first > 12 and second <= 12:
            found["DMY"] += 1
        elif second > 12 and first <= 12:
            found["MDY"] += 1
        elif first != second and first <= 12:
            found["either"] += 1
    return found


def _settled(found: Counter[str]) -> Order | None:
    """The order that the evidence leaves: "" if it contradicts itself, None if there is none."""
    total = found["DMY"] + found["MDY"]
    if total == 0:
        return None
    order = max(("DMY", "MDY"), key=lambda one: found[one])
    return order if found[order] >= (1 - _MISTYPED) * total else ""


def find_orders(columns: Mapping[str, Iterable[str]], where: str) -> dict[str, Order | None]:
    """The order of day and month in each column, from dates that can be read one way only.

    A column without such a date takes the order of the file's other columns, where they agree.

    Raises
    ------
    SheetError
        If a column could be read either way, or is mixed.
    """
    seen = {name: evidence(texts) for name, texts in columns.items()}
    settled = {name: _settled(found) for name, found in seen.items()}
    elsewhere = {order for order in settled.values() if order}
    for name, found in seen.items():
        if settled[name] == "" or (settled[name] is None and found["either"] and
                                   len(elsewhere) != 1):  # fmt: skip
            trouble = (
                "some dates are day first, some month first"
                if settled[name] == ""
                else "every date can be read day first or month first"
            )
            raise SheetError(
                f"{where}: column '{name}': {trouble}; nothing was changed\n"
                'say which in a mapping: [formats] dates = "DD/MM/YYYY" or "MM/DD/YYYY"'
            )
        if settled[name] is None and len(elsewhere) == 1:
            settled[name] = next(iter(elsewhere))
    return settled


def absurd(day: date, zone: str) -> str | None:
    """What makes a day impossible for a job; None where nothing does."""
    if day < EARLIEST:
        return f"{day} is before {EARLIEST.year}: likely a typing error"
    # a day of grace for clocks and zones
    if day > datetime.now(ZoneInfo(zone)).date() + timedelta(days=1):
        return f"{day} lies in the future"
    return None


def reason(text: str, order: Order | None) -> str:
    """Why ``text`` is no day."""
    bare = _bare(text)
    if _YEAR_FIRST.fullmatch(bare) or _YEAR_LAST.fullmatch(bare):
        shown = {"DMY": " as day/month/year", "MDY": " as month/day/year"}.get(order or "", "")
        return f"there is no day '{text}'{shown}"
    return f"'{text}' is no date that can be read; write it as 2026-01-31"
