"""Practice against printed figures."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixstats import stats

# An "80 % curve": every doubling of the number leaves 80 % of the time. 100, 80 and 64 at the
# 1st, 2nd and 4th are the field's standard example (seen, of the mean of the first n, in R. M.
# Wideman's appendix on learning curves; the same numbers of the n-th unit, and the exponent
# -0.3219 and 70.21 at the 3rd, from memory of textbooks). Method: Wright 1936.
NUMBERS, HOURS = [1, 2, 4], [100.0, 80.0, 64.0]


def test_the_eighty_percent_curve():
    found = stats.learning_curve(NUMBERS, HOURS)
    assert_allclose(found.learning_rate, 0.80, rtol=1e-12)
    assert_allclose((found.low, found.high), 0.80, atol=1e-7)  # no spread about the curve
    assert_allclose(found.first, 100.0, rtol=1e-12)
    assert_allclose(found.slope, -0.3219, atol=5e-5)
    assert_allclose(found.at([3, 8]), [70.21, 51.2], atol=5e-3)


def test_malformations_and_alcohol():
    # Agresti, Categorical Data Analysis: malformed infants by drinks a day, scores 0, .5, 1.5, 4
    # and 7: M² = 6.57, P = .010 (table and result from memory).
    scores = np.array([0, 0.5, 1.5, 4, 7])
    malformed, well = np.array([48, 38, 5, 1, 1]), np.array([17066, 14464, 788, 126, 37])
    x = np.repeat(np.tile(scores, 2), np.concatenate([malformed, well]))
    y = np.repeat([1, 0], [malformed.sum(), well.sum()])
    found = stats.trend_in_groups(x, y, np.zeros(len(x)))
    assert_allclose(found.z**2, 6.57, atol=5e-3)
    assert_allclose(found.p_value, 0.010, atol=5e-4)


@pytest.mark.parametrize(
    ("size", "first", "last"), [(6, 1, 6), (10, 2, 9), (15, 4, 12), (20, 6, 15), (50, 18, 33)]
)
def test_ranks_of_the_interval_of_a_median(size, first, last):
    # Tables of the sign test's 95 % interval of the median (from memory), ranks from 1.
    found = stats.median_interval(np.arange(1.0, size + 1))
    assert (found.low, found.high) == (first, last)


@pytest.mark.parametrize(
    ("counts", "printed"),
    [((56, 70, 48, 80), (0.0524, 0.3339)), ((5, 56, 0, 29), (-0.0381, 0.1926))],
)
def test_the_interval_of_a_sum_gives_newcombes_differences(counts, printed):
    # Newcombe 1998, Stat Med 17:873-890, table II, method 10 (seen, quoted): a difference is the
    # sum of one rate and of the other below 0, each with its Wilson limits.
    x1, n1, x2, n2 = counts
    one, other = stats.wilson(x1, n1), stats.wilson(x2, n2)
    found = stats.sum_interval((x1 / n1, one.low, one.high), (-x2 / n2, -other.high, -other.low))
    assert_allclose((found.low, found.high), printed, rtol=0, atol=0.5e-4)
