"""Trials as the database knows them: which there are, what was drawn, how their jobs went."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from fixstats.engines.session import load
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
    option drawn; ``excluded``: devices, before anything was drawn for them.
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


@dataclass(frozen=True)
class TrialCounts:
    """How the jobs of a trial went, by what was drawn.

    ``options``: role (main or safety) and option -> counts by name; ``pairs``: role -> columns
    ``day``, ``more``, ``fewer``, ``both``, ``neither``, a row for each day with complete pairs;
    ``dangers``: columns ``day``, ``harmed``, ``jobs`` of the option;
    ``handed_out``: option -> slots; ``contradictions``: kind (as in trial_drawn) -> jobs whose
    sheet does not say what was drawn; ``unknown_trials``: name -> jobs, of no trial at all.
    """

    options: Mapping[tuple[str, str], Mapping[str, int]]
    pairs: Mapping[str, Mapping[str, Sequence[Any]]]
    dangers: Mapping[str, Sequence[Any]]
    handed_out: Mapping[str, int]
    contradictions: Mapping[str, int] = field(default_factory=dict)
    unknown_trials: Mapping[str, int] = field(default_factory=dict)


def all_trials(con: duckdb.DuckDBPyConnection) -> list[Trial]:
    """Every trial, in order of beginning; lays out trial_drawn for the statements after it."""
    con.execute(statement("tallies/trial_drawn"))
    rows = con.execute(statement("tallies/trials")).fetchall()
    columns = [one.name for one in fields(Trial)]
    found = [dict(zip(columns, row, strict=True)) for row in rows]
    return [Trial(**row | {"modes": tuple(row["modes"].split(","))}) for row in found]


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

    ``con`` is a session with all views in which the trial was found.

    Raises
    ------
    UsageError
        If the catalogue no longer has the choice or a mode of the trial.
    """
    modes = (*trial.modes, *safety)
    lay_out(con, catalogue, Ask(modes, (trial.choice,)))
    roles = [(MAIN, mode) for mode in trial.modes] + [(SAFETY, mode) for mode in safety]
    load(con, "trial_modes", "role varchar, mode varchar", roles)
    con.execute(
        fill("tallies/trial_jobs", {"keys": f'j."{trial.choice}" as used, '}),
        {"trial": trial.trial, "place": place},
    )
    # The moment of the beginning is that of Greenwich: the day before it is over everywhere.
    began = trial.started.date() - timedelta(days=1)
    cursor = con.execute(statement("tallies/trial_options"), {"began": began})
    names = [column[0] for column in cursor.description or ()][2:]
    options = {
        (role, drawn): dict(zip(names, numbers, strict=True))
        for role, drawn, *numbers in cursor.fetchall()
    }
    values = {"baseline": trial.baseline, "option": trial.option}
    days = con.execute(statement("tallies/trial_pairs"), values).fetchall()
    columns = ("day", "more", "fewer", "both", "neither")
    pairs = {
        role: {
            name: [row[n] for row in days if row[0] == role] for n, name in enumerate(columns, 1)
        }
        for role in (MAIN, SAFETY)
    }
    harm = con.execute(statement("tallies/trial_dangers"), {"option": trial.option}).fetchall()
    dangers = {name: [row[n] for row in harm] for n, name in enumerate(("day", "harmed", "jobs"))}
    handed = con.execute(statement("tallies/trial_handed"), {"trial": trial.trial}).fetchall()
    told = con.execute(statement("tallies/trial_contradictions"), {"trial": trial.trial}).fetchall()
    return TrialCounts(options, pairs, dangers, dict(handed), dict(told), unknown_trials(con))
