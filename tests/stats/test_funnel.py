"""Funnels: limits, how much groups differ, and p-values of groups."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats as reference

from fixstats import stats

RATES = st.floats(0.001, 0.999)
SIZES = st.integers(1, 3000)
COUNTS = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda ab: (ab[0], sum(ab)))


@settings(deadline=None)
@given(RATES, SIZES, st.floats(1e-4, 0.2))
def test_interpolated_limits_lie_within_a_failure_of_the_exact_ones(rate, n, tail):
    found = stats.funnel_limits(rate, n, tail=tail)
    low, high = reference.binom.ppf([tail, 1 - tail], n, rate)
    slack = 1e-6
    assert max(low - 1, 0) - slack <= found.lower_limit * n <= max(low, rate * n) + slack
    assert min(high - 1, rate * n) - slack <= found.upper_limit * n <= max(high, rate * n) + slack
    assert found.lower_limit <= rate <= found.upper_limit


@settings(deadline=None)
@given(RATES, st.integers(1, 200))
def test_a_funnel_narrows(rate, n):
    n += int(3 / min(rate, 1 - rate))  # with fewer the limits stand at 0 and at the target
    found = stats.funnel_limits(rate, [n, 8 * n, 64 * n], tail=0.025)
    assert (np.diff(found.upper_limit - found.lower_limit) < 1e-12).all()


def test_limits_by_hand():
    # Two jobs at one half, tail 0.1: P(X <= 0) = 0.25, so the lower limit is 0, and the upper
    # 2 - (1 - 0.9) / 0.25 = 1.6 failures.
    found = stats.funnel_limits(0.5, 2, tail=0.1)
    assert_allclose([found.lower_limit, found.upper_limit], [0, 0.8], atol=1e-12)


def test_with_many_jobs_limits_are_those_of_the_normal_variable():
    n, rate, phi, between = 10**8, 0.03, 2.5, 1e-6
    error = np.sqrt(rate * (1 - rate) / n)
    for found, spread in (
        (stats.funnel_limits(rate, n), error),
        (stats.funnel_limits(rate, n, ratio=phi), error * np.sqrt(phi)),
        (stats.funnel_limits(rate, n, between_variance=between), np.sqrt(error**2 + between)),
    ):
        assert_allclose(found.upper_limit - rate, 3 * spread, rtol=1e-3)
        assert_allclose(rate - found.lower_limit, 3 * spread, rtol=1e-3)


def test_no_opportunities_no_limits_and_edges():
    found = stats.funnel_limits([0.1, 0.0, 1.0, np.nan], [0, 5, 5, 5])
    assert_array_equal(found.upper_limit, [np.nan, 0, 1, np.nan])
    assert_array_equal(found.lower_limit, [np.nan, 0, 1, np.nan])
    wide = stats.funnel_limits(0.0, 5, between_variance=0.1)
    assert (wide.lower_limit, wide.upper_limit) == (0, 0)


def test_dispersion_by_hand():
    # Target 1/2, 100 jobs each, standard error 0.05: z = -4, -1, 0, 1, 4.
    k, n = [30, 45, 50, 55, 70], [100] * 5
    plain = stats.dispersion(k, n, 0.5, share=0)
    assert plain.ratio == pytest.approx(34 / 5)
    # tau^2 = (34 - 4) / (5 w - w), w = 1 / 0.05^2 = 400.
    assert plain.between_variance == pytest.approx(30 / 1600)
    # A tenth on either side: quantiles of z at 0.1 and 0.9 are -2.8 and 2.8.
    pulled = stats.dispersion(k, n, 0.5)
    assert pulled.ratio == pytest.approx((2 * 2.8**2 + 2) / 5)
    assert pulled.n_groups == 5


def test_groups_alike_are_not_made_to_differ():
    found = stats.dispersion([50, 51, 49], [100] * 3, 0.5)
    assert (found.ratio, found.between_variance) == (1, 0)


def test_one_group_out_hardly_widens_its_own_limits():
    rng = np.random.default_rng(4)
    n = np.full(40, 500.0)
    k = rng.binomial(500, 0.1, 40).astype(float)
    k[0] = 150
    assert stats.dispersion(k, n, 0.1).ratio < 1.6
    assert stats.dispersion(k, n, 0.1, share=0).ratio > 5


def test_dispersion_needs_two_groups():
    for k, n, target in (
        [[], [], 0.1],
        [[1], [5], 0.1],
        [[1, 0], [5, 0], 0.1],
        [[1] * 2, [5] * 2, 0],
    ):
        found = stats.dispersion(k, n, target)
        assert np.isnan([found.ratio, found.between_variance]).all()


@settings(deadline=None)
@given(st.lists(COUNTS, min_size=2, max_size=12), RATES, st.randoms(use_true_random=False))
def test_dispersion_does_not_mind_order_or_outcomes_swapped(groups, target, shuffler):
    k, n = np.array(groups, float).T
    straight = stats.dispersion(k, n, target)
    order = list(range(len(k)))
    shuffler.shuffle(order)
    for other in (
        stats.dispersion(k[order], n[order], target),
        stats.dispersion(n - k, n, 1 - target),
    ):
        assert_allclose(
            [other.ratio, other.between_variance],
            [straight.ratio, straight.between_variance],
            rtol=1e-6,
            atol=1e-12,
        )


@settings(deadline=None)
@given(COUNTS, st.floats(0, 1))
def test_expected_p_values_against_the_binomial(counts, rate):
    k, n = counts
    chance = reference.binom(max(n, 1), rate * n / max(n, 1))
    more, fewer = float(chance.sf(k - 1)), float(chance.cdf(k))
    for alternative, expected in (
        ("more", more),
        ("fewer", fewer),
        ("two-sided", min(2 * min(more, fewer), 1)),
    ):
        found = stats.expected_p_values(k, n, rate * n, alternative=alternative)
        if n == 0:
            assert np.isnan(found)
        else:
            assert found == pytest.approx(expected, rel=1e-7, abs=1e-250)


def test_different_risks_make_the_p_value_too_large_not_too_small():
    # Ten jobs at 0.02, ten at 0.5: exact chance of 9 or more, by walking through the jobs.
    chance = np.array([1.0])
    for risk in [0.02] * 10 + [0.5] * 10:
        chance = np.convolve(chance, [1 - risk, risk])
    found = stats.expected_p_values(9, 20, 5.2, alternative="more")
    assert chance[9:].sum() < found < 3 * chance[9:].sum()


def test_small_p_values_keep_their_digits():
    found = stats.expected_p_values(160, 1000, 10.0, alternative="more")
    assert_allclose(found, reference.binom.sf(159, 1000, 0.01), rtol=1e-6)
    assert 0 < found < 1e-100


def test_the_ratio_makes_p_values_larger_beyond_the_expected():
    one, two = (stats.expected_p_values(30, 200, 15, ratio=phi) for phi in (1, 2))
    assert one < two
    # Roughly as a z-score divided by the root of the ratio.
    z = -reference.norm.ppf(np.array([one, two]) / 2)
    assert_allclose(z[0] / z[1], np.sqrt(2), rtol=0.1)


@settings(deadline=None)
@given(st.lists(COUNTS, min_size=2, max_size=6))
def test_rest_p_values_are_fishers(groups):
    k, n = np.array(groups, float).T
    found = stats.rest_p_values(k, n, alternative="more")
    for i, one in enumerate(found):
        rest = k.sum() - k[i], n.sum() - n[i]
        if n[i] == 0 or rest[1] == 0:
            assert np.isnan(one)
        else:
            table = [[k[i], n[i] - k[i]], [rest[0], rest[1] - rest[0]]]
            expected = reference.fisher_exact(np.array(table, int), "greater").pvalue
            assert one == pytest.approx(expected, rel=1e-6)


def test_p_values_go_into_a_correction_as_they_are():
    k, n = np.array([3, 0, 30, 5]), np.array([100, 0, 100, 100])
    found = stats.benjamini_hochberg(stats.expected_p_values(k, n, 0.05 * n))
    assert np.isnan(found[1])
    assert found[2] == found[np.isfinite(found)].min() < 1e-10


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.funnel_limits(0.1, 1.5), "opportunities must be whole numbers from 0"),
        (lambda: stats.funnel_limits(0.1, 5, tail=0.5), "tail must lie between 0 and 0.5"),
        (lambda: stats.funnel_limits(0.1, 5, ratio=0.5), "ratio must be at least 1, got 0.5"),
        (lambda: stats.funnel_limits(0.1, 5, between_variance=-1), "between_variance must not be"),
        (lambda: stats.funnel_limits(2, 5), "target must lie between 0 and 1"),
        (lambda: stats.dispersion([[1]], [[2]], 0.1), "must be vectors, target one rate"),
        (lambda: stats.dispersion([1], [2], [0.1, 0.2]), "must be vectors, target one rate"),
        (lambda: stats.dispersion([1], [2], 0.1, share=0.5), "share must be at least 0 and under"),
        (lambda: stats.expected_p_values(1, 2, 3), "expected failures must not be greater"),
        (lambda: stats.expected_p_values(1, 2, 1, ratio=0), "ratio must be at least 1"),
        (
            lambda: stats.expected_p_values(1, 2, 1, alternative="x"),
            "alternative must be one of mo",
        ),
        (lambda: stats.rest_p_values(1, 2), "failures and opportunities must be vectors"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
