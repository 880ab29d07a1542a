"""Partial pooling against integration by another route, and by simulation."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import special
from scipy import stats as scipy_stats

from fixstats import stats

from ..published.test_pooling import RATS, TUMOURS

K, N = np.array([0, 1, 4, 9, 2]), np.array([12, 30, 25, 40, 3])


def log_bda3(a, b):
    return -2.5 * np.log(a + b)


def log_weak(a, b):
    """The documented prior in (a, b): beta(1/2, 1/2) on m, gamma(2, 3) on the spread."""
    s = a + b
    m = np.clip(a / s, 1e-15, 1 - 1e-15)
    spread = 1 / np.sqrt((1 + s) * m * (1 - m))
    by_s = spread / (2 * (1 + s))  # |d spread / d s|
    on = scipy_stats.beta(0.5, 0.5).logpdf(m) + scipy_stats.gamma(2, scale=1 / 3).logpdf(spread)
    return on + np.log(by_s) - np.log(s)  # (a, b) to (m, s) has determinant s


def brute(k, n, log_prior, quantity, reach):
    """Posterior mean of quantity(a, b): Gauss and Legendre in log a and log b, no lattice."""
    x, w = np.polynomial.legendre.leggauss(400)
    low, high = reach
    place = (low + high) / 2 + (high - low) / 2 * x
    a, b = np.meshgrid(np.exp(place), np.exp(place), indexing="ij")
    log_density = log_prior(a, b) + np.log(a) + np.log(b)
    for failures, jobs in zip(k, n, strict=True):
        log_density += special.betaln(a + failures, b + jobs - failures) - special.betaln(a, b)
    density = np.exp(log_density - log_density.max()) * np.outer(w, w)
    return np.sum(density * quantity(a, b)) / density.sum()


@pytest.mark.parametrize(("prior", "log_prior"), [("bda3", log_bda3), ("weak", log_weak)])
def test_hyperparameters_and_rates_by_gauss_and_legendre(prior, log_prior):
    # Logarithms: under bda3 the means themselves are infinite (the density of log(a + b) falls
    # only as its -1/2 power), and the book's 2.4 and 14.3 belong to a finite grid.
    reach = (-4.0, 24.0)
    pooled = stats.pool_rates(TUMOURS, RATS, prior=prior)
    hyper = pooled.hyper
    a = brute(TUMOURS, RATS, log_prior, lambda a, b: np.log(a), reach)
    b = brute(TUMOURS, RATS, log_prior, lambda a, b: np.log(b), reach)
    assert_allclose(hyper.weight @ np.log(hyper.mean * hyper.precision), a, rtol=1e-5)
    assert_allclose(hyper.weight @ np.log((1 - hyper.mean) * hyper.precision), b, rtol=1e-5)
    last = brute(TUMOURS, RATS, log_prior, lambda a, b: (a + 4) / (a + b + 14), reach)
    assert_allclose(pooled.pooled_rate[-1], last, rtol=1e-7)
    borrowed = brute(TUMOURS, RATS, log_prior, lambda a, b: (a + b) / (a + b + 14), reach)
    assert_allclose(pooled.borrowed[-1], borrowed, rtol=1e-7)


def test_interval_ends_put_back_into_the_mixture():
    # Few groups: a crooked, wide hyperposterior, integrated by another route.
    pooled = stats.pool_rates(K, N)
    reach = (-16.0, 18.0)
    for i in range(len(K)):
        for end, q in ((pooled.pooled_low[i], 0.025), (pooled.pooled_high[i], 0.975)):
            below = brute(
                K,
                N,
                log_weak,
                lambda a, b, i=i, end=end: special.betainc(a + K[i], b + N[i] - K[i], end),
                reach,
            )
            assert_allclose(below, q, atol=2e-5)


@pytest.mark.parametrize("level", [0.8, 0.95])
def test_interval_ends_solve_their_equation(level):
    pooled = stats.pool_rates(K, N, confidence_level=level)
    a = pooled.hyper.mean * pooled.hyper.precision
    b = pooled.hyper.precision - a
    for end, q in ((pooled.pooled_low, (1 - level) / 2), (pooled.pooled_high, (1 + level) / 2)):
        below = special.betainc(a + K[:, None], b + (N - K)[:, None], end[:, None])
        assert_allclose(below @ pooled.hyper.weight, q, atol=1e-9)


def test_thinned_points_change_nothing_that_shows():
    random = np.random.default_rng(3)
    n = random.integers(1, 400, 2000)
    k = random.binomial(n, random.beta(2, 40, 2000))
    pooled = stats.pool_rates(k, n)
    a = pooled.hyper.mean * pooled.hyper.precision
    b = pooled.hyper.precision - a
    some = slice(0, 2000, 20)
    assert len(a) * len(n) > 150_000  # else nothing was thinned
    for end, q in ((pooled.pooled_low[some], 0.025), (pooled.pooled_high[some], 0.975)):
        shapes = a + k[some, None], b + (n - k)[some, None]
        below = special.betainc(*shapes, end[:, None]) @ pooled.hyper.weight
        assert_allclose(below, q, atol=1e-9)


def coverage(groups, spread, size, shops, seed, **settings):
    """Share of pooled intervals that hold their group's true rate, averaged over groups."""
    random = np.random.default_rng(seed)
    held = []
    for _ in range(shops):
        rate = special.expit(-3 + spread * random.normal(size=groups))
        n = random.poisson(random.gamma(1.0, size, groups)) + 1
        k = random.binomial(n, rate)
        pooled = stats.pool_rates(k, n, **settings)
        held.append(np.mean((pooled.pooled_low <= rate) & (rate <= pooled.pooled_high)))
    return float(np.mean(held))


def test_intervals_hold_the_truth_as_often_as_they_say():
    assert 0.925 < coverage(20, 0.6, 40, 40, 1) < 0.985


@pytest.mark.slow
@pytest.mark.parametrize("groups", [5, 20, 100])
@pytest.mark.parametrize("spread", [0.2, 0.5, 1.0])
def test_coverage_over_many_shops(groups, spread):
    held = coverage(groups, spread, 40, 300, seed=groups)
    print(f"groups {groups} spread {spread}: {held:.4f}")
    assert 0.93 < held < 0.99
