"""The Bernoulli CUSUM of many groups at once against a walk from job to job."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

GROUPS = 4
JOBS = st.lists(
    st.tuples(st.booleans(), st.floats(0.001, 0.6), st.integers(0, GROUPS - 1)), max_size=60
)


def columns(jobs):
    failed = np.array([one for one, _, _ in jobs], float)
    risk = np.array([one for _, one, _ in jobs], float)
    return failed, risk, np.array([one for _, _, one in jobs], int)


def walk(scores, groups, threshold):
    """Sums after each job, then by group: first alarm, first job after the last zero before it."""
    sums, alarm, since = [], [-1] * GROUPS, [-1] * GROUPS
    value, risen = [0] * GROUPS, [None] * GROUPS
    for row, (score, group) in enumerate(zip(scores, groups, strict=True)):
        before = value[group]
        value[group] = max(0, before + score)
        if value[group] < 1e-9:
            value[group] = 0
        if before == 0 or risen[group] is None:
            risen[group] = row
        if value[group] == 0:
            risen[group] = None
        sums.append(value[group])
        if alarm[group] < 0 and value[group] >= threshold - 1e-9:
            alarm[group], since[group] = row, risen[group]
    return sums, alarm, since


def test_scores_by_hand():
    # Twice the odds of 1/10 is 2/11 : 2 * 0.1 / 1.1. Failing is 20/11 times as probable, not
    # failing (9/11) / (9/10) = 10/11 times.
    found = stats.cusum_scores([1, 0], 0.1)
    assert_allclose(found, np.log([20 / 11, 10 / 11]), rtol=1e-14)
    # A job that fails anyway tells nothing when it does.
    assert stats.cusum_scores(1, 1) == 0
    assert stats.cusum_scores(0, 0) == 0
    assert_allclose(stats.plain_cusum_scores([1, 0], 4), [0.75, -0.25])


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(0.01, 100).filter(lambda ratio: ratio != 1))
def test_in_control_the_likelihood_ratio_has_mean_one(risk, ratio):
    one, other = np.exp(stats.cusum_scores([1, 0], risk, odds_ratio=ratio))
    assert risk * one + (1 - risk) * other == pytest.approx(1)


def test_a_sum_by_hand():
    # m = 4, steps of a quarter: 3, 2, 1, 0, 0, 3, 6, 5
    failed = [1, 0, 0, 0, 0, 1, 1, 0]
    scores = stats.plain_cusum_scores(failed, 4)
    assert_allclose(stats.cusum(scores) * 4, [3, 2, 1, 0, 0, 3, 6, 5])
    found = stats.cusum_alarms(scores, 1.5)
    assert_array_equal([found.alarm, found.since, found.n_jobs], [[6], [5], [8]])
    assert_allclose([found.highest, found.last], [[1.5], [1.25]])
    none = stats.cusum_alarms(scores, 1.6)
    assert_array_equal([none.alarm, none.since], [[-1], [-1]])


def test_an_alarm_before_any_zero_counts_from_the_first_job():
    found = stats.cusum_alarms([1, 1, 1, 1], [2, 1], groups=[1, 0, 1, 0])
    assert_array_equal(found.alarm, [3, 0])
    assert_array_equal(found.since, [1, 0])


@settings(deadline=None)
@given(JOBS, st.floats(0.2, 4))
def test_groups_at_once_against_a_walk(jobs, threshold):
    failed, risk, groups = columns(jobs)
    scores = stats.cusum_scores(failed, risk)
    sums, alarm, since = walk(scores, groups, threshold)
    assert_allclose(stats.cusum(scores, groups=groups, n_groups=GROUPS), sums, atol=1e-9)
    found = stats.cusum_alarms(scores, threshold, groups=groups, n_groups=GROUPS)
    assert_array_equal(found.alarm, alarm)
    assert_array_equal(found.since, since)
    for group in range(GROUPS):
        own = [one for one, g in zip(sums, groups, strict=True) if g == group]
        assert found.highest[group] == pytest.approx(max(own, default=0), abs=1e-9)
        assert found.last[group] == pytest.approx(own[-1] if own else 0, abs=1e-9)
        assert found.n_jobs[group] == len(own)


@settings(deadline=None)
@given(st.lists(st.booleans(), max_size=200), st.integers(2, 61), st.integers(1, 100))
def test_on_a_lattice_zeros_and_thresholds_are_met_exactly(failed, m, steps):
    exact = [Fraction(int(one)) - Fraction(1, m) for one in failed]
    threshold = Fraction(steps, m)
    sums, alarm, since = walk(exact, [0] * len(failed), threshold)
    scores = stats.plain_cusum_scores(np.array(failed, float), m)
    assert_array_equal(stats.cusum(scores) == 0, [one == 0 for one in sums])
    found = stats.cusum_alarms(scores, float(threshold))
    assert (found.alarm[0], found.since[0]) == (alarm[0], since[0])


@settings(deadline=None)
@given(JOBS, st.permutations(range(GROUPS)), st.floats(0.2, 4))
def test_names_of_groups_do_not_matter(jobs, names, threshold):
    failed, risk, groups = columns(jobs)
    scores = stats.cusum_scores(failed, risk)
    straight = stats.cusum_alarms(scores, threshold, groups=groups, n_groups=GROUPS)
    renamed = stats.cusum_alarms(scores, threshold, groups=np.array(names)[groups], n_groups=GROUPS)
    for field in ("alarm", "since", "highest", "last", "n_jobs"):
        assert_array_equal(getattr(straight, field), getattr(renamed, field)[list(names)])


@settings(deadline=None)
@given(JOBS, st.floats(0.2, 4))
def test_runs_without_failure_may_come_as_one_row(jobs, threshold):
    failed, risk, groups = columns(jobs)
    scores = stats.cusum_scores(failed, risk)
    rows, place = [], {}
    for row, (one, score, group) in enumerate(zip(failed, scores, groups, strict=True)):
        if one:
            place[row] = len(rows)
            rows.append([score, group, True])
        else:
            last = next((r for r in reversed(rows) if r[1] == group), None)
            if last is None or last[2]:
                rows.append([score, group, False])
            else:
                last[0] += score
    short = stats.cusum_alarms(
        [r[0] for r in rows], threshold, groups=np.array([r[1] for r in rows], int), n_groups=GROUPS
    )
    whole = stats.cusum_alarms(scores, threshold, groups=groups, n_groups=GROUPS)
    assert_array_equal(short.alarm, [place.get(row, -1) for row in whole.alarm])
    assert_array_equal(short.since, [place.get(row, -1) for row in whole.since])
    assert_allclose(short.highest, whole.highest, atol=1e-9)
    assert_allclose(short.last, whole.last, atol=1e-9)


@settings(deadline=None)
@given(JOBS, st.floats(0.5, 20))
def test_scores_and_threshold_in_another_unit(jobs, unit):
    failed, risk, groups = columns(jobs)
    scores = stats.cusum_scores(failed, risk)
    one = stats.cusum(scores, groups=groups)
    assert_allclose(stats.cusum(scores * unit, groups=groups), one * unit, atol=1e-7)


def test_more_groups_than_sixteen_bits_hold():
    groups = np.arange(70_000)[::-1]
    found = stats.cusum_alarms(np.ones(70_000), 1, groups=groups)
    assert_array_equal(found.alarm, groups)


def test_nothing_at_all():
    assert len(stats.cusum([])) == 0
    found = stats.cusum_alarms([], 1, groups=[], n_groups=2)
    assert_array_equal(found.alarm, [-1, -1])
    assert_array_equal(found.highest, [0, 0])
    assert_array_equal(stats.cusum_alarms([], 1).alarm, [-1])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.cusum_scores([0.5], 0.1), "failures must be 0 or 1, got 0.5"),
        (lambda: stats.cusum_scores(1, 1.5), "expected must lie between 0 and 1, got 1.5"),
        (lambda: stats.cusum_scores(1, np.nan), "expected must be finite"),
        (
            lambda: stats.cusum_scores(1, 0.1, odds_ratio=1),
            "odds_ratio must be a positive number o",
        ),
        (lambda: stats.cusum_scores(1, 0.1, odds_ratio=-2), "odds_ratio must be a positive"),
        (lambda: stats.cusum_scores([1, 0], [0.1] * 3), "failures and expected must have shapes"),
        (lambda: stats.plain_cusum_scores(1, 1), "m must be a number above 1, got 1"),
        (lambda: stats.cusum([[1.0]]), "jobs must be a vector"),
        (lambda: stats.cusum([1.0], groups=[0, 1]), "groups must have one entry a job"),
        (lambda: stats.cusum([1.0], groups=[-1]), "groups must be whole numbers from 0, got -1"),
        (lambda: stats.cusum([1.0], groups=[0.5]), "groups must be whole numbers from 0, got 0.5"),
        (lambda: stats.cusum([1.0], groups=[3], n_groups=3), "n_groups must be at least 4, got 3"),
        (lambda: stats.cusum_alarms([1.0], 0), "threshold must be positive, got 0"),
        (lambda: stats.cusum_alarms([1.0], [1, 2]), "threshold must be one number or one a group"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
