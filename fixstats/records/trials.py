"""Trials: the schedule that is drawn once, and its slots, handed out one by one.

Every stratum (a technician and a group of models) has a schedule of its own in permuted blocks of
two or four: each block holds both options equally often, so that whatever changes over time, or
tells technicians and devices apart, is the same for both. It follows from the seed of the trial
and the name of the stratum alone; more blocks can be drawn at any time, and drawn again to check.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from fixstats.engines.duck import reading
from fixstats.errors import UsageError
from fixstats.folder import ShopFolder, fold
from fixstats.folder.entries import CODE
from fixstats.records.inbox import writing_shop
from fixstats.records.templates import fill
from fixstats.words import counted, did_you_mean

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

# Half the sizes of blocks, drawn as often: of blocks of one size the last option is no secret.
HALVES = (1, 2)
# Models that no group names; also those that the shop meets only later.
MIDDLE = "middle"


@dataclass(frozen=True)
class NewTrial:
    """What is settled when a trial begins; as in ``records.trials``.

    ``safety_limit``, ``safety_modes``: what its harm stop goes by to the end, whatever becomes of
    the settings; None: not settled, as in trials begun before these were kept. ``wait_days``: from
    its intake until a job counts; None: it does not wait.
    """

    trial: str
    choice: str
    baseline: str
    option: str
    mode: str | None
    family: str | None
    modes: tuple[str, ...]
    difference: float
    max_jobs: int
    seed: str
    safety_limit: float | None = None
    safety_modes: tuple[str, ...] | None = None
    wait_days: int | None = None


@dataclass(frozen=True)
class Slot:
    """One line of the schedule; ``number`` counts from 1 within the stratum."""

    technician: str
    model_group: str
    number: int
    block: int
    assigned: str


@dataclass(frozen=True)
class Handed:
    """An option that was handed out; ``again``: it had been drawn for this job before.

    ``baseline``: the present option, to be used where the trial was
    stopped for harm (``harmful``).
    """

    trial: str
    choice: str
    baseline: str
    slot: Slot
    model: str
    again: bool
    handed_out: int
    max_jobs: int
    harmful: bool = False


def schedule(
    new: NewTrial, technician: str, model_group: str, slots: int, *, after: int = 0
) -> list[Slot]:
    """The slots of one stratum, whole blocks, at least ``slots``; those beyond number ``after``."""
    # Not for secrets: it must give the same list again.
    rng = random.Random(f"{new.seed}|{new.trial}|{fold(technician)}|{model_group}")
    drawn: list[Slot] = []
    block = 0
    while len(drawn) < slots:
        block += 1
        options = [new.baseline, new.option] * rng.choice(HALVES)
        rng.shuffle(options)
        for option in options:
            drawn.append(Slot(technician, model_group, len(drawn) + 1, block, option))
    return drawn[after:]


def start_trial(
    folder: ShopFolder,
    new: NewTrial,
    strata: Mapping[tuple[str, str], int],
    groups: Mapping[str, str],
    *,
    now: datetime | None = None,
) -> list[Slot]:
    """Store a trial with its first schedule; the slots, stratum by stratum.

    Parameters
    ----------
    strata : (technician, model group) -> slots to draw now.
    groups : model -> its group.
    now : the moment it begins, with its time zone; None: that of the clock. Jobs handed over on
        an earlier day of the shop's time zone are not in the trial.

    Raises
    ------
    UsageError
        If the name is no code, or a trial has it already.
    """
    if CODE.fullmatch(new.trial) is None:
        raise UsageError(
            f"'{new.trial}' cannot name a trial: write small letters, digits and _, "
            "such as heat_2026"
        )
    with writing_shop(folder) as (con, _):
        if con.execute(fill("trial_named"), {"trial": new.trial}).fetchall():
            raise UsageError(
                f"there is a trial '{new.trial}' already; nothing was changed\n"
                "take another name; fixstats trial list shows all"
            )
        con.execute(
            fill("store_trial"),
            vars(new)
            | {"modes": ",".join(new.modes), "safety_modes": _joined(new.safety_modes)}
            | _moment(folder, now),
        )
        con.execute(
            fill("store_trial_models"),
            {"trial": new.trial, "models": [*groups], "groups": [*groups.values()]},
        )
        slots = [
            slot
            for (technician, group), number in strata.items()
            for slot in schedule(new, technician, group, number)
        ]
        _store(con, new.trial, slots)
    return slots


def next_assignment(
    folder: ShopFolder,
    trial: str,
    technician: str,
    model: str,
    *,
    job: str | None = None,
    new_names: bool = False,
    now: datetime | None = None,
) -> Handed:
    """Hand out the next slot of the stratum, for good; the same job gets the same option again.

    Waits for another writer as every writing command does, so no slot is handed out twice.
    ``now``: as for ``start_trial``; a job handed over on an earlier day does not count.

    Raises
    ------
    UsageError
        If the trial, technician or model is unknown (unless ``new_names``), the job was kept out
        or handed over before, or all jobs of the trial are handed out.
    StoreError
        If the database stays locked.
    """
    moment = _moment(folder, now)
    with writing_shop(folder) as (con, _):
        new = _trial(con, trial)
        if job is not None:
            before = _before(con, new, job)
            if before is not None:
                return before
            _refuse_kept_out(con, trial, job)
        technician = _name(con, "technician", technician, new_names=new_names)
        model = _name(con, "model", model, new_names=new_names)
        if job is not None:
            _refuse_handed_over(con, job, technician, moment["day"])
        used = _handed_out(con, trial)
        if used >= new.max_jobs:
            raise UsageError(
                f"trial {trial}: all {counted(new.max_jobs, 'job')} are handed out\n"
                f"fixstats trial status {trial} says how it stands"
            )
        slot = _take(con, new, technician, model)
        con.execute(
            fill("hand_out"),
            {"trial": trial, "technician": slot.technician, "model_group": slot.model_group,
             "slot": slot.number, "model": model, "job": job} | moment,
        )  # fmt: skip
    return Handed(trial, new.choice, new.baseline, slot, model, False, used + 1, new.max_jobs)


def drawn_before(folder: ShopFolder, trial: str, job: str) -> Handed | None:
    """What was handed out for this job already, None if nothing was; nothing is written.

    Raises
    ------
    UsageError
        If there is no such trial.
    StoreError
        If the records cannot be read just now.
    """
    with reading(folder.database) as con:
        return _before(con, _trial(con, trial), job)


def _before(con: Connection, new: NewTrial, job: str) -> Handed | None:
    rows = con.execute(fill("trial_job"), {"trial": new.trial, "job": job}).fetchall()
    if not rows:
        return None
    *drawn, model = rows[0]
    used = _handed_out(con, new.trial)
    return Handed(
        new.trial, new.choice, new.baseline, Slot(*drawn), model, True, used, new.max_jobs
    )


def _refuse_kept_out(con: Connection, trial: str, job: str) -> None:
    rows = con.execute(fill("trial_kept_out"), {"trial": trial, "job": job}).fetchall()
    if rows:
        raise UsageError(
            f"trial {trial}: job {job} was kept out of it ({rows[0][0]}), so nothing is drawn for "
            "it\nuse what is right for the device; leave trial and assigned blank"
        )


def _refuse_handed_over(con: Connection, job: str, technician: str, day: date) -> None:
    """What came out of the work is known by then, and no lot can have decided it."""
    con.execute(fill("macros"))
    values = {"job": job, "technician": technician, "day": day}
    rows = con.execute(fill("trial_handed_over"), values).fetchall()
    if rows:
        raise UsageError(
            f"job {job} was handed over on {rows[0][0]}, and an option is drawn before the work: "
            "nothing was drawn\nif it is another device, give it a number of its own"
        )


def exclude(
    folder: ShopFolder,
    trial: str,
    technician: str,
    model: str,
    reason: str,
    *,
    job: str | None = None,
    new_names: bool = False,
) -> None:
    """Record that a device is kept out of the trial, before anything is drawn for it.

    Raises
    ------
    UsageError
        As for ``next_assignment``; also if an option was drawn for this job already: it stays in;
        or if no reason is given.
    """
    if not reason.strip():
        raise UsageError(
            f"trial {trial}: a device is kept out for a reason; nothing was changed\n"
            'write it down, such as --exclude "swollen cell"'
        )
    with writing_shop(folder) as (con, _):
        _trial(con, trial)
        if (
            job is not None
            and con.execute(fill("trial_job"), {"trial": trial, "job": job}).fetchall()
        ):
            raise UsageError(
                f"trial {trial}: an option was drawn for job {job} already, so it stays in; "
                "nothing was changed\nonly what is recorded before the draw can keep a device out"
            )
        values = {
            "trial": trial, "technician": _name(con, "technician", technician, new_names=new_names),
            "model": _name(con, "model", model, new_names=new_names), "job": job,
            "reason": _kept(con, "reason", reason.strip()),
            "moment": _moment(folder, None)["moment"],
        }  # fmt: skip
        con.execute(fill("store_exclusion"), values)


def _moment(folder: ShopFolder, now: datetime | None) -> dict[str, datetime | date]:
    """The moment in Greenwich time, and the day that it is in the shop."""
    from zoneinfo import ZoneInfo

    at = now or _clock()
    day = at.astimezone(ZoneInfo(folder.settings.time_zone)).date()
    return {"moment": at.astimezone(UTC).replace(tzinfo=None), "day": day}


def _clock() -> datetime:
    return datetime.now(UTC)


def _joined(codes: Sequence[str] | None) -> str | None:
    return None if codes is None else ",".join(codes)


def _trial(con: Connection, name: str) -> NewTrial:
    rows = con.execute(fill("trial_named"), {"trial": name}).fetchall()
    if not rows:
        known = [one for (one,) in con.execute(fill("trial_known")).fetchall()]
        raise UsageError(
            f"there is no trial '{name}'{did_you_mean(name, known)}\nfixstats trial list shows all"
        )
    name, choice, baseline, option, mode, family, modes, *numbers, safety = rows[0]
    watched = None if safety is None else tuple(filter(None, safety.split(",")))
    difference, max_jobs, seed, limit, wait = numbers
    return NewTrial(
        name, choice, baseline, option, mode, family, tuple(modes.split(",")), difference,
        max_jobs, seed, limit, watched, wait,
    )  # fmt: skip


def _handed_out(con: Connection, trial: str) -> int:
    return int(con.execute(fill("trial_handed_out"), {"trial": trial}).fetchall()[0][0])


def _name(con: Connection, kind: str, word: str, *, new_names: bool) -> str:
    """The name as the records show it; a slip of the pen must not make a stratum of its own."""
    rows = con.execute(fill("trial_names"), {"kind": kind}).fetchall()
    known: dict[str, str] = dict(rows)
    if fold(word) in known:
        return known[fold(word)]
    if new_names and word.strip():
        return _kept(con, kind, " ".join(word.split()))
    near = did_you_mean(word, known.values())
    raise UsageError(f"no record has the {kind} '{word}'{near}\nif it is new here, add --new")


def _kept(con: Connection, what: str, words: str) -> str:
    """The words, unless they hold what the records keep out: an address, a number of a person."""
    con.execute(fill("macros"))
    ((fault,),) = con.execute(fill("trial_personal"), {"words": words}).fetchall()
    if fault is not None:
        raise UsageError(f"the {what} '{words}': {fault} is kept out of the records")
    return words


def _take(con: Connection, new: NewTrial, technician: str, model: str) -> Slot:
    """The first free slot of the stratum; further blocks are drawn where none is left."""
    groups = con.execute(fill("trial_group"), {"trial": new.trial, "model": model}).fetchall()
    group = groups[0][0] if groups else MIDDLE
    stratum = {"trial": new.trial, "technician": technician, "model_group": group}
    ((free, drawn),) = con.execute(fill("trial_free"), stratum).fetchall()
    if free is None:
        more = schedule(new, technician, group, drawn + 1, after=drawn)
        _store(con, new.trial, more)
        return more[0]
    rows = con.execute(fill("trial_slot"), stratum | {"slot": free}).fetchall()
    return Slot(*rows[0])


def _store(con: Connection, trial: str, slots: Sequence[Slot]) -> None:
    con.execute(
        fill("store_slots"),
        {
            "trial": trial,
            "technicians": [slot.technician for slot in slots],
            "groups": [slot.model_group for slot in slots],
            "slots": [slot.number for slot in slots],
            "blocks": [slot.block for slot in slots],
            "options": [slot.assigned for slot in slots],
        },
    )
