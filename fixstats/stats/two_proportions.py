"""Two proportions: how much more often an option fails than its baseline.

Of `opportunities` units of the option, `failures` failed; of `baseline_opportunities` units of
the baseline, `baseline_failures` did. The difference is the option's rate minus the baseline's,
the ratio the option's rate over the baseline's. All functions

- take scalars or arrays that broadcast against each other and answer in that shape;
- accept counts that are not whole, as an effective number under clustering is not;
- answer NaN where either group is empty;
- raise `ValueError` for counts that are negative, not finite or more failures than
  opportunities, and for a confidence level outside (0, 1).

Cells of zero and full cells need no correction. A difference lies in -1 to 1; with no failure
on either side it is 0 and has an interval around it. A ratio with no failure of the option is 0,
low end 0; with none of the baseline it is infinite, high end infinite; with none on either side
the ratio is NaN and its interval 0 to infinity: the records say nothing.

The tests of two proportions are in `exact_tests`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import NormalDist
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.proportion import wilson
from fixstats.stats.validators import FloatArray, as_level, as_two_groups

Counts = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
Statistic = Callable[..., FloatArray]


@dataclass(frozen=True)
class Contrast:
    """A difference or a ratio and its interval; arrays of the shape of the counts.

    NumPy scalars where the counts were scalars.
    """

    estimate: FloatArray
    low: FloatArray
    high: FloatArray


def newcombe_difference(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
) -> Contrast:
    """Difference of rates: the distances to both Wilson intervals, squared and added.

    Closed form, close to its level for few jobs and rare failures: the default.
    Source: Newcombe 1998, Stat Med 17:873-890, method 10.
    """
    x1, n1, x2, n2 = as_two_groups(
        failures, opportunities, baseline_failures, baseline_opportunities
    )
    one = wilson(x1, n1, confidence_level=confidence_level)
    two = wilson(x2, n2, confidence_level=confidence_level)
    rate, baseline_rate = _rates((x1, n1, x2, n2))
    difference = rate - baseline_rate
    return _contrast(
        difference,
        difference - np.hypot(rate - one.low, two.high - baseline_rate),
        difference + np.hypot(one.high - rate, baseline_rate - two.low),
    )


def miettinen_nurminen_difference(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
) -> Contrast:
    """Difference of rates: the differences that a score test does not reject.

    The variance of the test is that of the two rates most likely under the difference tested,
    times n / (n - 1) with n all opportunities.
    Source: Miettinen and Nurminen 1985, Stat Med 4:213-226.
    """
    counts = as_two_groups(failures, opportunities, baseline_failures, baseline_opportunities)
    scale = _z(confidence_level) ** 2 * _finite_factor(counts)
    rate, baseline_rate = _rates(counts)
    difference = rate - baseline_rate
    least, most = np.full_like(difference, -1.0), np.full_like(difference, 1.0)
    return _contrast(
        difference,
        solve_between(_difference_excess, least, difference, (*counts, scale)),
        solve_between(_difference_excess, difference, most, (*counts, scale)),
    )


def koopman_ratio(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
) -> Contrast:
    """Ratio of rates: the ratios that a chi-squared score test does not reject.

    Source: Koopman 1984, Biometrics 40:513-517.
    """
    counts = as_two_groups(failures, opportunities, baseline_failures, baseline_opportunities)
    return _score_ratio(counts, np.full_like(counts[0], _z(confidence_level) ** 2))


def miettinen_nurminen_ratio(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
) -> Contrast:
    """Ratio of rates: as `koopman_ratio`, the variance times n / (n - 1), so a little wider.

    Source: Miettinen and Nurminen 1985, Stat Med 4:213-226.
    """
    counts = as_two_groups(failures, opportunities, baseline_failures, baseline_opportunities)
    return _score_ratio(counts, _z(confidence_level) ** 2 * _finite_factor(counts))


DIFFERENCES: Mapping[str, Callable[..., Contrast]] = MappingProxyType(
    {"newcombe": newcombe_difference, "miettinen-nurminen": miettinen_nurminen_difference}
)
RATIOS: Mapping[str, Callable[..., Contrast]] = MappingProxyType(
    {"koopman": koopman_ratio, "miettinen-nurminen": miettinen_nurminen_ratio}
)


# --- what both share --------------------------------------------------------------------------


def _z(confidence_level: float) -> float:
    return -NormalDist().inv_cdf((1 - as_level(confidence_level)) / 2)


def _rates(counts: Counts) -> tuple[FloatArray, FloatArray]:
    """Both rates; NaN in both where either group is empty."""
    x1, n1, x2, n2 = counts
    filled = (n1 > 0) & (n2 > 0)
    return x1 / np.where(filled, n1, np.nan), x2 / np.where(filled, n2, np.nan)


def _finite_factor(counts: Counts) -> FloatArray:
    """n / (n - 1); NaN where effective numbers leave no more than one opportunity in all."""
    n = counts[1] + counts[3]
    factor: FloatArray = n / np.where(n > 1, n - 1, np.nan)
    return factor


def _contrast(estimate: FloatArray, low: FloatArray, high: FloatArray) -> Contrast:
    return Contrast(estimate=estimate[()], low=low[()], high=high[()])


def score_share(distance: FloatArray, scale: FloatArray, variance: FloatArray) -> FloatArray:
    """Score statistic against its limit, as a bounded function that is 0 at an interval's end.

    distance² / variance = scale is the equation; distance² / (distance² + scale * variance) - 1/2
    has the same roots, no pole where the variance is 0, and -1/2 where both are: at the estimate.
    """
    square = distance * distance
    total = square + scale * variance
    share: FloatArray = np.where(total > 0, square / np.where(total > 0, total, 1.0), 0.0) - 0.5
    return share


def solve_between(
    excess: Statistic, left: FloatArray, right: FloatArray, args: tuple[FloatArray, ...]
) -> FloatArray:
    """The root between `left` and `right`; their common value where they meet; NaN for NaN."""
    from scipy.optimize import elementwise

    known = np.isfinite(left) & np.isfinite(right) & np.isfinite(args[-1])
    answer = np.where(known, left, np.nan)
    apart = known & (left < right)
    if apart.any():
        bracket = (left[apart], right[apart])
        answer[apart] = elementwise.find_root(
            excess, bracket, args=tuple(values[apart] for values in args)
        ).x
    return answer


# --- the difference ---------------------------------------------------------------------------

_LAST_DIGITS = 1e-14
_MOST_STEPS = 100


def _difference_excess(
    difference: FloatArray,
    x1: FloatArray,
    n1: FloatArray,
    x2: FloatArray,
    n2: FloatArray,
    scale: FloatArray,
) -> FloatArray:
    p2 = baseline_rate_given(difference, x1, n1, x2, n2)
    p1 = np.clip(p2 + difference, 0.0, 1.0)
    variance = p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2
    return score_share(x1 / n1 - x2 / n2 - difference, scale, variance)


def baseline_rate_given(
    difference: FloatArray,
    x1: FloatArray,
    n1: FloatArray,
    x2: FloatArray,
    n2: FloatArray,
    most_steps: int = _MOST_STEPS,
) -> FloatArray:
    """Most likely rate p of the baseline if the option's is p + difference.

    It solves N p³ + 3a p² + b p + c = 0; the trigonometric solution is that of Miettinen and
    Nurminen 1985, appendix. Where roots lie close together, as for rare failures, it loses half
    of the digits or more: it is only where `_polish` starts.
    """
    n, x = n1 + n2, x1 + x2
    a = ((n1 + 2 * n2) * difference - n - x) / (3 * n)
    b = ((n2 * difference - n - 2 * x2) * difference + x) / n
    c = x2 * difference * (1 - difference) / n
    q = a**3 - a * b / 2 + c / 2
    radius = np.where(q < 0, -1.0, 1.0) * np.sqrt(np.maximum(a * a - b / 3, 0.0))
    cosine = q / np.where(radius == 0, 1.0, radius**3)
    angle = (np.pi + np.arccos(np.clip(cosine, -1.0, 1.0))) / 3
    start = 2 * radius * np.cos(angle) - a
    return _polish(start, difference, (x1, n1, x2, n2), most_steps)


def _polish(
    start: FloatArray, difference: FloatArray, counts: Counts, most_steps: int
) -> FloatArray:
    """Newton steps on the cubic, written so that it does not cancel, kept within a bracket.

    The likelihood is concave: between the least and the most that the rate can be, the cubic
    changes its sign once, from plus to minus.
    """
    x1, n1, x2, n2 = counts
    least, most = np.maximum(-difference, 0.0), np.minimum(1 - difference, 1.0)
    p2: FloatArray = np.clip(start, least, most)
    for _ in range(most_steps):
        p1 = p2 + difference
        v1, v2 = p1 * (1 - p1), p2 * (1 - p2)
        score1, score2 = x1 - n1 * p1, x2 - n2 * p2
        value = score1 * v2 + score2 * v1
        slope = score1 * (1 - 2 * p2) - n1 * v2 + score2 * (1 - 2 * p1) - n2 * v1
        least, most = np.where(value > 0, p2, least), np.where(value < 0, p2, most)
        stepped = p2 - value / np.where(slope < 0, slope, -1.0)
        outside = (slope >= 0) | (stepped < least) | (stepped > most)
        stepped = np.where(value == 0, p2, np.where(outside, (least + most) / 2, stepped))
        moved, p2 = np.abs(stepped - p2), stepped
        if np.all(moved <= _LAST_DIGITS * p2):
            break
    return p2


# --- the ratio --------------------------------------------------------------------------------

# Logarithms of ratios that lie beyond any end: exp(100) is far above the square of any count.
_BEYOND = 100.0


def _score_ratio(counts: Counts, scale: FloatArray) -> Contrast:
    x1, _, x2, _ = counts
    rate, baseline_rate = _rates(counts)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = rate / baseline_rate
        log_ratio = np.clip(np.log(ratio), -_BEYOND, _BEYOND)
    beyond = np.full_like(ratio, _BEYOND)
    args = (*counts, scale)
    low = np.exp(solve_between(_ratio_excess, -beyond, log_ratio, args))
    high = np.exp(solve_between(_ratio_excess, log_ratio, beyond, args))
    known = np.isfinite(rate) & np.isfinite(scale)
    return _contrast(
        ratio,
        np.where(known & (x1 == 0), 0.0, low),
        np.where(known & (x2 == 0), np.inf, high),
    )


def _ratio_excess(
    log_ratio: FloatArray,
    x1: FloatArray,
    n1: FloatArray,
    x2: FloatArray,
    n2: FloatArray,
    scale: FloatArray,
) -> FloatArray:
    """The two rates most likely under the ratio solve a quadratic (Koopman 1984).

    N ratio p² - (n2 + x1 + (n1 + x2) ratio) p + x1 + x2 = 0 has p, the baseline's rate, as its
    smaller root. Its discriminant is written as a sum of two terms that are never negative, and
    the root through the product of the roots, so that neither cancels.
    """
    ratio = np.exp(log_ratio)
    one, other = n2 + x1, (n1 + x2) * ratio
    discriminant = (one - other) ** 2 + 4 * ratio * (n1 - x1) * (n2 - x2)
    p2 = 2 * (x1 + x2) / (one + other + np.sqrt(discriminant))
    p1 = np.minimum(ratio * p2, 1.0)
    variance = p1 * (1 - p1) / n1 + ratio**2 * p2 * np.maximum(1 - p2, 0.0) / n2
    return score_share(x1 / n1 - ratio * x2 / n2, scale, variance)
