"""Partial pooling: edges, refusals, and what must always hold."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

groups = st.lists(
    st.integers(0, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    min_size=2,
    max_size=8,
)


def columns(pairs):
    return tuple(np.array(column) for column in zip(*pairs, strict=True))


@settings(max_examples=25, deadline=None)
@given(groups)
def test_between_its_own_rate_and_the_others(pairs):
    k, n = columns(pairs)
    pooled = stats.pool_rates(k, n)
    mean = pooled.hyper.mean
    seen = n > 0
    own = k[seen] / n[seen]
    rate = pooled.pooled_rate[seen]
    assert np.all(rate > np.minimum(own, mean.min()))
    assert np.all(rate < np.maximum(own, mean.max()))
    assert np.all((pooled.pooled_low >= 0) & (pooled.pooled_low < pooled.pooled_high))
    assert np.all(pooled.pooled_high <= 1)
    assert np.all((pooled.borrowed > 0) & (pooled.borrowed <= 1))
    # The more opportunities, the less is borrowed.
    order = np.argsort(n, kind="stable")
    assert np.all(np.diff(pooled.borrowed[order]) <= 1e-12)


@settings(max_examples=15, deadline=None)
@given(groups, st.randoms(use_true_random=False))
def test_order_of_groups_does_not_matter(pairs, random):
    k, n = columns(pairs)
    order = list(range(len(k)))
    random.shuffle(order)
    one, other = stats.pool_rates(k, n), stats.pool_rates(k[order], n[order])
    assert_allclose(other.pooled_rate, one.pooled_rate[order], rtol=1e-9)
    assert_allclose(other.pooled_high, one.pooled_high[order], rtol=1e-7)


@settings(max_examples=15, deadline=None)
@given(groups)
def test_successes_are_the_mirror_image_of_failures(pairs):
    k, n = columns(pairs)
    one, other = stats.pool_rates(k, n), stats.pool_rates(n - k, n)
    assert_allclose(other.pooled_rate, 1 - one.pooled_rate, atol=2e-6)
    assert_allclose(other.pooled_low, 1 - one.pooled_high, atol=2e-5)
    assert_allclose(other.borrowed, one.borrowed, atol=2e-5)


def test_equal_rates_are_pooled_to_between_raw_and_mean():
    k, n = np.array([1, 8, 2, 3]), np.array([6, 100, 40, 60])
    pooled = stats.pool_rates(k, n)
    mean = k.sum() / n.sum()
    assert mean < pooled.pooled_rate[0] < 1 / 6
    wilson = stats.wilson(1, 6)
    assert pooled.pooled_high[0] - pooled.pooled_low[0] < wilson.high - wilson.low


def test_a_group_without_opportunities_gets_the_prediction():
    with_new = stats.pool_rates([2, 5, 0], [40, 60, 0])
    without = stats.pool_rates([2, 5], [40, 60])
    assert with_new.borrowed[2] == 1
    assert_allclose(with_new.pooled_rate[:2], without.pooled_rate)
    assert_allclose(with_new.pooled_rate[2], without.hyper.weight @ without.hyper.mean)
    widths = with_new.pooled_high - with_new.pooled_low
    assert widths[2] > widths[:2].max()


def test_no_records_at_all_know_nothing():
    pooled = stats.pool_rates([0], [0])
    assert_allclose(pooled.pooled_rate, 0.5, atol=1e-6)
    assert pooled.pooled_low[0] < 0.001
    assert pooled.pooled_high[0] > 0.999
    assert stats.pool_rates([], []).pooled_rate.shape == (0,)


@pytest.mark.parametrize(
    ("failures", "opportunities"),
    [
        ([0] * 20, [50] * 20),
        ([50] * 20, [50] * 20),
        ([10**6, 10**6], [10**9, 10**9]),
        ([0], [10**9]),
    ],
)
def test_extreme_counts_give_finite_answers_close_to_them(failures, opportunities):
    pooled = stats.pool_rates(failures, opportunities)
    raw = failures[0] / opportunities[0]
    assert np.all(np.isfinite(pooled.pooled_low) & np.isfinite(pooled.pooled_high))
    assert_allclose(pooled.pooled_rate, raw, atol=1e-3)
    assert np.all(pooled.pooled_low <= pooled.pooled_rate)
    assert np.all(pooled.pooled_rate <= pooled.pooled_high)


def test_many_alike_large_groups_behave_like_one():
    # Nothing tells the groups apart: borrowed is high, the interval far narrower than each alone.
    pooled = stats.pool_rates([1000] * 50, [20_000] * 50)
    alone = stats.jeffreys(1000, 20_000)
    width = pooled.pooled_high - pooled.pooled_low
    assert np.all(width < 0.6 * (alone.high - alone.low))
    assert np.all(pooled.borrowed > 0.7)


def test_draws_have_the_stated_means_and_ends():
    k, n = [0, 3, 9, 0], [5, 40, 60, 0]
    pooled = stats.pool_rates(k, n)
    drawn = stats.draw_rates(pooled, k, n, draws=40_000)
    assert drawn.shape == (4, 40_000)
    assert_allclose(drawn.mean(axis=1), pooled.pooled_rate, atol=0.002)
    below = np.mean(drawn < pooled.pooled_high[:, None], axis=1)
    assert_allclose(below, 0.975, atol=0.004)
    assert_array_equal(drawn, stats.draw_rates(pooled, k, n, draws=40_000))


@pytest.mark.parametrize(
    ("arguments", "settings", "message"),
    [
        (([1], [0]), {}, "failures must not be greater than opportunities"),
        (([[1]], [[2]]), {}, "failures must have one dimension"),
        (([1], [2]), {"prior": "flat"}, "prior must be one of weak, bda3, got 'flat'"),
        (([0, 2], [5, 2]), {"prior": "bda3"}, "needs a group with both a failure and a success"),
        (([1], [2]), {"confidence_level": 1}, "confidence_level must be a number between"),
    ],
)
def test_refusals(arguments, settings, message):
    with pytest.raises(ValueError, match=message):
        stats.pool_rates(*arguments, **settings)


def test_importing_the_numeric_core_does_not_load_scipy():
    code = "import sys, fixstats.stats; print('scipy' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "False"


def test_one_group_alone_has_the_entry_it_has_among_all():
    failures, opportunities = [0, 3, 9, 1, 0], [6, 40, 210, 15, 0]
    every = stats.pool_rates(failures, opportunities)
    for group in range(5):
        one = stats.pool_rate_of(group, failures, opportunities)
        for name in ("pooled_rate", "pooled_low", "pooled_high", "borrowed"):
            assert_allclose(getattr(one, name), [getattr(every, name)[group]], rtol=1e-7)
    with pytest.raises(IndexError):
        stats.pool_rate_of(5, failures, opportunities)
