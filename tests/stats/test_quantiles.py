"""Quantiles with limits: against SciPy's quantile test, and a textbook's smallest sample."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from scipy import stats as scipy_stats

from fixstats import stats

SHARES = (0.1, 0.5, 0.8, 0.9)


def ends(values, q, level):
    found = stats.sample_quantiles(values, np.ones(len(values)), [q], confidence_level=level)
    return [found.low[0], found.high[0]]


@pytest.mark.parametrize("level", [0.8, 0.9, 0.95, 0.99])
def test_limits_are_those_of_scipys_quantile_test(level):
    random = np.random.default_rng(5)
    told = 0
    for n in (2, 7, 20, 36, 80):
        for values in (random.normal(size=n), random.integers(5, 30, n).astype(float)):
            for q in SHARES:
                own = scipy_stats.quantile_test(values, p=q).confidence_interval(level)
                assert_array_equal(ends(values, q, level), [own.low, own.high])
                told += np.isfinite([own.low, own.high]).sum()
    assert told > 30


def test_the_smallest_sample_with_an_upper_limit():
    """59 values for the 95 % quantile at 95 %: Wilks 1941, Ann Math Stat 12:91-96 (from memory)."""
    upper = [ends(np.arange(float(n)), 0.95, 0.90)[1] for n in (58, 59)]
    assert np.isnan(upper[0])
    assert upper[1] == 58.0  # the largest of 0 to 58


def test_values_may_come_with_their_counts_in_any_order():
    values, counts = [30.0, 10.0, 20.0], [3, 5, 12]
    one = stats.sample_quantiles(values, counts, SHARES)
    each = np.repeat(values, counts)
    other = stats.sample_quantiles(each, np.ones(20), SHARES)
    for name in ("value", "low", "high"):
        assert_array_equal(getattr(one, name), getattr(other, name))
    assert_array_equal(one.value, np.quantile(each, SHARES, method="inverted_cdf"))


def test_no_values_have_no_quantiles():
    found = stats.sample_quantiles([], [], SHARES)
    assert np.isnan([found.value, found.low, found.high]).all()


@pytest.mark.parametrize(
    ("values", "counts", "shares", "message"),
    [
        ([1.0], [1.5], [0.5], "counts must be whole"),
        ([1.0], [-1], [0.5], "counts must be whole"),
        ([1.0, 2.0], [1], [0.5], "one for each value"),
        ([1.0], [1], [1.5], "probabilities must lie between 0 and 1"),
    ],
)
def test_refusals(values, counts, shares, message):
    with pytest.raises(ValueError, match=message):
        stats.sample_quantiles(values, counts, shares)
