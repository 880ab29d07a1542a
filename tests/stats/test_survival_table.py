"""The at-risk table: rows checked, laid on one grid, read between and beyond its rows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from fixstats import stats

from .survival_units import rows, table, units

GOOD = {"day": [0, 3, 7], "n_at_risk": [9, 7, 4], "n_events": [1, 2, 0], "n_censored": [1, 1, 4]}


def test_groups_are_laid_on_one_grid():
    found = stats.at_risk(
        [5, 2, 2, 9],
        [4, 6, 3, 1],
        [1, 2, 1, 0],
        [3, 0, 1, 1],
        groups=[0, 0, 2, 2],
        n_groups=4,
    )
    assert_array_equal(found.day, [2, 5, 9])
    # Group 0 is gone after day 5; group 2 still has its one unit then; 1 and 3 have nobody.
    assert_array_equal(found.n_at_risk, [[6, 4, 0], [0, 0, 0], [3, 1, 1], [0, 0, 0]])
    assert_array_equal(found.events, [[2, 1, 0], [0, 0, 0], [1, 0, 0], [0, 0, 0]])
    assert_array_equal(found.n_censored, [[0, 3, 0], [0, 0, 0], [1, 0, 1], [0, 0, 0]])
    assert found.n_events.shape == (1, 4, 3)


def test_before_its_first_row_a_group_is_whole():
    found = stats.at_risk([1, 8], [5, 7], [5, 7], [0, 0], groups=[0, 1])
    assert_array_equal(found.n_at_risk, [[5, 0], [7, 7]])


def test_strata_come_before_groups_and_reasons_before_both():
    found = stats.at_risk([1, 1], [5, 7], [[2, 3], [1, 0]], [2, 4], groups=[0, 1], strata=[2, 0])
    assert found.n_events.shape == (2, 3, 2, 1)
    assert_array_equal(found.n_events[0, ..., 0], [[0, 3], [0, 0], [2, 0]])


@given(units(reasons=2, groups=3), st.randoms(use_true_random=False))
def test_rows_come_in_any_order(them, shuffler):
    time, reason, group = them
    found = rows(time, reason, group, [0] * len(time), 2)
    order = list(range(len(found)))
    shuffler.shuffle(order)
    for one in (found, found[order]):
        made = stats.at_risk(one[:, 2], one[:, 3], one[:, 5:].T, one[:, 4], groups=one[:, 1])
        straight = table(time, reason, groups=group, reasons=2)
        for name in ("day", "n_at_risk", "n_events", "n_censored"):
            assert_array_equal(getattr(made, name), getattr(straight, name))


@given(units(groups=3), st.lists(st.floats(-2, 15), max_size=6))
def test_numbers_at_risk_are_those_counted(them, days):
    time, reason, group = them
    made = table(time, reason, groups=group, n_groups=3)
    counted = [
        [sum(t >= day for t, g in zip(time, group, strict=True) if g == one) for day in days]
        for one in range(3)
    ]
    assert_array_equal(stats.n_at_risk_at(made, days), np.reshape(counted, (3, len(days))))
    assert_array_equal(stats.n_at_risk_at(made.pooled(), days), np.sum(counted, axis=0))


def test_numbers_at_risk_answer_in_the_shape_of_the_days():
    made = stats.at_risk(**GOOD)
    assert stats.n_at_risk_at(made, 3) == 7
    assert_array_equal(stats.n_at_risk_at(made, [[0, 1], [7, 8]]), [[9, 7], [4, 0]])
    nothing = stats.at_risk([], [], [], [])
    assert stats.n_at_risk_at(nothing, 3) == 0
    assert_array_equal(
        stats.n_at_risk_at(stats.at_risk([], [], [], [], groups=[], n_groups=2), 3), [0, 0]
    )


def test_one_reason_alone_counts_the_others_as_censored():
    made = stats.at_risk([1, 2], [9, 5], [[2, 1], [1, 3]], [1, 0])
    alone = made.only(1)
    assert_array_equal(alone.n_events, [[1, 3]])
    assert_array_equal(alone.n_censored, [3, 1])
    assert_array_equal(alone.n_at_risk, made.n_at_risk)
    with pytest.raises(ValueError, match="reason must be a whole number from 0 to 1, got 2"):
        made.only(2)


def test_counts_need_not_be_whole():
    made = stats.at_risk([1, 2], [1.1, 0.8], [0.1, 0.2], [0.2, 0.6])
    assert_array_equal(made.n_left, [1.0, 0.8 - 0.2])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"n_events": [1, -2, 0]}, "n_events must not be negative, got -2"),
        ({"n_at_risk": [9, 7, -4]}, "n_at_risk must not be negative"),
        ({"n_censored": [1, np.nan, 4]}, "n_censored must be finite"),
        ({"n_censored": [1, 1, 5]}, "n_at_risk must cover events and censored, got 4"),
        ({"day": [0, 3, 3]}, "day must not come twice in a group, got 3 at position 2"),
        ({"day": [0, 7, 3]}, "got 4 on day 3 where 7 were left"),
        ({"n_at_risk": [9, 8, 4]}, "got 8 on day 3 where 7 were left"),
        ({"day": [0, 3]}, "one entry a row"),
        ({"n_events": [[[1, 2, 0]]]}, "n_events must be .rows,. or .reasons, rows."),
        ({"n_events": np.zeros((0, 3))}, "n_events must be .rows,. or .reasons, rows."),
        ({"groups": [0, 0]}, "groups must have one entry a row"),
        ({"groups": [0, 0.5, 1]}, "groups must be whole numbers from 0, got 0.5"),
        ({"groups": [0, 0, 1], "n_groups": 1}, "n_groups must be at least 2, got 1"),
        ({"strata": [0, 0, 0]}, "strata need groups"),
    ],
)
def test_what_cannot_be_is_refused(change, message):
    with pytest.raises(ValueError, match=message):
        stats.at_risk(**{**GOOD, **change})


def test_pooling_needs_groups():
    with pytest.raises(ValueError, match="pooled needs a table with groups"):
        stats.at_risk(**GOOD).pooled()
