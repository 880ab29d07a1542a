"""False alarms of a CUSUM whose expected risk was estimated from a baseline."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats as reference

from fixstats import stats


@settings(deadline=None)
@given(st.integers(0, 50), st.integers(1, 2000), st.floats(0.001, 0.9))
def test_odds_are_those_of_equally_likely_rates(k, more, rate):
    n = k + more
    found = stats.baseline_odds(k, n, rate, parts=5)
    odds = found * rate / (1 - rate)
    true = odds / (1 + odds)
    posterior = reference.beta(k + 0.5, n - k + 0.5)
    assert_allclose(posterior.cdf(true), [0.1, 0.3, 0.5, 0.7, 0.9], atol=1e-6)


def test_a_large_baseline_leaves_no_doubt():
    found = stats.baseline_odds(10**7, 10**9, 0.01)
    assert_allclose(found, 1, atol=1e-3)
    assert stats.baseline_odds([1, 2], [9, 9], 0.1).shape == (2, 9)
    assert np.isnan(stats.baseline_odds(0, 0, 0.1)).all()


def test_one_part_is_the_median_and_one_odds_the_plain_answer():
    risks, weights = [0.02, 0.1], [3, 1]
    found = stats.uncertain_false_alarm_probability(risks, weights, 3, [10, 500], [1.0])
    plain = stats.false_alarm_probability(stats.score_mix(risks, weights), 3, [10, 500])
    assert_allclose(found, plain)


def test_doubt_adds_false_alarms():
    risks, height = [0.03], 4
    plain = stats.false_alarm_probability(stats.score_mix(risks), height, 1000)
    few, many = (
        stats.uncertain_false_alarm_probability(
            risks, None, height, 1000, stats.baseline_odds(0.03 * n, n, 0.03)
        )
        for n in (300, 30_000)
    )
    assert few > 1.5 * plain
    assert many == pytest.approx(plain, rel=0.05)
    assert np.shape(few) == ()


@pytest.mark.parametrize(("k", "n"), [(3, 90), (14, 400)])
def test_shops_with_a_short_baseline_alarm_as_often_as_averaged(k, n):
    """True rates that the baseline leaves possible, a window without change in each shop."""
    rng = np.random.default_rng(6)
    shops, window, height, rate = 4000, 600, 3.5, (k + 0.5) / (n + 1)
    true = rng.beta(k + 0.5, n - k + 0.5, shops)
    failed = (rng.random((shops, window)) < true[:, None]).astype(float)
    group = np.repeat(np.arange(shops), window)
    scores = stats.cusum_scores(failed.ravel(), rate)
    share = (stats.cusum_alarms(scores, height, groups=group).alarm >= 0).mean()
    odds = stats.baseline_odds(k, n, rate)
    found = stats.uncertain_false_alarm_probability([rate], None, height, window, odds)
    assert share == pytest.approx(found, abs=4 * np.sqrt(found / shops) + 0.02 * found)
    known = stats.false_alarm_probability(stats.score_mix([rate]), height, window)
    assert share > 1.3 * known


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.baseline_odds(0, 9, 0), "rate must lie strictly between 0 and 1, got 0"),
        (lambda: stats.baseline_odds(3, 2, 0.1), "failures must not be greater"),
        (lambda: stats.baseline_odds(1, 2, 0.1, parts=0), "parts must be at least 1, got 0"),
        (
            lambda: stats.uncertain_false_alarm_probability([0.1], None, 1, 9, 1.0),
            "odds must be a vector",
        ),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
