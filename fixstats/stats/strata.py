"""Like with like: an option against its baseline within strata, such as model and technician.

Each row is one stratum with the counts of the option and of its baseline, in arrays of one
dimension. `groups` says which comparison a stratum belongs to, as whole numbers from 0: thousands
of comparisons then take one call, and every answer is an array with one entry a comparison
(`n_groups` of them, by default up to the largest number). Without it there is one comparison and
the answers are scalars.

The Mantel-Haenszel estimates need no correction of empty cells. What a stratum cannot say it does
not say, as its weight of 0 in the sources' formulas has it: `strata` counts those that enter,
`left_out` the others. A stratum where either group is empty enters nowhere. One without failures
says nothing about a ratio, and one with no failures or nothing but failures nothing about an odds
ratio.

Everything raises `ValueError` for counts that cannot be, for arrays that are not of one dimension,
and for groups that are not whole numbers from 0. Tests over strata are in `strata_tests`, rates
weighted to a standard in `standardise`.
"""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import (
    FloatArray,
    as_level,
    as_numbers,
    as_two_groups,
    refuse,
)

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class StrataEffect:
    """One effect over all strata of a comparison; scalars, or one entry a comparison.

    `estimate`: a difference, a ratio or an odds ratio, NaN where no stratum says anything.
    `low`, `high`: its interval; NaN where the variance has no estimate (no failure at all, say).
    `variance`: of the difference, or of the logarithm of the ratio or odds ratio.
    `strata`, `left_out`: how many strata entered and how many could not.
    """

    estimate: FloatArray
    low: FloatArray
    high: FloatArray
    variance: FloatArray
    strata: IntArray
    left_out: IntArray


def sato_difference(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataEffect:
    """Mantel-Haenszel difference of rates with the variance of Sato.

    The variance holds for many small strata as for few large ones, but not for few failures: with
    an empty cell the interval is too short, and may leave -1 to 1 (see `score_difference`).
    Source: Sato 1989, Biometrics 45:1323-1324; the weights are those of Cochran 1954.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    x1, n1, x2, n2, n = s.x1, s.n1, s.x2, s.n2, s.size
    weight, difference = weighted_difference(s)
    p = s.total((n1**2 * x2 - n2**2 * x1 + n1 * n2 * (n2 - n1) / 2) / n**2)
    q = s.total((x1 * (n2 - x2) + x2 * (n1 - x1)) / (2 * n))
    return _difference_effect(s, difference, (difference * p + q) / weight**2, confidence_level)


def greenland_robins_difference(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataEffect:
    """Mantel-Haenszel difference of rates with the variance of Greenland and Robins.

    The variance holds for few large strata; with one stratum it is that of the crude difference.
    Source: Greenland and Robins 1985, Biometrics 41:55-68.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    weight, difference = weighted_difference(s)
    p1, p2 = s.x1 / s.n1, s.x2 / s.n2
    within = p1 * (1 - p1) / s.n1 + p2 * (1 - p2) / s.n2
    variance = s.total((s.n1 * s.n2 / s.size) ** 2 * within) / weight**2
    return _difference_effect(s, difference, variance, confidence_level)


def mantel_haenszel_ratio(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataEffect:
    """Mantel-Haenszel ratio of rates; its interval is normal on the logarithm.

    0 or infinite, without an interval, where the option or the baseline never failed.
    Source: Greenland and Robins 1985, Biometrics 41:55-68.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    x1, n1, x2, n2, n = s.x1, s.n1, s.x2, s.n2, s.size
    above, below = s.total(x1 * n2 / n), s.total(x2 * n1 / n)
    spread = s.total(((x1 + x2) * n1 * n2 - x1 * x2 * n) / n**2)
    return _ratio_effect(
        s, above, below, _over(spread, above * below), s.filled & (x1 + x2 > 0), confidence_level
    )


def mantel_haenszel_odds_ratio(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataEffect:
    """Mantel-Haenszel odds ratio; its interval is normal on the logarithm.

    0 or infinite, without an interval, where one side of the odds never occurred.
    Source: Mantel and Haenszel 1959, J Natl Cancer Inst 22:719-748; the variance is that of
    Robins, Breslow and Greenland 1986, Biometrics 42:311-323.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    n = s.size
    agree, differ = (s.x1 + s.n2 - s.x2) / n, (s.x2 + s.n1 - s.x1) / n
    r, t = s.x1 * (s.n2 - s.x2) / n, s.x2 * (s.n1 - s.x1) / n
    above, below = s.total(r), s.total(t)
    variance = (
        _over(s.total(agree * r), 2 * above**2)
        + _over(s.total(agree * t + differ * r), 2 * above * below)
        + _over(s.total(differ * t), 2 * below**2)
    )
    return _ratio_effect(s, above, below, variance, s.mixed, confidence_level)


# --- strata, checked --------------------------------------------------------------------------


@dataclass(frozen=True)
class Places:
    """Which comparison each stratum belongs to."""

    groups: IntArray
    n_groups: int
    single: bool

    def total(self, values: FloatArray) -> FloatArray:
        """Sum over the strata of each comparison, without NaN."""
        known = np.where(np.isnan(values), 0.0, values)
        sums = np.bincount(self.groups, weights=known, minlength=self.n_groups)
        return sums.astype(np.float64)

    def numbers(self, which: BoolArray) -> tuple[IntArray, IntArray]:
        """How many strata of each comparison are in, and how many are not; as `whole`."""
        inside = np.bincount(self.groups[which], minlength=self.n_groups)
        outside = np.bincount(self.groups[~which], minlength=self.n_groups)
        return (inside[0], outside[0]) if self.single else (inside, outside)

    def whole(self, values: FloatArray) -> FloatArray:
        """One entry a comparison; a scalar if no groups were named."""
        answer: FloatArray = values[0] if self.single else values
        return answer


@dataclass(frozen=True)
class Strata:
    """Checked counts of all strata: `x` failed of `n`, 1 the option and 2 its baseline.

    Both `n` are NaN where either group is empty, so that sums leave such a stratum out.
    """

    x1: FloatArray
    n1: FloatArray
    x2: FloatArray
    n2: FloatArray
    places: Places

    @property
    def size(self) -> FloatArray:
        """Opportunities of a stratum."""
        return self.n1 + self.n2

    @property
    def filled(self) -> BoolArray:
        """Strata in which both groups have opportunities."""
        return np.isfinite(self.size)

    @property
    def mixed(self) -> BoolArray:
        """Those of them in which something failed and something did not."""
        failed = self.x1 + self.x2
        return self.filled & (failed > 0) & (failed < self.size)

    def total(self, values: FloatArray) -> FloatArray:
        """Sum over the strata of each comparison, without NaN."""
        return self.places.total(values)


def as_strata(
    counts: tuple[ArrayLike, ArrayLike, ArrayLike, ArrayLike],
    groups: ArrayLike | None,
    n_groups: int | None,
) -> Strata:
    """Check the counts of all strata and the comparisons they belong to."""
    x1, n1, x2, n2 = (np.atleast_1d(values) for values in as_two_groups(*counts))
    places = as_places(x1, groups, n_groups)
    filled = (n1 > 0) & (n2 > 0)
    return Strata(x1, np.where(filled, n1, np.nan), x2, np.where(filled, n2, np.nan), places)


def as_places(counts: FloatArray, groups: ArrayLike | None, n_groups: int | None) -> Places:
    """Check which comparison each stratum belongs to."""
    if counts.ndim != 1:
        raise ValueError(f"strata must be arrays of one dimension, got shape {counts.shape}")
    if groups is None:
        return Places(np.zeros(len(counts), dtype=np.int64), 1, single=True)
    numbers = as_numbers("groups", groups)
    if numbers.shape != counts.shape:
        raise ValueError(
            f"groups must have one entry a stratum, got shape {numbers.shape} "
            f"for {len(counts)} strata"
        )
    refuse("groups", "must be whole numbers from 0", numbers, (numbers < 0) | (numbers % 1 != 0))
    least = int(numbers.max(initial=-1)) + 1
    if n_groups is not None and n_groups < least:
        raise ValueError(f"n_groups must be at least {least}, got {n_groups}")
    return Places(numbers.astype(np.int64), least if n_groups is None else n_groups, single=False)


# --- from sums to an effect -------------------------------------------------------------------


def _over(above: FloatArray, below: FloatArray) -> FloatArray:
    """A quotient; infinite over 0, and NaN for 0 over 0."""
    with np.errstate(invalid="ignore", divide="ignore"):
        quotient: FloatArray = above / below
    return quotient


def weighted_difference(s: Strata) -> tuple[FloatArray, FloatArray]:
    """Weight of all strata, NaN without any, and the weighted difference of the rates."""
    weight = s.total(s.n1 * s.n2 / s.size)
    weight = np.where(weight > 0, weight, np.nan)
    return weight, s.total((s.x1 * s.n2 - s.x2 * s.n1) / s.size) / weight


def _difference_effect(
    s: Strata, difference: FloatArray, variance: FloatArray, confidence_level: float
) -> StrataEffect:
    # A variance of 0 comes from strata without failures, or without anything else. It does not
    # mean that the difference is known exactly: there is no interval then.
    variance = np.where(variance > 0, variance, np.nan)
    half_width = two_sided_z(confidence_level) * np.sqrt(variance)
    low, high = difference - half_width, difference + half_width
    return as_effect(s, (difference, low, high, variance), s.filled)


def _ratio_effect(
    s: Strata,
    above: FloatArray,
    below: FloatArray,
    variance: FloatArray,
    informative: BoolArray,
    confidence_level: float,
) -> StrataEffect:
    ratio = _over(above, below)
    variance = np.where((above > 0) & (below > 0) & (variance > 0), variance, np.nan)
    factor = np.exp(two_sided_z(confidence_level) * np.sqrt(variance))
    return as_effect(s, (ratio, ratio / factor, ratio * factor, variance), informative)


def as_effect(
    s: Strata,
    values: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    informative: BoolArray,
) -> StrataEffect:
    """Estimate, ends and variance, with the numbers of strata."""
    estimate, low, high, variance = (s.places.whole(one) for one in values)
    strata, left_out = s.places.numbers(informative)
    return StrataEffect(estimate, low, high, variance, strata, left_out)


def two_sided_z(confidence_level: float) -> float:
    """Normal deviate of a two-sided level."""
    return -NormalDist().inv_cdf((1 - as_level(confidence_level)) / 2)
