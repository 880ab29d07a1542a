"""Rules of judgement on vectors worked by hand: each names the points that complete it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from fixstats import stats

NAN = np.nan
POINTS = st.lists(st.one_of(st.integers(-4, 4), st.just(NAN)), max_size=30)


def places(flags):
    return np.flatnonzero(flags).tolist()


def test_beyond_limits_is_strict():
    points = [0.1, 0.4, 0.41, 0.05, 0.04, NAN]
    assert places(stats.beyond_limits(points, 0.05, 0.4)) == [2, 4]


def test_beyond_limits_takes_a_limit_for_each_point():
    lower, upper = [0.0, 0.0, 0.2, NAN], [0.3, 0.2, 0.5, NAN]
    assert places(stats.beyond_limits([0.25, 0.25, 0.1, 9], lower, upper)) == [1, 2]


def test_run_on_one_side_needs_its_whole_length():
    # Eight above, one below, nine below with the one before: counted from the first below.
    points = [1] * 8 + [-1] * 9
    assert places(stats.run_on_one_side(points, 0)) == [16]
    assert places(stats.run_on_one_side(points, 0, length=8)) == [7, 15, 16]


def test_a_run_goes_on():
    assert places(stats.run_on_one_side([2] * 11, 1)) == [8, 9, 10]


@pytest.mark.parametrize("broken_by", [0, NAN, -1])
def test_a_run_is_broken(broken_by):
    # Six, the break, then eight: no nine in a row.
    points = [1] * 6 + [broken_by] + [1] * 8
    assert places(stats.run_on_one_side(points, 0)) == []
    assert places(stats.run_on_one_side(points, 0, length=6)) == [5, 12, 13, 14]


def test_trend_is_six_points_five_steps():
    assert places(stats.run_of_trend([1, 2, 3, 4, 5])) == []
    assert places(stats.run_of_trend([9, 1, 2, 3, 4, 5, 6, 7])) == [6, 7]
    assert places(stats.run_of_trend([6, 5, 4, 3, 2, 1, 1])) == [5]
    # Equal neighbours and missing points end a trend.
    assert places(stats.run_of_trend([1, 2, 3, 3, 4, 5, 6])) == []
    assert places(stats.run_of_trend([1, 2, 3, NAN, 4, 5, 6, 7])) == []


def test_two_of_three_beyond_two_sigma():
    # 2.1 and 2.5 with one between; 2 exactly is not beyond; one on each side does not count.
    assert places(stats.two_of_three_beyond_two_sigma([2.1, 0, 2.5, 0], 0, 1)) == [2]
    assert places(stats.two_of_three_beyond_two_sigma([2.1, 2.0, 0, 2.5], 0, 1)) == []
    assert places(stats.two_of_three_beyond_two_sigma([2.1, -2.5, 0], 0, 1)) == []
    assert places(stats.two_of_three_beyond_two_sigma([-5, -5, -5], -1, 1)) == [1, 2]


def test_the_last_of_two_is_the_one_that_speaks():
    # The third point is inside: it completes nothing, though two of the last three are beyond.
    assert places(stats.two_of_three_beyond_two_sigma([3, 3, 0], 0, 1)) == [1]


def test_four_of_five_beyond_one_sigma():
    assert places(stats.four_of_five_beyond_one_sigma([2, 2, 0, 2, 2], 0, 1)) == [4]
    assert places(stats.four_of_five_beyond_one_sigma([2, 2, 0, 2, 0, 2], 0, 1)) == []
    assert places(stats.four_of_five_beyond_one_sigma([2, 2, -2, 2, 2, 2], 0, 1)) == [4, 5]


def test_sigma_and_centre_of_each_point():
    points, centre, sigma = [5, 5, 5], [1, 1, 4], [1, 4, 0.1]
    # Standardised 4, 1, 10.
    assert places(stats.two_of_three_beyond_two_sigma(points, centre, sigma)) == [2]


@pytest.mark.parametrize("gap", [[3, NAN, 3], [3, NAN, 3, 0]])
def test_a_missing_point_joins_nothing(gap):
    assert places(stats.two_of_three_beyond_two_sigma(gap, 0, 1)) == []


def test_no_sigma_says_nothing():
    assert places(stats.two_of_three_beyond_two_sigma([3, 3], 0, 0)) == []


def all_rules(points):
    return [
        stats.beyond_limits(points, -3, 3),
        stats.run_on_one_side(points, 0, length=4),
        stats.run_of_trend(points, length=4),
        stats.two_of_three_beyond_two_sigma(points, 0, 1),
        stats.four_of_five_beyond_one_sigma(points, 0, 1),
    ]


@given(POINTS)
def test_turned_over_and_scaled_the_rules_say_the_same(points):
    points = np.array(points, dtype=float)
    assert_array_equal(all_rules(points), all_rules(-points))
    moved = [
        stats.beyond_limits(2 * points + 1, -5, 7),
        stats.run_on_one_side(2 * points + 1, 1, length=4),
        stats.run_of_trend(2 * points + 1, length=4),
        stats.two_of_three_beyond_two_sigma(2 * points + 1, 1, 2),
        stats.four_of_five_beyond_one_sigma(2 * points + 1, 1, 2),
    ]
    assert_array_equal(all_rules(points), moved)


@given(POINTS, POINTS)
def test_later_points_change_nothing_before_them(points, later):
    for short, long in zip(all_rules(points), all_rules(points + later), strict=True):
        assert_array_equal(short, long[: len(points)])


@given(POINTS)
def test_rules_against_a_walk_over_the_points(points):
    def last(i, n):
        seen = points[max(0, i - n + 1) : i + 1]
        broken = [j for j, one in enumerate(seen) if np.isnan(one)]
        return seen[broken[-1] + 1 :] if broken else seen

    def one_side(i, n, beyond, some):
        seen = last(i, n)
        return any(
            seen and s * seen[-1] > beyond and sum(s * one > beyond for one in seen) >= some
            for s in (1, -1)
        )

    def trend(i, n):
        seen = last(i, n)
        steps = np.diff(seen)
        return len(seen) == n and bool((steps > 0).all() or (steps < 0).all())

    walked = [
        [one_side(i, 1, 3, 1) for i in range(len(points))],
        [one_side(i, 4, 0, 4) for i in range(len(points))],
        [trend(i, 4) for i in range(len(points))],
        [one_side(i, 3, 2, 2) for i in range(len(points))],
        [one_side(i, 5, 1, 4) for i in range(len(points))],
    ]
    assert_array_equal(all_rules(points), walked)


def test_many_charts_at_once():
    charts = np.array([[[1] * 9, [0] * 9], [[-1] * 9, [1] * 8 + [-1]]])
    found = stats.run_on_one_side(charts, 0)
    assert found.shape == (2, 2, 9)
    assert_array_equal(found.any(axis=-1), [[True, False], [True, False]])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.beyond_limits("x", 0, 1), "values must be numbers, got 'x'"),
        (lambda: stats.beyond_limits([1, 2], [0, 0, 0], 1), "values and lower_limit and upper_"),
        (lambda: stats.run_on_one_side([1, 2], 0, length=0), "length must be at least 2"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
