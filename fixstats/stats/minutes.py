"""Mean minutes of a job, from cells of few jobs whose minutes are skewed.

A cell (an option on a model by a technician, say) is known by its jobs, their sum of minutes and
their sum of squares. What money follows is the arithmetic mean, not the median; its logarithm is
what the groups share. With one coefficient of variation for all cells,

    log(mean seen) ~ normal(log(true mean) - s2 / 2, s2),   s2 = log(1 + cv ** 2 / jobs)

which is exact for one job if minutes are log-normal, matches mean and variance of the mean for any
number, and needs no form at all as jobs grow. Source of the matching: Fenton 1960, IRE Trans
Commun Syst 8:57-67.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.adjusted import CellsAt
from fixstats.stats.design import Design, Grouping, IntArray
from fixstats.stats.levels import DRAWS, SEED, LevelsFit, fit_levels
from fixstats.stats.validators import FloatArray, as_numbers, refuse

# Bench minutes of one kind of job before any were seen: a coefficient of variation near 1/2, a
# guess worth as much as four jobs. Chosen by us.
PRIOR_CV, PRIOR_JOBS = 0.5, 4.0
# Skewed minutes tell their own variance worse than normal ones: the square of a log-normal's
# deviation varies as if there were about half as many jobs (excess kurtosis near 2).
WORTH = 0.5
# On the log scale: models and technicians differ by a factor of about 1.2, seldom above 2.5
# (gamma(2, rate) of their sd); conditions seldom change minutes by more than a factor of 4.
SD_RATE = 6.0
CONTRAST_SD = 0.7


@dataclass(frozen=True)
class MinutesFit:
    """The answer of `fit_minutes`: `levels` on the log scale, and the coefficient of variation."""

    levels: LevelsFit
    cv: float


def fit_minutes(  # noqa: PLR0913 (three counts of each cell, and how to fit them)
    jobs: ArrayLike,
    totals: ArrayLike,
    squares: ArrayLike,
    design: Design,
    groups: Sequence[Grouping] = (),
    *,
    sd_rate: ArrayLike = SD_RATE,
    contrast_sd: ArrayLike = CONTRAST_SD,
    draws: int = DRAWS,
    seed: int = SEED,
) -> MinutesFit:
    """Fit mean minutes of cells: number of jobs, sum of minutes, sum of squared minutes of each.

    `sd_rate`, `contrast_sd`: priors on the log scale, see `fit_levels`.

    Raises `ValueError` for cells without jobs or minutes, sums that cannot be, and what
    `fit_levels` refuses.
    """
    n, total, square = _checked(jobs, totals, squares)
    cv = pooled_cv(n, total, square)
    variances = np.log1p(cv * cv / n)
    estimates = np.log(total / n) + variances / 2
    fit = fit_levels(
        estimates, variances, design, groups,
        sd_rate=sd_rate, contrast_sd=contrast_sd, draws=draws, seed=seed,
    )  # fmt: skip
    return MinutesFit(fit, cv)


def pooled_cv(jobs: ArrayLike, totals: ArrayLike, squares: ArrayLike) -> float:
    """Coefficient of variation within cells, all cells together, with the prior of the module.

    The mean of a scaled inverse chi-squared posterior of its square: a little too wide where few
    jobs tell it, rather than too narrow.
    """
    n, total, square = _checked(jobs, totals, squares)
    relative = square / (total / n) ** 2 - n  # squared deviations in units of the cell's mean
    jobs_within = WORTH * float((n - 1).sum())
    within = WORTH * float(np.maximum(relative, 0.0).sum())
    worth = PRIOR_JOBS + jobs_within
    return float(np.sqrt((PRIOR_JOBS * PRIOR_CV**2 + within) / (worth - 2)))


def mean_minutes(
    fit: MinutesFit, options: Sequence[CellsAt], weights: ArrayLike, scopes: ArrayLike | None = None
) -> FloatArray:
    """Draws of each option's mean minutes over the same jobs, (options, scopes, draws).

    `options`: the cells of the case mix as they would be with each option; `weights`: its jobs in
    each; `scopes`: code of each cell from 0 (its model, say), followed by one more scope for all
    cells together. Without it all cells are the one scope. NaN in a scope without jobs.
    """
    w = as_numbers("weights", weights)
    refuse("weights", "must not be negative", w, w < 0)
    codes = None if scopes is None else np.asarray(scopes, dtype=np.int64)
    return np.stack([_averages(fit.levels, cells, w, codes) for cells in options])


def _averages(
    fit: LevelsFit, cells: CellsAt, weights: FloatArray, scopes: IntArray | None
) -> FloatArray:
    # Single precision: its error, 1e-6 of the minutes, is far below that of any number of draws.
    log_mean = cells.columns.astype(np.float32) @ fit.coefficient_draws.astype(np.float32)
    for effect, codes in zip(fit.effect_draws, cells.codes, strict=True):
        log_mean += effect.astype(np.float32)[codes]
    minutes = np.exp(log_mean, out=log_mean)
    w = weights.astype(np.float32)
    together: FloatArray = np.asarray(w @ minutes, dtype=np.float64)[None] / weights.sum()
    if scopes is None:
        return together
    member = np.eye(int(scopes.max()) + 1)[scopes].T
    with np.errstate(invalid="ignore"):
        each = ((member * w).astype(np.float32) @ minutes) / (member @ weights)[:, None]
    both: FloatArray = np.concatenate([each, together])
    return both


def _checked(
    jobs: ArrayLike, totals: ArrayLike, squares: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    n, total, square = (
        np.atleast_1d(as_numbers(name, values))
        for name, values in (("jobs", jobs), ("totals", totals), ("squares", squares))
    )
    if not n.shape == total.shape == square.shape or n.ndim != 1:
        raise ValueError("jobs, totals and squares must have one entry a cell")
    refuse("jobs", "must be at least 1", n, n < 1)
    refuse("totals", "must be above 0", total, total <= 0)
    # A sum of squares is never below the square of the sum over the jobs, but for rounding.
    refuse("squares", "do not fit the totals", square, square * n < total * total * (1 - 1e-9))
    return n, total, square
