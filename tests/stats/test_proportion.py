"""Behaviour of the intervals for one proportion: edges, refusals, and what must always hold."""

import subprocess
import sys
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import special

from fixstats import stats

METHODS = sorted(stats.INTERVALS)
CONTAINING = ["wilson", "wilson-cc", "clopper-pearson", "agresti-coull"]

levels = st.floats(0.5, 0.999)


@st.composite
def counts(draw, largest=2000):
    opportunities = draw(st.integers(1, largest))
    return draw(st.integers(0, opportunities)), opportunities


# --- edges -----------------------------------------------------------------------------------


@pytest.mark.parametrize("method", METHODS)
def test_no_opportunities_give_no_interval(method):
    nothing = stats.interval(0, 0, method=method)
    assert np.isnan(nothing.low)
    assert np.isnan(nothing.high)
    assert np.isnan(stats.upper_limit(0, 0, method=method))
    assert np.isnan(stats.lower_limit(0, 0, method=method))


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("opportunities", [1, 2, 7, 20, 1000, 10**9])
def test_no_failures_start_at_exactly_0_and_all_failures_end_at_exactly_1(method, opportunities):
    none = stats.interval(0, opportunities, method=method)
    every = stats.interval(opportunities, opportunities, method=method)
    assert none.low == 0
    assert 0 < none.high < 1
    assert every.high == 1
    assert 0 < every.low < 1
    assert stats.lower_limit(0, opportunities, method=method) == 0
    assert stats.upper_limit(opportunities, opportunities, method=method) == 1


@pytest.mark.parametrize("method", METHODS)
def test_a_thousand_million_opportunities_keep_their_digits(method):
    few = stats.interval(1, 10**9, method=method)
    assert few.low >= 0
    assert 2e-9 < few.high < 7e-9
    # Poisson limit: a tenth of the failures in a tenth of the jobs changes nothing visible.
    fewer_jobs = stats.interval(1, 10**8, method=method)
    assert_allclose(fewer_jobs.high, 10 * few.high, rtol=1e-7)


@pytest.mark.parametrize("method", METHODS)
def test_scalars_give_scalars_and_arrays_broadcast(method):
    single = stats.interval(3, 40, method=method)
    assert np.ndim(single.low) == np.ndim(single.high) == 0
    table = stats.interval(np.array([[0], [3]]), [40, 50, 60], method=method)
    assert table.low.shape == table.high.shape == (2, 3)
    assert table.low[1, 0] == single.low
    assert table.high[1, 0] == single.high
    empty = stats.interval([], [], method=method)
    assert empty.low.shape == (0,)


@pytest.mark.parametrize("method", METHODS)
def test_counts_that_are_not_whole_lie_between_their_neighbours(method):
    around = stats.interval([3, 3.4, 4], 40, method=method)
    assert np.all(np.diff(around.low) > 0)
    assert np.all(np.diff(around.high) > 0)


def test_the_continuity_correction_stops_at_the_ends_of_the_scale():
    assert stats.wilson_cc(0.3, 20).low == 0
    assert stats.wilson_cc(19.7, 20).high == 1


@pytest.mark.parametrize("method", METHODS)
def test_each_name_is_the_function_of_that_name(method):
    function = getattr(stats, method.replace("-", "_"))
    assert function(3, 40, confidence_level=0.9) == stats.interval(
        3, 40, confidence_level=0.9, method=method
    )


@pytest.mark.parametrize("method", METHODS)
def test_a_one_sided_limit_is_the_end_of_the_interval_with_twice_the_error(method):
    k, n = np.array([0, 1, 5, 39, 40]), 40
    two_sided = stats.interval(k, n, confidence_level=0.9, method=method)
    assert_allclose(
        stats.upper_limit(k, n, confidence_level=0.95, method=method), two_sided.high, rtol=1e-12
    )
    assert_allclose(
        stats.lower_limit(k, n, confidence_level=0.95, method=method), two_sided.low, rtol=1e-12
    )


def test_the_table_of_methods_cannot_be_changed():
    with pytest.raises(TypeError, match="item assignment"):
        stats.INTERVALS["wald"] = stats.wilson  # type: ignore[index]


# --- at_most and one_in ----------------------------------------------------------------------


@pytest.mark.parametrize("opportunities", [1, 14, 300, 10**9, 10**15])
def test_at_most_puts_the_answer_back(opportunities):
    limit = stats.at_most(opportunities, confidence_level=0.95)
    assert_allclose(np.exp(opportunities * np.log1p(-limit)), 0.05, rtol=1e-12)


def test_at_most_is_the_exact_upper_limit_at_no_failures():
    n = np.array([1, 2, 30, 1000, 10**9])
    assert_allclose(stats.at_most(n), stats.upper_limit(0, n), rtol=1e-12)
    assert np.isnan(stats.at_most(0))
    assert np.ndim(stats.at_most(14)) == 0


def test_one_in():
    assert stats.one_in(0.03125) == 32
    assert_array_equal(stats.one_in([0.0, 0.25, 1.0, np.nan]), [np.nan, 4, 1, np.nan])


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(
    ("failures", "opportunities", "words"),
    [
        (5, 3, r"failures must not be greater than opportunities, got 5 of 3"),
        ([1, 5], [3, 4], r"failures must not be greater than opportunities, got 5 of 4"),
        (-1, 3, r"failures must not be negative, got -1"),
        (0, -3, r"opportunities must not be negative, got -3"),
        (np.nan, 3, r"failures must be finite numbers, got nan"),
        ([0, 1, None], 3, r"failures must be finite numbers, got nan at position 2"),
        (1, np.inf, r"opportunities must be finite numbers, got inf"),
        ("three", 3, r"failures must be numbers, got 'three'"),
        (1, "many", r"opportunities must be numbers, got 'many'"),
        ([1, 2, 3], [4, 5], r"must have shapes that fit, got \(3,\) and \(2,\)"),
    ],
)
def test_impossible_counts_are_refused(method, failures, opportunities, words):
    with pytest.raises(ValueError, match=words):
        stats.interval(failures, opportunities, method=method)


@pytest.mark.parametrize("level", [0, 1, -0.5, 95, np.nan, "high", None, [0.9, 0.95]])
def test_impossible_levels_are_refused(level):
    words = "confidence_level must be a number between 0 and 1, got"
    for function in stats.INTERVALS.values():
        with pytest.raises(ValueError, match=words):
            function(1, 3, confidence_level=level)
    with pytest.raises(ValueError, match=words):
        stats.at_most(3, confidence_level=level)


@pytest.mark.parametrize("limit", [stats.upper_limit, stats.lower_limit])
def test_a_one_sided_limit_needs_a_level_above_one_half(limit):
    with pytest.raises(ValueError, match=r"between 0\.5 and 1, got 0\.5"):
        limit(1, 3, confidence_level=0.5)


@pytest.mark.parametrize("ask", [stats.interval, stats.upper_limit, stats.lower_limit])
def test_an_unknown_method_is_refused_with_the_choices(ask):
    with pytest.raises(ValueError, match=r"method must be one of wilson, .*mid-p.*, got 'wald'"):
        ask(1, 3, method="wald")


def test_other_impossible_arguments_are_refused():
    with pytest.raises(ValueError, match="opportunities must not be negative, got -1"):
        stats.at_most(-1)
    with pytest.raises(ValueError, match=r"rate must lie between 0 and 1, got 1\.5 at position 1"):
        stats.one_in([0.5, 1.5])
    with pytest.raises(ValueError, match="rate must be numbers, got 'often'"):
        stats.one_in("often")


# --- what must always hold -------------------------------------------------------------------


@pytest.mark.parametrize("method", METHODS)
@given(opportunities=st.integers(1, 300), level=levels)
def test_more_failures_never_move_an_end_down(method, opportunities, level):
    ends = stats.interval(
        np.arange(opportunities + 1), opportunities, confidence_level=level, method=method
    )
    assert np.all(np.diff(ends.low) >= -1e-14)
    assert np.all(np.diff(ends.high) >= -1e-14)
    assert np.all(ends.low <= ends.high)


@pytest.mark.parametrize("method", METHODS)
@given(pair=counts(), level=levels)
def test_counting_successes_instead_mirrors_the_interval(method, pair, level):
    k, n = pair
    failed = stats.interval(k, n, confidence_level=level, method=method)
    worked = stats.interval(n - k, n, confidence_level=level, method=method)
    assert_allclose([failed.low, failed.high], [1 - worked.high, 1 - worked.low], atol=1e-12)


@pytest.mark.parametrize("method", METHODS)
@given(pair=counts(), two_levels=st.tuples(levels, levels))
def test_a_higher_level_contains_a_lower_one(method, pair, two_levels):
    lower, higher = sorted(two_levels)
    inner = stats.interval(*pair, confidence_level=lower, method=method)
    outer = stats.interval(*pair, confidence_level=higher, method=method)
    assert outer.low <= inner.low + 1e-14
    assert inner.high <= outer.high + 1e-14


@pytest.mark.parametrize("method", CONTAINING)
@given(pair=counts(), level=st.floats(0.01, 0.999))
def test_the_observed_rate_is_inside(method, pair, level):
    k, n = pair
    ends = stats.interval(k, n, confidence_level=level, method=method)
    assert ends.low - 1e-14 <= k / n <= ends.high + 1e-14


@pytest.mark.parametrize("method", ["jeffreys", "mid-p"])
def test_the_observed_rate_is_inside_the_other_two_at_95_percent(method):
    n = np.arange(1, 121)[:, None]
    k = np.minimum(np.arange(121), n)
    ends = stats.interval(k, n, method=method)
    assert np.all((ends.low <= k / n) & (k / n <= ends.high))


@given(pair=counts(), level=levels)
def test_agresti_coull_and_the_corrected_interval_contain_wilson(pair, level):
    inner = stats.wilson(*pair, confidence_level=level)
    for outer in (
        stats.agresti_coull(*pair, confidence_level=level),
        stats.wilson_cc(*pair, confidence_level=level),
    ):
        assert outer.low <= inner.low + 1e-14
        assert inner.high <= outer.high + 1e-14


@given(pair=counts(), level=levels)
def test_the_exact_interval_contains_mid_p_and_jeffreys(pair, level):
    outer = stats.clopper_pearson(*pair, confidence_level=level)
    for inner in (
        stats.mid_p(*pair, confidence_level=level),
        stats.jeffreys(*pair, confidence_level=level),
    ):
        assert outer.low <= inner.low + 1e-14
        assert inner.high <= outer.high + 1e-14


# --- putting the answer back -----------------------------------------------------------------


@given(pair=counts(), level=levels)
def test_wilson_ends_are_where_the_score_test_just_rejects(pair, level):
    k, n = pair
    z = special.ndtri((1 + level) / 2)
    ends = stats.wilson(k, n, confidence_level=level)
    for end in (ends.low, ends.high):
        if 0 < end < 1:
            score = abs(k - n * end) / np.sqrt(n * end * (1 - end))
            assert_allclose(score, z, rtol=1e-8)


@given(pair=counts(), level=levels)
def test_exact_ends_reproduce_the_binomial_tails(pair, level):
    k, n = pair
    tail = (1 - level) / 2
    ends = stats.clopper_pearson(k, n, confidence_level=level)
    if k > 0:
        assert_allclose(special.bdtrc(k - 1, n, ends.low), tail, rtol=1e-9)
    if k < n:
        assert_allclose(special.bdtr(k, n, ends.high), tail, rtol=1e-9)


@given(pair=counts(), level=levels)
def test_mid_p_ends_reproduce_the_tails_with_half_of_what_was_seen(pair, level):
    k, n = pair
    tail = (1 - level) / 2
    ends = stats.mid_p(k, n, confidence_level=level)
    if k > 0:
        beyond = special.bdtrc(k, n, ends.low)
        assert_allclose((special.bdtrc(k - 1, n, ends.low) + beyond) / 2, tail, rtol=1e-9)
    if k < n:
        below = special.bdtr(k - 1, n, ends.high) if k > 0 else 0.0
        assert_allclose((special.bdtr(k, n, ends.high) + below) / 2, tail, rtol=1e-9)


# --- the normal quantile ---------------------------------------------------------------------


def test_the_normal_quantile_of_the_standard_library_is_that_of_scipy():
    # `wilson` takes z from the standard library, to start without scipy. At no failures its
    # upper end is z² / (n + z²), which gives z back.
    tails = np.concatenate([np.geomspace(1e-12, 0.1, 60), np.linspace(0.1, 0.499, 60)])
    ends = [float(stats.wilson(0, 1, confidence_level=1 - 2 * tail).high) for tail in tails]
    z = np.sqrt(np.array([end / (1 - end) for end in ends]))
    levels_as_given = 1 - 2 * tails
    assert_allclose(z, -special.ndtri((1 - levels_as_given) / 2), rtol=1e-12)
    for tail in tails:
        assert_allclose(NormalDist().inv_cdf(tail), special.ndtri(tail), rtol=1e-12)


# --- quick to start --------------------------------------------------------------------------


def test_the_closed_forms_do_not_load_scipy():
    program = """
import sys
from fixstats import stats
stats.wilson(3, 40), stats.wilson_cc(3, 40), stats.agresti_coull(3, 40), stats.at_most(40)
stats.upper_limit(3, 40, method="wilson"), stats.one_in(0.1), stats.rao_scott([1, 2], [9, 9])
heavy = {"scipy", "duckdb", "polars", "altair", "pandas"}
print(sorted(heavy & {name.partition(".")[0] for name in sys.modules}))
"""
    result = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert result.stdout.strip() == "[]"
