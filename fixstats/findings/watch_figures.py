"""Numbers of watching: expected risks, thresholds and limits for a baseline that is itself counted.

A baseline of some months is uncertain, and limits that take it for known raise more false alarms
than they promise. So a month is out only where Fisher's exact test against the baseline says so as
well, and the chance of a false alarm of a CUSUM is averaged over what the baseline leaves open.
Source of the concern: Jones and Steiner 2012, Int J Qual Health Care 24:176-182 (an estimated risk
model and the risk-adjusted CUSUM; cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixstats import stats

Floats = NDArray[np.float64]

# The change looked for by a CUSUM: odds twice those expected.
ODDS_RATIO = 2.0
# Chance that a CUSUM signals at all in the watched time if nothing changed: one in 400. The same
# for each, so that who asks about one mode gets no other answer than who asks about all.
CUSUM_CHANCE = 0.0025
# Heights between which a threshold is sought; the lowest takes five failures in a row.
HEIGHTS = np.geomspace(3.0, 24.0, 10)
# Logarithms of true over estimated rate at which the chance of a false alarm is worked out.
GRID = np.array([-1.0, -0.6, -0.35, -0.2, -0.1, 0.0, 0.1, 0.2, 0.35, 0.6, 1.0, 1.6])
# Quantiles of the true rate over which that chance is averaged, and their weights: close together
# where the rate is high, since most false alarms come from there.
_AT = (np.arange(24) + 0.5) / 24
NODES, WEIGHTS = 1 - (1 - _AT) ** 4, 4 * (1 - _AT) ** 3 / np.sum(4 * (1 - _AT) ** 3)
STATES = 80
# A month of fewer failures is never out: one or two of a handful of jobs are no news.
FEWEST_FAILURES = 3
# Least variance of the models' ratios to the overall rate: a third up or down is usual between
# device models (common practice, no source).
LEAST_SPREAD = 0.1
# Share of groups' alarms that may be false (Benjamini-Hochberg).
FALSE_SHARE = 0.05


@dataclass(frozen=True)
class Risks:
    """Risk of one unit of each device model, (charts, models); NaN without opportunities.

    ``weight``: (charts, 1), failures that what all models have in common is worth to each of them.
    """

    risk: Floats
    weight: Floats


def pooled_risks(failures: Floats, opportunities: Floats) -> Risks:
    """Risks from the counts of a baseline; arrays (charts, models).

    The overall rate times each model's ratio to it, drawn towards 1 by as much as the models of
    the chart differ no more than chance makes them: empirical Bayes with a gamma distribution of
    ratios, its variance by moments, but never below ``LEAST_SPREAD``: a few failures cannot show
    that all models are alike.
    Source: Clayton and Kaldor 1987, Biometrics 43:671-681.
    """
    total = opportunities.sum(axis=1, keepdims=True)
    # Half a failure more, as in the posterior mean under the prior of Jeffreys: none seen in a
    # short baseline does not make the next one impossible.
    rate = (failures.sum(axis=1, keepdims=True) + 0.5) / np.where(total > 0, total + 1, np.nan)
    expected = opportunities * rate
    spare = ((failures - expected) ** 2 - expected).sum(axis=1, keepdims=True)
    between = np.maximum(spare / (expected**2).sum(axis=1, keepdims=True), LEAST_SPREAD)
    ratio = (failures + 1 / between) / (expected + 1 / between)
    return Risks(np.clip(rate * ratio, 0.0, 0.95), np.asarray(1 / between, dtype=np.float64))


def effective_failures(failures: Floats, weight: Floats, expected: Floats) -> Floats:
    """Failures of a baseline that would leave the expected number as uncertain as it is; (charts,).

    ``failures`` of the baseline and ``expected`` ones of the watched time are (charts, models). All
    of them together where jobs are as they were; fewer where the work has moved to models of which
    the baseline knows little. The relative variances of the overall rate and of the models' ratios
    are added.
    """
    total = expected.sum(axis=1, keepdims=True)
    share = expected / np.where(total > 0, total, 1.0)
    overall = failures.sum(axis=1)
    spread = (share**2 / (failures + weight)).sum(axis=1)
    variance = 1 / (overall + 0.5) + spread
    return np.asarray(np.maximum(1 / variance - 0.5, 0.0))


@dataclass(frozen=True)
class Thresholds:
    """Of each CUSUM: height that signals (NaN: none is high enough), chance of a false alarm."""

    threshold: Floats
    false_alarm: Floats


def cusum_thresholds(
    expected: Floats, opportunities: Floats, baseline_failures: Floats, chance: float = CUSUM_CHANCE
) -> Thresholds:
    """Thresholds at which each of the charts signals falsely with that chance, or less.

    ``expected``, ``opportunities``: failures expected and units in the watched time, (charts,);
    ``baseline_failures``: how many the expectation rests on. The chance is that over the mix of
    risks of all charts, for as many units as expect the same number of failures, averaged over the
    true rates that the baseline leaves open.
    """
    charts = len(expected)
    there = expected > 0
    none = np.full(charts, np.nan)
    if not there.any():
        return Thresholds(none, np.zeros(charts))
    risks = expected[there] / opportunities[there]
    weight = opportunities[there]
    units = expected / float((risks * weight).sum() / weight.sum())
    signals = np.array([_chances(risks, weight, height, units) for height in HEIGHTS])
    logs = np.log(_averaged(np.clip(signals, 1e-15, 1 - 1e-15), baseline_failures))
    wanted = np.log(chance)
    found, at = none.copy(), np.zeros(charts)
    for n in np.flatnonzero(there):
        falling = np.minimum.accumulate(logs[:, n])
        if falling[-1] <= wanted:
            found[n] = np.interp(-wanted, -falling, HEIGHTS)
            at[n] = np.exp(np.interp(found[n], HEIGHTS, falling))
    return Thresholds(found, at)


def _chances(risks: Floats, weight: Floats, height: float, units: Floats) -> Floats:
    """Chance of a signal within the units, for each true rate of the grid; (grid, charts)."""
    mixes = [
        stats.score_mix(risks, weight, odds_ratio=ODDS_RATIO, true_odds_ratio=float(np.exp(log)))
        for log in GRID
    ]
    return stats.false_alarm_probabilities(mixes, height, units, states=STATES)


def _averaged(chance: Floats, baseline_failures: Floats) -> Floats:
    """Mean chance over the posterior of the true rate; (heights, charts)."""
    from scipy import special

    # One failure more than seen, as in exact upper limits: on average over all baselines that could
    # have been, the chance then holds, where a posterior would promise too much.
    drawn = special.gammaincinv(baseline_failures[None, :] + 1, NODES[:, None])
    ratio = drawn / (baseline_failures + 0.5)
    log = np.clip(np.log(np.maximum(ratio, 1e-9)), GRID[0], GRID[-1])
    odds = np.log(chance) - np.log1p(-chance)
    means = np.empty(chance[:, 0].shape)
    for n in range(len(baseline_failures)):
        for height in range(len(chance)):
            between = np.interp(log[:, n], GRID, odds[height, :, n])
            means[height, n] = WEIGHTS @ (1 / (1 + np.exp(-between)))
    return means


@dataclass(frozen=True)
class MonthLimits:
    """Limits of rates, and the chance beyond the upper one; arrays of one shape."""

    lower_limit: Floats
    upper_limit: Floats
    beyond: Floats


def month_limits(
    centre: Floats,
    opportunities: Floats,
    baseline_failures: Floats,
    sigma_z: Floats,
) -> MonthLimits:
    """Exact limits around the expected rate that allow for a baseline of few failures.

    The upper limit is that of the p-chart, raised where Fisher's test of the month against the
    baseline would not reach the same tail. The baseline counts as so many opportunities that its
    failures give the expected rate of the month's own jobs.
    """
    limits = stats.p_limits(centre, opportunities, limits="exact", sigma_z=sigma_z)
    wide = sigma_z**2
    failed = np.rint(baseline_failures / wide)
    base = np.ceil((failed + 0.5) / centre)
    units = np.maximum(np.rint(opportunities / wide), 1.0)

    def tail(k: Floats, of: NDArray[np.int64]) -> Floats:
        inside = np.minimum(np.floor(k / wide[of]), units[of])
        return stats.fisher(inside, units[of], failed[of], base[of], alternative="more")

    # The first number of failures that is too many; it can be beyond all. The exact test is slow,
    # so that it is asked only near the place where a quick one puts it.
    low = np.maximum(np.floor(limits.upper_limit * opportunities + 1e-9), FEWEST_FAILURES - 1)
    low, high = np.minimum(low, opportunities), opportunities + 1
    at = _nearly_too_many(low, high, wide, failed, units / (units + base))
    beyond, reach = np.zeros(len(at)), 1
    while len(of := np.flatnonzero(high - low > 1)):
        at[of] = np.clip(at[of], low[of] + 1, high[of] - 1)
        p_value = tail(at[of], of)
        out = p_value <= stats.THREE_SIGMA_TAIL
        high[of], low[of] = np.where(out, at[of], high[of]), np.where(out, low[of], at[of])
        beyond[of] = np.where(out, p_value, beyond[of])
        at[of] = np.where(out, high[of] - reach, low[of] + reach)
        reach *= 2
    upper = np.minimum((high - 1) / opportunities, 1.0)
    return MonthLimits(limits.lower_limit, upper, beyond)


def _nearly_too_many(
    low: Floats, high: Floats, wide: Floats, failed: Floats, share: Floats
) -> Floats:
    """About the first number from ``low`` to ``high`` that is too many; by halving.

    Of all failures together, the share that falls to the month is taken to be binomial.
    """
    from scipy import special

    low, high = low.copy(), high.copy()
    while (high - low > 1).any():
        middle = np.ceil((low + high) / 2)
        chance = special.betainc(np.maximum(np.floor(middle / wide), 1.0), failed + 1, share)
        out = chance <= stats.THREE_SIGMA_TAIL
        low, high = np.where(out, low, middle), np.where(out, middle, high)
    return high


def shortest_gaps(rate: Floats, baseline_failures: Floats) -> tuple[Floats, Floats]:
    """Lower limits of the jobs between two failures, and the chance of fewer; (charts,).

    That of the g-chart, lowered where Fisher's test of one failure in so many jobs against the
    baseline would not reach the same tail.
    """
    lower = stats.g_limits(rate).lower_limit.copy()
    chance = np.zeros(lower.shape)
    failed = np.rint(baseline_failures)
    for n in np.flatnonzero(lower > 0):
        gaps = np.arange(1, int(lower[n]) + 1)
        found = stats.fisher(
            np.ones(len(gaps)), gaps, np.full(len(gaps), failed[n]),
            np.full(len(gaps), np.ceil((failed[n] + 0.5) / rate[n])), alternative="more",
        )  # fmt: skip
        lower[n] = int((found <= stats.THREE_SIGMA_TAIL).sum())
        chance[n] = found[int(lower[n]) - 1] if lower[n] else 0.0
    return lower, chance


@dataclass(frozen=True)
class Ratio:
    """How many times as often as expected, with its exact interval; scalars, None: no end."""

    ratio: float | None
    low: float | None
    high: float | None


def ratio_to(
    failures: float, expected: float, others: float, others_expected: float, level: float
) -> Ratio:
    """Ratio of failures to expected, over that of the others; exact, given all failures together.

    Of all failures together, the share that falls to the group is binomial; Clopper-Pearson limits
    of that share become those of the ratio of two Poisson rates (Przyborowski and Wilenski 1940,
    Biometrika 31:313-323).
    """
    total = failures + others
    if not total > 0 or not expected > 0 or not others_expected > 0:
        return Ratio(None, None, None)
    share = stats.clopper_pearson(failures, total, confidence_level=level)
    scale = others_expected / expected
    ends = [failures / total, float(share.low), float(share.high)]
    return Ratio(*(None if end >= 1 else scale * end / (1 - end) for end in ends))
