"""A question to watch the shop: what is watched, over which time, against which time before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fixstats.errors import UsageError
from fixstats.folder import Catalogue
from fixstats.tallies.ask import check_modes
from fixstats.tallies.counts import Period
from fixstats.tallies.keys import PART_FIELDS
from fixstats.words import did_you_mean, listed

# Months watched, and at most so many before them as the baseline.
WATCHED, BASELINE = 12, 12
KINDS = ("technician", "supplier", "lot")


@dataclass(frozen=True)
class WatchAsk:
    """What a person asks to be watched; every field has the option's name.

    ``mode``, ``family``: only these (a family: itself and its modes). ``group``: only these kinds
    of group, ``technician``, ``supplier``, ``lot`` or such as ``battery_lot``; the shop over
    time is left out then. ``since``, ``until``: first and last day watched.
    """

    mode: tuple[str, ...] = ()
    family: tuple[str, ...] = ()
    group: tuple[str, ...] = ()
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True)
class Watched:
    """Days: the baseline from ``baseline`` to the day before ``since``; watched up to ``until``."""

    baseline: date
    since: date
    until: date


def subjects_of(ask: WatchAsk, catalogue: Catalogue) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Modes and families to watch; a family of one mode is that mode.

    Raises
    ------
    UsageError
        If a mode or family is unknown.
    """
    for name in ask.family:
        if name not in catalogue.families:
            raise UsageError(f"unknown family '{name}'{did_you_mean(name, catalogue.families)}")
    check_modes(ask.mode, catalogue)
    named = [*ask.mode, *(mode for name in ask.family for mode in catalogue.families[name])]
    modes = tuple(dict.fromkeys(named)) or tuple(catalogue.modes)
    families = ask.family if named else tuple(catalogue.families)
    return modes, tuple(name for name in families if len(catalogue.families[name]) > 1)


def check_groups(ask: WatchAsk, catalogue: Catalogue) -> None:
    """Refuse kinds of group that there are none of."""
    fields = PART_FIELDS[1:]
    known = [*KINDS, *(f"{part}_{field}" for part in catalogue.part_codes for field in fields)]
    for name in ask.group:
        if name not in known:
            near = did_you_mean(name, known) or f"; known: {listed(KINDS)}, or such as {known[-1]}"
            raise UsageError(f"unknown group '{name}'{near}")


def watched_of(ask: WatchAsk, covered: Period) -> Watched | None:
    """The watched time and its baseline, from what the records cover.

    By default the last 12 months are watched; where the records are shorter than two years, the
    later half of their months. The baseline is the 12 months before, or what there is of them.
    None: no first day was asked for, and the records are too young to have a time before.

    Raises
    ------
    UsageError
        If the days make no sense, or nothing was recorded before the first.
    """
    first, last = covered.first, covered.last
    until = min(ask.until or last, last)
    if until < first:
        raise UsageError(f"--until {until}: the records begin later, on {first}")
    length = 12 * (until.year - first.year) + until.month - first.month + 1
    since = ask.since or _months_later(until, 1 - max(min(WATCHED, length // 2), 1))
    if since > until:
        ends = "the records end" if ask.until is None else "--until is"
        raise UsageError(f"--since {since} is after the last day watched: {ends} {until}")
    if since <= first and ask.since is None:
        return None
    if since <= first:
        raise UsageError(
            f"nothing was recorded before {since}, so there is nothing to compare with\n"
            f"the records begin on {first}: watch from a later day with --since"
        )
    return Watched(max(_months_later(since, -BASELINE, since.day), first), since, until)


def _months_later(day: date, months: int, on: int = 1) -> date:
    """That day of the month so many months later; the last one where the month is shorter."""
    from calendar import monthrange

    place = 12 * day.year + day.month - 1 + months
    year, month = divmod(place, 12)
    return date(year, month + 1, min(on, monthrange(year, month + 1)[1]))
