"""Trials as the database knows them: which there are, what was drawn, how their jobs went."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

from fixstats.engines.session import load
from fixstats.engines.versions import versions_session
from fixstats.errors import UsageError
from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies.ask import Ask, fill, lay_out
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

MAIN, SAFETY = "main", "safety"


@dataclass(frozen=True)
class Trial:
    """A trial of ``option`` against ``baseline`` at a choice.

    ``mode``: its main outcome, null for a union of ``modes`` (of one ``family``, or of several);
    ``difference``: the smallest worth having; ``handed_out``: slots; ``jobs``: recorded with an
    option drawn; ``excluded``: devices, before anything was drawn for them; ``day``: on which it
    began, in the shop's time zone; ``safety_limit``, ``safety_modes``: what its harm stop goes by,
    None where that was never settled; ``wait_days``: from its intake until a job counts.
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
    started: Any
    handed_out: int
    jobs: int
    excluded: int
    day: Any = None
    safety_limit: float | None = None
    safety_modes: tuple[str, ...] | None = None
    wait_days: int | None = None


@dataclass(frozen=True)
class TrialCounts:
    """How the jobs of a trial went, by what was drawn.

    ``options``: role (main or safety) and option -> counts by name; ``pairs``: role -> columns
    ``batch``, ``day``, ``more``, ``fewer``, ``both``, ``neither``, a row for each import and day
    that completed pairs; ``dangers``: columns ``batch``, ``day``, ``harmed``, ``jobs`` (of the
    option); ``handed_out``: option -> slots; ``contradictions``: kind (as in trial_drawn) -> jobs
    whose sheet does not say what was drawn in time; ``unknown_trials``: name -> jobs, of no trial;
    ``corrected``, ``struck``: jobs corrected after they had come to count, in their outcome, or so
    that they no longer count where they did; ``waiting``: recorded jobs that are in no pair yet;
    ``undated``: jobs that do not wait, since nobody wrote down their intake.
    """

    options: Mapping[tuple[str, str], Mapping[str, int]]
    pairs: Mapping[str, Mapping[str, Sequence[Any]]]
    dangers: Mapping[str, Sequence[Any]]
    handed_out: Mapping[str, int]
    contradictions: Mapping[str, int] = field(default_factory=dict)
    unknown_trials: Mapping[str, int] = field(default_factory=dict)
    corrected: int = 0
    struck: int = 0
    waiting: int = 0
    undated: int = 0


def all_trials(con: duckdb.DuckDBPyConnection) -> list[Trial]:
    """Every trial, in order of beginning; lays out trial_drawn for the statements after it."""
    con.execute(statement("tallies/trial_drawn"))
    rows = con.execute(statement("tallies/trials")).fetchall()
    columns = [one.name for one in fields(Trial)]
    found = [dict(zip(columns, row, strict=True)) for row in rows]
    codes = ("modes", "safety_modes")
    return [Trial(**row | {name: _codes(row[name]) for name in codes}) for row in found]


def _codes(joined: str | None) -> tuple[str, ...] | None:
    return None if joined is None else tuple(filter(None, joined.split(",")))


def find_trial(con: duckdb.DuckDBPyConnection, name: str) -> Trial:
    """The trial of that name; UsageError with the nearest one if there is none."""
    known = {trial.trial: trial for trial in all_trials(con)}
    if name not in known:
        near = did_you_mean(name, known)
        raise UsageError(f"there is no trial '{name}'{near}\nfixstats trial list shows all")
    return known[name]


def unknown_trials(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Names of trials on jobs that were never begun -> jobs."""
    return dict(con.execute(statement("tallies/trial_unknown")).fetchall())


def comebacks_by_mode(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Failure mode -> completed jobs that came back for it."""
    return dict(con.execute(statement("tallies/trial_comebacks")).fetchall())


def count_trial(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    trial: Trial,
    place: str,
    safety: Sequence[str],
) -> TrialCounts:
    """Count the jobs of a trial; ``place``: step or part of its choice, ``safety``: safety modes.

    ``con`` is a session in which the trial was found. Every version of its jobs is judged, so that
    a job keeps the place among the pairs that it had when it came to count.

    Raises
    ------
    UsageError
        If the catalogue no longer has the choice or a mode of the trial.
    """
    con.execute(statement("tallies/trial_versions"), {"trial": trial.trial})
    with versions_session(con, catalogue, "trial_versions") as told:
        _lay_out_jobs(told, catalogue, trial, place, safety)
        options = _options(told)
        pairs, dangers = _pairs(told, trial), _dangers(told, trial)
        numbers = [
            number
            for file in ("trial_corrections", "trial_waiting")
            for number in told.execute(statement(f"tallies/{file}")).fetchall()[0]
        ]
    name = {"trial": trial.trial}
    handed = con.execute(statement("tallies/trial_handed"), name).fetchall()
    otherwise = con.execute(statement("tallies/trial_contradictions"), name).fetchall()
    return TrialCounts(
        options, pairs, dangers, dict(handed), dict(otherwise), unknown_trials(con), *numbers
    )


def days_at_bench(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask
) -> dict[tuple[bool, int], int]:
    """(failed, days from intake to hand-over) -> jobs on which the one choice of ``ask`` arose."""
    (choice,) = lay_out(con, catalogue, ask).keys
    text = fill("tallies/trial_delays", {"choice": f'"{choice.name}"'})
    return {(failed, days): jobs for failed, days, jobs in con.execute(text).fetchall()}


def _lay_out_jobs(
    told: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    trial: Trial,
    place: str,
    safety: Sequence[str],
) -> None:
    """The temporary tables trial_jobs and trial_places."""
    lay_out(told, catalogue, Ask((*trial.modes, *safety), (trial.choice,)))
    roles = [(MAIN, mode) for mode in trial.modes] + [(SAFETY, mode) for mode in safety]
    load(told, "trial_modes", "role varchar, mode varchar", roles)
    text = fill("tallies/trial_jobs", {"keys": f'j."{trial.choice}" as used, '})
    told.execute(text, {"trial": trial.trial, "place": place})
    told.execute(statement("tallies/trial_places"))


def _options(told: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], dict[str, int]]:
    cursor = told.execute(statement("tallies/trial_options"))
    names = [column[0] for column in cursor.description or ()][2:]
    return {
        (role, drawn): dict(zip(names, numbers, strict=True))
        for role, drawn, *numbers in cursor.fetchall()
    }


def _pairs(told: duckdb.DuckDBPyConnection, trial: Trial) -> dict[str, dict[str, list[Any]]]:
    values = {"baseline": trial.baseline, "option": trial.option}
    steps = told.execute(statement("tallies/trial_pairs"), values).fetchall()
    columns = ("batch", "day", "more", "fewer", "both", "neither")
    return {
        role: {
            name: [row[n] for row in steps if row[0] == role] for n, name in enumerate(columns, 1)
        }
        for role in (MAIN, SAFETY)
    }


def _dangers(told: duckdb.DuckDBPyConnection, trial: Trial) -> dict[str, list[Any]]:
    steps = told.execute(statement("tallies/trial_dangers"), {"option": trial.option}).fetchall()
    columns = ("batch", "day", "harmed", "jobs")
    return {name: [row[n] for row in steps] for n, name in enumerate(columns)}
