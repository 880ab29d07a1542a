"""The mean cost of events: against its definition, the incidence it is made of, and resampling."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixstats import stats

from .survival_units import table

RNG = np.random.default_rng(5)
TIME = RNG.integers(0, 30, 400)
REASON = RNG.integers(0, 3, 400)  # 0: censored
GROUP = RNG.integers(0, 2, 400)
BOTH = table(TIME, REASON, groups=GROUP, reasons=2)
ONE = table(TIME, REASON, reasons=2)


@pytest.mark.parametrize("reason", [0, 1])
def test_with_the_cost_of_one_reason_only_it_is_the_incidence(reason):
    costs = np.eye(2)[reason]
    found = stats.mean_cost(BOTH, costs, 20)
    curve = stats.aalen_johansen(BOTH, days=[20])
    assert_allclose(found.mean, curve.rate[reason, :, 0], rtol=1e-12)
    assert_allclose(found.variance, curve.variance[reason, :, 0], rtol=1e-9)


def test_with_the_same_cost_for_all_it_is_the_share_with_an_event():
    found = stats.mean_cost(ONE, [7.0, 7.0], 12)
    curve = stats.kaplan_meier(ONE, days=[12])
    assert_allclose(found.mean, 7 * curve.rate[0], rtol=1e-12)
    assert_allclose(found.variance, 49 * curve.variance[0], rtol=1e-9)


def test_without_censoring_it_is_the_mean_of_what_each_unit_cost():
    # Binomial in each reason: the variance of a mean of independent costs, with n for n - 1.
    time, reason = np.array([1, 1, 2, 3, 3, 5, 9, 9]), np.array([1, 2, 1, 0, 2, 1, 0, 0])
    followed = np.where(reason == 0, 9, time)
    each = np.array([0.0, 10.0, 4.0])[reason]
    found = stats.mean_cost(table(followed, reason, reasons=2), [10.0, 4.0], 9)
    assert_allclose(found.mean, each.mean(), rtol=1e-12)
    assert_allclose(found.variance, each.var() / len(each), rtol=1e-12)
    assert found.low < found.mean < found.high


def test_the_variance_is_that_of_drawing_the_units_again():
    found = stats.mean_cost(ONE, [3.0, 11.0], 15)
    rng, means = np.random.default_rng(2), []
    for _ in range(800):
        drawn = rng.integers(0, len(TIME), len(TIME))
        again = table(TIME[drawn], REASON[drawn], reasons=2)
        means.append(float(stats.mean_cost(again, [3.0, 11.0], 15).mean))
    # The standard error of a standard deviation from 800 draws is 2.5 % of it.
    assert_allclose(np.sqrt(found.variance), np.std(means), rtol=0.1)


def test_without_an_event_only_the_highest_possible_is_said():
    none = stats.at_risk([30], [300], np.zeros((2, 1)), [300])
    found = stats.mean_cost(none, [10.0, 50.0], 30)
    assert (found.mean, found.low) == (0, 0)
    assert_allclose(found.high, 50 * (1 - 0.025 ** (1 / 300)), rtol=1e-9)


def test_nobody_followed_so_far_says_nothing():
    found = stats.mean_cost(table([3, 4], [0, 0], reasons=2), [1.0, 1.0], 10)
    assert np.isnan([found.mean, found.low, found.high]).all()


@pytest.mark.parametrize(
    ("costs", "told"),
    [([1.0], "one entry a reason"), ([1.0, -2.0], "must not be negative"),
     ([1.0, np.inf], "costs must be finite")],
)  # fmt: skip
def test_costs_that_cannot_be(costs, told):
    with pytest.raises(ValueError, match=told):
        stats.mean_cost(ONE, costs, 10)
