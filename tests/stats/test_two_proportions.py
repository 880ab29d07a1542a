"""Behaviour of differences and ratios of two proportions: edges, refusals, what must hold."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import special

from fixstats import stats

DIFFERENCES, RATIOS = sorted(stats.DIFFERENCES), sorted(stats.RATIOS)
EVERY = [stats.DIFFERENCES[name] for name in DIFFERENCES] + [stats.RATIOS[n] for n in RATIOS]

levels = st.floats(0.5, 0.999)


@st.composite
def tables(draw, largest=500):
    n1, n2 = draw(st.integers(1, largest)), draw(st.integers(1, largest))
    return draw(st.integers(0, n1)), n1, draw(st.integers(0, n2)), n2


# --- edges -----------------------------------------------------------------------------------


@pytest.mark.parametrize("method", EVERY)
@pytest.mark.parametrize("counts", [(0, 0, 1, 3), (1, 3, 0, 0), (0, 0, 0, 0)])
def test_an_empty_group_gives_nothing(method, counts):
    found = method(*counts)
    assert np.isnan([found.estimate, found.low, found.high]).all()


@pytest.mark.parametrize("method", EVERY)
def test_scalars_give_scalars_and_arrays_broadcast(method):
    single = method(3, 40, 5, 30)
    assert np.ndim(single.estimate) == np.ndim(single.low) == np.ndim(single.high) == 0
    table = method([[0], [3]], [40, 50, 60], 5, 30)
    assert table.estimate.shape == table.low.shape == table.high.shape == (2, 3)
    assert_allclose([table.low[1, 0], table.high[1, 0]], [single.low, single.high], rtol=1e-13)
    empty = method([], [], [], [])
    assert empty.low.shape == (0,)
    mixed = method([3, 0], [40, 0], 5, 30)
    assert_array_equal(np.isnan(mixed.low), [False, True])


@pytest.mark.parametrize("method", DIFFERENCES)
@pytest.mark.parametrize("n", [1, 7, 1000, 10**9])
def test_differences_at_the_corners(method, n):
    none = stats.DIFFERENCES[method](0, n, 0, n)
    assert none.estimate == 0
    assert -1 < none.low < 0 < none.high < 1
    apart = stats.DIFFERENCES[method](n, n, 0, n)
    assert apart.estimate == apart.high == 1
    assert apart.low < 1
    against = stats.DIFFERENCES[method](0, n, n, n)
    assert against.estimate == against.low == -1
    assert against.high > -1


@pytest.mark.parametrize("method", RATIOS)
@pytest.mark.parametrize("n", [1, 7, 1000, 10**9])
def test_ratios_at_the_corners(method, n):
    ratio = stats.RATIOS[method]
    nothing = ratio(0, n, 0, n)
    assert np.isnan(nothing.estimate)
    assert (nothing.low, nothing.high) == (0, np.inf)
    never = ratio(0, n, 1, n)
    assert never.estimate == never.low == 0
    assert 0 < never.high < np.inf
    only = ratio(1, n, 0, n)
    assert only.estimate == only.high == np.inf
    assert 0 < only.low < np.inf
    every = ratio(n, n, n, n)
    assert every.estimate == 1
    assert 0 < every.low < 1 < every.high < np.inf


@pytest.mark.parametrize("method", EVERY)
def test_counts_that_are_not_whole_lie_between_their_neighbours(method):
    around = method([3, 3.4, 4], 40, 5, 30)
    assert np.all(np.diff(around.low) > 0)
    assert np.all(np.diff(around.high) > 0)


def test_effective_numbers_of_no_more_than_one_have_no_finite_correction():
    for method in (stats.miettinen_nurminen_difference, stats.miettinen_nurminen_ratio):
        found = method(0.1, 0.4, 0.2, 0.5)
        assert np.isnan([found.low, found.high]).all()


def test_the_tables_of_methods_cannot_be_changed():
    for table in (stats.DIFFERENCES, stats.RATIOS, stats.TESTS):
        with pytest.raises(TypeError, match="item assignment"):
            table["wald"] = stats.newcombe_difference


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize("method", EVERY)
@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ((5, 3, 1, 2), r"failures must not be greater than opportunities, got 5 of 3"),
        (
            (1, 3, 5, 2),
            r"baseline_failures must not be greater than baseline_opportunities, got 5 of 2",
        ),
        ((1, 3, -1, 2), r"baseline_failures must not be negative, got -1"),
        ((np.nan, 3, 1, 2), r"failures must be finite numbers, got nan"),
        ((1, 3, 1, "many"), r"baseline_opportunities must be numbers, got 'many'"),
        (([1, 2], [3, 3], [1, 2, 3], 4), r"must have shapes that fit, got \(2,\) and \(3,\)"),
    ],
)
def test_impossible_counts_are_refused(method, counts, words):
    with pytest.raises(ValueError, match=words):
        method(*counts)


@pytest.mark.parametrize("method", EVERY)
@pytest.mark.parametrize("level", [0, 1, 95, np.nan, "high"])
def test_impossible_levels_are_refused(method, level):
    with pytest.raises(ValueError, match="confidence_level must be a number between 0 and 1, got"):
        method(1, 3, 1, 4, confidence_level=level)


# --- what must always hold -------------------------------------------------------------------


@pytest.mark.parametrize("method", DIFFERENCES)
@settings(deadline=None)
@given(table=tables(), level=levels)
def test_swapping_groups_turns_a_difference_round(method, table, level):
    x1, n1, x2, n2 = table
    there = stats.DIFFERENCES[method](x1, n1, x2, n2, confidence_level=level)
    back = stats.DIFFERENCES[method](x2, n2, x1, n1, confidence_level=level)
    assert_allclose([there.low, there.high], [-back.high, -back.low], atol=2e-12)


@pytest.mark.parametrize("method", DIFFERENCES)
@settings(deadline=None)
@given(table=tables(), level=levels)
def test_counting_successes_turns_a_difference_round(method, table, level):
    x1, n1, x2, n2 = table
    failed = stats.DIFFERENCES[method](x1, n1, x2, n2, confidence_level=level)
    worked = stats.DIFFERENCES[method](n1 - x1, n1, n2 - x2, n2, confidence_level=level)
    assert_allclose([failed.low, failed.high], [-worked.high, -worked.low], atol=2e-12)


@pytest.mark.parametrize("method", RATIOS)
@settings(deadline=None)
@given(table=tables(), level=levels)
def test_swapping_groups_inverts_a_ratio(method, table, level):
    x1, n1, x2, n2 = table
    there = stats.RATIOS[method](x1, n1, x2, n2, confidence_level=level)
    back = stats.RATIOS[method](x2, n2, x1, n1, confidence_level=level)
    with np.errstate(divide="ignore"):
        inverse = [1 / back.high, 1 / back.low]
    assert_allclose([there.low, there.high], inverse, rtol=1e-9)


@pytest.mark.parametrize("method", EVERY)
@settings(deadline=None)
@given(table=tables(), two_levels=st.tuples(levels, levels))
def test_a_higher_level_contains_a_lower_one_and_both_the_estimate(method, table, two_levels):
    lower, higher = sorted(two_levels)
    inner = method(*table, confidence_level=lower)
    outer = method(*table, confidence_level=higher)
    assert outer.low <= inner.low + 1e-9 * abs(inner.low)
    assert inner.high <= outer.high + 1e-9 * abs(outer.high)
    if not np.isnan(inner.estimate):
        assert inner.low <= inner.estimate + 1e-12
        assert inner.estimate <= inner.high + 1e-12


@pytest.mark.parametrize("method", EVERY)
@settings(deadline=None, max_examples=40)
@given(n1=st.integers(1, 120), table=tables(120), level=levels)
def test_more_failures_of_the_option_never_move_an_end_down(method, n1, table, level):
    _, _, x2, n2 = table
    found = method(np.arange(n1 + 1), n1, x2, n2, confidence_level=level)
    with np.errstate(invalid="ignore"):
        for ends in (found.low, found.high):
            steps = np.diff(ends[np.isfinite(ends)])
            assert np.all(steps >= -1e-10 * np.abs(ends[np.isfinite(ends)][1:]) - 1e-12)


@settings(deadline=None)
@given(table=tables(), level=levels)
def test_the_finite_factor_makes_the_ratio_interval_wider(table, level):
    plain = stats.koopman_ratio(*table, confidence_level=level)
    wider = stats.miettinen_nurminen_ratio(*table, confidence_level=level)
    assert wider.low <= plain.low * (1 + 1e-12)
    assert plain.high <= wider.high * (1 + 1e-12)


# --- putting the answer back -----------------------------------------------------------------


@settings(deadline=None)
@given(table=tables(), level=levels)
def test_the_score_test_of_no_difference_agrees_with_both_intervals(table, level):
    # At a difference of 0, as at a ratio of 1, the most likely common rate is the pooled one.
    x1, n1, x2, n2 = table
    pooled = (x1 + x2) / (n1 + n2)
    variance = pooled * (1 - pooled) * (1 / n1 + 1 / n2) * (n1 + n2) / (n1 + n2 - 1)
    distance = abs(x1 / n1 - x2 / n2)
    z = special.ndtri((1 + level) / 2)
    if variance == 0 or abs(distance - z * np.sqrt(variance)) < 1e-9:
        return
    rejected = distance > z * np.sqrt(variance)
    difference = stats.miettinen_nurminen_difference(*table, confidence_level=level)
    ratio = stats.miettinen_nurminen_ratio(*table, confidence_level=level)
    assert rejected == (difference.low > 0 or difference.high < 0)
    assert rejected == (ratio.low > 1 or ratio.high < 1)


@settings(deadline=None)
@given(table=tables(), level=levels)
def test_newcombe_ends_are_the_squares_of_the_wilson_distances_added(table, level):
    x1, n1, x2, n2 = table
    one, two = (stats.wilson(x, n, confidence_level=level) for x, n in ((x1, n1), (x2, n2)))
    found = stats.newcombe_difference(*table, confidence_level=level)
    below, above = found.estimate - found.low, found.high - found.estimate
    assert_allclose(below**2, (x1 / n1 - one.low) ** 2 + (two.high - x2 / n2) ** 2, atol=1e-14)
    assert_allclose(above**2, (one.high - x1 / n1) ** 2 + (x2 / n2 - two.low) ** 2, atol=1e-14)


# --- quick to start --------------------------------------------------------------------------


def test_what_has_a_closed_form_does_not_load_scipy():
    program = """
import sys
from fixstats import stats
rows = ([1, 2], [9, 9], [3, 1], [8, 7])
stats.newcombe_difference(*rows), stats.holm([0.1, 0.2]), stats.benjamini_hochberg([0.1])
stats.sato_difference(*rows), stats.greenland_robins_difference(*rows)
stats.mantel_haenszel_ratio(*rows), stats.mantel_haenszel_odds_ratio(*rows)
stats.standardised_rate([1, 2], [9, 9], [1, 1]), stats.standardised_difference(*rows, [1, 1])
stats.hidden_cause_needed(2), stats.hidden_cause_needed_for_limit(2, 3)
stats.firth([[1, 0], [1, 1]], [1, 2], [9, 9])
heavy = {"scipy", "duckdb", "polars", "altair", "pandas"}
print(sorted(heavy & {name.partition(".")[0] for name in sys.modules}))
"""
    result = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert result.stdout.strip() == "[]"
