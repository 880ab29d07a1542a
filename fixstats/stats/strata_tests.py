"""Tests over strata: is there any difference, and is it the same in all strata?

Counts, `groups` and `n_groups` as in `strata`. Strata in which either group is empty, nothing
failed or everything did say nothing here; they are left out, and out of the degrees of freedom.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.strata import IntArray, Strata, as_strata
from fixstats.stats.validators import FloatArray


@dataclass(frozen=True)
class StrataTest:
    """A chi-squared test over strata; scalars, or one entry a comparison.

    `statistic` and `p_value` are NaN where the strata allow no test. `strata`, `left_out`: how
    many strata entered and how many could not.
    """

    statistic: FloatArray
    degrees_of_freedom: IntArray
    p_value: FloatArray
    strata: IntArray
    left_out: IntArray


def cochran_mantel_haenszel(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataTest:
    """Test of no difference in any stratum, strong against one that has the same sign in all.

    Source: Mantel and Haenszel 1959, J Natl Cancer Inst 22:719-748; Cochran 1954, Biometrics
    10:417-451. Without continuity correction.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    return _cmh(s, correction=0.0)


def cochran_mantel_haenszel_cc(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataTest:
    """`cochran_mantel_haenszel` with half a failure taken off the excess, at most all of it.

    Source: Mantel and Haenszel 1959.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    return _cmh(s, correction=0.5)


def breslow_day(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataTest:
    """Test of one odds ratio in all strata, without Tarone's correction.

    Source: Breslow and Day 1980, Statistical Methods in Cancer Research I, eq. 4.30, with the
    Mantel-Haenszel odds ratio. It needs strata that are not too small.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    excess, variance = _under_one_odds_ratio(s)
    return _homogeneity(s, excess, variance, too_large=np.zeros(s.places.n_groups))


def tarone(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataTest:
    """`breslow_day` less what the Mantel-Haenszel odds ratio makes it too large: the default.

    Source: Tarone 1985, Biometrika 72:91-95.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    excess, variance = _under_one_odds_ratio(s)
    spread = s.total(variance)
    too_large = s.total(excess) ** 2 / np.where(spread > 0, spread, np.nan)
    return _homogeneity(s, excess, variance, too_large=too_large)


def _cmh(s: Strata, *, correction: float) -> StrataTest:
    n, failed = s.size, s.x1 + s.x2
    excess = s.total(s.x1 - s.n1 * failed / n)
    # The smallest stratum that is filled has two opportunities, unless the numbers are effective.
    variance = s.total(
        s.n1 * s.n2 * failed * (n - failed) / (n**2 * np.where(n > 1, n - 1, np.nan))
    )
    distance = np.maximum(np.abs(excess) - correction, 0.0)
    statistic = distance**2 / np.where(variance > 0, variance, np.nan)
    strata, _ = s.places.numbers(s.mixed)
    return _test(s, statistic, np.minimum(strata, 1))


def _under_one_odds_ratio(s: Strata) -> tuple[FloatArray, FloatArray]:
    """Failures of the option above what one odds ratio expects, and their variance, by stratum.

    NaN where a stratum says nothing, or the common odds ratio is 0, infinite or unknown.
    """
    above = s.total(s.x1 * (s.n2 - s.x2) / s.size)
    below = s.total(s.x2 * (s.n1 - s.x1) / s.size)
    known = (above > 0) & (below > 0)
    common = np.where(known, above / np.where(known, below, 1.0), np.nan)
    odds = np.where(s.mixed, common[s.places.groups], np.nan)
    a, b, c, d = _expected_cells(s, odds)
    return s.x1 - a, 1 / (1 / a + 1 / b + 1 / c + 1 / d)


def _expected_cells(s: Strata, odds: FloatArray) -> tuple[FloatArray, ...]:
    """Failures and successes of the option, then of its baseline, under these odds ratios.

    Failures a of the option solve a (n2 - failed + a) = odds (n1 - a) (failed - a), and each
    other cell differs from a by what is known, so that all four quadratics share a discriminant:
    here a sum that never cancels. One cell of each diagonal is solved for, the one that does not
    cancel either; the other is larger by what is known.
    """
    n, failed = s.size, s.x1 + s.x2
    worked = n - failed
    root = np.sqrt((odds * (s.n1 - failed) + s.n2 - failed) ** 2 + 4 * odds * failed * worked)
    first = s.n2 >= failed
    a = 2 * odds * s.n1 * failed / (odds * (s.n1 + failed) + np.abs(s.n2 - failed) + root)
    d = 2 * odds * s.n2 * worked / (odds * (s.n2 + worked) + np.abs(s.n2 - failed) + root)
    b = 2 * s.n1 * worked / (s.n1 + worked + odds * np.abs(s.n1 - failed) + root)
    c = 2 * s.n2 * failed / (s.n2 + failed + odds * np.abs(s.n1 - failed) + root)
    second = s.n1 >= failed
    return (
        np.where(first, a, d + failed - s.n2),
        np.where(second, c + s.n1 - failed, b),
        np.where(second, c, b + failed - s.n1),
        np.where(first, a + s.n2 - failed, d),
    )


def _homogeneity(
    s: Strata, excess: FloatArray, variance: FloatArray, *, too_large: FloatArray
) -> StrataTest:
    # Without a common odds ratio no stratum has a variance, and a sum over none is no test.
    known = s.total(variance) > 0
    statistic = np.where(known, s.total(excess**2 / variance) - too_large, np.nan)
    strata, _ = s.places.numbers(s.mixed)
    return _test(s, statistic, np.maximum(strata - 1, 0))


def _test(s: Strata, statistic: FloatArray, degrees: IntArray) -> StrataTest:
    from scipy import special

    usable = np.where(degrees > 0, s.places.whole(statistic), np.nan)[()]
    strata, left_out = s.places.numbers(s.mixed)
    return StrataTest(
        statistic=usable,
        degrees_of_freedom=degrees,
        p_value=special.chdtrc(np.maximum(degrees, 1), usable)[()],
        strata=strata,
        left_out=left_out,
    )
