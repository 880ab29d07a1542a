"""Restricted mean and difference at a day: what always holds, and the edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

from .survival_units import table, units

MEAN_FIELDS = ("mean", "low", "high", "standard_error")


@given(units(censored=False), st.integers(1, 15))
def test_without_censoring_the_restricted_mean_is_a_mean(them, day):
    time, reason, _ = them
    short = np.minimum(time, day)
    found = stats.restricted_mean(table(time, reason), day)
    assert_allclose(found.mean, short.mean(), rtol=1e-12, atol=1e-14)
    error = short.std() / np.sqrt(len(time))
    assert_allclose(found.standard_error, error if error > 0 else np.nan, rtol=1e-8)


@given(units(groups=2), st.integers(1, 12), st.sampled_from([1 / 8, 4.0, 1024.0]))
def test_the_restricted_mean_grows_with_the_unit_of_the_days(them, day, unit):
    time, reason, group = them
    one = stats.restricted_mean(table(time, reason, groups=group), day)
    other = stats.restricted_mean(table(np.array(time) * unit, reason, groups=group), day * unit)
    for name in MEAN_FIELDS:
        assert_allclose(getattr(other, name), unit * getattr(one, name), rtol=1e-12)


@given(units(groups=2), st.integers(1, 12))
def test_the_interval_of_a_restricted_mean_holds_it(them, day):
    time, reason, group = them
    found = stats.restricted_mean(table(time, reason, groups=group), day)
    has = ~np.isnan(found.low)
    assert np.all(found.low[has] >= 0) and np.all(found.high[has] <= day)
    assert np.all(found.low[has] <= found.mean[has] + 1e-12)
    assert np.all(found.mean[has] <= found.high[has] + 1e-12)


@given(units(), st.integers(1, 12))
def test_identical_groups_merged_halve_the_variance_of_the_mean(them, day):
    time, reason, _ = them
    twice = table(time * 2, reason * 2, groups=[0] * len(time) + [1] * len(time))
    apart, merged = (stats.restricted_mean(x, day) for x in (twice, twice.pooled()))
    assert_allclose(apart.mean, merged.mean, rtol=1e-12)
    assert_allclose(apart.standard_error[0], np.sqrt(2) * merged.standard_error, rtol=1e-7)


def test_restricted_mean_at_the_edges():
    none = stats.restricted_mean(stats.at_risk([40], [20], [0], [20]), 30)
    assert none.mean == none.high == 30
    assert np.isnan(none.standard_error)
    assert_allclose(none.low, 30 * (1 - stats.clopper_pearson(0, 20).high))
    # One on the last day takes nothing from the area.
    last = stats.restricted_mean(stats.at_risk([30, 40], [20, 19], [1, 0], [0, 19]), 30)
    assert last.mean == 30
    assert last.low < none.low
    gone = stats.restricted_mean(stats.at_risk([4], [20], [20], [0]), 30)
    assert gone.mean == 4
    assert np.isnan([gone.standard_error, gone.low, gone.high]).all()
    at_once = stats.restricted_mean(stats.at_risk([0, 6], [4, 2], [2, 1], [0, 1]), 6)
    assert_allclose(at_once.mean, 3)
    for made in (
        stats.at_risk([20], [20], [1], [19]),
        stats.at_risk([20], [0], [0], [0]),
        stats.at_risk([], [], [], []),
    ):
        found = stats.restricted_mean(made, 30)
        assert np.isnan([getattr(found, name) for name in MEAN_FIELDS]).all()


def test_restricted_mean_refuses_days_that_cannot_be():
    made = stats.at_risk([-1, 5], [4, 3], [1, 1], [0, 2])
    with pytest.raises(ValueError, match="day of a row must not be negative, got -1 at position 0"):
        stats.restricted_mean(made, 5)
    with pytest.raises(ValueError, match="day must be positive, got 0"):
        stats.restricted_mean(stats.at_risk([5], [3], [1], [2]), 0)


# --- difference -------------------------------------------------------------------------------


def limits(difference):
    return np.array([difference.low, difference.high])


@given(units(reasons=2), units(reasons=2), st.integers(0, 12), st.sampled_from([None, 0, 1]))
def test_a_difference_turned_round_changes_its_sign(one, other, day, reason):
    a, b = (table(t, r, reasons=2) for t, r, _ in (one, other))
    there = stats.curve_difference(a, b, day, reason=reason)
    back = stats.curve_difference(b, a, day, reason=reason)
    assert_allclose(there.difference, -back.difference)
    assert_allclose(limits(there), -limits(back)[::-1], atol=1e-12)
    assert_allclose(there.p_value, back.p_value, rtol=1e-6)


@given(units(), units(), st.integers(0, 12), st.sampled_from([0.8, 0.95, 0.99]))
def test_a_difference_lies_in_its_interval_and_agrees_with_its_p_value(one, other, day, level):
    a, b = (table(t, r) for t, r, _ in (one, other))
    found = stats.curve_difference(a, b, day, confidence_level=level)
    rates = [stats.kaplan_meier(x, days=day).rate for x in (a, b)]
    assert_allclose(found.difference, rates[0] - rates[1])
    if np.isnan(found.difference):
        assert np.isnan([found.low, found.high, found.p_value]).all()
        return
    assert -1 <= found.low <= found.difference <= found.high <= 1
    assert 0 < found.p_value <= 1
    if abs(found.p_value - (1 - level)) > 1e-9:
        assert (found.p_value > 1 - level) == (found.low <= 0 <= found.high)
    # At an error of the p-value itself an end of the interval is 0.
    if found.p_value < 0.99:
        edge = stats.curve_difference(a, b, day, confidence_level=1 - found.p_value)
        assert_allclose(min(abs(edge.low), abs(edge.high)), 0, atol=1e-6)


@given(units(groups=2), units(groups=1), st.lists(st.integers(0, 12), min_size=1, max_size=3))
def test_many_differences_at_once_are_those_one_by_one(many, one, days):
    groups, baseline = table(*many[:2], groups=many[2], n_groups=2), table(*one[:2])
    found = stats.curve_difference(groups, baseline, days)
    assert found.difference.shape == (2, len(days))
    for g in set(many[2]):
        mine = [(t, r) for t, r, h in zip(*many, strict=True) if h == g]
        alone = stats.curve_difference(table(*zip(*mine, strict=True)), baseline, days[-1])
        for name in ("difference", "low", "high", "p_value"):
            assert_allclose(getattr(found, name)[g, -1], getattr(alone, name), atol=1e-9)


def test_a_difference_without_events_has_a_width():
    made = stats.at_risk([90], [50], [0], [50])
    found = stats.curve_difference(made, made, 90)
    reach = stats.clopper_pearson(0, 50).high
    assert_allclose([found.difference, found.low, found.high], [0, -reach, reach])
    assert found.p_value == 1


def test_a_difference_that_cannot_be_larger():
    gone, none = stats.at_risk([5], [30], [30], [0]), stats.at_risk([9], [30], [0], [30])
    found = stats.curve_difference(gone, none, 9)
    assert found.difference == found.high == 1
    assert 0.8 < found.low < 1
    assert found.p_value < 1e-6
    with pytest.raises(ValueError, match="reason must be a whole number from 0 to 0, got 1"):
        stats.curve_difference(gone, none, 9, reason=1)


def test_one_reason_of_several():
    a = stats.at_risk([1, 2, 3], [40, 30, 20], [[4, 3, 1], [2, 4, 1]], [4, 3, 18])
    b = stats.at_risk([1, 2, 3], [40, 37, 20], [[1, 1, 0], [2, 9, 1]], [0, 7, 19])
    found = stats.curve_difference(a, b, [1, 2], reason=0)
    curves = [stats.aalen_johansen(x, days=[1, 2]) for x in (a, b)]
    assert_array_equal(found.difference, curves[0].rate[0] - curves[1].rate[0])
    below = np.hypot(curves[0].rate[0] - curves[0].low[0], curves[1].high[0] - curves[1].rate[0])
    assert_allclose(found.low, found.difference - below)
