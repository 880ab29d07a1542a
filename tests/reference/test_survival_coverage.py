"""How often limits of a come-back rate hold the true one under heavy censoring, by simulation.

Run with `pytest -m slow -s tests/reference/test_survival_coverage.py` to see the table. Jobs were
handed over evenly over the last 120 days: a quarter were followed for the 90 days of the warranty.
As in the report, a rate counts only where ten or more jobs are still at risk at its day.
"""

import numpy as np
import pytest

from fixstats import stats

DAY, WINDOW, SHOPS = 90, 120, 4000
LEAST_AT_RISK = 10
# Jobs; share that comes back within the warranty, share with another return; shape of both Weibull
# times (1 an even rate, below 1 sooner, above 1 later); share that comes back in the last days.
CASES = [
    (60, 0.005, 0.0, 1, 0.0),
    (60, 0.02, 0.05, 1, 0.0),
    (60, 0.10, 0.05, 1, 0.0),
    (60, 0.10, 0.05, 4, 0.0),
    (60, 0.03, 0.0, 1, 0.10),
    (144, 0.0, 0.0, 1, 0.10),
    (200, 0.002, 0.0, 1, 0.0),
    (200, 0.02, 0.05, 1, 0.0),
    (200, 0.02, 0.05, 4, 0.0),
    (200, 0.02, 0.0, 1, 0.05),
    (200, 0.10, 0.05, 1, 0.0),
    (1000, 0.02, 0.02, 0.5, 0.0),
    (1000, 0.02, 0.02, 1, 0.0),
    (5000, 0.02, 0.02, 1, 0.0),
]


def shops(rng, jobs, rate, other, shape, late):
    """An at-risk table of as many shops, each a group; days rounded down as records have them."""
    scales = -np.log1p(-np.array([rate, other])) / DAY**shape
    times = [(rng.exponential(1, (SHOPS, jobs)) / max(s, 1e-300)) ** (1 / shape) for s in scales]
    lately = rng.random((SHOPS, jobs)) < late
    times[0] = np.where(
        lately, np.minimum(times[0], rng.uniform(85, DAY + 1, lately.shape)), times[0]
    )
    followed = np.minimum(rng.uniform(0, WINDOW, (SHOPS, jobs)), DAY + 0.5).astype(int)
    first = np.floor(np.minimum(*times))
    what = np.where(first > followed, 0, np.where(times[0] <= times[1], 1, 2))
    day = np.minimum(first, followed).astype(int)
    counts = np.zeros((3, SHOPS, DAY + 1))
    np.add.at(counts, (what, np.arange(SHOPS)[:, None], day), 1)
    at = np.flip(np.cumsum(np.flip(counts.sum(axis=0), axis=-1), axis=-1), axis=-1)
    group, days = (x.ravel() for x in np.indices(at.shape))
    return stats.at_risk(
        days, at.ravel(), counts[1:].reshape(2, -1), counts[0].ravel(), groups=group
    )


def truth(rate, other, shape, late):
    """The share with a come-back by the end of day 90: as if alone, and before another return."""
    mine, others = -np.log1p(-np.array([rate, other])) * ((DAY + 1) / DAY) ** shape
    alone = 1 - np.exp(-mine) * (1 - late)
    assert late == 0 or other == 0  # the second is simple only then
    return alone, alone if late else -np.expm1(-mine - others) * mine / (mine + others)


@pytest.mark.slow
def test_coverage_with_heavy_censoring():
    rng = np.random.default_rng(20)
    print(f"\n{SHOPS} shops a row; misses in %: true rate below the limits | above them")
    print("(above: those among them in which no come-back was seen)")
    print(
        " jobs  rate  late shape at risk events   log-log          beta-product     Aalen-Johansen"
    )
    margin = 3 * np.sqrt(0.025 * 0.975 / SHOPS)
    for jobs, rate, other, shape, late in CASES:
        made = shops(rng, jobs, rate, other, shape, late)
        alone, before = truth(rate, other, shape, late)
        at, seen = stats.n_at_risk_at(made, DAY), made.n_events[0].sum(axis=-1)
        enough = at >= LEAST_AT_RISK
        first = made.only(0)
        row = []
        for name, curve, true in (
            ("log-log", stats.kaplan_meier(first, days=DAY), alone),
            ("beta", stats.kaplan_meier(first, days=DAY, method="beta-product"), alone),
            ("incidence", stats.aalen_johansen(made, days=DAY), before),
        ):
            low, high = (np.reshape(x, (-1, SHOPS))[0] for x in (curve.low, curve.high))
            below, above = np.mean(low[enough] > true), np.mean(high[enough] < true)
            unseen = np.mean((high < true)[enough] & (seen[enough] == 0))
            row.append(f"{100 * below:5.2f}|{100 * above:4.2f} ({100 * unseen:4.2f})")
            # Where nothing was seen the limit holds on its own; the beta product always does.
            assert unseen <= 0.025 + margin, name
            most = 0.025 + margin if name == "beta" else 0.05
            assert max(below, above) <= most, name
        print(
            f"{jobs:5} {rate:5} {late:5} {shape:5} {at[enough].mean():7.1f}"
            f" {seen[enough].mean():6.1f}  " + "  ".join(row)
        )


@pytest.mark.slow
def test_errors_of_tests_between_shops_that_do_not_differ():
    """Share of p-values under 0.05: the two first shops against each other, and so on."""
    rng = np.random.default_rng(21)
    print("\n jobs  rate   log-rank   Gray   difference at day 90   of 8: log-rank   Gray")
    for jobs, rate, other in [(60, 0.10, 0.05), (200, 0.10, 0.05), (1000, 0.03, 0.02)]:
        made = shops(rng, jobs, rate, other, 1, 0.0)

        def some(which, made=made):
            return stats.AtRisk(
                made.day, made.n_at_risk[which], made.n_events[:, which], made.n_censored[which]
            )

        errors = []
        for groups in (2, 8):
            sets = [some(np.arange(i, i + groups)) for i in range(0, SHOPS, groups)]
            for test in (lambda one: stats.log_rank(one.only(0)), stats.gray_test):
                errors.append(np.mean([test(one).p_value < 0.05 for one in sets]))
            margin = 3 * np.sqrt(0.05 * 0.95 / len(sets))
            assert max(errors[-2:]) <= 0.06 + margin
        even, odd = some(np.arange(0, SHOPS, 2)), some(np.arange(1, SHOPS, 2))
        found = stats.curve_difference(even, odd, DAY, reason=0).p_value
        known = ~np.isnan(found)
        errors.insert(2, np.mean(found[known] < 0.05))
        assert errors[2] <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / known.sum())
        print(f"{jobs:5} {rate:5}" + "".join(f"{100 * x:12.2f} %" for x in errors))
