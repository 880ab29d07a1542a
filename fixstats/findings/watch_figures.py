"""Numbers of watching: expected risks, thresholds and limits for a baseline that is itself counted.

A baseline of some months is uncertain, and limits that take it for known raise more false alarms
than they promise. So a month is out only where Fisher's exact test against the baseline says so as
well, and the chance of a false alarm of a CUSUM is averaged over what the baseline leaves open.
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
NODES = (np.arange(16) + 0.5) / 16
STATES = 80
# Share of groups' alarms that may be false (Benjamini-Hochberg).
FALSE_SHARE = 0.05


def pooled_risks(failures: Floats, opportunities: Floats) -> Floats:
    """Risk of one unit of each device model; arrays (charts, models).

    The overall rate times each model's ratio to it, drawn towards 1 by as much as the models of
    the chart differ no more than chance makes them: empirical Bayes with a gamma distribution of
    ratios, its variance by moments. NaN without opportunities.
    Source: Clayton and Kaldor 1987, Biometrics 43:671-681.
    """
    total = opportunities.sum(axis=1, keepdims=True)
    # Half a failure more, as in the posterior mean under the prior of Jeffreys: none seen in a
    # short baseline does not make the next one impossible.
    rate = (failures.sum(axis=1, keepdims=True) + 0.5) / np.where(total > 0, total + 1, np.nan)
    expected = opportunities * rate
    spare = ((failures - expected) ** 2 - expected).sum(axis=1, keepdims=True)
    between = np.maximum(spare, 0.0) / (expected**2).sum(axis=1, keepdims=True)
    # (failures + 1/between) / (expected + 1/between), for no variance between models 1.
    ratio = (failures * between + 1) / (expected * between + 1)
    return np.asarray(np.clip(rate * ratio, 0.0, 0.95), dtype=np.float64)


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
    gamma posterior of the true rate given the baseline.
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
    return np.array(
        [
            stats.false_alarm_probability(
                stats.score_mix(
                    risks, weight, odds_ratio=ODDS_RATIO, true_odds_ratio=float(np.exp(log))
                ),
                height,
                units,
                states=STATES,
            )
            for log in GRID
        ]
    )


def _averaged(chance: Floats, baseline_failures: Floats) -> Floats:
    """Mean chance over the posterior of the true rate; (heights, charts)."""
    from scipy import special

    shape = baseline_failures + 0.5
    ratio = special.gammaincinv(shape[None, :], NODES[:, None]) / shape
    log = np.clip(np.log(np.maximum(ratio, 1e-9)), GRID[0], GRID[-1])
    odds = np.log(chance) - np.log1p(-chance)
    means = np.empty((len(chance), len(shape)))
    for n in range(len(shape)):
        for height in range(len(chance)):
            between = np.interp(log[:, n], GRID, odds[height, :, n])
            means[height, n] = (1 / (1 + np.exp(-between))).mean()
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
    baseline_rate: Floats,
    baseline_opportunities: Floats,
    sigma_z: Floats,
) -> MonthLimits:
    """Exact limits around the expected rate that allow for a baseline of few failures.

    The upper limit is that of the p-chart, raised where Fisher's test of the month against the
    baseline would not reach the same tail. A baseline with a higher or lower risk than the month's
    own jobs counts as one of so many opportunities that its failures give the expected rate.
    """
    limits = stats.p_limits(centre, opportunities, limits="exact", sigma_z=sigma_z)
    wide = sigma_z**2
    scaled = baseline_opportunities * baseline_rate / centre
    base = np.maximum(np.rint(scaled / wide), np.ceil(baseline_failures / wide))
    failed = np.rint(baseline_failures / wide)
    units = np.maximum(np.rint(opportunities / wide), 1.0)
    first = np.floor(limits.upper_limit * opportunities + 1e-9) + 1
    beyond = np.ones_like(first)
    waiting = np.ones(first.shape, dtype=bool)
    while waiting.any():
        k = np.minimum(np.floor(first[waiting] / wide[waiting]), units[waiting])
        beyond[waiting] = stats.fisher(
            k, units[waiting], failed[waiting], base[waiting], alternative="more"
        )
        # The limit can be beyond all: then no number of failures is too many.
        still = (beyond > stats.THREE_SIGMA_TAIL) & (first <= opportunities)
        waiting &= still
        first = np.where(waiting, first + 1, first)
    beyond = np.where(first > opportunities, 0.0, beyond)
    upper = np.minimum((first - 1) / opportunities, 1.0)
    return MonthLimits(limits.lower_limit, upper, beyond)


def shortest_gaps(rate: Floats, failures: Floats, opportunities: Floats) -> tuple[Floats, Floats]:
    """Lower limits of the jobs between two failures, and the chance of fewer; (charts,).

    That of the g-chart, lowered where Fisher's test of one failure in so many jobs against the
    baseline would not reach the same tail.
    """
    lower = stats.g_limits(rate).lower_limit.copy()
    chance = np.zeros(lower.shape)
    for n in np.flatnonzero(lower > 0):
        gaps = np.arange(1, int(lower[n]) + 1)
        found = stats.fisher(
            np.ones(len(gaps)), gaps, np.full(len(gaps), failures[n]),
            np.full(len(gaps), opportunities[n]), alternative="more",
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
