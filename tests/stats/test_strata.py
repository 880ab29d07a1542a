"""Behaviour of effects, tests and standardised rates over strata: edges, refusals, what holds."""

from dataclasses import astuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

DIFFERENCES = [stats.sato_difference, stats.greenland_robins_difference]
LOGS = [stats.mantel_haenszel_ratio, stats.mantel_haenszel_odds_ratio]
EFFECTS = [*DIFFERENCES, *LOGS]
CMH = [stats.cochran_mantel_haenszel, stats.cochran_mantel_haenszel_cc]
HOMOGENEITY = [stats.breslow_day, stats.tarone]
TESTS = [*CMH, *HOMOGENEITY]


@st.composite
def strata(draw, least=1, most=8, largest=60):
    rows = draw(st.integers(least, most))
    columns = []
    for _ in range(2):
        n = [draw(st.integers(0, largest)) for _ in range(rows)]
        columns += [[draw(st.integers(0, size)) for size in n], n]
    return tuple(np.array(column) for column in columns)


@st.composite
def filled_strata(draw):
    x1, n1, x2, n2 = draw(strata(least=2))
    return x1, n1 + 2, x2, n2 + 3


def _numbers(result):
    return np.array(astuple(result), dtype=float)


# --- edges -----------------------------------------------------------------------------------


@pytest.mark.parametrize("method", EFFECTS)
@pytest.mark.parametrize("rows", [0, 1, 3])
def test_strata_that_hold_nothing(method, rows):
    found = method([0] * rows, [0] * rows, [1] * rows, [4] * rows)
    assert np.isnan([found.estimate, found.low, found.high, found.variance]).all()
    assert (found.strata, found.left_out) == (0, rows)


@pytest.mark.parametrize("test", TESTS)
@pytest.mark.parametrize("rows", [0, 1, 3])
def test_strata_that_allow_no_test(test, rows):
    found = test([0] * rows, [5] * rows, [0] * rows, [4] * rows)
    assert np.isnan([found.statistic, found.p_value]).all()
    assert (found.degrees_of_freedom, found.strata, found.left_out) == (0, 0, rows)


@pytest.mark.parametrize("method", DIFFERENCES)
def test_no_failure_anywhere_is_no_certainty(method):
    found = method([0, 0], [10, 20], [0, 0], [10, 30])
    assert found.estimate == 0
    assert np.isnan([found.low, found.high, found.variance]).all()
    assert found.strata == 2


@pytest.mark.parametrize("method", LOGS)
def test_one_side_without_failures_has_a_ratio_and_no_interval(method):
    never = method([0, 0], [10, 20], [1, 2], [10, 30])
    only = method([1, 2], [10, 30], [0, 0], [10, 20])
    assert (never.estimate, only.estimate) == (0, np.inf)
    assert np.isnan([never.low, never.high, only.low, only.high]).all()


def test_strata_left_out_are_counted_by_what_they_say():
    # full, empty group, no failure, nothing but failures
    counts = ([1, 0, 0, 4], [5, 0, 7, 4], [3, 2, 0, 6], [8, 6, 4, 6])
    numbers = {method: method(*counts) for method in [*EFFECTS, *TESTS]}
    left_out = {method.__name__: found.left_out for method, found in numbers.items()}
    assert left_out == {
        "sato_difference": 1,
        "greenland_robins_difference": 1,
        "mantel_haenszel_ratio": 2,
        "mantel_haenszel_odds_ratio": 3,
        "cochran_mantel_haenszel": 3,
        "cochran_mantel_haenszel_cc": 3,
        "breslow_day": 3,
        "tarone": 3,
    }
    assert all(found.strata + found.left_out == 4 for found in numbers.values())


@pytest.mark.parametrize("test", HOMOGENEITY)
def test_homogeneity_needs_two_strata_and_a_common_odds_ratio(test):
    alone = test([3], [9], [5], [11])
    assert (np.isnan(alone.p_value), alone.degrees_of_freedom, alone.strata) == (True, 0, 1)
    infinite = test([3, 4], [9, 9], [0, 0], [11, 12])
    assert np.isnan(infinite.p_value)


def test_the_correction_takes_off_no_more_than_there_is():
    found = stats.cochran_mantel_haenszel_cc([3, 4], [10, 10], [3, 4], [10, 11])
    assert (found.statistic, found.p_value) == (0, 1)


def test_a_thousand_million_opportunities():
    n = 10**9
    for method in DIFFERENCES:
        found = method([1, 5], [n, n], [3, 5], [n, n])
        assert_allclose(found.estimate, -1e-9)
        assert_allclose(found.variance, 14 / (4 * float(n) ** 2), rtol=1e-6)
    ratio = stats.mantel_haenszel_ratio([1, 5], [n, n], [3, 5], [n, n])
    odds = stats.mantel_haenszel_odds_ratio([1, 5], [n, n], [3, 5], [n, n])
    assert_allclose([odds.estimate, odds.low, odds.high], [ratio.estimate, ratio.low, ratio.high])
    assert_allclose(ratio.estimate, 6 / 8)


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize("method", [*EFFECTS, *TESTS])
def test_refusals(method):
    good = ([1, 2], [5, 5], [1, 1], [4, 4])
    with pytest.raises(ValueError, match="baseline_failures must not be greater"):
        method([1, 2], [5, 5], [1, 9], [4, 4])
    with pytest.raises(
        ValueError, match=r"strata must be arrays of one dimension, got shape \(1, 2\)"
    ):
        method(*([column] for column in good))
    with pytest.raises(ValueError, match=r"groups must have one entry a stratum, got shape \(3,\)"):
        method(*good, groups=[0, 1, 1])
    with pytest.raises(
        ValueError, match=r"groups must be whole numbers from 0, got -1 at position 1"
    ):
        method(*good, groups=[0, -1])
    with pytest.raises(ValueError, match=r"groups must be whole numbers from 0, got 0\.5"):
        method(*good, groups=[0.5, 1])
    with pytest.raises(ValueError, match="n_groups must be at least 2, got 1"):
        method(*good, groups=[0, 1], n_groups=1)


@pytest.mark.parametrize("method", EFFECTS)
def test_impossible_levels_are_refused(method):
    with pytest.raises(ValueError, match="confidence_level must be a number between 0 and 1"):
        method([1], [5], [1], [4], confidence_level=95)


# --- what must always hold -------------------------------------------------------------------


@pytest.mark.parametrize("method", [*EFFECTS, *TESTS])
@settings(deadline=None)
@given(table=strata(), seed=st.integers(0, 99))
def test_the_order_of_strata_does_not_matter(method, table, seed):
    order = np.random.default_rng(seed).permutation(len(table[0]))
    here, there = method(*table), method(*(column[order] for column in table))
    assert_allclose(_numbers(here), _numbers(there), rtol=1e-8, atol=1e-12)


@pytest.mark.parametrize("method", [*EFFECTS, *TESTS])
@settings(deadline=None)
@given(table=strata(most=12), seed=st.integers(0, 99))
def test_many_comparisons_at_once_are_each_of_them_alone(method, table, seed):
    groups = np.random.default_rng(seed).integers(0, 4, len(table[0]))
    together = method(*table, groups=groups, n_groups=5)
    for number in range(5):
        alone = method(*(column[groups == number] for column in table))
        one = [values[number] for values in astuple(together)]
        assert_allclose(np.array(one, float), _numbers(alone), rtol=1e-8, atol=1e-12)


@pytest.mark.parametrize("method", DIFFERENCES)
@given(table=strata())
def test_swapping_groups_turns_a_difference_round(method, table):
    x1, n1, x2, n2 = table
    there, back = method(x1, n1, x2, n2), method(x2, n2, x1, n1)
    assert_allclose(
        [there.estimate, there.low, there.high], [-back.estimate, -back.high, -back.low], atol=1e-12
    )


@pytest.mark.parametrize("method", LOGS)
@given(table=strata())
def test_swapping_groups_inverts_a_ratio(method, table):
    x1, n1, x2, n2 = table
    there, back = method(x1, n1, x2, n2), method(x2, n2, x1, n1)
    with np.errstate(divide="ignore"):
        inverse = [1 / back.estimate, 1 / back.high, 1 / back.low]
    assert_allclose([there.estimate, there.low, there.high], inverse, rtol=1e-9)


@pytest.mark.parametrize("test", TESTS)
@settings(deadline=None)
@given(table=strata())
def test_labels_do_not_matter_to_a_test(test, table):
    x1, n1, x2, n2 = table
    here = _numbers(test(x1, n1, x2, n2))
    for other in (test(x2, n2, x1, n1), test(n1 - x1, n1, n2 - x2, n2)):
        assert_allclose(_numbers(other), here, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("method", EFFECTS)
@given(table=filled_strata(), two_levels=st.tuples(st.floats(0.5, 0.99), st.floats(0.5, 0.99)))
def test_a_higher_level_contains_a_lower_one_and_both_the_estimate(method, table, two_levels):
    lower, higher = sorted(two_levels)
    inner = method(*table, confidence_level=lower)
    outer = method(*table, confidence_level=higher)
    if np.isfinite(inner.low):
        assert outer.low <= inner.low <= inner.estimate <= inner.high <= outer.high


@given(x1=st.integers(1, 29), x2=st.integers(1, 39))
def test_one_stratum_is_the_crude_table(x1, x2):
    n1, n2 = 30, 40
    p1, p2 = x1 / n1, x2 / n2
    crude = stats.greenland_robins_difference([x1], [n1], [x2], [n2])
    assert_allclose(crude.estimate, p1 - p2, atol=1e-15)
    assert_allclose(crude.variance, p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
    assert_allclose(stats.sato_difference([x1], [n1], [x2], [n2]).estimate, p1 - p2, atol=1e-15)
    ratio = stats.mantel_haenszel_ratio([x1], [n1], [x2], [n2])
    assert_allclose(ratio.estimate, p1 / p2)
    assert_allclose(ratio.variance, 1 / x1 - 1 / n1 + 1 / x2 - 1 / n2)
    odds = stats.mantel_haenszel_odds_ratio([x1], [n1], [x2], [n2])
    assert_allclose(odds.estimate, p1 / (1 - p1) / (p2 / (1 - p2)))
    # Woolf's variance, to which that of Robins, Breslow and Greenland shrinks.
    assert_allclose(odds.variance, 1 / x1 + 1 / (n1 - x1) + 1 / x2 + 1 / (n2 - x2))


@given(table=filled_strata())
def test_an_empty_stratum_changes_nothing_but_its_count(table):
    more = tuple(np.append(c, extra) for c, extra in zip(table, (2, 5, 0, 0), strict=True))
    for method in [*EFFECTS, *TESTS]:
        here, there = method(*table), method(*more)
        assert_allclose(_numbers(there)[:-1], _numbers(here)[:-1], rtol=1e-12)
        assert there.left_out == here.left_out + 1


# --- standardised rates ----------------------------------------------------------------------


def test_one_stratum_is_wilson_and_newcombe():
    rate = stats.standardised_rate([3], [40], [7.0])
    wilson = stats.wilson(3, 40)
    assert_allclose([rate.estimate, rate.low, rate.high], [3 / 40, wilson.low, wilson.high])
    difference = stats.standardised_difference([3], [40], [5], [30], [7.0])
    newcombe = stats.newcombe_difference(3, 40, 5, 30)
    assert_allclose(
        [difference.estimate, difference.low, difference.high],
        [newcombe.estimate, newcombe.low, newcombe.high],
    )


def test_no_failure_anywhere_leaves_an_interval():
    rate = stats.standardised_rate([0, 0], [10, 20], [1, 1])
    assert (rate.estimate, rate.low) == (0, 0)
    assert rate.high > 0
    difference = stats.standardised_difference([0, 0], [10, 20], [0, 0], [9, 9], [1, 1])
    assert difference.low < 0 < difference.high


def test_strata_without_jobs_are_left_out_and_said():
    found = stats.standardised_difference([1, 0, 2], [5, 0, 9], [1, 1, 3], [6, 4, 9], [5, 3, 2])
    assert (found.strata, found.left_out) == (2, 1)
    assert_allclose(found.share, 0.7)
    alone = stats.standardised_difference([1, 2], [5, 9], [1, 3], [6, 9], [5, 2])
    assert_allclose(_numbers(found)[:3], _numbers(alone)[:3])
    nothing = stats.standardised_rate([0], [0], [5])
    assert np.isnan([nothing.estimate, nothing.low, nothing.high]).all()
    assert nothing.share == 0
    weightless = stats.standardised_rate([1], [4], [0])
    assert np.isnan([weightless.estimate, weightless.share]).all()


def test_weights_are_refused():
    with pytest.raises(ValueError, match=r"weights must not be negative, got -1 at position 1"):
        stats.standardised_rate([1, 1], [4, 4], [1, -1])
    with pytest.raises(
        ValueError, match=r"weights must have one entry a stratum, got shape \(3,\)"
    ):
        stats.standardised_rate([1, 1], [4, 4], [1, 1, 1])


@given(table=filled_strata(), scale=st.floats(0.01, 100), seed=st.integers(0, 99))
def test_standardised_rates_hold(table, scale, seed):
    x1, n1, x2, n2 = table
    random = np.random.default_rng(seed)
    weights, order = random.uniform(0.1, 9, len(x1)), random.permutation(len(x1))
    one = stats.standardised_rate(x1, n1, weights)
    assert 0 <= one.low <= one.estimate + 1e-15
    assert one.estimate <= one.high + 1e-15
    assert one.high <= 1 + 1e-15
    again = stats.standardised_rate(x1[order], n1[order], scale * weights[order])
    assert_allclose(_numbers(again), _numbers(one), rtol=1e-9, atol=1e-15)
    mirrored = stats.standardised_rate(n1 - x1, n1, weights)
    assert_allclose([mirrored.low, mirrored.high], [1 - one.high, 1 - one.low], atol=1e-12)
    other = stats.standardised_rate(x2, n2, weights)
    both = stats.standardised_difference(x1, n1, x2, n2, weights)
    assert_allclose(both.estimate, one.estimate - other.estimate, atol=1e-12)
    narrow = stats.standardised_difference(x1, n1, x2, n2, weights, confidence_level=0.8)
    assert both.low <= narrow.low <= narrow.high <= both.high


def test_standardised_many_at_once():
    found = stats.standardised_rate([1, 2, 0], [5, 9, 4], [1, 2, 3], groups=[1, 1, 3])
    assert_array_equal(np.isnan(found.estimate), [True, False, True, False])
    alone = stats.standardised_rate([1, 2], [5, 9], [1, 2])
    assert_allclose([found.low[1], found.high[1]], [alone.low, alone.high])
    assert_array_equal(found.strata, [0, 2, 0, 1])
