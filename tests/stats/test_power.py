"""Power and size: the tests themselves, table by table, and edges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import binom

from fixstats import stats
from fixstats.stats.power import EXACT, MOST_EXACT

rates = st.sampled_from([0.0, 0.02, 0.1, 0.35, 0.5, 0.8, 1.0])


@pytest.mark.parametrize("test", EXACT)
@pytest.mark.parametrize(("rate", "baseline", "jobs"), [(0.5, 0.9, 12), (0.1, 0.4, 15)])
def test_power_is_the_probability_of_what_the_test_rejects(test, rate, baseline, jobs):
    k = np.arange(jobs + 1)
    p_values = stats.TESTS[test](k[:, None], jobs, k, jobs)
    expected = binom.pmf(k, jobs, rate) @ (p_values <= 0.05) @ binom.pmf(k, jobs, baseline)
    assert_allclose(EXACT[test](rate, baseline, jobs), expected, rtol=1e-9)


@settings(max_examples=30, deadline=None)
@given(rates, st.integers(2, 60))
def test_where_rates_are_equal_the_error_is_kept(rate, jobs):
    for power in EXACT.values():
        assert power(rate, rate, jobs) <= 0.05 + 1e-6


@settings(max_examples=30, deadline=None)
@given(rates, rates, st.integers(2, 40))
def test_boschloo_finds_no_less_than_half_budgets_of_fisher(rate, baseline, jobs):
    # One-sided Boschloo at half the error rejects whatever one-sided Fisher does.
    k = np.arange(jobs + 1)
    sides = [stats.fisher(k[:, None], jobs, k, jobs, alternative=way) for way in ("more", "fewer")]
    rejected = np.minimum(*sides) <= 0.025
    fisher = binom.pmf(k, jobs, rate) @ rejected @ binom.pmf(k, jobs, baseline)
    assert stats.boschloo_power(rate, baseline, jobs) >= fisher - 1e-9


@pytest.mark.parametrize("test", EXACT)
def test_the_size_is_the_first_from_which_on_power_is_enough(test):
    size = stats.exact_size(0.1, 0.35, test=test)
    power = [EXACT[test](0.1, 0.35, jobs) for jobs in range(size - 1, size + 6)]
    assert power[0] < 0.8 <= min(power[1:])


def test_boschloo_needs_fewer_and_both_are_near_the_approximation():
    fisher, boschloo = (stats.exact_size(0.1, 0.2, test=test) for test in EXACT)
    assert stats.normal_size(0.1, 0.2) < boschloo < fisher < 1.1 * stats.normal_size(0.1, 0.2)


def test_too_many_jobs_for_tables():
    assert stats.normal_size(0.01, 0.015) > MOST_EXACT
    assert stats.exact_size(0.01, 0.015) is None


def test_precision():
    jobs = stats.precision_size(0.1, 0.2, 0.05)
    for size, narrow in ((jobs, True), (jobs - 1, False)):
        found = stats.newcombe_difference(0.1 * size, size, 0.2 * size, size)
        widths = found.high - found.estimate, found.estimate - found.low
        assert bool(max(widths) <= 0.05) == narrow


def test_nothing_varies():
    assert stats.normal_power(0.0, 1.0, 3) == 1
    assert stats.normal_power(0.0, 0.0, 3) == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: stats.exact_size(0.1, 0.1), "must differ"),
        (lambda: stats.exact_size(0.1, 0.2, test="chi"), "test must be one of"),
        (lambda: stats.normal_size(0.1, 0.2, power=1), "power must lie between 0 and 1"),
        (lambda: stats.fisher_power(0.1, 0.2, 9, alpha=0), "alpha must lie between 0 and 1"),
        (lambda: stats.normal_power(1.2, 0.1, 9), "rate must lie between 0 and 1"),
        (lambda: stats.precision_size(0.1, 0.2, 0), "half_width must lie between 0 and 1"),
    ],
)
def test_refusals(call, words):
    with pytest.raises(ValueError, match=words):
        call()
