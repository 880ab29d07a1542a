"""What follows from curves of events in time: mean time without an event, difference of two rates.

Tables as in `survival_table`, all their groups at once; NaN where `survival` says NaN.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.survival import (
    Pair,
    Steps,
    Tail,
    all_reasons,
    by_reason,
    event_free,
    greenwood_terms,
    log_log_limits,
    normal_distance,
)
from fixstats.stats.survival_table import AtRisk
from fixstats.stats.validators import FloatArray, as_level, as_numbers, refuse


@dataclass(frozen=True)
class RestrictedMean:
    """Mean time without an event up to a day, in the unit of the days, of the table's groups.

    `mean`, `low`, `high`, `standard_error`: (...); scalars for a table without groups.
    """

    mean: FloatArray
    low: FloatArray
    high: FloatArray
    standard_error: FloatArray


@dataclass(frozen=True)
class CurveDifference:
    """Difference of the shares with an event by a day, option less baseline; (..., *days)."""

    difference: FloatArray
    low: FloatArray
    high: FloatArray
    p_value: FloatArray


def restricted_mean(table: AtRisk, day: float, *, confidence_level: float = 0.95) -> RestrictedMean:
    """Mean time without an event of any reason from day 0 up to `day`: the area under survival.

    Its standard error is Greenwood's, without a correction for few events. The interval is normal,
    kept within 0 and `day`. Without an event the mean is `day`, the standard error has no estimate
    (NaN), and the lower end is `day` times the lower limit of survival there. Where all units had
    theirs on one day, neither the standard error nor the interval has an estimate. All is NaN
    where nobody was followed to `day`. Raises `ValueError` for a `day` that is not positive and
    for rows before day 0.

    Sources: Irwin 1949, J Hyg 47:188-189; Klein and Moeschberger 2003, Survival Analysis, section
    4.5 (from memory).
    """
    last = as_numbers("day", day)
    refuse("day", "must be positive", last, last <= 0)
    refuse("day", "of a row must not be negative", table.day, table.day < 0)
    tail = (1 - as_level(confidence_level)) / 2
    wider = table.with_days([0.0, float(last)])
    end = int(wider.rows(last))
    survival = event_free(wider)[..., :end]
    pieces = survival * np.diff(wider.day[: end + 1])
    mean = pieces.sum(axis=-1)
    # What is left of the area at each day: an event then takes part in all of it.
    ahead = np.flip(np.cumsum(np.flip(pieces, axis=-1), axis=-1), axis=-1)
    variance = np.sum(ahead**2 * greenwood_terms(wider)[..., :end], axis=-1)
    steps = all_reasons(table, last)
    none = wider.events[..., :end].sum(axis=-1) == 0
    error = np.where(steps.known & (variance > 0), np.sqrt(variance), np.nan)
    half_width = normal_distance(tail) * error
    least = float(last) * (1 - log_log_limits(steps, tail)[1])
    low = np.where(none, least, np.maximum(mean - half_width, 0.0))
    high = np.where(none, float(last), np.minimum(mean + half_width, float(last)))
    mean, low, high = (np.where(steps.known, x, np.nan)[()] for x in (mean, low, high))
    return RestrictedMean(mean, low, high, error[()])


def curve_difference(
    table: AtRisk,
    baseline: AtRisk,
    days: ArrayLike,
    *,
    reason: int | None = None,
    confidence_level: float = 0.95,
) -> CurveDifference:
    """Difference of the shares with an event by each of the `days`: `table` less `baseline`.

    By Kaplan-Meier for an event of any reason, by Aalen-Johansen for one `reason`. The interval
    puts together the distances from each rate to its own limits (log-log, as in `survival`), which
    keeps it within -1 and 1 and gives it a width where nothing happened. `p_value` is the smallest
    error at which the interval leaves out 0, so that both always agree; 1 where even the shortest
    one holds it. The groups of both tables must fit: one baseline for all, say.

    Sources: Zou and Donner 2008, Stat Med 27:1693-1702, for the interval, as in Newcombe 1998's
    method 10; Klein, Logan, Harhoff and Andersen 2007, Stat Med 26:4505-4519, on curves at a day.
    """
    tail = (1 - as_level(confidence_level)) / 2
    one, other = (_steps_of(t, days, reason) for t in (table, baseline))
    low, high = _combined(one, other, tail)
    difference = np.where(one.known & other.known, one.rate - other.rate, np.nan)
    low, high = (np.where(np.isnan(difference), np.nan, x) for x in (low, high))
    p_value = np.where(np.isnan(difference), np.nan, _smallest_error(one, other))
    return CurveDifference(difference[()], low[()], high[()], p_value[()])


def _steps_of(table: AtRisk, days: ArrayLike, reason: int | None) -> Steps:
    if reason is None:
        return all_reasons(table, days)
    steps = by_reason(table, days)
    place = table.known(reason)
    # Rates and variances have the reasons in front, everything else belongs to the units.
    return Steps(**{**vars(steps), "rate": steps.rate[place], "variance": steps.variance[place]})


def _combined(one: Steps, other: Steps, tail: Tail) -> Pair:
    """Both ends of the difference at the probability in one tail."""
    (low, high), (other_low, other_high) = log_log_limits(one, tail), log_log_limits(other, tail)
    difference = one.rate - other.rate
    below = np.hypot(one.rate - low, other_high - other.rate)
    above = np.hypot(high - one.rate, other.rate - other_low)
    return difference - below, difference + above


def _smallest_error(one: Steps, other: Steps) -> FloatArray:
    """Twice the tail at which an end of the interval is 0, found by halving its logarithm.

    Ends move outwards as the tail shrinks. Below e^-690 a probability is 0 for all purposes.
    """
    shape = np.broadcast_shapes(one.rate.shape, other.rate.shape)
    least, most = np.full(shape, -690.0), np.full(shape, np.log(0.5))

    def holds_zero(log_tail: FloatArray) -> NDArray[np.bool_]:
        low, high = _combined(one, other, np.exp(log_tail))
        return (low <= 0) & (high >= 0)

    for _ in range(60):
        middle = (least + most) / 2
        holds = holds_zero(middle)
        least, most = np.where(holds, middle, least), np.where(holds, most, middle)
    p_value: FloatArray = np.minimum(2 * np.exp(most), 1.0)
    return p_value
