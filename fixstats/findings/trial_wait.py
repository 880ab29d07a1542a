"""How long after its intake a job of a trial counts, so that quick jobs do not go first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from fixstats.findings.base import Note
from fixstats.folder import Catalogue
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import Period
from fixstats.tallies.trials import Trial, TrialCounts, days_at_bench
from fixstats.words import counted

if TYPE_CHECKING:
    import duckdb

# By then so many of the jobs that failed are handed over; the others count when they are.
SHARE = 0.95
# Fewer failed jobs tell no such share: then it is that of all jobs.
FEWEST_FAILED = 20
# Jobs of so many days tell.
RECENT_DAYS = 364


@dataclass(frozen=True)
class Wait:
    """``days`` after intake until a job counts, from so many ``jobs``; None: no intake is known."""

    days: int | None
    jobs: int
    failed_only: bool


def wait_for(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask, covered: Period
) -> Wait:
    """The days that a trial should wait; ``ask``: its main outcome, by its choice."""
    recent = replace(ask, since=covered.as_of - timedelta(days=RECENT_DAYS - 1))
    return wait_of(days_at_bench(con, catalogue, recent))


def wait_of(taken: Mapping[tuple[bool, int], int]) -> Wait:
    """From (failed, days at the bench) -> jobs; pure.

    A failed job takes longer. If each counted as soon as it is recorded, the first ones would be
    those that went well, with both options alike: no difference is conjured up by that, but one
    that is there looks too small, and a young trial would stop because there is none worth having.
    So a job counts so many days after its intake as nearly all failed ones take.
    """
    failed = {days: jobs for (bad, days), jobs in taken.items() if bad}
    enough = sum(failed.values()) >= FEWEST_FAILED
    jobs: dict[int, int] = {}
    for (bad, days), number in taken.items():
        if bad or not enough:
            jobs[days] = jobs.get(days, 0) + number
    whole, below = sum(jobs.values()), 0
    for days in sorted(jobs):
        below += jobs[days]
        if below >= SHARE * whole:
            return Wait(max(days, 0), whole, enough)
    return Wait(None, 0, False)


def planned_note(wait: Wait) -> Note:
    """What a plan says of it."""
    if wait.days is None:
        text = (
            "no day of intake is recorded, so a job is paired as soon as it is recorded; those "
            "that went well mostly come first, so a difference looks too small while the trial is "
            "young: fill in the column received"
        )
        return Note("wait_days", text)
    of = "that had such a failure" if wait.failed_only else "of this choice"
    return Note(
        "wait_days",
        f"a job will be paired {_days(wait.days)} after its intake, or when it is recorded if that "
        f"is later: by then 95 of 100 jobs {of} were done ({counted(wait.jobs, 'job')} of the last "
        "year), which the weeks leave out; else jobs that went well, done sooner, would come "
        "first, and a difference look too small; dangers count at once",
    )


def waiting_note(trial: Trial, counts: TrialCounts) -> Note | None:
    """Recorded jobs that are in no pair yet, and jobs that cannot wait."""
    parts = []
    if counts.waiting and trial.wait_days is not None:
        parts.append(
            f"{counted(counts.waiting, 'recorded job')} will be paired {_days(trial.wait_days)} "
            "after intake, once the records reach so far: else jobs that went well, done sooner, "
            "would come first; dangers count at once"
        )
    if counts.undated and trial.wait_days != 0:
        parts.append(
            f"{counted(counts.undated, 'job')} without a day of intake paired at once: those that "
            "went well mostly come first, so a difference looks too small while the trial is young"
        )
    return Note("wait_days", "; ".join(parts)) if parts else None


def _days(days: int) -> str:
    return counted(days, "day")
