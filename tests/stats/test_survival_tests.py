"""Log-rank and Gray's test: what always holds, and the edges."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import special

from fixstats import stats

from .survival_units import table, units

TESTS = [stats.log_rank, stats.gray_test]
both = pytest.mark.parametrize("test", TESTS)


@both
@given(them=units(reasons=2, groups=3), order=st.sampled_from(list(permutations(range(3)))))
def test_labels_do_not_matter(test, them, order):
    time, reason, group = them
    made = table(time, reason, groups=group, reasons=2, n_groups=3)
    renamed = table(time, reason, groups=[order[g] for g in group], reasons=2, n_groups=3)
    one, other = test(made), test(renamed)
    assert one.degrees_of_freedom == other.degrees_of_freedom
    assert_allclose(one.statistic, other.statistic, rtol=1e-7, atol=1e-10)
    assert_allclose(one.score, other.score[list(order)], atol=1e-10)
    assert_allclose(one.covariance, other.covariance[np.ix_(order, order)], atol=1e-9)
    assert_allclose(one.group_p_value, other.group_p_value[list(order)], rtol=1e-6)


@both
@given(them=units(reasons=2, groups=4))
def test_scores_add_up_to_zero(test, them):
    time, reason, group = them
    found = test(table(time, reason, groups=group, reasons=2, n_groups=4))
    assert_allclose(found.score.sum(), 0, atol=1e-10)
    assert_allclose(found.covariance.sum(axis=0), 0, atol=1e-10)
    assert_allclose(found.covariance, found.covariance.T, atol=1e-12)
    assert found.degrees_of_freedom < 4


@both
@given(them=units(reasons=2))
def test_identical_groups_do_not_differ(test, them):
    time, reason, _ = them
    made = table(time * 3, reason * 3, groups=np.repeat([0, 1, 2], len(time)), reasons=2)
    found = test(made)
    assert_allclose(found.score, 0, atol=1e-10)
    if found.degrees_of_freedom:
        assert found.degrees_of_freedom == 2
        assert_allclose(found.statistic, 0, atol=1e-10)
        assert_allclose(found.p_value, 1, atol=1e-6)


@both
@given(them=units(reasons=2, groups=3))
def test_the_unit_of_the_days_changes_nothing(test, them):
    time, reason, group = them
    one, other = (
        test(table(np.array(time) * x, reason, groups=group, reasons=2)) for x in (1, 24.0)
    )
    assert_array_equal(one.statistic, other.statistic)


@both
@given(them=units(reasons=2, groups=2))
def test_a_second_stratum_like_the_first_doubles_the_statistic(test, them):
    time, reason, group = them
    one = test(table(time, reason, groups=group, reasons=2, n_groups=2))
    strata = [0] * len(time) + [1] * len(time)
    two = test(table(time * 2, reason * 2, groups=group * 2, strata=strata, reasons=2, n_groups=2))
    assert_allclose(two.statistic, 2 * one.statistic, rtol=1e-9)
    assert_allclose(two.covariance, 2 * one.covariance, atol=1e-12)


@both
def test_strata_keep_groups_apart(test):
    # Groups 0 and 1 met in one stratum, 2 and 3 in the other: two comparisons, not three.
    day, n, d = [1, 2] * 4, [9, 6] * 4, [2, 1, 1, 3, 3, 1, 1, 1]
    c = np.array([1, 5, 2, 3, 0, 5, 2, 5])
    found = test(
        stats.at_risk(
            day, n, d, c, groups=[0, 0, 1, 1, 2, 2, 3, 3], strata=[0, 0, 0, 0, 1, 1, 1, 1]
        )
    )
    assert found.degrees_of_freedom == 2
    pairs = [
        test(stats.at_risk(day[:4], n[:4], d[s], c[s], groups=[0, 0, 1, 1]))
        for s in (slice(4), slice(4, 8))
    ]
    assert_allclose(found.statistic, sum(pair.statistic for pair in pairs))


@given(units(reasons=2, groups=3))
def test_a_group_against_the_rest_is_the_test_of_two_groups(them):
    time, reason, group = them
    whole = stats.log_rank(table(time, reason, groups=group, reasons=2, n_groups=3))
    for one in range(3):
        against = [int(g == one) for g in group]
        pair = stats.log_rank(table(time, reason, groups=against, reasons=2, n_groups=2))
        if pair.degrees_of_freedom:
            assert_allclose(whole.group_p_value[one], pair.p_value, rtol=1e-7)
            assert_allclose(pair.group_p_value, pair.p_value, rtol=1e-7)
        else:
            assert np.isnan(whole.group_p_value[one]) and np.isnan(pair.p_value)


@given(units(groups=3))
def test_with_one_reason_grays_score_is_that_of_the_log_rank_test(them):
    time, reason, group = them
    made = table(time, reason, groups=group, n_groups=3)
    assert_allclose(stats.gray_test(made).score, stats.log_rank(made).score, atol=1e-12)


@given(units(reasons=2, groups=2, censored=False))
def test_without_censoring_grays_score_keeps_other_events_at_risk(them):
    # The subdistribution: a unit with another event is one never to have this one.
    time, reason, group = them
    never = [t if r == 1 else 99 for t, r in zip(time, reason, strict=True)]
    as_if = table(never, [r == 1 for r in reason], groups=group, n_groups=2)
    made = table(time, reason, groups=group, reasons=2, n_groups=2)
    gone = np.asarray(stats.kaplan_meier(made).event_free == 0)
    # Once all of a group had an event nothing is left to weigh its others by.
    day = made.day[gone.any(axis=0)].min(initial=99)
    late = any(t > day and r == 1 for t, r in zip(time, reason, strict=True))
    if not late:
        assert_allclose(stats.gray_test(made).score, stats.log_rank(as_if).score, atol=1e-10)


def test_log_rank_by_hand():
    # Day 1: 1 of 3 against 1 of 2, day 2: 1 of 1 against 0 of 1. Expected in group 0:
    # 2 * 3/5 + 1 * 1/2 = 1.7; variance 2 * (3/5)(2/5)(3/4) + 1/4 = 0.61.
    found = stats.log_rank(
        stats.at_risk([1, 2, 1, 2], [3, 1, 2, 1], [1, 1, 1, 0], [1, 0, 0, 1], groups=[0, 0, 1, 1])
    )
    assert_allclose(found.score, [0.3, -0.3])
    assert_allclose(found.covariance, [[0.61, -0.61], [-0.61, 0.61]])
    assert_allclose(found.statistic, 0.09 / 0.61)
    assert_allclose(found.p_value, special.chdtrc(1, 0.09 / 0.61))


@both
def test_what_cannot_be_compared(test):
    nothing = stats.at_risk([], [], [], [], groups=[], n_groups=3)
    no_event = stats.at_risk([1, 1], [5, 4], [0, 0], [5, 4], groups=[0, 1])
    alone = stats.at_risk(
        [1, 2, 3, 5], [20, 10, 5, 2], [2, 3, 1, 1], [8, 2, 2, 1], groups=[1] * 4, n_groups=3
    )
    apart = stats.at_risk([1, 2], [5, 4], [5, 0], [0, 4], groups=[0, 2], n_groups=3)
    all_at_once = stats.at_risk([1, 1], [5, 4], [5, 4], [0, 0], groups=[0, 1])
    for made in (nothing, no_event, alone):
        found = test(made)
        assert found.degrees_of_freedom == 0
        assert np.isnan([found.statistic, found.p_value]).all()
        assert np.isnan(found.group_p_value).all()
        assert_array_equal(found.score, 0)
    # Group 1 has nobody: the other two are compared.
    found = test(apart)
    assert found.degrees_of_freedom == 1
    assert np.isnan(found.group_p_value[1]) and not np.isnan(found.group_p_value[[0, 2]]).any()
    assert test(all_at_once).score == pytest.approx([0, 0])


@both
def test_a_table_without_groups_is_refused(test):
    with pytest.raises(ValueError, match="needs a table with groups, got one without"):
        test(stats.at_risk([1], [5], [1], [4]))


def test_grays_test_refuses_a_reason_that_is_not_there():
    made = stats.at_risk([1, 1], [5, 4], [1, 1], [4, 3], groups=[0, 1])
    with pytest.raises(ValueError, match="reason must be a whole number from 0 to 0, got 1"):
        stats.gray_test(made, 1)
