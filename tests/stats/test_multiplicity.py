"""Corrected p-values: edges, refusals, and the naive definitions."""

from unittest import mock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats as scipy_stats
from statsmodels.stats.multitest import multipletests

from fixstats import stats

BOTH = [stats.holm, stats.benjamini_hochberg]
p_values = st.lists(st.floats(0, 1), min_size=1, max_size=12)


def _naive_holm(p):
    """The largest product of any p-value no greater than it and the number of those not smaller.

    Written as the closed test: p is corrected by the most that any smaller-or-equal one needs.
    """
    m = len(p)
    answer = []
    for own in p:
        needed = [(m - sum(other < one for other in p)) * one for one in p if one <= own]
        answer.append(min(1.0, max(needed)))
    return answer


def _naive_benjamini_hochberg(p):
    """The least rate q at which the step-up procedure rejects this one."""
    m = len(p)
    answer = []
    for own in p:
        rates = [m * one / sum(other <= one for other in p) for one in p if one >= own]
        answer.append(min(1.0, *rates))
    return answer


@given(p=p_values)
def test_naive_definitions(p):
    assert_allclose(stats.holm(p), _naive_holm(p), rtol=1e-12)
    assert_allclose(stats.benjamini_hochberg(p), _naive_benjamini_hochberg(p), rtol=1e-12)


@settings(max_examples=25, deadline=None)
@given(p=p_values)
def test_other_programs(p):
    with mock.patch(
        "gc.collect"
    ):  # of each call of the other program; it takes a third of a second
        expected = multipletests(p, method="holm")[1]
    assert_allclose(stats.holm(p), expected, rtol=1e-12)
    expected = scipy_stats.false_discovery_control(p, method="bh")
    assert_allclose(stats.benjamini_hochberg(p), expected, rtol=1e-12)


@pytest.mark.parametrize("correct", BOTH)
@given(p=p_values, seed=st.integers(0, 99))
def test_the_order_does_not_matter_and_no_p_value_falls(correct, p, seed):
    p = np.array(p)
    order = np.random.default_rng(seed).permutation(len(p))
    assert_allclose(correct(p[order]), correct(p)[order], rtol=1e-12)
    assert np.all(correct(p) >= p * (1 - 1e-12))
    assert np.all(correct(p) <= 1)


@given(p=p_values)
def test_holm_corrects_at_least_as_much(p):
    assert np.all(stats.holm(p) >= stats.benjamini_hochberg(p) * (1 - 1e-12))


@pytest.mark.parametrize("correct", BOTH)
def test_what_could_not_be_tested_does_not_count(correct):
    found = correct([0.01, np.nan, 0.2, np.nan, 0.04])
    assert_array_equal(np.isnan(found), [False, True, False, True, False])
    assert_allclose(found[[0, 2, 4]], correct([0.01, 0.2, 0.04]))
    assert np.isnan(correct([np.nan, np.nan])).all()


@pytest.mark.parametrize("correct", BOTH)
def test_shapes(correct):
    assert correct([]).shape == (0,)
    assert correct(0.03) == 0.03
    assert np.ndim(correct(0.03)) == 0
    table = correct([[0.01, 0.2], [0.04, 0.9]])
    assert_allclose(table.ravel(), correct([0.01, 0.2, 0.04, 0.9]))


@pytest.mark.parametrize("correct", BOTH)
def test_refusals(correct):
    with pytest.raises(
        ValueError, match=r"p_values must lie between 0 and 1, got 1\.2 at position 1"
    ):
        correct([0.5, 1.2])
    with pytest.raises(ValueError, match="p_values must be numbers, got 'small'"):
        correct("small")
