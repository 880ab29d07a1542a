"""Control limits of rates and gaps: what they promise, and their edges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats as reference

from fixstats import stats

RATES = st.one_of(st.floats(0, 1), st.sampled_from([0.0, 1.0, 1e-9, 0.5, 1 - 1e-9]))
SIZES = st.integers(1, 2000)
TAIL = stats.THREE_SIGMA_TAIL


def test_the_tail_is_that_of_three_sigma():
    assert_allclose(TAIL, reference.norm.sf(3), rtol=1e-14)


@settings(deadline=None)
@given(RATES, SIZES)
def test_exact_limits_hold_the_tail_and_no_narrower_ones_do(rate, n):
    found = stats.p_limits(rate, n)
    low = int(np.ceil(float(found.lower_limit) * n - 1e-6))
    high = int(np.floor(float(found.upper_limit) * n + 1e-6))
    chance = reference.binom(n, rate)
    slack = 1e-12
    assert chance.cdf(low - 1) <= TAIL + slack
    assert chance.sf(high) <= TAIL + slack
    if rate > 0 and low < n:
        assert chance.cdf(low) >= TAIL - slack
    if high > 0:
        assert chance.sf(high - 1) >= TAIL - slack
    assert found.lower_limit <= found.centre <= found.upper_limit


@settings(deadline=None)
@given(st.lists(RATES, min_size=2, max_size=10), SIZES, st.sampled_from(stats.CHART_LIMITS))
def test_a_higher_centre_has_no_lower_exact_limits(rates, n, limits):
    found = stats.p_limits(np.sort(rates), n, limits=limits)
    if limits == "exact":
        assert (np.diff(found.lower_limit) >= 0).all()
        assert (np.diff(found.upper_limit) >= 0).all()
    assert ((found.lower_limit >= 0) & (found.upper_limit <= 1)).all()


@settings(deadline=None)
@given(RATES, SIZES, st.sampled_from(stats.CHART_LIMITS))
def test_failures_and_successes_are_mirrored(rate, n, limits):
    one, other = (stats.p_limits(r, n, limits=limits) for r in (rate, 1 - rate))
    # Within one failure: a limit that holds the tail by rounding alone may fall on either side.
    assert_allclose(one.lower_limit, 1 - other.upper_limit, atol=1 / n + 1e-9)
    assert_allclose(one.upper_limit, 1 - other.lower_limit, atol=1 / n + 1e-9)


def test_three_sigma_limits_are_cut():
    found = stats.p_limits(0.02, 10, limits="three_sigma")
    assert found.lower_limit == 0
    assert found.upper_limit == pytest.approx(0.02 + 3 * np.sqrt(0.02 * 0.98 / 10))
    assert stats.p_limits(0.9, 10, limits="three_sigma").upper_limit == 1


def test_a_month_with_few_jobs_does_not_cry_wolf():
    # One failure of one job at 2 %: beyond three sigma, and no wonder at all.
    assert stats.p_limits(0.02, 1, limits="three_sigma").upper_limit < 1
    assert stats.p_limits(0.02, 1).upper_limit == 1


def test_without_opportunities_or_centre_there_is_no_point():
    for limits in stats.CHART_LIMITS:
        found = stats.p_limits([0.1, np.nan, 0.1], [0, 5, 5], limits=limits)
        for one in (found.centre, found.lower_limit, found.upper_limit):
            assert_array_equal(np.isnan(one), [True, True, False])


@pytest.mark.parametrize("limits", stats.CHART_LIMITS)
def test_centres_of_nothing_and_of_all(limits):
    found = stats.p_limits([0.0, 1.0], 20, limits=limits)
    assert_array_equal(found.lower_limit, [0, 1])
    assert_array_equal(found.upper_limit, [0, 1])


def test_a_thousand_million_opportunities():
    exact, textbook = (stats.p_limits(0.01, 10**9, limits=one) for one in ("exact", "three_sigma"))
    assert_allclose(exact.lower_limit, textbook.lower_limit, rtol=1e-6)
    assert_allclose(exact.upper_limit, textbook.upper_limit, rtol=1e-6)


def test_scalars_in_scalars_out_and_shapes_broadcast():
    assert np.shape(stats.p_limits(0.1, 50).upper_limit) == ()
    assert stats.p_limits([[0.1], [0.2]], [10, 20, 30]).centre.shape == (2, 3)


def test_sigma_z_stretches_both_kinds_of_limits():
    for limits in stats.CHART_LIMITS:
        plain, wide = (stats.p_limits(0.3, 200, limits=limits, sigma_z=z) for z in (1, 1.5))
        assert wide.upper_limit - 0.3 == pytest.approx(1.5 * (plain.upper_limit - 0.3))
        assert 0.3 - wide.lower_limit == pytest.approx(1.5 * (0.3 - plain.lower_limit))


@settings(deadline=None)
@given(RATES, SIZES)
def test_neither_side_of_the_median_has_more_than_half(rate, n):
    middle = round(float(stats.median_rate(rate, n)) * n)
    chance = reference.binom(n, rate)
    assert chance.cdf(middle - 1) <= 0.5 + 1e-12
    assert chance.sf(middle) <= 0.5 + 1e-12


def test_runs_of_a_rare_mode_are_judged_around_its_median():
    # Half a failure a month: twelve months without any are no news of improvement.
    none = np.zeros(12)
    assert stats.run_on_one_side(none, 0.005).any()
    assert stats.median_rate(0.005, 100) == 0
    assert not stats.run_on_one_side(none, stats.median_rate(0.005, np.full(12, 100))).any()
    assert np.isnan(stats.median_rate([0.1, np.nan], [0, 5])).all()


# --- p' ---------------------------------------------------------------------------------------


def test_sigma_z_by_hand():
    # Centre 1/2, sigma of 100 is 0.05: z = 2, -2, 0, and 40 jobs none of the distances know of.
    # Mean moving range (4 + 2) / 2 = 3.
    k, n = [60, 40, 0, 50], [100, 100, 0, 100]
    assert stats.laney_sigma(k, n, centre=0.5) == pytest.approx(3 / 1.128)
    assert stats.laney_sigma(k, n) == pytest.approx(3 / 1.128)


def test_sigma_z_of_many_charts():
    k = [[60, 40, 50], [10, 10, 10], [0, 0, 0], [5, 0, 0]]
    n = [[100, 100, 100], [50, 50, 50], [9, 9, 9], [9, 0, 0]]
    found = stats.laney_sigma(k, n)
    assert_allclose(found[:2], [3 / 1.128, 0])
    assert np.isnan(found[2:]).all()
    assert stats.laney_sigma(k, n, centre=[0.5, 0.2, 0.1, 0.5]).shape == (4,)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 50), st.integers(1, 50)), min_size=2, max_size=12))
def test_sigma_z_does_not_mind_order_turned_or_outcomes_swapped(months):
    n = np.array([a + b for a, b in months], float)
    k = np.array([a for a, _ in months], float)
    straight = stats.laney_sigma(k, n)
    assert_allclose(stats.laney_sigma(k[::-1], n[::-1]), straight, rtol=1e-12)
    assert_allclose(stats.laney_sigma(n - k, n), straight, rtol=1e-9)


def test_centre_rate():
    assert stats.centre_rate([1, 2], [10, 20]) == pytest.approx(0.1)
    assert_array_equal(stats.centre_rate([[1, 2], [0, 0]], [[10, 20], [0, 0]]), [0.1, np.nan])


# --- gaps -------------------------------------------------------------------------------------


@settings(deadline=None)
@given(st.floats(1e-7, 1))
def test_gap_limits_hold_the_tail(rate):
    found = stats.g_limits(rate)
    assert found.centre == pytest.approx((1 - rate) / rate)
    low, high = float(found.lower_limit), float(found.upper_limit)

    def cdf(gap):
        return -np.expm1((gap + 1) * np.log1p(-rate)) if rate < 1 else float(gap >= 0)

    slack = 1e-9
    assert cdf(low) >= TAIL - slack
    assert 1 - cdf(high) <= TAIL + slack
    if low > 0:
        assert cdf(low - 1) < TAIL + slack
    if high > 0:
        assert 1 - cdf(high - 1) > TAIL - slack
    assert low % 1 == high % 1 == 0


def test_gaps_of_common_modes_cannot_be_too_short():
    assert_array_equal(stats.g_limits([0.01, 0.0014]).lower_limit, [0, 0])
    assert stats.g_limits(0.0005).lower_limit == 2
    assert np.isnan(stats.g_limits([0, np.nan]).upper_limit).all()


def test_jobs_between_by_hand():
    #        a  b  a  b  a  a  b  a
    failed = [0, 1, 1, 0, 0, 1, 0, 0]
    group = [0, 1, 0, 1, 0, 0, 1, 0]
    found = stats.jobs_between(failed, groups=group, n_groups=3)
    assert_array_equal(found.gap, [1, 1, 0])
    assert_array_equal(found.row, [2, 5, 1])
    assert_array_equal(found.group, [0, 0, 1])
    assert_array_equal(found.still_open, [1, 2, 0])


@settings(deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.integers(0, 3)), max_size=40))
def test_jobs_between_against_a_walk(jobs):
    since, expected = [0] * 4, {g: [] for g in range(4)}
    for failed, group in jobs:
        if failed:
            expected[group].append(since[group])
            since[group] = 0
        else:
            since[group] += 1
    found = stats.jobs_between(
        [float(f) for f, _ in jobs], groups=np.array([g for _, g in jobs], int), n_groups=4
    )
    assert_array_equal(found.gap, [gap for gaps in expected.values() for gap in gaps])
    assert_array_equal(found.still_open, since)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.p_limits(0.1, 5, limits="wilson"), "limits must be one of exact, three_s"),
        (lambda: stats.p_limits(1.1, 5), "centre must lie between 0 and 1, got 1.1"),
        (lambda: stats.p_limits(0.1, 5.5), "opportunities must be whole numbers from 0, got 5.5"),
        (lambda: stats.p_limits(0.1, -5), "opportunities must be whole numbers from 0, got -5"),
        (lambda: stats.p_limits(0.1, 5, sigma_z=-1), "sigma_z must not be negative"),
        (lambda: stats.p_limits([0.1, 0.2], [1, 2, 3]), "must have shapes that fit"),
        (
            lambda: stats.median_rate(0.1, 2.5),
            "opportunities must be whole numbers from 0, got 2.5",
        ),
        (lambda: stats.laney_sigma([3], [2]), "failures must not be greater than opportunities"),
        (lambda: stats.g_limits(-0.1), "rate must lie between 0 and 1"),
        (lambda: stats.jobs_between([0, 2]), "failures must be 0 or 1, got 2"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
