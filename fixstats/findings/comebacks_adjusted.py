"""What each option's share of come-backs would be over the same jobs, with paired draws.

A discrete-time hazard: each day of follow-up of a job is an opportunity to come back on it. The
hazard is constant within bands of follow-up, and the days of a band are added up by option,
device model and technician: a few thousand cells, whatever the number of jobs, and censoring needs
no further thought. Fixed effects: options and bands. Random effects: model, technician, option by
model, where model and technician come with their mean use of each option (within-between, as in
`adjusting`). Options act alike in all bands (proportional odds of the daily hazard).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixstats import stats
from fixstats.findings.adjusting_columns import Column, coded
from fixstats.findings.comebacks_figures import Followed
from fixstats.stats.design import IntArray
from fixstats.stats.validators import FloatArray

# First day of each band: the first week, the first month, the usual warranty, half a year, a year.
# Come-backs for workmanship are early, those for worn or weak parts late; the edges are ours.
BANDS = (0, 7, 30, 91, 181, 366)
# Not the seed of `stats.fit_multilevel`: whoever adds costs of failures and of come-backs up draw
# by draw needs the two to be independent.
SEED = 2
# Numbers held at once: groups times days of the table, jobs' cells times draws.
MOST, BLOCK = 20_000_000, 2_000_000


@dataclass(frozen=True)
class AdjustedReturn:
    """Share of come-backs of an option; NaN where nothing can be said.

    `rate`, `low`, `high`: posterior mean and equal-tailed interval. `difference` and its ends: to
    the baseline. `borrowed`: share of the jobs whose model never had the option: its effect there
    is what it is on the other models. `jobs`: followed with that option, on that model.
    """

    jobs: int
    rate: float
    low: float
    high: float
    difference: float
    difference_low: float
    difference_high: float
    borrowed: float


@dataclass(frozen=True)
class AdjustedReturns:
    """The answer of `adjust_returns`; what a decision builds on.

    `options`: in order, the baseline (used on most jobs) first; `scopes`: device models in
    alphabetical order, None (not recorded) after them if it occurs, then ALL_MODELS.
    `rows`: (option, scope) -> figures. `problem`: why there are no rows, in words; '' if there are.
    `draws` (options, scopes, draws): posterior draws of the share that comes back within the days,
    a fraction, in the order of `options` and `scopes`; paired over both, so that differences are
    taken draw by draw. NaN in a scope without jobs. None where there is a problem.
    """

    options: tuple[Any, ...]
    scopes: tuple[Any, ...]
    rows: Mapping[tuple[Any, Any], AdjustedReturn]
    problem: str
    cells: int
    draws: FloatArray | None


ALL_MODELS = "*"


@dataclass(frozen=True)
class _Units:
    """One entry a group of the table: (option, model, technician) and what happened in each band.

    `followed`, `events`, `others`: (groups, bands): days of follow-up, come-backs, other returns.
    """

    option: Column
    model: Column
    technician: Column
    jobs: FloatArray
    followed: FloatArray
    events: FloatArray
    others: FloatArray
    lengths: tuple[int, ...]


def adjust_returns(
    followed: Followed, reason: str, days: int, *, confidence_level: float
) -> AdjustedReturns:
    """Compare options over the same jobs: all of those followed here, by all technicians.

    `followed`: groups are (option, model, technician); groups whose option is None or '-' are left
    out. `reason`: a mode, or ANY. The share by `days` takes other returns as competing, at the
    hazard that each option had with all jobs together, taken as known: such returns are few.
    Data never raise: what cannot be fitted has a `problem`.
    """
    kept = [n for n, (option, _, _) in enumerate(followed.groups) if option not in (None, "-")]
    problem = _too_little(followed, kept, days)
    if problem:
        return AdjustedReturns((), (), {}, problem, 0, None)
    units = _units(followed, reason, days, kept)
    problem = _unfit(units)
    fit = None
    if not problem:
        fit, problem = _fitted(units)
    if fit is None:
        return AdjustedReturns((), (), {}, problem, 0, None)
    draws = _draws(fit, units)
    scopes = (*units.model.values, ALL_MODELS)
    rows = _rows(units, draws, scopes, confidence_level)
    cells = int((units.followed > 0).sum())
    return AdjustedReturns(units.option.values, scopes, rows, "", cells, draws)


def _too_little(followed: Followed, kept: Sequence[int], days: int) -> str:
    if not kept:
        return "no job with a recorded option"
    if len(kept) * (days + 1) > MOST:
        return "too many combinations of option, model and technician"
    return ""


def _units(followed: Followed, reason: str, days: int, kept: Sequence[int]) -> _Units:
    table = followed.of(reason).with_days(np.arange(days + 1))
    starts = [day for day in BANDS if day <= days]
    at, events = table.n_at_risk[kept], table.n_events[:, kept]
    names = [followed.groups[n] for n in kept]
    jobs = at[:, 0]
    option = coded("option", [name[0] for name in names])
    most = np.argsort(-np.bincount(option.codes, jobs), kind="stable")
    place = np.argsort(most)  # the most used option first
    return _Units(
        option=Column("option", "", tuple(option.values[n] for n in most), place[option.codes]),
        model=coded("model", [name[1] for name in names]),
        technician=coded("technician", [name[2] for name in names]),
        jobs=jobs,
        followed=np.add.reduceat(at, starts, axis=1),
        events=np.add.reduceat(events[0], starts, axis=1),
        others=np.add.reduceat(events[1], starts, axis=1),
        lengths=tuple(np.diff([*starts, days + 1]).tolist()),
    )


def _unfit(units: _Units) -> str:
    """Why there is nothing to fit, or ''."""
    if len(units.option.values) < 2:
        return f"no job with another option than {units.option.values[0]}"
    if not units.events.sum():
        return "nobody came back in these jobs"
    if units.events.sum() == units.followed.sum():
        return "every one of these devices came back on the day of hand-over"
    return ""


def _fixed(units: _Units, band: IntArray, unit: IntArray) -> stats.Design:
    """Columns for cells of a unit and a band: all that is not a random effect."""
    option = units.option.codes[unit]
    days = units.followed[unit, band]
    asked = stats.contrasts("option", option, len(units.option.values))
    parts = [stats.intercept(len(unit)), asked]
    if len(units.lengths) > 1:
        parts.append(stats.contrasts("band", band, len(units.lengths)))
    for column in _grouped(units):
        group = stats.grouping(column.key, column.codes[unit], len(column.values))
        parts.append(stats.group_means(asked, group, days))
    return stats.side_by_side(*parts)


def _grouped(units: _Units) -> list[Column]:
    """Model and technician, where there is more than one."""
    return [one for one in (units.model, units.technician) if len(one.values) > 1]


def _groups(units: _Units, option: IntArray, unit: IntArray) -> tuple[stats.Grouping, ...]:
    """Random effects of units with these options: model, technician, option by model."""
    found = [stats.grouping(one.key, one.codes[unit], len(one.values)) for one in _grouped(units)]
    models = len(units.model.values)
    if models > 1:
        both = option * models + units.model.codes[unit]
        found.append(stats.grouping("option by model", both, len(units.option.values) * models))
    return tuple(found)


def _cells(units: _Units) -> tuple[IntArray, IntArray]:
    """Unit and band of each cell in which somebody was followed."""
    unit, band = np.nonzero(units.followed > 0)
    return unit.astype(np.int64), band.astype(np.int64)


def _fitted(units: _Units) -> tuple[stats.MultilevelFit | None, str]:
    unit, band = _cells(units)
    try:
        fit = stats.fit_multilevel(
            units.events[unit, band],
            units.followed[unit, band],
            _fixed(units, band, unit),
            _groups(units, units.option.codes[unit], unit),
            seed=SEED,
        )
    except np.linalg.LinAlgError:
        return None, "the fit did not converge: the counts do not tell the options apart"
    if not fit.converged:
        return None, f"the fit did not converge: {fit.problem}"
    return fit, ""


def _draws(fit: stats.MultilevelFit, units: _Units) -> FloatArray:
    """Share by the last day of each option in each scope, over the jobs of all options."""
    both = units.model.codes * len(units.technician.values) + units.technician.codes
    _, rows, mix = np.unique(both, return_index=True, return_inverse=True)
    weights = np.bincount(mix.ravel(), units.jobs)
    bands, options, models = len(units.lengths), len(units.option.values), len(units.model.values)
    number = fit.coefficient_draws.shape[1]
    competing = _competing(units)
    totals = np.bincount(units.model.codes[rows], weights, models)
    answer = np.zeros((options, models, number))
    # Means by group belong to the group, whatever option is asked about: taken from its own cells.
    unit, band = _cells(units)
    fixed = _fixed(units, band, unit)
    own = fixed.columns[_first_cells(unit, rows)]
    option_columns = [n for n, name in enumerate(fixed.names) if name in _option_names(options)]
    band_columns = [n for n, name in enumerate(fixed.names) if name in _band_names(bands)]
    base = own.copy()
    base[:, [*option_columns, *band_columns]] = 0
    size = max(1, BLOCK // number)
    for option in range(options):
        columns = base.copy()
        if option:
            columns[:, option_columns[option - 1]] = 1
        groups = _groups(units, np.full(len(rows), option), rows)
        for first in range(0, len(rows), size):
            part = slice(first, first + size)
            log_odds = columns[part] @ fit.coefficient_draws
            for effect, group in zip(fit.effect_draws, groups, strict=True):
                log_odds += effect[group.codes[part]]
            by_band = [0.0, *(fit.coefficient_draws[n] for n in band_columns)]
            share = _share(log_odds, by_band, competing[option], units.lengths)
            np.add.at(answer[option], units.model.codes[rows[part]], weights[part, None] * share)
    everything = answer.sum(axis=1, keepdims=True) / totals.sum()
    with np.errstate(invalid="ignore"):
        draws = np.concatenate([answer / totals[:, None], everything], axis=1)
    shares: FloatArray = np.minimum(draws, 1.0)  # sums round
    return shares


def _option_names(options: int) -> set[str]:
    return {f"option[{n}]" for n in range(1, options)}


def _band_names(bands: int) -> set[str]:
    return {f"band[{n}]" for n in range(1, bands)}


def _first_cells(unit: IntArray, rows: IntArray) -> IntArray:
    """The first cell of each of these units; everybody is followed on the day of hand-over."""
    return np.searchsorted(unit, rows).astype(np.int64)


def _competing(units: _Units) -> FloatArray:
    """Daily hazard of other returns, (options, bands), all jobs of the option together."""
    options = len(units.option.values)
    hazard = np.zeros((options, len(units.lengths)))
    for option in range(options):
        mine = units.option.codes == option
        days = units.followed[mine].sum(axis=0)
        hazard[option] = units.others[mine].sum(axis=0) / np.where(days > 0, days, 1.0)
    return hazard


def _share(
    log_odds: FloatArray,
    by_band: Sequence[Any],
    competing: FloatArray,
    lengths: Sequence[int],
) -> FloatArray:
    """Share that came back by the end of the last band: the sum over days of free times hazard."""
    from scipy import special

    free, share = np.ones_like(log_odds), np.zeros_like(log_odds)
    for more, other, length in zip(by_band, competing, lengths, strict=True):
        hazard = special.expit(log_odds + more)
        either = np.minimum(hazard + other, 1.0)
        left = (1 - either) ** length
        share += free * hazard / either * (1 - left)
        free *= left
    return share


def _rows(
    units: _Units, draws: FloatArray, scopes: Sequence[Any], confidence_level: float
) -> dict[tuple[Any, Any], AdjustedReturn]:
    tail = (1 - confidence_level) / 2
    ends = [tail, 1 - tail]
    difference = draws - draws[:1]
    low, high = np.quantile(draws, ends, axis=2)
    difference_low, difference_high = np.quantile(difference, ends, axis=2)
    options, models = len(units.option.values), len(units.model.values)
    jobs = np.zeros((options, models))
    np.add.at(jobs, (units.option.codes, units.model.codes), units.jobs)
    unseen = (jobs == 0).astype(np.float64)
    weight = jobs.sum(axis=0) / jobs.sum()
    borrowed = np.concatenate([unseen, (unseen @ weight)[:, None]], axis=1)
    jobs = np.concatenate([jobs, jobs.sum(axis=1, keepdims=True)], axis=1)
    figures = np.stack(
        [draws.mean(axis=2), low, high, difference.mean(axis=2), difference_low, difference_high,
         borrowed],
        axis=2,
    )  # fmt: skip
    return {
        (option, scope): AdjustedReturn(int(jobs[i, j]), *figures[i, j].tolist())
        for i, option in enumerate(units.option.values)
        for j, scope in enumerate(scopes)
    }
