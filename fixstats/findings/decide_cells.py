"""The counts of one choice laid out for its fits: once for all of them; pure.

Every fit asks about the same jobs: failures of one class of modes, their minutes. So conditions
are chosen, cells merged and the case mix prepared once, and each fit only brings its own counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fixstats import stats
from fixstats.findings.adjusting import PRACTISED, Plan, plan_of, same_jobs
from fixstats.findings.adjusting_columns import Cells, chosen, coded, combined, summed
from fixstats.findings.comebacks_figures import Followed
from fixstats.stats.design import IntArray
from fixstats.stats.validators import FloatArray

Columns = Mapping[str, Sequence[Any]]
# Cells beyond which conditions are merged: one choice has several fits, and all choices shall
# take three seconds.
MOST_CELLS = 1_200
EARLY = " early"


@dataclass(frozen=True)
class Counted:
    """All that is known of one choice before anything is estimated.

    ``keys``: conditions that may have to be adjusted for, technician among them; the model always
    is. ``practice``: the one of them that says how practised the technician was. ``stay``: those
    adjusted for even where they hardly differ between the options.
    Tables (column name -> values) as in ``tallies.decide.Tallied``: ``jobs``, ``failures``,
    ``minutes`` by option, model, the keys and late; ``unlooked`` by mode and option.
    ``whole_minutes``: they are those of the whole job, of which this choice is a small part.
    ``returns``: follow-up by (option, model, technician), its first reason the come-backs that can
    follow from this choice; None where nobody is followed.
    """

    choice: str
    keys: tuple[str, ...]
    jobs: Columns
    failures: Columns
    unlooked: Columns
    minutes: Columns
    returns: Followed | None = None
    whole_minutes: bool = False
    practice: str | None = None
    stay: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ground:
    """Cells, their plan, and the jobs that every option is asked about.

    ``options``: most used first; ``models``: most jobs first. ``dropped``: conditions not adjusted
    for, and why. ``rows``, ``weights``, ``at_option``, ``scopes``: as ``adjusting.same_jobs``;
    scopes are codes into ``models``. ``unlooked``: mode -> share by option.
    """

    options: tuple[str, ...]
    models: tuple[str, ...]
    cells: Cells
    dropped: Mapping[str, str]
    plan: Plan
    weights: FloatArray
    at_option: Sequence[stats.CellsAt]
    scopes: IntArray
    whole_minutes: bool
    unlooked: Mapping[str, FloatArray]

    @property
    def used_for(self) -> tuple[str, ...]:
        """Conditions adjusted for."""
        return tuple(column.label for column in self.cells.columns.values())

    def count(self, name: str, *, early: bool = False) -> FloatArray:
        """What was counted in each cell; ``early``: without the last jobs of each model."""
        nothing = np.zeros(len(self.cells))
        return self.cells.beside.get(name + EARLY * early, nothing)

    @property
    def models_of_cells(self) -> IntArray:
        """Code of the model of each cell."""
        column = self.cells.columns.get("model")
        if column is None:
            return np.zeros(len(self.cells), dtype=np.int64)
        place = {name: code for code, name in enumerate(self.models)}
        return np.array([place[name] for name in column.values], dtype=np.int64)[column.codes]

    def table(self, counts: FloatArray) -> FloatArray:
        """Counts of the cells by option and model, (options, models)."""
        shape = len(self.options), len(self.models)
        both = self.cells.option * shape[1] + self.models_of_cells
        table = np.bincount(both, counts, shape[0] * shape[1])
        return table.astype(np.float64).reshape(shape)


def lay_ground(counted: Counted, most_cells: int = MOST_CELLS) -> Ground:
    """Choose conditions, merge cells, prepare the case mix."""
    options, models = (by_jobs(counted.jobs, key) for key in ("option", "model"))
    cells = _joined(counted, options)
    stay = (*counted.stay, *([counted.practice] if counted.practice else []))
    cells, dropped = chosen(cells, stay, most_cells)
    present = np.arange(len(options))
    plan = plan_of(cells, present, 0, counted.practice)
    rows, weights, at_option = same_jobs(cells, plan, present, PRACTISED)
    ground = Ground(
        options, models, cells, dropped, plan, weights, at_option,
        np.zeros(len(rows), dtype=np.int64), counted.whole_minutes, _unlooked(counted, options),
    )  # fmt: skip
    scopes = ground.models_of_cells[rows]
    return Ground(**{**vars(ground), "scopes": scopes})


def by_jobs(jobs: Columns, key: str) -> tuple[str, ...]:
    """Values of a key, most jobs first, a tie by name."""
    total = _jobs_of(jobs, key)
    return tuple(sorted(total, key=lambda one: (-total[one], one)))


def _jobs_of(jobs: Columns, key: str) -> dict[str, float]:
    own = coded(key, jobs[key])
    total = np.bincount(own.codes, np.asarray(jobs["jobs"], dtype=np.float64), len(own.values))
    return dict(zip(own.values, total.tolist(), strict=True))


def _joined(counted: Counted, options: Sequence[str]) -> Cells:
    """All tables in the same cells, by option, model and keys; jobs are the opportunities.

    In order of the cells: the database answers in any, and sums of minutes depend on theirs.
    """
    tables = (counted.jobs, counted.failures, counted.minutes)
    ends = np.cumsum([len(table["option"]) if table else 0 for table in tables])

    def column(key: str) -> list[Sequence[Any]]:
        return [table[key] for table in tables if table]

    used = coded("option", *column("option"))
    place = np.array([options.index(one) for one in used.values], dtype=np.int64)
    option = place[used.codes]
    columns = {key: coded(key, *column(key)) for key in ("model", *counted.keys)}
    cell = combined([option, *(one.codes for one in columns.values())])
    _, first = np.unique(cell, return_index=True)
    late = np.concatenate(column("late")).astype(bool)
    sums: dict[str, FloatArray] = {}

    def add(name: str, rows: IntArray, values: ArrayLike) -> None:
        counts = np.asarray(values, dtype=np.float64)
        sums[name] = summed(cell[rows], counts, len(first))
        sums[name + EARLY] = summed(cell[rows], np.where(late[rows], 0.0, counts), len(first))

    add("jobs", np.arange(ends[0]), counted.jobs["jobs"])
    for name, field in (("timed", "jobs"), ("minutes", "minutes"), ("squares", "squares")):
        add(name, np.arange(ends[1], ends[2]), counted.minutes[field] if counted.minutes else ())
    if counted.failures:
        modes = coded("mode", counted.failures["mode"])
        failures = np.asarray(counted.failures["failures"], dtype=np.float64)
        for code, mode in enumerate(modes.values):
            own = np.flatnonzero(modes.codes == code)
            add(mode, ends[0] + own, failures[own])
    columns = {key: replace(one, codes=one.codes[first]) for key, one in columns.items()}
    return Cells(option[first], columns, np.zeros(len(first)), sums["jobs"], sums)


def _unlooked(counted: Counted, options: Sequence[str]) -> dict[str, FloatArray]:
    """Share of each option's jobs on which nothing is known of a mode."""
    jobs = _jobs_of(counted.jobs, "option")
    shares: dict[str, FloatArray] = {}
    table = counted.unlooked
    if not table:
        return shares
    for mode, option, number in zip(table["mode"], table["option"], table["jobs"], strict=True):
        own = shares.setdefault(mode, np.zeros(len(options)))
        own[options.index(option)] = min(1.0, number / jobs[option])
    return shares
