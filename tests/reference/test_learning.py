"""Practice against SciPy, statsmodels and a second way of computing it."""

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.testing import assert_allclose
from scipy import stats as scipy_stats

from fixstats import stats


def by_hand(failures, opportunities):
    """The falling fit as the lowest of the highest mean rates of stretches that hold a position."""
    k, n = np.asarray(failures, float), np.asarray(opportunities, float)

    def mean(first, last):
        return k[first : last + 1].sum() / n[first : last + 1].sum()

    size = range(len(k))
    return [min(max(mean(a, b) for b in size if b >= i) for a in size if a <= i) for i in size]


@pytest.mark.parametrize("seed", range(5))
def test_falling_rates(seed):
    rng = np.random.default_rng(seed)
    n = rng.integers(1, 9, 14)
    k = rng.binomial(n, np.linspace(0.7, 0.2, 14))
    assert_allclose(stats.falling_rates(k, n), by_hand(k, n), atol=1e-12)


def test_trend_of_one_group_is_that_of_statsmodels():
    rng = np.random.default_rng(4)
    x, y = rng.integers(0, 6, 300), rng.integers(0, 2, 300)
    table = sm.stats.Table(
        np.array([[np.sum((x == a) & (y == b)) for a in range(6)] for b in (0, 1)])
    )
    theirs = table.test_ordinal_association(row_scores=np.arange(2), col_scores=np.arange(6))
    found = stats.trend_in_groups(x, y, np.zeros(300, int))
    # Theirs divides by N where Mantel's divides by N - 1.
    assert_allclose(found.z, theirs.zscore, rtol=3e-3)
    r = np.corrcoef(x, y)[0, 1]
    assert_allclose(found.z, r * np.sqrt(299), rtol=1e-12)


def test_trend_within_groups_is_that_of_shuffles():
    rng = np.random.default_rng(5)
    groups = np.repeat([0, 1, 2], [30, 50, 9])
    x = rng.normal(size=89) + groups
    y = rng.random(89) < 0.2 + 0.2 * groups
    shuffled = []
    for _ in range(4000):
        order = np.lexsort((rng.random(89), groups))  # within groups; groups lie in order
        shuffled.append(x @ y[order])
    z = (x @ y - np.mean(shuffled)) / np.std(shuffled)
    assert_allclose(stats.trend_in_groups(x, y, groups).z, z, atol=0.08)


def test_learning_curve_is_least_squares_with_a_level_for_each_group():
    rng = np.random.default_rng(6)
    groups, n = np.repeat([0, 1, 2], [20, 35, 8]), rng.integers(1, 90, 63)
    minutes = np.exp(2 + 0.3 * groups - 0.2 * np.log(n) + rng.normal(0, 0.3, 63))
    design = np.column_stack([np.log(n), np.eye(3)[groups]])
    theirs = sm.OLS(np.log(minutes), design).fit()
    found = stats.learning_curve(n, minutes, groups, confidence_level=0.9)
    assert_allclose(found.slope, theirs.params[0], rtol=1e-10)
    ends = 2 ** theirs.conf_int(0.1)[0]
    assert_allclose((found.low, found.high), ends, rtol=1e-10)
    mean_level = theirs.params[1:] @ np.bincount(groups) / 63
    assert_allclose(found.first, np.exp(mean_level), rtol=1e-10)


def test_mean_difference_is_welch():
    rng = np.random.default_rng(7)
    a, b = rng.normal(9, 3, 12), rng.normal(7, 1, 40)
    theirs = scipy_stats.ttest_ind(a, b, equal_var=False).confidence_interval(0.95)
    difference, ends = stats.mean_difference(a, b)
    assert_allclose(difference, a.mean() - b.mean())
    assert_allclose((ends.low, ends.high), (theirs.low, theirs.high), rtol=1e-10)


def test_same_mix_is_pearson():
    table = [[12, 30, 4, 0], [22, 18, 9, 0]]
    _, p_value = stats.same_mix(*table)
    theirs = scipy_stats.chi2_contingency(np.array(table)[:, :3], correction=False)
    assert_allclose(p_value, theirs.pvalue, rtol=1e-10)


def test_the_interval_of_a_median_holds_what_it_says():
    # Order statistics: P(k-th smallest <= median <= k-th largest) = 1 - 2 P(Bin(n, 1/2) < k).
    for size in (6, 7, 25, 60):
        found = stats.median_interval(np.arange(1.0, size + 1), confidence_level=0.9)
        cut = int(found.low)
        assert found.high == size + 1 - cut
        held = 1 - 2 * scipy_stats.binom.cdf(cut - 1, size, 0.5)
        more = 1 - 2 * scipy_stats.binom.cdf(cut, size, 0.5)
        assert more < 0.9 <= held


def last_fifth_as_one(failures, opportunities):
    """The curve of `by_hand` where the positions with the last fifth of the jobs are one."""
    k, n = [*map(float, failures)], [*map(float, opportunities)]
    end = next(i for i in range(len(n)) if sum(n[i:]) <= 0.2 * sum(n))
    rates = by_hand([*k[:end], sum(k[end:])], [*n[:end], sum(n[end:])])
    return [*rates[:end], *[rates[end]] * (len(n) - end)]


def practised_by_hand(failures, opportunities, most, margin):
    curve = last_fifth_as_one(failures, opportunities)
    for at in range(min(most, len(curve) - 1) + 1):
        if curve[at] - sum(failures[at:]) / sum(opportunities[at:]) <= margin:
            return at
    return None


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("most", [3, 15])
def test_practised_from(seed, most):
    rng = np.random.default_rng(seed)
    n = rng.integers(3, 12, 20)
    k = rng.binomial(n, 0.05 + 0.5 * np.exp(-np.arange(20) / 6))
    expected = practised_by_hand(k, n, most, 0.05)
    assert stats.practised_from(k, n, most=most, margin=0.05) == expected


def test_resampled_ends_are_those_of_draws_made_another_way():
    """Each job drawn by itself from the fitted curve, with another generator; ends of 1,500."""
    rng = np.random.default_rng(3)
    n = np.full(16, 40)
    k = rng.binomial(n, 0.03 + 0.4 * np.exp(-np.arange(16) / 3))
    found = stats.resample_falling(k, n, most=12, margin=0.03, samples=1500)
    rates = np.repeat(last_fifth_as_one(k, n), n)
    positions = np.repeat(np.arange(16), n)
    other = np.random.Generator(np.random.MT19937(8))
    curves, numbers = [], []
    for _ in range(1500):
        drawn = np.bincount(positions, other.random(len(rates)) < rates, 16)
        curves.append(stats.falling_rates(drawn, n, last=0.2))
        later = np.cumsum(drawn[::-1])[::-1] / np.cumsum(n[::-1])[::-1]
        near = [at for at in range(13) if curves[-1][at] - later[at] <= 0.03]
        numbers += near[:1]
    low, high = np.quantile(curves, [0.025, 0.975], axis=0)
    assert_allclose(found.low, low, atol=0.02)
    assert_allclose(found.high, high, atol=0.02)
    ends = np.quantile(numbers, [0.025, 0.975])
    assert_allclose((found.practised_low, found.practised_high), ends, atol=1)
    assert_allclose(found.without, 1 - len(numbers) / 1500, atol=0.03)
