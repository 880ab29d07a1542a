"""One proportion: how often something fails, and how sure one can be.

Of `opportunities` units at which a failure could have occurred and would have been seen,
`failures` failed. Each method below answers with an interval for the true rate. All of them

- take scalars or arrays that broadcast against each other and answer in that shape;
- accept counts that are not whole: an effective number under clustering is not (`clusters`).
  The exact methods do so through the beta distribution, which interpolates between whole counts;
- answer NaN where there were no opportunities, low = 0 where nothing failed, high = 1 where
  everything did, exactly;
- raise `ValueError` for counts that are negative, not finite or more failures than
  opportunities, and for a confidence level outside (0, 1).

The closed forms and `at_most` need NumPy alone, because the command line must start fast;
scipy is loaded by the first call of another method.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import NormalDist
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.validators import FloatArray, as_counts, as_level, as_rates

Pair = tuple[FloatArray, FloatArray]


@dataclass(frozen=True)
class Interval:
    """The lower and upper end of an interval for a rate, fractions from 0 to 1.

    Both are arrays of the shape of the counts, NumPy scalars where the counts were scalars.
    """

    low: FloatArray
    high: FloatArray


def wilson(
    failures: ArrayLike, opportunities: ArrayLike, *, confidence_level: float = 0.95
) -> Interval:
    """Score interval: the rates that a normal test with their own variance does not reject.

    Close to its level on average, short, and sensible for few jobs: the default.
    Source: Wilson 1927, J Am Stat Assoc 22:209-212; Newcombe 1998, Stat Med 17:857-872, method 3.
    """
    return _two_sided(_wilson_ends, failures, opportunities, confidence_level)


def wilson_cc(
    failures: ArrayLike, opportunities: ArrayLike, *, confidence_level: float = 0.95
) -> Interval:
    """Score interval with continuity correction: half a failure further out at either end.

    Wider than `wilson`; its coverage seldom falls below its level.
    Source: Newcombe 1998, Stat Med 17:857-872, method 4.
    """
    return _two_sided(_wilson_cc_ends, failures, opportunities, confidence_level)


def agresti_coull(
    failures: ArrayLike, opportunities: ArrayLike, *, confidence_level: float = 0.95
) -> Interval:
    """Wald interval after adding z²/2 failures and z²/2 successes; contains `wilson`.

    Source: Agresti and Coull 1998, Am Stat 52:119-126; with z itself in place of 2, as in
    Brown, Cai and DasGupta 2001, Stat Sci 16:101-133.
    """
    return _two_sided(_agresti_coull_ends, failures, opportunities, confidence_level)


def jeffreys(
    failures: ArrayLike, opportunities: ArrayLike, *, confidence_level: float = 0.95
) -> Interval:
    """Equal-tailed posterior interval under Jeffreys' prior, beta(1/2, 1/2).

    At no failures the lower end is 0 and at all failures the upper end is 1, so that the
    interval never excludes the rate observed.
    Source: Brown, Cai and DasGupta 2001, Stat Sci 16:101-133, section 3.1.3.
    """
    return _two_sided(_jeffreys_ends, failures, opportunities, confidence_level)


def clopper_pearson(
    failures: ArrayLike, opportunities: ArrayLike, *, confidence_level: float = 0.95
) -> Interval:
    """Exact interval: at each end the binomial tail is half of what the level leaves over.

    Its coverage is never below its level, and mostly well above.
    Source: Clopper and Pearson 1934, Biometrika 26:404-413.
    """
    return _two_sided(_clopper_pearson_ends, failures, opportunities, confidence_level)


def mid_p(
    failures: ArrayLike, opportunities: ArrayLike, *, confidence_level: float = 0.95
) -> Interval:
    """Exact interval whose tails count the observed number of failures only half.

    Source: Lancaster 1961, J Am Stat Assoc 56:223-234; Newcombe 1998, method 6.
    """
    return _two_sided(_mid_p_ends, failures, opportunities, confidence_level)


INTERVALS: Mapping[str, Callable[..., Interval]] = MappingProxyType(
    {
        "wilson": wilson,
        "wilson-cc": wilson_cc,
        "jeffreys": jeffreys,
        "clopper-pearson": clopper_pearson,
        "mid-p": mid_p,
        "agresti-coull": agresti_coull,
    }
)


def interval(
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    method: str = "wilson",
) -> Interval:
    """Two-sided interval by the method of that name, one of `INTERVALS`."""
    _known(method)
    return INTERVALS[method](failures, opportunities, confidence_level=confidence_level)


def upper_limit(
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    method: str = "clopper-pearson",
) -> FloatArray:
    """One-sided limit: the rate is at most this, at the level named; exact by default.

    It is the upper end of the two-sided interval with the whole error put on one side, for
    any method in `INTERVALS`. `confidence_level` lies between 0.5 and 1: under one half the
    limit would fall on the wrong side of the rate observed. NaN without opportunities.
    """
    return _one_sided(failures, opportunities, confidence_level, method).high


def lower_limit(
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    method: str = "clopper-pearson",
) -> FloatArray:
    """One-sided limit: the rate is at least this, at the level named; see `upper_limit`."""
    return _one_sided(failures, opportunities, confidence_level, method).low


def at_most(opportunities: ArrayLike, *, confidence_level: float = 0.95) -> FloatArray:
    """Exact one-sided upper limit of a rate after no failure in `opportunities` units.

    1 - (1 - confidence_level) ** (1 / opportunities), written so that it keeps all its digits
    for a thousand million units. NaN without opportunities.
    Source: Hanley and Lippman-Hand 1983, JAMA 249:1743-1745.
    """
    _, n = as_counts(0.0, opportunities)
    level = as_level(confidence_level)
    return _answer(-np.expm1(np.log1p(-level) / np.where(n > 0, n, np.nan)))


def one_in(rate: ArrayLike) -> FloatArray:
    """Natural frequency of a rate: a failure in this many opportunities on average.

    NaN for a rate of 0, which no finite number expresses, and for a rate that is NaN.
    Raises `ValueError` for a rate outside 0 to 1.
    """
    rates = as_rates("rate", rate)
    return _answer(1 / np.where(rates > 0, rates, np.nan))


# --- from a level to the probability in one tail, and back to an interval ---------------------


def _two_sided(
    ends: Callable[[FloatArray, FloatArray, float], Pair],
    failures: ArrayLike,
    opportunities: ArrayLike,
    confidence_level: float,
) -> Interval:
    k, n = as_counts(failures, opportunities)
    return _settle(ends, k, n, (1 - as_level(confidence_level)) / 2)


def _one_sided(
    failures: ArrayLike, opportunities: ArrayLike, confidence_level: float, method: str
) -> Interval:
    _known(method)
    k, n = as_counts(failures, opportunities)
    return _settle(_ENDS[method], k, n, 1 - as_level(confidence_level, above=0.5))


def _settle(
    ends: Callable[[FloatArray, FloatArray, float], Pair],
    k: FloatArray,
    n: FloatArray,
    tail: float,
) -> Interval:
    """Apply a method and hold what all methods promise at 0/0, 0/n and n/n.

    Rounding alone would leave ends like 1e-17 or 1 - 1e-16, which then print as "not zero".
    """
    # Where a formula divides by zero, at 0/0, 0/n and n/n, its value is replaced below.
    with np.errstate(invalid="ignore", divide="ignore"):
        low, high = ends(k, n, tail)
    low = np.where(k == 0, 0.0, np.clip(low, 0.0, 1.0))
    high = np.where(k == n, 1.0, np.clip(high, 0.0, 1.0))
    return Interval(
        low=_answer(np.where(n > 0, low, np.nan)), high=_answer(np.where(n > 0, high, np.nan))
    )


def _answer(values: FloatArray) -> FloatArray:
    """Scalars in, a scalar out."""
    answer: FloatArray = values[()]
    return answer


def _known(method: str) -> None:
    if method not in INTERVALS:
        raise ValueError(f"method must be one of {', '.join(INTERVALS)}, got {method!r}")


# --- the methods: counts and the probability in one tail, to both ends ------------------------


def _z(tail: float) -> float:
    return -NormalDist().inv_cdf(tail)


def _wilson_low(k: FloatArray, n: FloatArray, z: float) -> FloatArray:
    # The ends are the roots of (n + z²) p² - (2k + z²) p + k²/n. The smaller one is written
    # through the product of the roots: the textbook form subtracts two nearly equal numbers
    # when k is small, and misses 0 at k = 0.
    low: FloatArray = 2 * k * (k / n) / _wilson_sum(k, n, z)
    return low


def _wilson_high(k: FloatArray, n: FloatArray, z: float) -> FloatArray:
    high: FloatArray = _wilson_sum(k, n, z) / (2 * (n + z * z))
    return high


def _wilson_sum(k: FloatArray, n: FloatArray, z: float) -> FloatArray:
    total: FloatArray = 2 * k + z * z + z * np.sqrt(z * z + 4 * k * ((n - k) / n))
    return total


def _wilson_ends(k: FloatArray, n: FloatArray, tail: float) -> Pair:
    z = _z(tail)
    return _wilson_low(k, n, z), _wilson_high(k, n, z)


def _wilson_cc_ends(k: FloatArray, n: FloatArray, tail: float) -> Pair:
    # |k/n - p| - 1/(2n) in place of |k/n - p|: the uncorrected end half a failure further out.
    z = _z(tail)
    return (
        _wilson_low(np.maximum(k - 0.5, 0), n, z),
        _wilson_high(np.minimum(k + 0.5, n), n, z),
    )


def _agresti_coull_ends(k: FloatArray, n: FloatArray, tail: float) -> Pair:
    z = _z(tail)
    padded = n + z * z
    centre = (k + z * z / 2) / padded
    half_width = z * np.sqrt(centre * (1 - centre) / padded)
    return centre - half_width, centre + half_width


def _jeffreys_ends(k: FloatArray, n: FloatArray, tail: float) -> Pair:
    prior = 0.5
    shapes = (k + prior, n - k + prior)
    return _beta_ends(shapes, shapes, tail)


def _clopper_pearson_ends(k: FloatArray, n: FloatArray, tail: float) -> Pair:
    return _beta_ends((k, n - k + 1), (k + 1, n - k), tail)


def _beta_ends(low_shapes: Pair, high_shapes: Pair, tail: float) -> Pair:
    """The lower `tail` quantile of one beta distribution, the upper one of another."""
    from scipy import special

    low = special.betaincinv(*low_shapes, tail)
    high = special.betainccinv(*high_shapes, tail)
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)


def _mid_p_ends(k: FloatArray, n: FloatArray, tail: float) -> Pair:
    """Solve (P(X >= k) + P(X > k)) / 2 = tail for the low end, and its mirror for the high one.

    The two probabilities are incomplete beta functions; the rates at which each of them alone
    equals `tail` enclose the solution.
    """
    from scipy import special

    low = _halfway(special.betainc, special.betaincinv, k, n, tail)
    high = _halfway(special.betaincc, special.betainccinv, k, n, tail)
    # At k = n only P(X >= n) = p^n is left, and at k = 0 only P(X <= 0) = (1 - p)^n.
    low = np.where(k == n, (2 * tail) ** (1 / n), low)
    return low, np.where(k == 0, -np.expm1(np.log(2 * tail) / n), high)


def _halfway(
    probability: Callable[..., FloatArray],
    inverse: Callable[..., FloatArray],
    k: FloatArray,
    n: FloatArray,
    tail: float,
) -> FloatArray:
    """The rate at which the mean of both probabilities is `tail`; NaN unless 0 < k < n."""
    from scipy.optimize import elementwise

    inner = (k > 0) & (k < n)
    k, n = k[inner], n[inner]
    answer = np.full(inner.shape, np.nan)
    if k.size == 0:
        return answer

    def excess(rate: FloatArray, k: FloatArray, n: FloatArray) -> FloatArray:
        with_k = probability(k, n - k + 1, rate)
        beyond_k = probability(k + 1, n - k, rate)
        return (with_k + beyond_k) / (2 * tail) - 1

    bracket = (inverse(k, n - k + 1, tail), inverse(k + 1, n - k, tail))
    answer[inner] = elementwise.find_root(excess, bracket, args=(k, n)).x
    return answer


_ENDS: Mapping[str, Callable[[FloatArray, FloatArray, float], Pair]] = MappingProxyType(
    {
        "wilson": _wilson_ends,
        "wilson-cc": _wilson_cc_ends,
        "jeffreys": _jeffreys_ends,
        "clopper-pearson": _clopper_pearson_ends,
        "mid-p": _mid_p_ends,
        "agresti-coull": _agresti_coull_ends,
    }
)
