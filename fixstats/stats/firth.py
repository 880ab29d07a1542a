"""Firth's logistic regression: which conditions go with a failure, when failures are few.

Plain logistic regression says "infinitely more likely" as soon as some condition only ever went
with failures, or never did. Firth's penalty, the Jeffreys prior, keeps every coefficient finite
and takes away most of the bias of few failures; intervals and tests come from the profile of the
penalised likelihood, which is skewed where the normal one is not.

Each row is a group of jobs with the same conditions: `design` (rows by columns, an intercept
included if wanted), `failures` and `opportunities`. Rows without opportunities do not count.
Coefficients are logarithms of odds ratios, per unit of their column.

Sources: Firth 1993, Biometrika 80:27-38; Heinze and Schemper 2002, Stat Med 21:2409-2419.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_counts, as_level, as_numbers

_MOST_STEPS = 200
# Newton decrement, in units of the log-likelihood, below which a maximum counts as reached.
_REACHED = 1e-13
# Where rounding stops it earlier: still less than 1/10,000 of a standard error from the maximum.
_NEAR = 1e-9
_STALLED = 4
# A rise of the penalised likelihood below this share of it is rounding.
_ROUNDING = 1e-13
# A second derivative below this share of its stand-in counts as flat.
_FLAT = 1e-6
# How far aside a second maximum is looked for, in standard errors.
_ASIDE = 3.0
# The longest step of a coefficient, in standard deviations of its column.
_LONGEST = 5.0
# With so many failures, and jobs without, a column there is one hump and no saddle to leave.
_PLENTY = 5


@dataclass(frozen=True)
class FirthFit:
    """A fitted regression.

    `coefficients`: one a column. `covariance`: inverse of the Fisher information at them.
    `penalised_log_likelihood`: at the maximum, without the binomial constants.
    `converged`: whether the maximum was reached; if not, no figure here can be relied on.
    """

    coefficients: FloatArray
    covariance: FloatArray
    penalised_log_likelihood: float
    converged: bool
    iterations: int


@dataclass(frozen=True)
class FirthProfile:
    """Intervals and tests of some coefficients, one entry each, in the order of `columns`.

    `low`, `high`: where the profile of the penalised likelihood falls to its limit.
    `p_value`: penalised likelihood-ratio test of a coefficient of 0.
    `converged`: whether both ends and the test were reached; what was not is NaN.
    """

    columns: tuple[int, ...]
    low: FloatArray
    high: FloatArray
    p_value: FloatArray
    converged: NDArray[np.bool_]


def firth(design: ArrayLike, failures: ArrayLike, opportunities: ArrayLike) -> FirthFit:
    """Fit all coefficients.

    With a handful of jobs two maxima can be as high as each other: the fit is then the one with
    the smaller coefficients, and the profiles are searched outwards from it.

    Raises `ValueError` for counts that cannot be, a design whose rows do not fit them, and one
    whose columns depend on each other, naming the first that follows from those before it.
    """
    data = _data(design, failures, opportunities)
    return data.unscaled(_highest(data, np.zeros(data.x.shape[1]), fixed=()))


def firth_profile(
    design: ArrayLike,
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    columns: Sequence[int] | None = None,
) -> FirthProfile:
    """Profile penalised-likelihood intervals and tests of the columns asked for, default all.

    A coefficient under test stays in the design, held at 0: the penalty is that of all columns
    (Heinze and Schemper 2002). Raises `ValueError` as `firth` does, and for unknown columns.
    """
    limit = _chi_squared_limit(confidence_level)
    data = _data(design, failures, opportunities)
    width = data.x.shape[1]
    chosen = tuple(range(width)) if columns is None else tuple(int(one) for one in columns)
    if any(not 0 <= one < width for one in chosen):
        raise ValueError(f"columns must lie between 0 and {width - 1}, got {list(chosen)}")
    best = _highest(data, np.zeros(width), fixed=())
    rows = [_one_profile(data, best, column, limit) for column in chosen]
    low, high, p_value = np.array(rows).reshape(-1, 3).T
    scale = data.scale[list(chosen)]
    return FirthProfile(
        columns=chosen,
        low=low / scale,
        high=high / scale,
        p_value=p_value,
        converged=np.isfinite(np.array(rows).reshape(-1, 3)).all(axis=1),
    )


def firth_test(
    design: ArrayLike, failures: ArrayLike, opportunities: ArrayLike, *, columns: Sequence[int]
) -> float:
    """Penalised likelihood-ratio test that all of these coefficients are 0; NaN if not reached.

    For a condition with several values, whose columns belong together. Raises as `firth_profile`.
    """
    data = _data(design, failures, opportunities)
    width, chosen = data.x.shape[1], tuple(sorted({int(one) for one in columns}))
    if not chosen or not 0 <= chosen[0] <= chosen[-1] < width:
        raise ValueError(f"columns must lie between 0 and {width - 1}, got {list(columns)}")
    best = _highest(data, np.zeros(width), fixed=())
    without = _highest(data, _held(best.coefficients, chosen), fixed=chosen)
    return _p_value(best, without, len(chosen))


# --- the data ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Data:
    """Rows with opportunities; columns divided by their root mean square, for even steps."""

    x: FloatArray
    k: FloatArray
    n: FloatArray
    scale: FloatArray

    @property
    def plenty(self) -> bool:
        return bool(min(self.k.sum(), (self.n - self.k).sum()) >= _PLENTY * self.x.shape[1])

    def unscaled(self, fit: FirthFit) -> FirthFit:
        return replace(
            fit,
            coefficients=fit.coefficients / self.scale,
            covariance=fit.covariance / np.outer(self.scale, self.scale),
            # log det of the information changes by that of the scale.
            penalised_log_likelihood=fit.penalised_log_likelihood + float(np.log(self.scale).sum()),
        )


def _data(design: ArrayLike, failures: ArrayLike, opportunities: ArrayLike) -> _Data:
    x = as_numbers("design", design)
    k, n = as_counts(failures, opportunities)
    if x.ndim != 2 or k.ndim != 1 or len(x) != len(k):
        raise ValueError(
            f"design must have one row a count and one column a coefficient, got shape {x.shape} "
            f"for counts of shape {k.shape}"
        )
    x, k, n = x[n > 0], k[n > 0], n[n > 0]
    scale = np.sqrt((x * x).sum(axis=0) / max(len(x), 1))
    x = x / np.where(scale > 0, scale, 1.0)
    diagonal = np.abs(np.diag(np.linalg.qr(x, mode="r"))) / np.sqrt(max(len(x), 1))
    dependent = np.flatnonzero(diagonal < 1e-9)
    if dependent.size or x.shape[0] < x.shape[1]:
        first = int(dependent[0]) if dependent.size else x.shape[0]
        raise ValueError(f"design column {first} follows from those before it: drop one of them")
    return _Data(x, k, n, scale)


# --- the maximum ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Point:
    """What the penalised likelihood looks like at some coefficients.

    `curvature` stands in for its second derivative: the information of the jobs and of the part
    of a job that the penalty adds to each row, half a failure and half a success per unit of its
    leverage. With the information alone, steps are too long where jobs are few. The true second
    derivative is never steeper; `tilt`, 1 less twice the rate, and `skew`, the slope
    of the weight, make the difference.
    """

    value: float
    score: FloatArray
    information: FloatArray
    curvature: FloatArray
    skew: FloatArray
    tilt: FloatArray


def _look(data: _Data, coefficients: FloatArray) -> _Point:
    # Failing and not failing each by its own exponential: one minus a rate near 1 has few digits.
    eta = np.clip(data.x @ coefficients, -700, 700)
    fails, works = 1 / (1 + np.exp(-eta)), 1 / (1 + np.exp(eta))
    worked = data.n - data.k
    weight = data.n * fails * works
    information = data.x.T @ (weight[:, None] * data.x)
    sign, log_determinant = np.linalg.slogdet(information)
    if sign <= 0 or not np.isfinite(log_determinant):
        flat = np.zeros_like(coefficients)
        return _Point(-np.inf, flat, information, information, weight, weight)
    # Leverage of all jobs of a row together: the diagonal of the weighted hat matrix.
    leverage = weight * np.einsum("ij,ij->i", data.x, data.x @ np.linalg.inv(information))
    log_likelihood = -data.k @ np.logaddexp(0.0, -eta) - worked @ np.logaddexp(0.0, eta)
    score = data.x.T @ (data.k * works - worked * fails + leverage * (works - fails) / 2)
    curvature = data.x.T @ (((data.n + leverage) * fails * works)[:, None] * data.x)
    tilt = works - fails
    return _Point(
        float(log_likelihood + log_determinant / 2),
        score,
        information,
        curvature,
        tilt * weight,
        tilt,
    )


def _climb(data: _Data, start: FloatArray, *, fixed: tuple[int, ...]) -> FirthFit:
    """Newton steps, halved where they go too far; coefficients `fixed` stay where they start."""
    free = _free(len(start), fixed)
    at, here = start, _look(data, start)
    least, stalled, steps = np.inf, 0, 0
    while steps < _MOST_STEPS and stalled < _STALLED and least >= _REACHED:
        steps += 1
        step, decrement = _step(data, here, free)
        before = here.value
        at, here = _uphill(data, at, here, step)
        # Rounding ends the fall of the decrement before it ends the search. While the value still
        # rises it is no rounding: the way leads off a saddle, where the decrement grows first.
        rises = here.value - before > _ROUNDING * max(abs(before), 1.0)
        least, stalled = (decrement, 0) if rises or decrement < least else (least, stalled + 1)
    return FirthFit(
        coefficients=at,
        covariance=np.asarray(np.linalg.pinv(here.information), dtype=np.float64),
        penalised_log_likelihood=here.value,
        converged=bool(least < _NEAR and np.isfinite(here.value)),
        iterations=steps,
    )


def _highest(data: _Data, start: FloatArray, *, fixed: tuple[int, ...]) -> FirthFit:
    """The highest of the maxima reached from `start` and from both sides of the first one.

    The penalty is not concave: with hardly any jobs and a coefficient held far out, the penalised
    likelihood of the others can have two humps, and a climb can end on the saddle between them or
    on the lower one. They lie along the direction the data say least about.
    """
    first = _climb(data, start, fixed=fixed)
    free = _free(len(start), fixed)
    if data.plenty or not free.size or not np.isfinite(first.penalised_log_likelihood):
        return first
    curvature = _look(data, first.coefficients).curvature[np.ix_(free, free)]
    softness, directions = np.linalg.eigh(curvature)
    away = np.zeros(len(start))
    away[free] = _ASIDE * directions[:, 0] / np.sqrt(softness[0])
    fits = [first]
    fits += [_climb(data, first.coefficients + side * away, fixed=fixed) for side in (-1.0, 1.0)]
    highest = max(one.penalised_log_likelihood for one in fits)
    level = [one for one in fits if one.penalised_log_likelihood >= highest - _NEAR]
    # Of two as high the one with the smaller coefficients, in their order: a choice that neither
    # the units nor counting successes for failures change.
    return min(level, key=lambda one: (not one.converged, *_size(one)))


def _size(fit: FirthFit) -> list[float]:
    return [round(abs(float(one)), 6) for one in fit.coefficients]


def _free(width: int, fixed: tuple[int, ...]) -> NDArray[np.intp]:
    return np.setdiff1d(np.arange(width), fixed)


def _step(data: _Data, here: _Point, free: NDArray[np.intp]) -> tuple[FloatArray, float]:
    """Newton's step, by the true second derivative where that has a maximum ahead.

    Where it has none, near a saddle, `curvature` leads uphill; alone it would need thousands of
    steps on the flat top where one hump parts into two. With plenty it is as good, and far cheaper.
    """
    step = np.zeros_like(here.score)
    if free.size and np.isfinite(here.value):
        part = np.ix_(free, free)
        stand_in = here.curvature[part]
        exact = stand_in if data.plenty else _second_derivative(data, here)[part]
        least = np.linalg.eigvalsh
        bends = data.plenty or least(exact)[0] > _FLAT * least(stand_in)[0]
        step[free] = np.linalg.solve(exact if bends else stand_in, here.score[free])
    return step, float(step @ here.score)


def _second_derivative(data: _Data, here: _Point) -> FloatArray:
    """Of the penalised log-likelihood, the sign changed.

    With t = 1 - 2 rate, w the weights and H the hat matrix it is `curvature` less half of
    X'T (diag H - H*H) T X; the products are taken by columns, never rows by rows.
    """
    x, weighted = data.x, here.skew[:, None] * data.x
    inverse = np.linalg.inv(here.information)
    # The derivative of the information by each coefficient, times the inverse information.
    slopes = np.stack([x.T @ (column[:, None] * x) @ inverse for column in weighted.T])
    leverage = np.einsum("ij,jk,ik->i", x, inverse, x)
    tilt = here.tilt * here.skew * leverage
    lost = x.T @ (tilt[:, None] * x) - np.einsum("rab,sba->rs", slopes, slopes)
    return np.asarray(here.curvature - lost / 2, dtype=np.float64)


def _uphill(
    data: _Data, at: FloatArray, here: _Point, step: FloatArray
) -> tuple[FloatArray, _Point]:
    """Go along the step, shortened until the penalised likelihood does not fall."""
    step = step * min(1.0, _LONGEST / max(float(np.abs(step).max()), 1e-300))
    for _ in range(40):
        there = _look(data, at + step)
        if there.value >= here.value - _ROUNDING * abs(here.value):
            return at + step, there
        step = step / 2
    return at, here


# --- the profile ------------------------------------------------------------------------------


def _one_profile(
    data: _Data, best: FirthFit, column: int, limit: float
) -> tuple[float, float, float]:
    """Both ends and the p-value of one scaled coefficient."""
    if not best.converged:
        return np.nan, np.nan, np.nan
    null = _highest(data, _held(best.coefficients, (column,)), fixed=(column,))
    return (
        _end(data, best, column, limit, -1.0),
        _end(data, best, column, limit, 1.0),
        _p_value(best, null, 1),
    )


def _end(data: _Data, best: FirthFit, column: int, limit: float, side: float) -> float:
    """Where twice the fall of the profile reaches `limit`, on one side of the best coefficient.

    The root of that fall is almost a straight line: secant steps on it, kept between the last
    point inside and the first one outside.
    """
    target = float(np.sqrt(limit))
    centre = float(best.coefficients[column])
    inside, outside = 0.0, np.inf
    at = best.coefficients
    distance = target * float(np.sqrt(best.covariance[column, column]))
    for _ in range(_MOST_STEPS):
        moved = at.copy()
        moved[column] = centre + side * distance
        # The others follow along the ridge of the likelihood.
        ridge = best.covariance[:, column] / best.covariance[column, column]
        moved += ridge * (moved[column] - at[column]) * (np.arange(len(at)) != column)
        fit = _highest(data, moved, fixed=(column,))
        if not fit.converged:
            return np.nan
        at = fit.coefficients
        drop = max(best.penalised_log_likelihood - fit.penalised_log_likelihood, 0.0)
        root = float(np.sqrt(2 * drop))
        if abs(root - target) < 1e-8:
            return centre + side * distance
        inside, outside = (distance, outside) if root < target else (inside, distance)
        # The slope of the profile is the score of the coefficient held (envelope theorem).
        slope = abs(float(_look(data, at).score[column])) / max(root, 1e-300)
        proposal = distance + (target - root) / slope if slope > 0 else np.inf
        if not inside < proposal < outside:
            proposal = 2 * distance if np.isinf(outside) else (inside + outside) / 2
        distance = min(proposal, 10 * distance)
    return np.nan


def _held(coefficients: FloatArray, columns: tuple[int, ...]) -> FloatArray:
    held = coefficients.copy()
    held[list(columns)] = 0.0
    return held


def _p_value(best: FirthFit, without: FirthFit, degrees: int) -> float:
    from scipy import special

    if not (best.converged and without.converged):
        return float("nan")
    fall = best.penalised_log_likelihood - without.penalised_log_likelihood
    return float(special.chdtrc(degrees, max(2 * fall, 0.0)))


def _chi_squared_limit(confidence_level: float) -> float:
    from scipy import special

    return float(special.chdtri(1, 1 - as_level(confidence_level)))
