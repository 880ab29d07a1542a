"""A question about come-backs: what is asked, refused where it makes no sense, and counted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from fixstats.errors import UsageError
from fixstats.findings.comebacks_figures import ANY
from fixstats.folder import ShopFolder
from fixstats.tallies.ask import Ask
from fixstats.tallies.followups import UNRELATED, Leaving, count_leaving
from fixstats.tallies.keys import Key, resolve
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

# Follow-up beyond ten years is a slip of the hand.
MOST_DAYS = 3650


@dataclass(frozen=True)
class ComebacksAsk:
    """What a person asks of come-backs; every field has the option's name.

    ``reason``: failure modes, a row each, and ``any`` for any but unrelated returns (the default).
    ``days``: follow-up; default: the warranty. ``as_of``: the day up to which returns are known.
    ``adjust``: also compare the options of the one key in ``by`` (beside ``model``) over the same
    jobs. ``curve``: a row for each day on which the share rises.
    """

    by: tuple[str, ...] = ()
    reason: tuple[str, ...] = ()
    days: int | None = None
    as_of: date | None = None
    adjust: bool = False
    curve: bool = False
    include_rework: bool = False
    where: tuple[tuple[str, str], ...] = ()
    since: date | None = None
    until: date | None = None
    confidence: float | None = None


@dataclass(frozen=True)
class Counted:
    """What the tallies gave: by the keys asked for, and by option, model and technician."""

    leaving: Leaving
    cells: Leaving | None
    keys: tuple[Key, ...]


def settled(ask: ComebacksAsk, folder: ShopFolder) -> ComebacksAsk:
    """The question with the shop's defaults filled in, refused where it makes no sense."""
    settings, catalogue = folder.settings, folder.catalogue
    ask = replace(
        ask,
        reason=tuple(dict.fromkeys(ask.reason)) or (ANY,),
        days=settings.warranty_days if ask.days is None else ask.days,
        confidence=settings.confidence_level if ask.confidence is None else ask.confidence,
        by=tuple(dict.fromkeys(ask.by)),
    )
    if not 1 <= (ask.days or 0) <= MOST_DAYS:
        raise UsageError(f"--days {ask.days}: give a number of days from 1 to {MOST_DAYS}")
    if not (ask.confidence and 0.5 < ask.confidence < 1):
        raise UsageError(f"confidence {ask.confidence} must lie between 0.5 and 1, such as 0.95")
    for reason in ask.reason:
        if reason == UNRELATED:
            raise UsageError(
                "unrelated returns are no come-backs: they end the follow-up of a job\n"
                "say --reason any for all others, or a failure mode"
            )
        if reason != ANY and reason not in catalogue.modes:
            near = did_you_mean(reason, [ANY, *catalogue.modes])
            near = near or f"; a reason is {ANY} or a failure mode of catalogue.toml"
            raise UsageError(f"unknown reason '{reason}'{near}")
    if ask.adjust:
        choice_of(ask)
    return ask


def choice_of(ask: ComebacksAsk) -> str:
    """The key whose options are compared over the same jobs."""
    others = [name for name in ask.by if name != "model"]
    if len(others) != 1 or others[0] == "technician":
        raise UsageError(
            "--adjust compares the options of one key over the same models and technicians: give "
            "it with --by\nsuch as --by battery_grade, or --by battery_grade,model"
        )
    return others[0]


def modes_of(ask: ComebacksAsk) -> tuple[str, ...]:
    """The reasons that are failure modes."""
    return tuple(reason for reason in ask.reason if reason != ANY)


def count(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: ComebacksAsk, as_of: date
) -> Counted:
    """Follow-up of the jobs asked about; come-backs are left out unless they are asked for."""
    catalogue, days, modes = folder.catalogue, ask.days or 0, modes_of(ask)
    where = ask.where
    if not (ask.include_rework or any(key == "rework" for key, _ in where)):
        where = (*where, ("rework", "no"))
    asked = Ask(modes, ask.by, "first", where, ask.since, ask.until)
    leaving = count_leaving(con, catalogue, asked, days, as_of)
    cells = None
    if ask.adjust:
        by = (choice_of(ask), "model", "technician")
        cells = count_leaving(con, catalogue, replace(asked, by=by), days, as_of)
    found = [catalogue.modes[mode] for mode in modes]
    named = dict.fromkeys((*ask.by, *(key for key, _ in ask.where)))
    return Counted(leaving, cells, tuple(resolve(name, catalogue, found) for name in named))
