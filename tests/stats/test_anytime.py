"""Confidence sequences and evidence: edges, properties, refusals, and bets placed one by one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from fixstats import stats
from fixstats.stats.anytime import _STAKES

counts = st.integers(0, 400)


def test_no_jobs_say_nothing():
    found = stats.proportion_sequence(0, 0)
    assert (found.low, found.high) == (0, 1)
    pairs = stats.pair_sequence(0, 0, 0)
    assert (pairs.low, pairs.high) == (-1, 1)
    assert stats.pair_evidence(0, 0, 0) == stats.evidence_above(0, 0, 0.02) == 1


def test_none_and_all_failed():
    found = stats.proportion_sequence([0, 20], [20, 20])
    assert found.low[0] == 0 and found.high[1] == 1
    assert_allclose(found.high[0], 1 - found.low[1], rtol=1e-9)
    huge = stats.proportion_sequence(10**6, 10**9, narrowest_at=10**9)
    assert 0.000990 < huge.low < 0.001 < huge.high < 0.001010


@settings(max_examples=30, deadline=None)
@given(counts, counts)
def test_it_is_wider_than_an_interval_for_one_look(failures, others):
    opportunities = failures + others
    found = stats.proportion_sequence(failures, opportunities, narrowest_at=100)
    # At either end all of the error may lie on one side.
    if opportunities == 0:
        return
    once = stats.clopper_pearson(failures, opportunities, confidence_level=0.90)
    assert found.low <= once.low + 1e-9 and found.high >= once.high - 1e-9


@settings(max_examples=30, deadline=None)
@given(counts, counts, counts)
def test_the_ends_are_where_the_evidence_stands_at_the_threshold(more, fewer, same):
    found = stats.pair_sequence(more, fewer, same, confidence_level=0.96)
    for end in (found.low, found.high):
        if -1 < end < 1:
            there = stats.pair_evidence(more, fewer, same, difference=float(end))
            assert_allclose(there, 25, rtol=1e-6)
    total = more + fewer + same
    if total:
        assert found.low < (more - fewer) / total < found.high or abs(more - fewer) == total


@settings(max_examples=30, deadline=None)
@given(counts, counts, counts)
def test_option_and_baseline_mirror(more, fewer, same):
    one, other = stats.pair_sequence(more, fewer, same), stats.pair_sequence(fewer, more, same)
    assert_allclose([one.low, one.high], [-other.high, -other.low], atol=1e-9)
    assert_allclose(
        stats.pair_evidence(more, fewer, same), stats.pair_evidence(fewer, more, same), rtol=1e-12
    )


def test_the_capital_is_that_of_bets_placed_one_by_one():
    """A second implementation: bettors with a purse each, a score at a time."""
    rng = np.random.default_rng(3)
    scores = rng.integers(-1, 2, 60)
    for difference in (-0.3, 0.0, 0.2):
        purses = np.ones(len(_STAKES))
        for score in scores:
            mean = (1 + difference) / 2
            purses *= 1 + _STAKES * ((score + 1) / 2 - mean) / mean
        tally = [(scores == value).sum() for value in (1, -1, 0)]
        found = stats.pair_evidence_above(*tally, difference=difference)
        assert_allclose(found, purses.mean(), rtol=1e-10)


def test_every_bet_is_fair():
    """The expected capital after one more pair is what it was, whatever was seen before."""
    p, q, difference = 0.3, 0.1, 0.2
    chance = [p * (1 - q), q * (1 - p), 1 - p * (1 - q) - q * (1 - p)]
    for seen in ((0, 0, 0), (5, 1, 20), (0, 9, 3)):
        next_ones = [np.add(seen, step) for step in np.eye(3, dtype=int)]
        after = [stats.pair_evidence(*one, difference=difference) for one in next_ones]
        before = stats.pair_evidence(*seen, difference=difference)
        assert_allclose(np.dot(chance, after), before, rtol=1e-12)
    after = [stats.evidence_above(3 + failed, 51, 0.04) for failed in (1, 0)]
    assert_allclose(np.dot([0.04, 0.96], after), stats.evidence_above(3, 50, 0.04), rtol=1e-12)


def test_evidence_grows_with_what_it_is_evidence_for():
    above = stats.evidence_above([0, 2, 4, 8], 100, 0.02)
    assert (np.diff(above) > 0).all() and above[0] < 1
    assert np.isfinite(stats.evidence_above(10**6, 10**6, 0.02))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: stats.pair_evidence(-1, 0, 0), "more must not be negative"),
        (lambda: stats.pair_evidence([1, 2], [1, 2, 3], 0), "shapes that fit"),
        (lambda: stats.pair_evidence(1, 1, 1, difference=2), "difference must lie between -1"),
        (lambda: stats.pair_sequence(1, 1, 1, confidence_level=1), "confidence_level"),
        (lambda: stats.evidence_above(1, 2, 0), "limit must lie between 0 and 1"),
        (lambda: stats.proportion_sequence(1, 2, narrowest_at=0), "narrowest_at must be above 0"),
        (lambda: stats.proportion_sequence(3, 2), "failures must not be greater"),
    ],
)
def test_refusals(call, words):
    with pytest.raises(ValueError, match=words):
        call()
