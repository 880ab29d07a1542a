"""Practice: how a failure rate and the minutes of a step fall with the number of earlier uses.

`uses` counts earlier uses, so the first job has 0 and the n-th has n - 1.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.proportion import Interval
from fixstats.stats.validators import FloatArray, as_counts, as_level, as_numbers

IntArray = NDArray[np.int64]


# The most likely falling curve ends too low: it is 0 from where no job failed any more. The last
# fifth of the opportunities as one position keeps most of that away from practice curves.
LAST = 0.2


def falling_rates(
    failures: ArrayLike, opportunities: ArrayLike, *, last: float = 0.0
) -> FloatArray:
    """The most likely rates among all that never rise from one position to the next.

    `failures`, `opportunities`: one dimension, in the order in which the rate may only fall.
    `last`: the positions at the end that hold at most this share of all opportunities are taken as
    one. Returns a rate for each position. Where neighbours would rise, they share their pooled
    rate; a position without opportunities has the rate before it (at the beginning: the one after
    it). NaN everywhere without any opportunity.

    Raises `ValueError` for counts that cannot be.
    Source: Ayer, Brunk, Ewing, Reid and Silverman 1955, Ann Math Stat 26:641-647.
    """
    from scipy.optimize import isotonic_regression

    k, n = (np.atleast_1d(values) for values in as_counts(failures, opportunities))
    if not n.any():
        return np.full(len(n), np.nan)
    from_here = np.cumsum(n[::-1])[::-1]
    end = int(np.argmax(from_here <= max(last * n.sum(), n[-1])))
    whole = len(n)
    k = np.append(k[:end], k[end:].sum())
    n = np.append(n[:end], n[end:].sum())
    known = np.flatnonzero(n > 0)
    fitted = isotonic_regression(k[known] / n[known], weights=n[known], increasing=False).x
    before = np.searchsorted(known, np.arange(whole), side="right") - 1
    rates: FloatArray = fitted[np.maximum(before, 0)]
    return rates


def practised_from(
    failures: ArrayLike, opportunities: ArrayLike, *, most: int, margin: float
) -> int | None:
    """The smallest number of uses after which the falling rate has no more than `margin` to lose.

    `failures`, `opportunities`: by number of earlier uses, from 0 on. `most`: the largest number
    that may be the answer. A number n is an answer if the `falling_rates` curve (its last fifth as
    one) at n is within `margin` of the rate of all jobs from n on. None where no number up to
    `most` is.

    Raises `ValueError` for counts that cannot be.
    """
    k, n = (np.atleast_1d(values) for values in as_counts(failures, opportunities))
    return _near_the_rest(falling_rates(k, n, last=LAST), k, n, most, margin)


def _near_the_rest(
    rates: FloatArray, k: FloatArray, n: FloatArray, most: int, margin: float
) -> int | None:
    """The first position at which the curve is near the rate of all that follows."""
    with np.errstate(invalid="ignore", divide="ignore"):
        later = np.cumsum(k[::-1])[::-1] / np.cumsum(n[::-1])[::-1]
    near = np.flatnonzero((rates - later <= margin)[: most + 1])
    return int(near[0]) if len(near) else None


@dataclass(frozen=True)
class Resampled:
    """What shops with the fitted curve would have shown.

    `low`, `high`: pointwise interval of the curve. `practised_low`, `practised_high`: interval of
    the practised number among the samples that have one, NaN where none has. `without`: share of
    samples that have none.
    """

    low: FloatArray
    high: FloatArray
    practised_low: float
    practised_high: float
    without: float


def resample_falling(
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    most: int,
    margin: float,
    confidence_level: float = 0.95,
    samples: int = 400,
    seed: int = 1,
) -> Resampled:
    """Uncertainty of the falling curve and of `practised_from`, by parametric resampling.

    Failures are drawn anew from the fitted curve, the curve is fitted again, and percentiles are
    taken. Rough where jobs are few, and it takes jobs of one technician for independent. The same
    `seed` gives the same figures.

    Raises `ValueError` for counts that cannot be or a level outside 0 to 1.
    """
    level = as_level(confidence_level)
    k, n = (np.atleast_1d(values) for values in as_counts(failures, opportunities))
    rates = falling_rates(k, n, last=LAST)
    drawn = np.random.default_rng(seed).binomial(
        n.astype(np.int64), np.nan_to_num(rates), (samples, len(n))
    )
    curves = np.array([falling_rates(row, n, last=LAST) for row in drawn])
    found = [
        _near_the_rest(curve, row, n, most, margin)
        for curve, row in zip(curves, drawn.astype(np.float64), strict=True)
    ]
    answers = np.array([one for one in found if one is not None], dtype=np.float64)
    ends = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(curves, ends, axis=0)
    # Numbers of uses are whole: an end between two of them would say more than is known.
    practised = np.quantile(answers, ends, method="nearest") if len(answers) else (np.nan, np.nan)
    return Resampled(
        low, high, float(practised[0]), float(practised[1]), 1 - len(answers) / samples
    )


@dataclass(frozen=True)
class Trend:
    """Whether failures go with a score: `z` below 0 where they fall; `p_value` two-sided."""

    z: float
    p_value: float


def trend_in_groups(scores: ArrayLike, failed: ArrayLike, groups: ArrayLike) -> Trend:
    """Test that failing does not go with the score, within groups such as technicians.

    One entry a job: its score, whether it failed, its group as a whole number from 0. Only jobs
    of one group are compared with each other, so a group that fails more and stopped earlier makes
    no trend. NaN where no group has both failures and successes at different scores.

    Raises `ValueError` for scores that are not finite.
    Source: Mantel 1963, J Am Stat Assoc 58:690-700 (one group: (N - 1) r², the trend test of
    Cochran and Armitage but for N - 1 in place of N).
    """
    from scipy.special import ndtr

    x, y = as_numbers("scores", scores), as_numbers("failed", failed)
    of = np.asarray(groups, dtype=np.int64)
    m = np.bincount(of).astype(np.float64)
    sums = {
        name: np.bincount(of, values, len(m))
        for name, values in (("y", y), ("x", x), ("xx", x * x), ("xy", x * y))
    }
    with np.errstate(invalid="ignore", divide="ignore"):
        expected = np.where(m > 0, sums["y"] * sums["x"] / m, 0.0)
        spread = np.maximum(m * sums["xx"] - sums["x"] ** 2, 0.0)
        variance = np.where(m > 1, sums["y"] * (m - sums["y"]) * spread / (m**2 * (m - 1)), 0.0)
    total = variance.sum()
    if not total > 1e-12 * max(sums["xx"].sum(), 1.0):
        return Trend(float("nan"), float("nan"))
    z = float((sums["xy"] - expected).sum() / np.sqrt(total))
    return Trend(z, float(2 * ndtr(-abs(z))))


@dataclass(frozen=True)
class LearningCurve:
    """minutes = first * number^slope, number = 1, 2, ...; NaN where it cannot be fitted.

    `learning_rate` = 2^slope: the share of the time that is left after each doubling, with `low`
    and `high`. `first` is the typical (geometric mean) time of the first job.
    """

    first: float
    slope: float
    learning_rate: float
    low: float
    high: float

    def at(self, numbers: ArrayLike) -> FloatArray:
        """The curve at these job numbers, 1 for the first."""
        values: FloatArray = self.first * np.asarray(numbers, dtype=np.float64) ** self.slope
        return values


def learning_curve(
    numbers: ArrayLike,
    minutes: ArrayLike,
    groups: ArrayLike | None = None,
    *,
    confidence_level: float = 0.95,
) -> LearningCurve:
    """Wright's learning curve by least squares on logarithms, a level of its own for each group.

    One entry a job: its number (1 for the first of that technician), its minutes, its group as a
    whole number from 0 (None: all one). Groups share the slope, so a quick technician who does
    many jobs does not pass for learning; `first` is the mean over the groups' jobs. The interval
    is Student's t on the slope. Log-linear in the time of the n-th job; the paper has it in the
    mean time of the first n, which bends the start and leaves the slope for large n.

    Raises `ValueError` for numbers or minutes that are not above 0.
    Source: Wright 1936, J Aeronautical Sciences 3:122-128.
    """
    from scipy.special import stdtrit

    level = as_level(confidence_level)
    n, t = as_numbers("numbers", numbers), as_numbers("minutes", minutes)
    if (n <= 0).any() or (t <= 0).any():
        raise ValueError("numbers and minutes must be above 0")
    of = np.zeros(len(n), dtype=np.int64) if groups is None else np.asarray(groups, dtype=np.int64)
    jobs = np.bincount(of) if len(n) else np.zeros(1)
    free = len(n) - int((jobs > 0).sum()) - 1
    x, y = np.log(n), np.log(t)
    inner_x, inner_y = x - _means(x, of), y - _means(y, of)
    squares = float(inner_x @ inner_x)
    if free < 1 or not squares > 0:
        return LearningCurve(*[float("nan")] * 5)
    slope = float(inner_x @ inner_y) / squares
    residual = inner_y - slope * inner_x
    half = stdtrit(free, (1 + level) / 2) * np.sqrt(residual @ residual / free / squares)
    first = float(np.exp(y.mean() - slope * x.mean()))
    return LearningCurve(
        first, slope, 2**slope, float(2 ** (slope - half)), float(2 ** (slope + half))
    )


def _means(values: FloatArray, groups: IntArray) -> FloatArray:
    """The mean of each entry's group."""
    sums = np.bincount(groups, values) / np.maximum(np.bincount(groups), 1)
    found: FloatArray = sums[groups]
    return found


def median_interval(values: ArrayLike, *, confidence_level: float = 0.95) -> Interval:
    """Interval of the median between two of the sorted values, whatever their distribution.

    Holds the median with at least the stated probability; NaN where too few values can do that
    (fewer than six at 95 %).

    Raises `ValueError` for values that are not finite or a level outside 0 to 1.
    Source: Thompson 1936, Ann Math Stat 7:122-128.
    """
    from scipy.special import bdtr

    level = as_level(confidence_level)
    ordered = np.sort(as_numbers("values", values), axis=None)
    # `cut` values may be left out at each end: P(fewer than `cut` below the median) is small.
    tails = bdtr(np.arange(len(ordered) // 2 + 1), len(ordered), 0.5)
    cut = int(np.searchsorted(tails, (1 - level) / 2, side="right"))
    if not cut or not len(ordered):
        return _ends(np.nan, np.nan)
    return _ends(ordered[cut - 1], ordered[-cut])


def mean_difference(
    values: ArrayLike, baseline: ArrayLike, *, confidence_level: float = 0.95
) -> tuple[float, Interval]:
    """Mean of `values` less that of `baseline`, with Welch's interval for unequal spreads.

    NaN where either has fewer than two values.

    Raises `ValueError` for values that are not finite or a level outside 0 to 1.
    Source: Welch 1947, Biometrika 34:28-35.
    """
    from scipy.special import stdtrit

    level = as_level(confidence_level)
    a, b = as_numbers("values", values), as_numbers("baseline", baseline)
    if min(len(a), len(b)) < 2:
        return float("nan"), _ends(np.nan, np.nan)
    u, v = (float(one.var(ddof=1)) / len(one) for one in (a, b))
    difference = float(a.mean() - b.mean())
    if u + v == 0:
        return difference, _ends(difference, difference)
    free = (u + v) ** 2 / (u**2 / (len(a) - 1) + v**2 / (len(b) - 1))
    half = stdtrit(free, (1 + level) / 2) * np.sqrt(u + v)
    return difference, _ends(difference - half, difference + half)


def sum_interval(*parts: tuple[float, Any, Any]) -> Interval:
    """Interval of a sum of independent estimates from (estimate, low, high) of each.

    Source: Zou and Donner 2008, Stat Med 27:1693-1702 (each margin's squares are added).
    """
    values = np.asarray(parts, dtype=np.float64)
    total = values[:, 0].sum()
    down = np.sqrt(((values[:, 0] - values[:, 1]) ** 2).sum())
    up = np.sqrt(((values[:, 2] - values[:, 0]) ** 2).sum())
    return _ends(total - down, total + up)


def _ends(low: float, high: float) -> Interval:
    return Interval(np.asarray(low)[()], np.asarray(high)[()])


def same_mix(counts: ArrayLike, baseline: ArrayLike) -> tuple[float, float]:
    """How much two mixes of categories differ: share that would have to move, and a p-value.

    `counts`, `baseline`: jobs of each category. The share is half the sum of the absolute
    differences of shares, 0 for the same mix, 1 for no category in common; the p-value is
    Pearson's chi-squared. NaN where either has no jobs; p 1 where there is one category.

    Raises `ValueError` for counts that are not finite.
    Source: Pearson 1900, Phil Mag 50:157-175.
    """
    from scipy.special import chdtrc

    table = np.array([as_numbers("counts", counts), as_numbers("baseline", baseline)])
    table = table[:, table.sum(axis=0) > 0]
    of = table.sum(axis=1, keepdims=True)
    if not (of > 0).all():
        return float("nan"), float("nan")
    share = float(np.abs(table[0] / of[0] - table[1] / of[1]).sum() / 2)
    if table.shape[1] == 1:
        return share, 1.0
    expected = of * table.sum(axis=0) / table.sum()
    return share, float(chdtrc(table.shape[1] - 1, ((table - expected) ** 2 / expected).sum()))
