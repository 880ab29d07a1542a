"""Differences, ratios and tests of two proportions against other programs and naive twins."""

from fractions import Fraction
from math import comb

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import optimize
from scipy import stats as scipy_stats
from statsmodels.stats.proportion import confint_proportions_2indep

from fixstats import stats

LEVELS = [0.8, 0.95, 0.999]
GRID = [
    (x1, n1, x2, n2)
    for n1, n2 in [(1, 1), (3, 8), (29, 56), (200, 10), (1000, 1500)]
    for x1 in sorted({0, 1, n1 // 3, n1 - 1, n1})
    for x2 in sorted({0, 1, n2 // 2, n2})
]
COLUMNS = [np.array(column) for column in zip(*GRID, strict=True)]


# --- the difference --------------------------------------------------------------------------


@pytest.mark.parametrize("level", LEVELS)
def test_newcombe_by_statsmodels(level):
    found = stats.newcombe_difference(*COLUMNS, confidence_level=level)
    theirs = confint_proportions_2indep(*COLUMNS, compare="diff", method="newcomb", alpha=1 - level)
    assert_allclose([found.low, found.high], theirs, rtol=0, atol=1e-12)


def _most_likely(difference, x1, n1, x2, n2):
    """The baseline's most likely rate, by halving the bracket of the likelihood's slope."""
    low, high = max(0.0, -difference), min(1.0, 1 - difference)

    def slope(p2):
        p1 = p2 + difference
        parts = [(x1, p1), (x2, p2), (x1 - n1, 1 - p1), (x2 - n2, 1 - p2)]
        return sum(count / max(rate, 1e-300) if count else 0.0 for count, rate in parts)

    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if slope(middle) > 0 else (low, middle)
    return (low + high) / 2


def _score_difference(difference, x1, n1, x2, n2):
    p2 = _most_likely(difference, x1, n1, x2, n2)
    p1 = p2 + difference
    variance = (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2) * (n1 + n2) / (n1 + n2 - 1)
    distance = x1 / n1 - x2 / n2 - difference
    return distance / np.sqrt(max(variance, 1e-300))


@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
def test_miettinen_nurminen_by_another_road(level):
    # statsmodels is no reference here: one term of its cubic is wrong.
    z = scipy_stats.norm.isf((1 - level) / 2)
    found = stats.miettinen_nurminen_difference(*COLUMNS, confidence_level=level)
    for place, counts in enumerate(GRID):
        estimate = found.estimate[place]
        for end, bracket, side in (
            (found.low[place], (-1 + 1e-15, estimate - 1e-15), 1),
            (found.high[place], (estimate + 1e-15, 1 - 1e-15), -1),
        ):
            if abs(estimate - bracket[0]) < 1e-12 and abs(estimate - bracket[1]) < 1e-12:
                continue
            if bracket[0] >= bracket[1]:
                assert end == estimate
                continue
            root = optimize.brentq(
                lambda d, c=counts, s=side: _score_difference(d, *c) - s * z, *bracket, xtol=1e-15
            )
            assert_allclose(end, root, rtol=0, atol=1e-11)


def test_rare_failures_of_very_many_are_poisson():
    # 1 of 10^9 against 3 of 10^9: the difference of two Poisson counts, whose most likely
    # values solve a quadratic. A cubic in plain floating point has no digit left here.
    n, x1, x2, z2 = 10**9, 1, 3, scipy_stats.norm.isf(0.025) ** 2

    def excess(difference):  # of the means
        b = 2 * difference - x1 - x2
        p = (-b + np.sqrt(b * b + 8 * x2 * difference)) / 4
        return (x1 - x2 - difference) ** 2 / (2 * p + difference) - z2

    found = stats.miettinen_nurminen_difference(x1, n, x2, n)
    low, high = optimize.brentq(excess, -12, -2.0001), optimize.brentq(excess, -1.9999, 12)
    assert_allclose([found.low * n, found.high * n], [low, high], rtol=1e-7)


# --- the ratio -------------------------------------------------------------------------------


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize(
    ("method", "correction"), [("koopman", False), ("miettinen-nurminen", True)]
)
def test_ratio_by_statsmodels(method, correction, level):
    # Theirs is right where neither group has nothing but failures, nor none at all.
    for counts in GRID:
        x1, n1, x2, n2 = counts
        if 0 < x1 < n1 and 0 < x2 < n2:
            theirs = confint_proportions_2indep(
                *counts, compare="ratio", method="score", correction=correction, alpha=1 - level
            )
            found = stats.RATIOS[method](*counts, confidence_level=level)
            assert_allclose([found.low, found.high], theirs, rtol=1e-6)


def _chi_squared(ratio, x1, n1, x2, n2):
    """Pearson's chi-squared at the most likely rates, found by halving."""
    low, high = 0.0, min(1.0, 1 / ratio)

    def slope(p2):
        parts = [(x1 + x2, p2), ((x1 - n1) * ratio, 1 - ratio * p2), (x2 - n2, 1 - p2)]
        return sum(count / max(rate, 1e-300) if count else 0.0 for count, rate in parts)

    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if slope(middle) > 0 else (low, middle)
    p2 = (low + high) / 2
    p1 = ratio * p2
    pairs = [(x1, n1 * p1), (n1 - x1, n1 * (1 - p1)), (x2, n2 * p2), (n2 - x2, n2 * (1 - p2))]
    return sum((seen - mean) ** 2 / max(mean, 1e-290) for seen, mean in pairs)


@pytest.mark.parametrize("level", LEVELS)
def test_koopman_ends_give_the_chi_squared_limit(level):
    limit = scipy_stats.chi2.isf(1 - level, 1)
    found = stats.koopman_ratio(*COLUMNS, confidence_level=level)
    for place, counts in enumerate(GRID):
        for end in (found.low[place], found.high[place]):
            if 0 < end < np.inf and end != found.estimate[place]:
                assert_allclose(_chi_squared(end, *counts), limit, rtol=1e-5)


# --- exact tests -----------------------------------------------------------------------------


def _tables(alternative):
    theirs = {"two-sided": "two-sided", "more": "greater", "fewer": "less"}[alternative]
    return theirs, [((x1, n1 - x1), (x2, n2 - x2)) for x1, n1, x2, n2 in GRID]


@pytest.mark.parametrize("alternative", ["two-sided", "more", "fewer"])
def test_fisher_by_scipy(alternative):
    theirs, tables = _tables(alternative)
    expected = [scipy_stats.fisher_exact(table, alternative=theirs)[1] for table in tables]
    found = stats.fisher(*COLUMNS, alternative=alternative)
    assert_allclose(found, expected, rtol=1e-10)


def _in_fractions(x1, n1, x2, n2):
    total = x1 + x2
    masses = {
        k: Fraction(comb(n1, k) * comb(n2, total - k), comb(n1 + n2, total))
        for k in range(max(0, total - n2), min(n1, total) + 1)
    }
    seen = masses[x1]
    below = sum(mass for mass in masses.values() if mass < seen)
    same = sum(mass for mass in masses.values() if mass == seen)
    return float(below + same), float(below + same / 2)


def test_fisher_and_mid_p_in_fractions():
    # Equal probabilities are equal here: symmetric tables show whether ties are seen.
    ties = [(x1, n, x2, n) for n in (4, 9, 40) for x1 in range(5) for x2 in range(5)]
    rows = [counts for counts in GRID if counts[1] < 1000] + ties
    both, middle = np.array([_in_fractions(*counts) for counts in rows]).T
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    assert_allclose(stats.fisher(*columns), both, rtol=1e-10)
    assert_allclose(stats.fisher_mid_p(*columns), middle, rtol=1e-10)


BOSCHLOO = [(2, 10, 7, 9), (5, 25, 16, 41), (5, 6, 0, 4), (1, 3, 1, 2), (0, 8, 3, 8), (4, 9, 5, 12)]


def _boschloo_in_fractions(x1, n1, x2, n2):
    """Tables at least as extreme in exact arithmetic, their probability on a very fine grid."""

    def more(k1, k2):
        total = k1 + k2
        ways = sum(
            comb(n1, k) * comb(n2, total - k)
            for k in range(max(k1, total - n2), min(n1, total) + 1)
        )
        return Fraction(ways, comb(n1 + n2, total))

    limit = more(x1, x2)
    rates = np.linspace(0, 1, 20001)
    sums = np.zeros((n1 + n2 + 1, 1))
    for k1 in range(n1 + 1):
        for k2 in range(n2 + 1):
            if more(k1, k2) <= limit:
                sums[k1 + k2] += comb(n1, k1) * comb(n2, k2)
    power = np.arange(n1 + n2 + 1)[:, None]
    return float((sums * rates**power * (1 - rates) ** (n1 + n2 - power)).sum(axis=0).max())


@pytest.mark.parametrize("counts", BOSCHLOO)
def test_boschloo_in_fractions(counts):
    x1, n1, x2, n2 = counts
    more, fewer = _boschloo_in_fractions(*counts), _boschloo_in_fractions(x2, n2, x1, n1)
    # A grid of 20,001 rates misses the top of a hill by less than 1e-7 of its height.
    assert_allclose(stats.boschloo(*counts, alternative="more"), more, rtol=1e-7)
    assert_allclose(stats.boschloo(*counts, alternative="fewer"), fewer, rtol=1e-7)
    assert_allclose(stats.boschloo(*counts), min(1, 2 * more, 2 * fewer), rtol=1e-7)


@pytest.mark.parametrize("counts", BOSCHLOO)
def test_boschloo_by_scipy(counts):
    x1, n1, x2, n2 = counts
    # scipy's tables have the groups in their columns.
    theirs = scipy_stats.boschloo_exact([[x1, x2], [n1 - x1, n2 - x2]], n=256).pvalue
    assert_allclose(stats.boschloo(*counts), theirs, rtol=1e-5)
