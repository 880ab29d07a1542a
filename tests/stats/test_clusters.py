"""Design effects of clustered counts: edges, refusals, and what must always hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

UNEVEN = ([9, 1, 0, 2], [20, 20, 20, 20])

clusters = st.lists(
    st.integers(0, 50).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    min_size=1,
    max_size=12,
)


def test_by_hand():
    # rate 12/80; residuals 6, -2, -3, -1; variance 4/3 * 50 / 6400; independent .15 * .85 / 80
    clustered = stats.rao_scott(*UNEVEN)
    deff = (4 / 3 * 50 / 6400) / (0.15 * 0.85 / 80)
    assert_allclose(clustered.rate, 0.15)
    assert_allclose(clustered.design_effect, deff)
    assert_allclose(clustered.effective_opportunities, 80 / deff)
    assert_allclose(clustered.effective_failures, 12 / deff)


def test_the_interval_widens_around_the_same_rate():
    clustered = stats.rao_scott(*UNEVEN)
    honest = stats.wilson(clustered.effective_failures, clustered.effective_opportunities)
    naive = stats.wilson(12, 80)
    assert honest.low < naive.low < 0.15 < naive.high < honest.high


def test_clusters_more_alike_than_chance_count_as_independent():
    assert stats.rao_scott([2, 2, 2], [20, 20, 20]).design_effect == 1


def test_one_job_each_is_independence():
    # Every cluster a single job: the ratio estimator gives m / (m - 1), here 1.0101...
    failures = np.repeat([1, 0], [30, 70])
    assert_allclose(stats.rao_scott(failures, np.ones(100)).design_effect, 100 / 99)


@pytest.mark.parametrize(
    ("failures", "opportunities", "rate"),
    [
        ([3], [40], 0.075),
        ([1], [49], 1 / 49),  # 1 / 49 * 49 is not 1: the residual is rounding, not spread
        ([3, 0], [40, 0], 0.075),
        ([0, 0], [40, 20], 0.0),
        ([40, 20], [40, 20], 1.0),
        ([0, 0], [0, 0], np.nan),
        ([], [], np.nan),
        (3, 40, 0.075),
    ],
)
def test_records_that_allow_no_estimate_give_none(failures, opportunities, rate):
    clustered = stats.rao_scott(failures, opportunities)
    assert_array_equal(clustered.rate, rate)
    assert np.isnan(clustered.design_effect)
    assert np.isnan(clustered.effective_opportunities)
    assert np.isnan(clustered.effective_failures)


def test_a_cluster_without_opportunities_is_no_cluster():
    with_idle = stats.rao_scott([*UNEVEN[0], 0], [*UNEVEN[1], 0])
    assert with_idle == stats.rao_scott(*UNEVEN)


@given(st.lists(clusters, min_size=1, max_size=5))
def test_many_groups_at_once_are_each_group_alone(groups):
    columns = [[np.array(one) for one in zip(*members, strict=True)] for members in groups]
    sums = [[(n > 0).sum(), k.sum(), n.sum(), k @ k, k @ n, n @ n] for k, n in columns]
    together = stats.rao_scott_by_group(*zip(*sums, strict=True))
    for group, (k, n) in enumerate(columns):
        rate = k.sum() / n.sum() if n.sum() else np.nan
        assert_allclose(together.rate[group], rate, rtol=1e-12)
        m = (n > 0).sum()
        if m < 2 or k.sum() in (0, n.sum()):
            assert np.isnan(together.design_effect[group])
            continue
        # The ratio estimator's variance, written out from the clusters themselves.
        variance = m / (m - 1) * sum((k - rate * n) ** 2) / n.sum() ** 2
        effect = max(variance / (rate * (1 - rate) / n.sum()), 1)
        assert_allclose(together.design_effect[group], effect, rtol=1e-9)
        assert_allclose(together.effective_failures[group], k.sum() / effect, rtol=1e-9)


@given(clusters, st.integers(2, 5))
def test_repeating_every_cluster_within_itself_multiplies_the_effect(members, times):
    k, n = (np.array(column) for column in zip(*members, strict=True))
    once, scaled = stats.rao_scott(k, n), stats.rao_scott(times * k, times * n)
    assert_array_equal(np.isnan(once.design_effect), np.isnan(scaled.design_effect))
    if once.design_effect > 1:
        assert_allclose(scaled.design_effect, times * once.design_effect, rtol=1e-9)


def test_no_groups_at_all_are_no_rates():
    assert stats.rao_scott_by_group([], [], [], [], [], []).rate.shape == (0,)


@pytest.mark.parametrize(
    ("failures", "opportunities", "words"),
    [
        ([1, 5], [3, 4], "failures must not be greater than opportunities, got 5 of 4"),
        ([1, -2], [3, 4], "failures"),
    ],
)
def test_impossible_input_is_refused(failures, opportunities, words):
    with pytest.raises(ValueError, match=words):
        stats.rao_scott(failures, opportunities)
