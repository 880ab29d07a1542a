"""Adjusted differences of invented shops against their known truth, through `adjust` itself.

By simulation, no published value: the truth is what the generator says. The figures of the slow
test stand in the README.
"""

from dataclasses import dataclass, field

import numpy as np
import pytest

from fixstats import stats
from fixstats.findings.adjusting import adjust

from . import invented_shops
from .invented_shops import MODELS, OPTIONS

KEYS = ("model", "technician", "quarter", "opening_practice")
OTHERS, SCOPES = OPTIONS[1:], (*MODELS, None)
SIZES, SHOPS = (3, 5, 12), 350  # technicians; shops of each size


def ask(shop, at):
    answer = adjust(
        shop.columns,
        "opening",
        OPTIONS,
        OPTIONS[0],
        KEYS,
        by_model=True,
        practice="opening_practice",
        at=at,
        confidence_level=0.95,
    )
    assert answer.problem == ""
    return answer


def ends(answer):
    """Ends of the differences, (low and high, options, scopes); NaN for a model without jobs."""
    nothing = float("nan")
    rows = [[answer.rows.get((option, scope)) for scope in SCOPES] for option in OTHERS]
    low = [[row.low if row else nothing for row in one] for one in rows]
    high = [[row.high if row else nothing for row in one] for one in rows]
    return np.array([low, high])


def holds(answer, truth):
    """Which intervals of differences to the first option hold the truth; NaN without jobs."""
    low, high = ends(answer)
    difference = (truth - truth[0])[1:]
    held = ((low <= difference) & (difference <= high)).astype(float)
    held[np.isnan(low)] = np.nan
    return held


def raw_holds(shop):
    """Which intervals of raw differences, overall, hold the truth of like with like."""
    failures, jobs = shop.own_counts.sum(axis=2)
    raw = stats.newcombe_difference(failures[1:], jobs[1:], failures[0], jobs[0])
    truth = (shop.now[1:] - shop.now[0])[:, -1]
    return (raw.low <= truth) & (truth <= raw.high)


def pooled_holds(shop):
    """Share of pooled intervals of an option's models that hold the rate of their own jobs."""
    shares = []
    for failures, jobs, rates in zip(*shop.own_counts, shop.own_rates, strict=True):
        pooled = stats.pool_rates(failures, jobs)
        held = (pooled.pooled_low <= rates) & (rates <= pooled.pooled_high)
        shares.append(held[jobs > 0].mean())
    return np.mean(shares)


@dataclass
class Tally:
    """What many shops of one size came to; arrays by option and scope."""

    raw: list = field(default_factory=list)
    now: list = field(default_factory=list)
    at_next: list = field(default_factory=list)
    practised: list = field(default_factory=list)
    pooled: list = field(default_factory=list)
    less: list = field(default_factory=list)
    more: list = field(default_factory=list)

    def add(self, seed, technicians):
        shop = invented_shops.shop(seed, technicians)
        self.raw.append(raw_holds(shop))
        now = ask(shop, "now")
        self.now.append(holds(now, shop.now))
        self.at_next.append(holds(now, shop.at_next))
        self.practised.append(holds(ask(shop, "practised"), shop.practised))
        self.pooled.append(pooled_holds(shop))
        # Equal for whoever has learnt them, and equal for all where there is nothing to learn.
        for learning, at in ((0.8, "practised"), (0.0, "now")):
            twins = invented_shops.shop(seed, technicians, learning=learning, twins=True)
            low, high = ends(ask(twins, at))
            seen = np.where(np.isnan(low), np.nan, 1.0)
            self.less.append((high < 0) * seen)
            self.more.append((low > 0) * seen)


def mean(parts):
    """By option and scope, over shops."""
    return np.nanmean(np.array(parts), axis=0)


def told(technicians, tally):
    """One line of the table."""
    now, less, more = mean(tally.now), mean(tally.less), mean(tally.more)
    return (
        f"| {technicians} | {np.mean(tally.raw):.3f} | {now[:, -1].mean():.3f} "
        f"| {now[:, :-1].mean():.3f} | {now.min():.3f} "
        f"| {mean(tally.practised).mean():.3f} | {mean(tally.at_next).mean():.3f} "
        f"| {np.mean(tally.pooled):.3f} | {less.mean():.3f} | {more.mean():.3f} |"
    )


def test_differences_of_invented_shops_hold_the_truth():
    tally = Tally()
    for seed in range(6):
        tally.add(seed, 5)
    assert mean(tally.now).mean() >= 0.85
    assert mean(tally.practised).mean() >= 0.85
    assert np.mean(tally.pooled) >= 0.8
    assert mean(tally.less).mean() <= 0.1
    assert mean(tally.more).mean() <= 0.1


def test_a_shop_compared_by_its_raw_rates_is_misled():
    # The confounding must be worth adjusting for: else coverage of the adjusted proves nothing.
    shops = [invented_shops.shop(seed, 5, jobs=4000) for seed in range(40)]
    assert np.mean([raw_holds(shop) for shop in shops]) < 0.75


@pytest.mark.slow
def test_coverage_over_a_thousand_shops():
    tallies = {technicians: Tally() for technicians in SIZES}
    for technicians, tally in tallies.items():
        for seed in range(SHOPS):
            tally.add(1000 * technicians + seed, technicians)
        print(told(technicians, tally), flush=True)
    for technicians, tally in tallies.items():
        now = mean(tally.now)
        assert 0.93 <= now.mean() <= 0.97, technicians
        assert 0.93 <= now[:, -1].mean() <= 0.97, technicians
        assert mean(tally.practised).mean() >= 0.93, technicians
        assert 0.93 <= np.mean(tally.pooled) <= 0.97, technicians
        for equal in (mean(tally.less), mean(tally.more)):
            assert equal.mean() <= 0.05, technicians
            assert equal[:, -1].mean() <= 0.05, technicians
