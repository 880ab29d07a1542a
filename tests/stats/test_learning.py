"""Practice: edges, refusals and what must always hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

NAN = float("nan")

counts = st.lists(
    st.integers(0, 12).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    min_size=1,
    max_size=40,
)


@given(counts)
def test_falling_rates_fall_and_keep_all_failures(rows):
    k, n = np.array(rows).T
    rates = stats.falling_rates(k, n)
    if not n.sum():
        assert np.isnan(rates).all()
        return
    assert (np.diff(rates) <= 1e-12).all()
    assert ((rates >= 0) & (rates <= 1)).all()
    assert_allclose(rates @ n, k.sum(), atol=1e-9)


def test_falling_rates_leave_alone_what_falls():
    assert_allclose(stats.falling_rates([5, 3, 1], [10, 10, 10]), [0.5, 0.3, 0.1])


def test_positions_without_opportunities_have_the_rate_before_them():
    rates = stats.falling_rates([0, 4, 0, 1, 0], [0, 10, 0, 10, 0])
    assert_allclose(rates, [0.4, 0.4, 0.4, 0.1, 0.1])


def test_the_end_can_be_taken_as_one():
    k, n = [5, 2, 2, 0, 0], [10, 10, 10, 10, 10]
    assert_allclose(stats.falling_rates(k, n)[-2:], [0, 0])
    assert_allclose(stats.falling_rates(k, n, last=0.4), [0.5, 0.2, 0.2, 0, 0])
    assert_allclose(stats.falling_rates(k, n, last=0.6), [0.5, 0.2, 0.2 / 3, 0.2 / 3, 0.2 / 3])


def test_practised_where_the_curve_has_little_left_to_lose():
    k, n = [40, 20, 10, 6, 5, 5, 5, 5, 5, 5], [100] * 10
    # Later rates: 10.6, 6.9, 5.4, 5.1, 5.0 ... %; the curve is 40, 20, 10, 6, 5 ... %.
    assert stats.practised_from(k, n, most=9, margin=0.02) == 3
    assert stats.practised_from(k, n, most=2, margin=0.02) is None
    assert stats.practised_from(k, n, most=9, margin=0.05) == 2
    assert stats.practised_from([0, 0], [0, 0], most=1, margin=0.02) is None
    assert stats.practised_from([5] * 10, [100] * 10, most=5, margin=0.02) == 0


def test_resampling_is_repeatable_and_holds_the_curve():
    k, n = np.array([40, 20, 10, 6, 5, 5, 5, 5, 5, 5]), np.full(10, 100)
    one = stats.resample_falling(k, n, most=5, margin=0.02)
    two = stats.resample_falling(k, n, most=5, margin=0.02)
    assert_array_equal(one.low, two.low)
    rates = stats.falling_rates(k, n, last=stats.LAST)
    assert (one.low <= rates + 1e-12).all() and (rates <= one.high + 1e-12).all()
    assert one.practised_low <= 3 <= one.practised_high
    wide = stats.resample_falling(k, n, most=5, margin=0.02, confidence_level=0.99)
    assert (wide.high - wide.low).sum() > (one.high - one.low).sum()


def test_resampling_says_where_no_sample_has_a_number():
    found = stats.resample_falling([50, 0, 0, 0], [50, 50, 50, 50], most=0, margin=0.02)
    assert found.without == 1 and np.isnan(found.practised_low)


def test_trend_has_the_sign_of_the_fall():
    uses, failed = np.arange(100), np.arange(100) < 20
    found = stats.trend_in_groups(np.log1p(uses), failed, np.zeros(100, int))
    assert found.z < -5 and found.p_value < 1e-6
    assert stats.trend_in_groups(uses, ~failed, np.zeros(100, int)).z > 0


def test_groups_that_differ_make_no_trend():
    # Group 1 always fails and stops after 10 uses, group 0 never fails and goes on to 100.
    uses = np.concatenate([np.arange(100), np.arange(10)])
    groups = np.repeat([0, 1], [100, 10])
    assert stats.trend_in_groups(uses, groups, np.zeros(110, int)).p_value < 0.001
    found = stats.trend_in_groups(uses, groups, groups)
    assert np.isnan(found.z) and np.isnan(found.p_value)


@pytest.mark.parametrize("failed", [[], [1], [1, 1, 1], [0, 0, 0]])
def test_no_trend_without_both_outcomes(failed):
    found = stats.trend_in_groups(np.arange(len(failed)), failed, np.zeros(len(failed), int))
    assert np.isnan(found.z) and np.isnan(found.p_value)


@pytest.mark.parametrize(
    ("numbers", "minutes"), [([], []), ([1], [5]), ([1, 2], [5, 4]), ([3, 3, 3, 3], [5, 4, 5, 6])]
)
def test_no_curve_from_too_little(numbers, minutes):
    assert np.isnan(stats.learning_curve(numbers, minutes).learning_rate)


def test_a_quick_technician_makes_no_learning():
    # Nobody gets quicker; the quick one has the high numbers.
    numbers = np.concatenate([np.arange(1, 11), np.arange(1, 101)])
    groups = np.repeat([0, 1], [10, 100])
    minutes = np.where(groups == 0, 12.0, 6.0)
    assert stats.learning_curve(numbers, minutes).learning_rate < 0.95
    found = stats.learning_curve(numbers, minutes, groups)
    assert_allclose(found.learning_rate, 1.0)


@pytest.mark.parametrize(("numbers", "minutes"), [([0, 1, 2], [5, 4, 3]), ([1, 2, 3], [5, 0, 3])])
def test_numbers_and_minutes_are_above_zero(numbers, minutes):
    with pytest.raises(ValueError, match="numbers and minutes must be above 0"):
        stats.learning_curve(numbers, minutes)


@pytest.mark.parametrize("size", [0, 1, 5])
def test_few_values_have_no_median_interval(size):
    found = stats.median_interval(np.arange(size))
    assert np.isnan(found.low) and np.isnan(found.high)


def test_mean_difference_of_too_few_or_equal_values():
    difference, ends = stats.mean_difference([1.0], [2.0, 3.0])
    assert np.isnan(difference) and np.isnan(ends.low)
    difference, ends = stats.mean_difference([2.0, 2.0], [1.0, 1.0])
    assert (difference, ends.low, ends.high) == (1, 1, 1)


def test_a_sum_is_surer_than_its_worst_ends():
    found = stats.sum_interval((10, 7, 14), (20, 16, 23))
    assert_allclose((found.low, found.high), (25, 35))
    alone = stats.sum_interval((10, 7, 14))
    assert_allclose((alone.low, alone.high), (7, 14))


def test_mixes():
    assert stats.same_mix([5, 5], [50, 50]) == pytest.approx((0, 1))
    share, p_value = stats.same_mix([100, 0], [0, 100])
    assert share == 1 and p_value < 1e-20
    assert stats.same_mix([7, 0], [9, 0]) == (0, 1)
    assert np.isnan(stats.same_mix([0, 0], [1, 2])).all()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: stats.falling_rates([2], [1]), "failures must not be greater"),
        (lambda: stats.trend_in_groups([NAN], [1], [0]), "scores must be finite"),
        (lambda: stats.median_interval([1.0], confidence_level=2), "confidence_level must be"),
        (lambda: stats.mean_difference([NAN], [1.0]), "values must be finite"),
        (lambda: stats.same_mix([NAN], [1]), "counts must be finite"),
    ],
)
def test_refusals(call, words):
    with pytest.raises(ValueError, match=words):
        call()
