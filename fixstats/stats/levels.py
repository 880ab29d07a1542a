"""Multilevel normal fit of estimates with known variances: cells beside options and groups.

    estimate ~ normal(columns beta + sum of group effects, variance of the cell)
    effect ~ normal(0, sd of its group), independent

The normal twin of `multilevel`, for means of logarithms and the like: a flat prior on unpenalised
columns, normal(0, `contrast_sd`) on penalised ones, gamma(2, rate `sd_rate`) on each sd, or a flat
one. Everything but the sds is integrated exactly; the log sds over a composite design around
their mode.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.composite import composite_points, standard_axes
from fixstats.stats.design import Design, Grouping, one_each
from fixstats.stats.validators import FloatArray, as_numbers, refuse

DRAWS = 2000
SEED = 1
# Log sds are sought between those of 1e-4 and 1e4; the step of the slope's derivative.
LOWEST, HIGHEST = -9.2, 9.2
STEP = 0.05


@dataclass(frozen=True)
class LevelsFit:
    """The answer of `fit_levels`.

    `names`, `coefficients`: posterior means of the columns; `groups`, `sds`: at their mode.
    `effects`: mean effect of each level, one array a group. `level_weight`: how much of the data
    stands behind each level (sum of 1 / variance), 0 where its effect is all borrowed.
    `coefficient_draws` (columns, draws), `effect_draws` (levels, draws) one a group: joint draws,
    in pairs mirrored about the mean.
    """

    names: tuple[str, ...]
    coefficients: FloatArray
    groups: tuple[str, ...]
    sds: FloatArray
    effects: tuple[FloatArray, ...]
    level_weight: tuple[FloatArray, ...]
    coefficient_draws: FloatArray
    effect_draws: tuple[FloatArray, ...]


@dataclass(frozen=True)
class _Problem:
    """Sums over the cells; the columns of the design first, then the levels group by group."""

    gram: FloatArray
    pull: FloatArray
    square: float
    penalty: FloatArray
    sizes: tuple[int, ...]
    sd_rate: FloatArray | None


@dataclass(frozen=True)
class _Point:
    """Everything at one place of the log sds: `lower` is a factor of the posterior precision,
    `slope` the derivative of `height` by the log sds."""

    mean: FloatArray
    lower: FloatArray
    height: float
    slope: FloatArray


def fit_levels(
    estimates: ArrayLike,
    variances: ArrayLike,
    design: Design,
    groups: Sequence[Grouping] = (),
    *,
    sd_rate: ArrayLike | None,
    contrast_sd: ArrayLike | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
) -> LevelsFit:
    """Fit estimates of cells, arrays of one dimension, each with its variance.

    `sd_rate`: rate of the gamma(2) prior of the sds, in 1 / unit of the estimates, or one a group;
    None for a flat one, which needs at least three levels a group. `contrast_sd`: of penalised
    columns, or one a column of the design, those that are not penalised among them; None for
    no penalty. The same data and `seed` give the same draws.

    Raises `ValueError` for arrays that do not match, variances that are not above 0, and columns
    that are not independent.
    Source: Gelman et al. 2013, Bayesian Data Analysis, 3rd edition, section 5.4 (one group), and
    Rue, Martino and Chopin 2009, J R Stat Soc B 71:319-392, section 6.5 (the points).
    """
    y, v = as_numbers("estimates", estimates), as_numbers("variances", variances)
    lengths = {len(design.columns), *(len(group.codes) for group in groups)}
    if y.ndim != 1 or v.shape != y.shape or lengths != {len(y)}:
        raise ValueError("estimates, variances, design and groups must have one entry a cell")
    refuse("variances", "must be above 0", v, v <= 0)
    problem = _sums(y, v, design, groups, sd_rate, contrast_sd)
    _refuse_dependent(problem, len(design.names))
    log_sds = _mode(problem)
    points, weights = _integrate(problem, log_sds)
    mean = weights @ np.stack([point.mean for point in points])
    coefficients, *effects = _split(mean, problem.sizes)
    drawn, *effect_draws = _split(_draw(points, weights, draws, seed), problem.sizes)
    return LevelsFit(
        names=design.names,
        coefficients=coefficients,
        groups=tuple(group.name for group in groups),
        sds=np.exp(log_sds),
        effects=tuple(effects),
        level_weight=tuple(_weight(group, v) for group in groups),
        coefficient_draws=drawn,
        effect_draws=tuple(effect_draws),
    )


def _weight(group: Grouping, variances: FloatArray) -> FloatArray:
    weight: FloatArray = np.bincount(group.codes, 1 / variances, group.levels).astype(np.float64)
    return weight


def _sums(
    y: FloatArray,
    v: FloatArray,
    design: Design,
    groups: Sequence[Grouping],
    sd_rate: ArrayLike | None,
    contrast_sd: ArrayLike | None,
) -> _Problem:
    indicators = [np.eye(group.levels)[group.codes] for group in groups]
    wide = np.concatenate([design.columns, *indicators], axis=1)
    penalty = np.zeros(len(design.names))
    if contrast_sd is not None:
        penalty[design.penalised] = one_each(contrast_sd, len(penalty))[design.penalised] ** -2
    scaled = wide / v[:, None]
    sizes = (len(design.names), *(group.levels for group in groups))
    rate = None if sd_rate is None else one_each(sd_rate, len(groups))
    return _Problem(wide.T @ scaled, scaled.T @ y, float(y @ (y / v)), penalty, sizes, rate)


def _refuse_dependent(problem: _Problem, columns: int) -> None:
    gram = problem.gram[:columns, :columns] + np.diag(problem.penalty)
    size = np.sqrt(np.diag(gram))
    if (size == 0).any() or (
        columns and np.linalg.eigvalsh(gram / np.outer(size, size))[0] < 1e-11
    ):
        raise ValueError("columns of the design are not independent")


def _at(problem: _Problem, log_sds: FloatArray) -> _Point:
    """Posterior given the sds, and the log density of the log sds up to a constant; exact."""
    from scipy import linalg

    levels = np.array(problem.sizes[1:], dtype=np.float64)
    precision = np.concatenate(
        [problem.penalty, np.repeat(np.exp(-2 * log_sds), problem.sizes[1:])]
    )
    lower = np.linalg.cholesky(problem.gram + np.diag(precision)).astype(np.float64)
    mean = linalg.cho_solve((lower, True), problem.pull)
    height = -(levels * log_sds).sum() - np.log(np.diag(lower)).sum()
    height += (problem.pull @ mean - problem.square) / 2
    inverse, _ = linalg.lapack.dpotri(lower, lower=1)
    squares = precision * (mean * mean + np.diag(inverse))
    slope = np.array([part.sum() for part in _split(squares, problem.sizes)[1:]]) - levels
    # The prior of the sd, times d sd / d log sd.
    if problem.sd_rate is None:
        height += log_sds.sum()
        slope += 1
    else:
        height += (2 * log_sds - problem.sd_rate * np.exp(log_sds)).sum()
        slope += 2 - problem.sd_rate * np.exp(log_sds)
    return _Point(mean, lower, float(height), slope)


def _mode(problem: _Problem) -> FloatArray:
    from scipy import optimize

    groups = len(problem.sizes) - 1
    if not groups:
        return np.zeros(0)
    typical = 0.5 * np.log(problem.square / max(problem.gram[0, 0], 1e-300))
    guess = typical if problem.sd_rate is None else np.log(2 / problem.sd_rate)

    def cost(log_sds: FloatArray) -> tuple[float, FloatArray]:
        here = _at(problem, log_sds)
        return -here.height, -here.slope

    found = optimize.minimize(
        cost,
        np.broadcast_to(np.clip(guess, LOWEST, HIGHEST), groups),
        method="L-BFGS-B",
        jac=True,
        bounds=[(LOWEST, HIGHEST)] * groups,
        options={"ftol": 1e-9},
    )
    place: FloatArray = found.x
    return place


def _integrate(problem: _Problem, log_sds: FloatArray) -> tuple[list[_Point], FloatArray]:
    """Points of a composite design in the log sds and their weights, which sum to 1."""
    size = len(log_sds)
    if not size:
        return [_at(problem, log_sds)], np.ones(1)
    ends = [
        [_at(problem, log_sds + sign * unit).slope for sign in (1, -1)]
        for unit in STEP * np.eye(size)
    ]
    bend = np.array([(more - less) / (2 * STEP) for more, less in ends])
    z, base = composite_points(size)
    axes = standard_axes(-(bend + bend.T) / 2)
    points = [_at(problem, log_sds + axes @ one) for one in z]
    heights = np.array([point.height for point in points])
    # The design's weights are right for a normal density; the ratio to it corrects them.
    log_weights = np.log(base) + heights + (z * z).sum(axis=1) / 2
    weights = np.exp(log_weights - log_weights.max())
    return points, weights / weights.sum()


def _draw(points: Sequence[_Point], weights: FloatArray, draws: int, seed: int) -> FloatArray:
    """Joint draws, (columns and levels, draws): the points share them by weight, without chance."""
    from scipy import linalg

    random = np.random.default_rng(seed)
    pairs = (draws + 1) // 2
    ends = np.rint(np.cumsum(weights) * pairs).astype(np.int64)
    answer = np.empty((len(points[0].mean), 2 * pairs))
    # Shuffled, so that any part of the draws is a mixture of all points.
    places = random.permutation(pairs)
    for point, first, last in zip(points, [0, *ends[:-1]], ends, strict=True):
        noise = random.standard_normal((len(point.mean), last - first))
        off = linalg.solve_triangular(point.lower, noise, lower=True, trans="T")
        at = 2 * places[first:last]
        answer[:, at], answer[:, at + 1] = point.mean[:, None] + off, point.mean[:, None] - off
    return answer[:, :draws]


def _split(values: FloatArray, sizes: Sequence[int]) -> list[FloatArray]:
    return np.split(values, np.cumsum(sizes)[:-1])
