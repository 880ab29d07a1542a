"""Run lengths of the Bernoulli CUSUM: closed cases, a chain built otherwise, and properties."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

RISKS = st.lists(st.floats(0.002, 0.3), min_size=2, max_size=6)


def chain(scores, probability, width, height):
    """Chances to move among multiples of `width` below `height`, one entry at a time."""
    n = int(np.ceil(height / width - 1e-9))
    moves = np.zeros((n, n))
    for start in range(n):
        for score, chance in zip(scores, probability, strict=True):
            end = max(0, start + round(score / width))
            if end < n:
                moves[start, end] += chance
    return moves


def test_one_failure_is_enough():
    mix = stats.score_mix([0.05, 0.05])
    assert stats.average_run_length(mix, 0.1) == pytest.approx(20, rel=1e-12)
    assert_allclose(stats.bernoulli_run_length(0.05, 4, 0.75), 20, rtol=1e-12)
    assert_allclose(
        stats.false_alarm_probability(mix, 0.1, [0, 1, 2, 50]), 1 - 0.95 ** np.array([0, 1, 2, 50])
    )


def test_two_of_two_by_hand():
    # m = 2: up a half, down a half; height 1 takes two failures more than successes from 0.
    # From 0: a = 1 + q a + p b; from 1/2: b = 1 + q a. So a = (1 + p) / p^2.
    p = np.array([0.1, 0.3, 1.0])
    assert_allclose(stats.bernoulli_run_length(p, 2, 1), (1 + p) / p**2, rtol=1e-12)


@settings(deadline=None)
@given(st.floats(0.01, 0.9), st.integers(2, 12), st.integers(1, 12))
def test_plain_form_against_linear_equations(rate, m, steps):
    moves = chain([1 - 1 / m, -1 / m], [rate, 1 - rate], 1 / m, steps / m)
    expected = np.linalg.solve(np.eye(len(moves)) - moves, np.ones(len(moves)))[0]
    assert_allclose(stats.bernoulli_run_length(rate, m, steps / m), expected, rtol=1e-6)


def test_long_run_lengths_keep_their_digits():
    p = np.array([1e-3, 1e-6, 1e-9])
    assert_allclose(stats.bernoulli_run_length(p, 2, 0.5), 1 / p, rtol=1e-13)
    assert_allclose(stats.bernoulli_run_length(p, 2, 1), (1 + p) / p**2, rtol=1e-13)


def test_what_cannot_fail_never_signals():
    assert stats.bernoulli_run_length(0, 5, 1) == np.inf
    mix = stats.score_mix([0, 0])
    assert stats.average_run_length(mix, 1) == np.inf
    assert_array_equal(stats.false_alarm_probability(mix, 1, [0, 10, 10**6]), [0, 0, 0])
    # What always fails as expected never worsens.
    assert stats.average_run_length(stats.score_mix([1]), 1) == np.inf


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(-12, 12), st.floats(0.01, 1)), min_size=1, max_size=5),
    st.integers(1, 30),
)
def test_scores_on_the_lattice_against_linear_equations(scores, height):
    step = np.array([one for one, _ in scores], float)
    chance = np.array([one for _, one in scores])
    mix = stats.ScoreMix(step, chance / chance.sum())
    found = stats.average_run_length(mix, height, states=2 * height)
    if (step <= 0).all():
        assert found == np.inf
        return
    moves = chain(step, mix.probability, 1, height)
    expected = np.linalg.solve(np.eye(height) - moves, np.ones(height))[0]
    # The reference loses a digit for each of the run length's.
    assert found == pytest.approx(expected, rel=1e-9 + 1e-14 * expected)


@settings(max_examples=15, deadline=None)
@given(RISKS, st.lists(st.floats(1, 6), min_size=2, max_size=5))
def test_a_higher_threshold_takes_longer(risks, heights):
    mix = stats.score_mix(risks)
    found = [stats.average_run_length(mix, one) for one in np.sort(heights)]
    assert (np.diff(found) >= -0.02 * np.array(found[1:])).all()


@settings(max_examples=15, deadline=None)
@given(RISKS, st.sampled_from([0.5, 2.0]), st.floats(50, 1e6))
def test_the_threshold_gives_back_its_spacing(risks, ratio, spacing):
    mix = stats.score_mix(risks, odds_ratio=ratio)
    found = stats.average_run_length(mix, stats.cusum_threshold(mix, spacing))
    if len(set(risks)) == 1:
        assert found >= spacing
    else:
        # A step of the true curve, where one more failure decides, is smoothed on both lattices.
        assert found == pytest.approx(spacing, rel=0.25)


def test_one_risk_alone_takes_the_next_longer_spacing():
    mix = stats.score_mix([1 / 32])
    height = stats.cusum_threshold(mix, 50)
    # One failure scores log(2) - log(1 + 1/32): below it the first failure is an alarm, after 32.
    step = np.log(2) - np.log1p(1 / 32)
    assert height == pytest.approx(step, rel=0.02)
    assert stats.average_run_length(mix, height) > 50
    assert stats.average_run_length(mix, step * 0.999) == pytest.approx(32)


def test_the_threshold_of_a_shop_gives_back_its_spacing():
    rng = np.random.default_rng(5)
    for mean in (0.005, 0.03, 0.2):
        mix = stats.score_mix(np.minimum(rng.gamma(2, mean / 2, 3000), 0.9))
        for spacing in (200, 10_000, 10**6):
            height = stats.cusum_threshold(mix, spacing)
            assert height <= np.log(spacing)
            assert stats.average_run_length(mix, height) == pytest.approx(spacing, rel=0.02)


@settings(max_examples=15, deadline=None)
@given(RISKS, st.floats(1, 4))
def test_false_alarms_add_up_to_the_run_length(risks, height):
    # The average is the sum over n of the chance of no alarm within n jobs.
    mix = stats.score_mix(risks)
    length = stats.average_run_length(mix, height)
    jobs = np.arange(int(min(30 * length, 2e5)))
    alive = 1 - stats.false_alarm_probability(mix, height, jobs)
    assert (np.diff(alive) <= 1e-12).all()
    if 30 * length <= 2e5:
        assert alive.sum() == pytest.approx(length, rel=0.15)


def test_false_alarm_probability_against_the_walk_of_a_chain():
    mix = stats.score_mix([0.1])  # on its lattice: down 0.0953, up 0.5978
    scores = np.rint(mix.scores / -mix.scores[1])
    moves = chain(scores, mix.probability, 1, 20)
    rounded = stats.ScoreMix(scores, mix.probability)
    jobs = [0, 1, 3, 4, 40, 64, 65, 66, 100, 1000, 5000]
    expected = [1 - np.linalg.matrix_power(moves, n)[0].sum() for n in jobs]
    found = stats.false_alarm_probability(rounded, 20.0, jobs, states=160)
    assert_allclose(found, expected, rtol=1e-4, atol=1e-14)


def test_chains_followed_together_are_those_followed_alone():
    risks, jobs = [0.02, 0.2], [[0, 3, 70], [400, 5000, 1e6]]
    mixes = [stats.score_mix(risks, true_odds_ratio=true) for true in (0.4, 1.0, 5.0)]
    together = stats.false_alarm_probabilities(mixes, 3.0, jobs)
    alone = [stats.false_alarm_probability(mix, 3.0, jobs) for mix in mixes]
    assert_allclose(together, alone, rtol=1e-12)
    assert (np.diff(together[:, 1, 0]) > 0).all()


def test_few_jobs_cannot_gather_an_alarm():
    mix = stats.score_mix([0.02, 0.03])
    height = stats.cusum_threshold(mix, 10_000)
    found = stats.false_alarm_probability(mix, height, [0, 2, 30, 300])
    assert found[0] == found[1] == 0
    assert (found < np.array([1e-9, 1e-9, 30, 300]) / 10_000).all()


def test_worse_than_expected_signals_sooner():
    risks = [0.02, 0.05, 0.1]
    height = stats.cusum_threshold(stats.score_mix(risks), 5000)
    found = [
        stats.average_run_length(stats.score_mix(risks, true_odds_ratio=true), height)
        for true in (0.5, 1, 2, 4)
    ]
    assert (np.diff(found) < 0).all()
    assert found[2] < 300


def test_a_mix_as_weights_or_as_jobs():
    one = stats.score_mix([0.1, 0.3, 0.3, 0.3])
    other = stats.score_mix([0.1, 0.3], [1, 3])
    assert stats.average_run_length(one, 3) == pytest.approx(stats.average_run_length(other, 3))


def test_many_risks_are_represented_by_parts_of_them():
    rng = np.random.default_rng(2)
    risks = rng.beta(1, 30, 20_000)
    mix = stats.score_mix(risks)
    assert len(mix.scores) == 800
    failing = mix.scores > 0
    assert mix.probability.sum() == pytest.approx(1)
    assert mix.probability[failing].sum() == pytest.approx(risks.mean())
    some = stats.score_mix(np.quantile(risks, (np.arange(400) + 0.5) / 400))
    assert stats.average_run_length(mix, 3) == pytest.approx(
        stats.average_run_length(some, 3), rel=0.02
    )


def test_run_lengths_answer_in_the_shape_of_the_rates():
    assert np.shape(stats.bernoulli_run_length(0.1, 3, 1)) == ()
    assert stats.bernoulli_run_length([[0.1, 0.2]], 3, 1).shape == (1, 2)
    assert np.shape(stats.false_alarm_probability(stats.score_mix([0.1]), 2, 10)) == ()


GOOD = stats.score_mix([0.1, 0.2])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.score_mix([]), "risks must hold at least one job"),
        (lambda: stats.score_mix([0.1], [0]), "risks must hold at least one job"),
        (lambda: stats.score_mix([1.1]), "risks must lie between 0 and 1, got 1.1"),
        (lambda: stats.score_mix([0.1], [1, 2]), "weights must have one entry a risk"),
        (lambda: stats.score_mix([0.1], [-1]), "weights must not be negative"),
        (lambda: stats.score_mix([0.1], odds_ratio=1), "odds_ratio must be a positive number oth"),
        (lambda: stats.score_mix([0.1], true_odds_ratio=0), "true_odds_ratio must be a positive"),
        (lambda: stats.bernoulli_run_length(2, 5, 1), "rate must lie between 0 and 1, got 2"),
        (lambda: stats.bernoulli_run_length(0.1, 2.5, 1), "m must be a whole number of at least 2"),
        (lambda: stats.bernoulli_run_length(0.1, 5, 0), "threshold must be positive, got 0"),
        (lambda: stats.average_run_length(GOOD, -1), "threshold must be positive, got -1"),
        (lambda: stats.cusum_threshold(GOOD, 1), "run_length must be above 1, got 1"),
        (lambda: stats.cusum_threshold(stats.score_mix([0.0]), 9), "mix must hold jobs that can"),
        (lambda: stats.false_alarm_probability(GOOD, 0, 1), "threshold must be positive"),
        (lambda: stats.false_alarm_probability(GOOD, 1, -1), "n_jobs must not be negative"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
