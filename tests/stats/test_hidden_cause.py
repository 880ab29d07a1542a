"""Strength of a hidden cause: edges, refusals, what must hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

ratios = st.floats(1e-6, 1e6)


def test_edges():
    found = stats.hidden_cause_needed([1, 0, np.inf, np.nan])
    assert_array_equal(found, [1, np.inf, np.inf, np.nan])
    assert np.ndim(stats.hidden_cause_needed(2)) == 0
    assert stats.hidden_cause_needed([]).shape == (0,)


def test_limits():
    low, high = [1.8, 0.5, 0.2, 0.0, np.nan, 2.0], [8.7, 2.0, 0.5, np.inf, 2.0, np.inf]
    found = stats.hidden_cause_needed_for_limit(low, high)
    needed = stats.hidden_cause_needed
    assert_allclose(found, [needed(1.8), 1, needed(0.5), 1, np.nan, needed(2)])


def test_refusals():
    with pytest.raises(ValueError, match="ratio must not be negative, got -2"):
        stats.hidden_cause_needed(-2)
    with pytest.raises(ValueError, match="low must not be greater than high"):
        stats.hidden_cause_needed_for_limit([1, 3], [2, 2])
    with pytest.raises(ValueError, match="high must be numbers, got 'far'"):
        stats.hidden_cause_needed_for_limit(1, "far")


@given(ratio=ratios)
def test_a_ratio_and_its_inverse_need_the_same(ratio):
    needed = stats.hidden_cause_needed(ratio)
    assert_allclose(stats.hidden_cause_needed(1 / ratio), needed, rtol=1e-6)
    assert needed >= max(ratio, 1 / ratio) * (1 - 1e-12)


@given(ratio=st.floats(1, 1e6))
def test_putting_the_answer_back(ratio):
    # Ding and VanderWeele 2016, Epidemiology 27:368-377: a cause of strengths a and b can
    # produce a ratio of ab / (a + b - 1) at most; with both at the answer, exactly this one.
    needed = stats.hidden_cause_needed(ratio)
    assert_allclose(needed * needed / (2 * needed - 1), ratio, rtol=1e-9)


@given(pair=st.tuples(ratios, ratios, ratios))
def test_a_limit_needs_no_more_than_its_estimate(pair):
    low, ratio, high = sorted(pair)
    limit = stats.hidden_cause_needed_for_limit(low, high)
    assert 1 <= limit <= stats.hidden_cause_needed(ratio) * (1 + 1e-9)
    if low <= 1 <= high:
        assert limit == 1


def test_a_weaker_cause_cannot_produce_the_ratio_by_brute_force():
    # Every two-level cause with both strengths at most w: the ratio that it produces without any
    # effect of the option stays within what w is needed for.
    w = 3.0
    shares = np.linspace(0.001, 1, 60)
    option, baseline = np.meshgrid(shares, shares)
    linked = option / baseline <= w
    for strength in np.linspace(1, w, 9):
        produced = (1 + (strength - 1) * option) / (1 + (strength - 1) * baseline)
        assert stats.hidden_cause_needed(np.maximum(produced[linked], 1)).max() <= w + 1e-9
