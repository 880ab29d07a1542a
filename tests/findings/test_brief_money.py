"""The allowance for failures and come-backs: by hand, and against shops whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from fixstats.findings.brief_money import _classes, _money, _unseen

COSTS = {"small": 4.0, "middling": 10.0, "large": 55.0, "free": 0.0}


def shop(failures, jobs):
    return {mode: {"A": (k, jobs)} for mode, k in failures.items()}


def test_with_many_jobs_it_is_the_money_lost_per_job():
    seen = {"small": 4000, "middling": 900, "large": 2500, "free": 9000}
    draws = _money(shop(seen, 100_000), COSTS, "A", seed=1)
    by_hand = (4000 * 4 + 900 * 10 + 2500 * 55) / 100_000
    assert draws.mean() == pytest.approx(by_hand, rel=0.002)
    # The money of a job varies as a sum of Poisson counts does: sd of the mean by hand.
    error = np.sqrt(4000 * 4**2 + 900 * 10**2 + 2500 * 55**2) / 100_000
    assert draws.std() == pytest.approx(error, rel=0.1)


def test_nothing_that_costs_anything_is_nothing():
    assert not _money(shop({"free": 50}, 100), COSTS, "A", seed=1).any()
    assert not _money({"large": {}}, COSTS, "A", seed=1).any()


def test_no_come_back_seen_is_not_none_to_come():
    draws = _unseen({"A": (0, 400)}, {"dud": 30.0, "torn": 50.0, "loose": None}, "A")
    # Jeffreys' mean of 0 in 400 times the mean cost.
    assert draws.mean() == pytest.approx(40 * 0.5 / 401, rel=0.05)
    assert np.quantile(draws, 0.975) > 0.1


def test_what_few_could_know_of_stands_by_itself():
    events = {
        "small": {"A": (3, 100)},
        "middling": {"A": (3, 100)},
        "large": {"A": (2, 40), "B": (1, 9)},
    }
    assert _classes(events, {"small": 4.0, "middling": 10.0, "large": 9.0}) == [
        ("small", "middling"),
        ("large",),
    ]
    # Known of as many jobs, it would have gone with them.
    events["large"] = {"A": (2, 100)}
    assert _classes(events, {"small": 4.0, "middling": 10.0, "large": 9.0}) == [
        ("small", "large", "middling")
    ]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("models", "spread", "sizes"),
    [(12, 0.3, (5, 40, 200)), (12, 0.8, (5, 40, 200)), (3, 0.3, (20, 60)), (25, 0.5, (3, 10, 30))],
)
def test_intervals_hold_the_true_allowance_as_often_as_they_say(models, spread, sizes):
    """Ten modes, rates that differ by model; one model of each shop is asked about."""
    random = np.random.default_rng(5)
    base = np.array([0.002, 0.005, 0.01, 0.01, 0.02, 0.03, 0.03, 0.05, 0.08, 0.1])[:, None]
    held, off = [], []
    for _ in range(120):
        jobs = random.choice(sizes, models)
        logit = np.log(base / (1 - base)) + spread * random.normal(size=(10, models))
        rates = 1 / (1 + np.exp(-logit))
        costs = {f"m{n}": float(c) for n, c in enumerate(random.choice([4, 10, 30, 60, 120], 10))}
        events = {
            f"m{n}": {
                f"M{m}": (int(random.binomial(jobs[m], rates[n, m])), int(jobs[m]))
                for m in range(models)
            }
            for n in range(10)
        }
        asked = int(random.integers(models))
        truth = sum(cost * rates[n, asked] for n, cost in enumerate(costs.values()))
        draws = _money(events, costs, f"M{asked}", seed=1)
        low, high = np.quantile(draws, [0.025, 0.975])
        held.append(low <= truth <= high)
        off.append(draws.mean() / truth - 1)
    # 0.95 less three standard errors of 120 shops; a little too high where little is known.
    assert np.mean(held) >= 0.89
    assert -0.05 < np.mean(off) < 0.15
