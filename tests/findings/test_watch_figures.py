"""Numbers of watching: worked by hand, put back, and against other programs."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats as scipy_stats

from fixstats.findings.watch_figures import (
    CUSUM_CHANCE,
    cusum_thresholds,
    effective_failures,
    month_limits,
    pooled_risks,
    ratio_to,
    shortest_gaps,
)
from fixstats.findings.watch_groups import FALSE_SHARE, false_alarms
from fixstats.findings.watch_time import day_of_rise
from fixstats.stats import benjamini_hochberg, false_alarm_probability, score_mix

TAIL = 0.0013498980316300946  # beyond three sigma


def one(value):
    return np.array([float(value)])


# ---------------------------------------------------------------- risks


def test_models_alike_share_one_rate_and_a_model_of_its_own_keeps_it():
    risks = pooled_risks(np.array([[20.0, 20, 200]]), np.array([[1000.0, 1000, 1000]])).risk[0]
    overall = 240.5 / 3001
    assert risks[0] == risks[1] < overall < risks[2]
    assert 0.85 * 0.2 < risks[2] < 0.2


def test_a_small_model_is_drawn_to_the_others():
    small = pooled_risks(np.array([[40.0, 2]]), np.array([[2000.0, 10]])).risk[0]
    assert 0.02 < small[1] < 0.05  # its own rate is 0.2


def test_none_seen_is_not_never_and_none_looked_for_is_not_known():
    risks = pooled_risks(np.array([[0.0, 0], [0, 0]]), np.array([[99.0, 100], [0, 0]])).risk
    assert risks[0] == pytest.approx(0.5 / 200, rel=0.1)
    assert np.isnan(risks[1]).all()


def test_a_baseline_of_other_models_counts_for_less():
    failures, weight = np.array([[30.0, 1]]), np.array([[5.0]])
    same = effective_failures(failures, weight, np.array([[30.0, 1]]))
    moved = effective_failures(failures, weight, np.array([[3.0, 28]]))
    assert moved < same / 2 < 31 / 2


# ---------------------------------------------------------------- months


@pytest.mark.parametrize(("failures", "units", "base"), [(60, 300, 2), (5, 40, 0), (300, 900, 30)])
def test_a_month_beyond_its_limit_is_beyond_what_fisher_allows(failures, units, base):
    centre = (base + 0.5) / 3000
    found = month_limits(one(centre), one(units), one(base), one(1.0))
    first = round(float(found.upper_limit[0]) * units) + 1
    whole = int(np.ceil((base + 0.5) / centre))

    def fisher(k):
        table = [[k, units - k], [base, whole - base]]
        return scipy_stats.fisher_exact(table, alternative="greater").pvalue

    assert fisher(first) <= TAIL == pytest.approx(scipy_stats.norm.sf(3))
    assert found.beyond[0] == pytest.approx(fisher(first))
    exact = max(scipy_stats.binom.isf(TAIL, units, centre), 2)
    assert fisher(first - 1) > TAIL or first - 1 == exact  # the first of all


def test_few_jobs_do_not_cry_wolf():
    found = month_limits(np.full(4, 0.02), np.array([1.0, 2, 3, 8]), np.full(4, 20.0), np.ones(4))
    assert (found.upper_limit[:2] == 1).all() and (found.beyond[:2] == 0).all()
    assert found.upper_limit[3] * 8 >= 2  # two of eight are no alarm either


def test_a_known_baseline_leaves_the_limits_of_the_chart():
    found = month_limits(one(0.05), one(400), one(1e6), one(1.0))
    assert found.upper_limit[0] * 400 == scipy_stats.binom.isf(TAIL, 400, 0.05)


def test_gaps_too_short_are_those_that_fisher_allows():
    lower, chance = shortest_gaps(one(1e-4), one(100))
    base = np.ceil(100.5 / 1e-4)

    def fisher(gap):
        return scipy_stats.hypergeom.sf(0, base + gap, 101, gap)

    assert fisher(lower[0]) <= TAIL < fisher(lower[0] + 1)
    assert chance[0] == pytest.approx(fisher(lower[0]))
    assert shortest_gaps(one(0.01), one(3))[0] == 0  # no gap of a usual mode is too short


# ---------------------------------------------------------------- sums


@pytest.mark.parametrize("expected", [4.0, 25.0])
def test_false_alarms_over_all_baselines_are_as_wanted(expected):
    """The chance by the Markov chain, over all counts that a baseline of that length could have."""
    units = 1200.0
    counts = np.arange(0, int(expected + 6 * expected**0.5))
    guess = (counts + 0.5) / units
    found = cusum_thresholds(guess * units, np.full(len(counts), units), counts.astype(float))
    chance = 0.0
    for k, risk, height in zip(counts, guess, found.threshold, strict=True):
        probable = scipy_stats.poisson.pmf(k, expected)
        if probable > 1e-7 and np.isfinite(height):
            mix = score_mix([risk], true_odds_ratio=expected / units / risk)
            chance += probable * float(false_alarm_probability(mix, height, units))
    assert 0.5 * CUSUM_CHANCE < chance < 1.1 * CUSUM_CHANCE


def test_without_jobs_there_is_no_threshold():
    found = cusum_thresholds(one(0), one(1), one(0))
    assert np.isnan(found.threshold[0]) and found.false_alarm[0] == 0


def test_the_day_of_a_change():
    days = [date(2025, 1, 1) + timedelta(days=n) for n in range(60)]
    failures = [1 if n % 10 == 0 else 0 for n in range(30)] + [1 if n % 3 else 0 for n in range(30)]
    assert day_of_rise(failures, [0.1] * 60, days) in days[29:33]
    over = [*failures, *[0] * 60]
    longer = [date(2025, 1, 1) + timedelta(days=n) for n in range(120)]
    assert day_of_rise(over, [0.1] * 120, longer) in days[29:33]  # a change that is over


# ---------------------------------------------------------------- groups


def test_a_ratio_is_that_of_two_rates_with_their_exact_interval():
    found = ratio_to(20, 10, 40, 40, 0.95)
    assert found.ratio == pytest.approx((20 / 10) / (40 / 40))
    # Put back: with that ratio, 20 or more (or fewer) of the 60 have the chance of a tail.
    for ratio, tail in (
        (found.low, lambda share: scipy_stats.binom.sf(19, 60, share)),
        (found.high, lambda share: scipy_stats.binom.cdf(20, 60, share)),
    ):
        share = ratio * 10 / (ratio * 10 + 40)
        assert tail(share) == pytest.approx(0.025)
    assert ratio_to(5, 2, 0, 0, 0.95).ratio is None


def test_false_alarms_of_many_groups_are_as_stated():
    """Rejections of Benjamini and Hochberg among uniform p-values; by simulation."""
    rng = np.random.default_rng(5)
    runs, tests = 6_000, 60
    rejected = [(benjamini_hochberg(rng.random(tests)) <= FALSE_SHARE).sum() for _ in range(runs)]
    stated = FALSE_SHARE / (1 - FALSE_SHARE) ** 2
    assert np.mean(rejected) == pytest.approx(stated, abs=3.3 * np.std(rejected) / runs**0.5)
    assert false_alarms([]) == 0
