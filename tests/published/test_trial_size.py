"""Confidence sequences, power and size against printed figures."""

import math

import pytest
from numpy.testing import assert_allclose

from fixstats import stats


@pytest.mark.parametrize(
    ("failures", "opportunities", "narrowest_at", "low", "high"),
    [(700, 1000, 100, 0.651629, 0.745949), (15, 50, 50, 0.129556, 0.511896)],
)
def test_beta_binomial_mixture(failures, opportunities, narrowest_at, low, high):
    # Howard, Ramdas, McAuliffe and Sekhon 2021, Ann Stat 49:1055-1080, two-sided beta-binomial
    # mixture at 95 %; figures of the authors' reference tests. Seen. They are cut off after the
    # sixth digit (or the end of a bisection from below): ours lie 0.4 to 1.0 of it above.
    found = stats.proportion_sequence(failures, opportunities, narrowest_at=narrowest_at)
    assert_allclose([found.low, found.high], [low, high], rtol=0, atol=1e-6)
    assert [math.floor(1e6 * end) / 1e6 for end in (found.low, found.high)] == [low, high]


def test_normal_power_and_size():
    # Help page of R's power.prop.test. Seen: n = 76.7; power = 0.740; n = 73.37.
    assert_allclose(stats.normal_size(0.50, 0.75, power=0.90), 76.7, rtol=0, atol=0.05)
    assert_allclose(stats.normal_power(0.50, 0.75, 50), 0.740, rtol=0, atol=0.0005)
    assert_allclose(stats.normal_size(0.90, 1.0, power=0.80), 73.37, rtol=0, atol=0.005)


def test_exact_power_of_fisher():
    # Two independent programs agree on 0.742388783911 (computed; "about 70 %" by simulation in a
    # public text).
    assert_allclose(stats.fisher_power(0.5, 0.9, 20), 0.742388783911, rtol=0, atol=5e-13)
