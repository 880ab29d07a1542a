"""Direct standardisation: what an option's rate would be over one mix of jobs, the same for all.

Each row is a stratum, as in `strata`, with the weight of that stratum in the standard, for
example the shop's own jobs in it. Weights need not add up to 1. A stratum in which an option has
no opportunities says nothing of its rate there: it is left out and counted, the others take its
weight, and `share` says how much of the standard is left.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.proportion import wilson
from fixstats.stats.strata import BoolArray, IntArray, Places, as_places
from fixstats.stats.validators import FloatArray, as_counts, as_numbers, as_two_groups, refuse


@dataclass(frozen=True)
class Standardised:
    """A standardised rate or difference; scalars, or one entry a comparison.

    `estimate`, `low`, `high`: fractions, NaN where no stratum can be used.
    `share`: how much of the weight lies in strata that can be used, from 0 to 1. Far below 1, the
    estimate no longer describes the standard.
    `strata`, `left_out`: how many strata entered and how many could not.
    """

    estimate: FloatArray
    low: FloatArray
    high: FloatArray
    share: FloatArray
    strata: IntArray
    left_out: IntArray


def standardised_rate(
    failures: ArrayLike,
    opportunities: ArrayLike,
    weights: ArrayLike,
    *,
    confidence_level: float = 0.95,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> Standardised:
    """Weighted mean of the strata's rates.

    The interval adds the squares of the weighted distances from each stratum's rate to its Wilson
    limits. It stays within 0 to 1, is not empty when nothing failed, and with one stratum it is
    `wilson`. It is wider than its level asks where failures are rare, and too narrow where much
    weight lies on strata with hardly any jobs.
    Source: Zou, Huang and Zhang 2009, Comput Stat Data Anal 53:1080-1085.
    """
    k, n = (np.atleast_1d(values) for values in as_counts(failures, opportunities))
    places, standard = as_places(k, groups, n_groups), _weights(weights, k)
    usable = n > 0
    rate, below, above = _weighted(k, n, standard, usable, places, confidence_level)
    return _standardised(places, (rate, rate - below, rate + above), standard, usable)


def standardised_difference(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    weights: ArrayLike,
    *,
    confidence_level: float = 0.95,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> Standardised:
    """Standardised rate of the option minus that of its baseline, over strata that have both.

    The interval adds squares as in `standardised_rate`; with one stratum it is Newcombe's
    method 10.
    Source: Zou and Donner 2008, Stat Med 27:1693-1702; Zou, Huang and Zhang 2009.
    """
    counts = as_two_groups(failures, opportunities, baseline_failures, baseline_opportunities)
    x1, n1, x2, n2 = (np.atleast_1d(values) for values in counts)
    places, standard = as_places(x1, groups, n_groups), _weights(weights, x1)
    usable = (n1 > 0) & (n2 > 0)
    rate, below, above = _weighted(x1, n1, standard, usable, places, confidence_level)
    other, other_below, other_above = _weighted(x2, n2, standard, usable, places, confidence_level)
    ends = (
        rate - other,
        rate - other - np.hypot(below, other_above),
        rate - other + np.hypot(above, other_below),
    )
    return _standardised(places, ends, standard, usable)


def _weights(weights: ArrayLike, counts: FloatArray) -> FloatArray:
    standard = as_numbers("weights", weights)
    refuse("weights", "must not be negative", standard, standard < 0)
    try:
        return np.broadcast_to(standard, counts.shape)
    except ValueError:
        raise ValueError(
            f"weights must have one entry a stratum, got shape {standard.shape} "
            f"for {counts.size} strata"
        ) from None


def _weighted(
    k: FloatArray,
    n: FloatArray,
    standard: FloatArray,
    usable: BoolArray,
    places: Places,
    confidence_level: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weighted rate of each comparison and how far its interval reaches below and above it."""
    weight = np.where(usable, standard, 0.0)
    total = places.total(weight)
    total = np.where(total > 0, total, np.nan)
    rate = k / np.where(usable, n, np.nan)
    ends = wilson(k, n, confidence_level=confidence_level)
    return (
        places.total(weight * rate) / total,
        np.sqrt(places.total((weight * (rate - ends.low)) ** 2)) / total,
        np.sqrt(places.total((weight * (ends.high - rate)) ** 2)) / total,
    )


def _standardised(
    places: Places,
    values: tuple[FloatArray, FloatArray, FloatArray],
    standard: FloatArray,
    usable: BoolArray,
) -> Standardised:
    asked = places.total(standard)
    share = places.total(np.where(usable, standard, 0.0)) / np.where(asked > 0, asked, np.nan)
    estimate, low, high = (places.whole(one) for one in values)
    strata, left_out = places.numbers(usable)
    return Standardised(estimate, low, high, places.whole(share), strata, left_out)
