"""What events in time cost: the mean cost of a unit by a day, each reason at its own price.

Tables as in `survival_table`, with reasons, all groups at once; NaN where `survival` says NaN.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.survival import aalen_johansen, event_free, normal_distance
from fixstats.stats.survival_table import AtRisk
from fixstats.stats.validators import FloatArray, as_level, as_numbers, refuse


@dataclass(frozen=True)
class MeanCost:
    """Mean cost of a unit by the day asked for, in the unit of the costs, of the table's groups.

    `mean`, `low`, `high`, `variance` (of the mean): (...); scalars for a table without groups.
    """

    mean: FloatArray
    low: FloatArray
    high: FloatArray
    variance: FloatArray


def mean_cost(
    table: AtRisk, costs: ArrayLike, day: float, *, confidence_level: float = 0.95
) -> MeanCost:
    """Sum over the reasons of the share with that event by `day` (Aalen-Johansen) times its cost.

    `costs` (reasons,): taken as known; the interval carries the uncertainty of the shares alone. A
    unit has one event at most. The variance is that of the delta method, each day's events being
    multinomial among those at risk; with a cost of 1 for one reason and 0 for the others it is that
    of `aalen_johansen`. Limits are normal on the logarithm, so that no end is negative. Without a
    cost seen the upper end is the highest cost times the upper limit of its share.

    Raises `ValueError` for costs that are negative, not finite, or not one for each reason.
    Source: Aalen and Johansen 1978, Scand J Stat 5:141-150, for the shares; the weighted sum by
    the same delta method as in Marubini and Valsecchi 1995, chapter 10 (from memory).
    """
    tail = (1 - as_level(confidence_level)) / 2
    price = as_numbers("costs", costs)
    refuse("costs", "must not be negative", price, price < 0)
    if price.shape != (len(table.n_events),):
        raise ValueError(
            f"costs must have one entry a reason, got shape {price.shape} "
            f"for {len(table.n_events)} reasons"
        )
    curve = aalen_johansen(table, days=[day], confidence_level=confidence_level)
    mean = np.tensordot(price, curve.rate[..., 0], axes=1)
    wider = table.with_days([day])
    variance = _variance(wider, price, int(wider.rows(day)) + 1)
    some = mean > 0
    safe = np.where(some, mean, 1.0)
    with np.errstate(over="ignore"):
        factor = np.exp(normal_distance(tail) * np.sqrt(variance) / safe)
    none = (price.reshape(-1, *[1] * (mean.ndim)) * curve.high[..., 0]).max(axis=0)
    low, high = np.where(some, mean / factor, 0.0), np.where(some, mean * factor, none)
    known = ~np.isnan(mean)
    low, high, variance = (np.where(known, one, np.nan)[()] for one in (low, high, variance))
    return MeanCost(mean[()], low, high, variance)


def _variance(table: AtRisk, price: FloatArray, end: int) -> FloatArray:
    """Variance of the mean cost over the first `end` rows, by the delta method."""
    n = np.where(table.n_at_risk > 0, table.n_at_risk, 1.0)[..., :end]
    share = table.n_events[..., :end] / n
    free = event_free(table)[..., :end]
    before = np.concatenate([np.ones((*free.shape[:-1], 1)), free[..., :-1]], axis=-1)
    so_far = np.cumsum(before * np.tensordot(price, share, axes=1), axis=-1)
    # An event costs its price at once and takes away what an event-free unit would still cost.
    staying = 1 - share.sum(axis=0)
    ahead = (so_far[..., -1:] - so_far) / np.where(staying > 0, staying, 1.0)
    gain = price.reshape(-1, *[1] * n.ndim) * before - ahead
    spread = np.sum(share * gain**2, axis=0) - np.sum(share * gain, axis=0) ** 2
    total: FloatArray = np.sum(spread / n, axis=-1)
    return np.maximum(total, 0.0)
