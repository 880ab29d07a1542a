"""Events in time with censoring: what share has come back by each day, and how sure one can be.

All functions take an at-risk table (`survival_table.at_risk`), all its groups at once, and answer
in arrays (..., days): the groups of the table, then its days, or the `days` asked for, read off
the step function. An answer is NaN on a day to which nobody was followed, unless everybody had
had an event before: a curve says nothing beyond its last follow-up. Without rows everything is
NaN. All raise `ValueError` for days that are not finite numbers and for a confidence level outside
(0, 1).

Tests between groups are in `survival_tests`, the restricted mean and the difference of two curves
in `survival_effects`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import NormalDist
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.survival_table import AtRisk
from fixstats.stats.validators import FloatArray, as_level

Pair = tuple[FloatArray, FloatArray]
Tail = float | FloatArray


@dataclass(frozen=True)
class Curve:
    """Share of units that had the event by the end of each day, fractions from 0 to 1.

    `day`: the days, as asked for. `rate`, `low`, `high`, `variance` (of the rate): (..., days), by
    reason (reasons, ..., days). `n_at_risk`, `event_free` (share without an event of any
    reason): (..., days). Survival is `event_free`.
    """

    day: FloatArray
    n_at_risk: FloatArray
    event_free: FloatArray
    rate: FloatArray
    low: FloatArray
    high: FloatArray
    variance: FloatArray


@dataclass(frozen=True)
class Hazard:
    """Cumulative hazard, its interval and variance; `day`, `n_at_risk` and shapes as in `Curve`."""

    day: FloatArray
    n_at_risk: FloatArray
    cumulative_hazard: FloatArray
    low: FloatArray
    high: FloatArray
    variance: FloatArray


def kaplan_meier(
    table: AtRisk,
    *,
    days: ArrayLike | None = None,
    confidence_level: float = 0.95,
    method: str = "log-log",
) -> Curve:
    """Share with an event of any reason by each day.

    `table.only(reason)` asks for one reason as if the others could be prevented; what they leave
    of it in this world is `aalen_johansen`. `method`, one of `CURVE_LIMITS`:

    - `log-log`: normal on log(-log(survival)) with Greenwood's variance. It takes no notice of
      censoring after the last event. Where it has no value, without an event or with nobody left,
      the beta product takes its place.
    - `beta-product`: the beta product confidence procedure, by the method of moments. Without
      censoring it is Clopper and Pearson's. Each end leaves the true rate out no more often than
      it may, and mostly much less: somewhat longer than log-log.

    In simulated shops with heavy censoring and at least ten at risk (tests/reference) log-log
    limits held the true rate in 93 to 97 % at the 95 % level, the beta product in 97 % and more.

    Sources: Kaplan and Meier 1958, J Am Stat Assoc 53:457-481; Greenwood 1926; Kalbfleisch and
    Prentice 1980 (log-log); Fay, Brittain and Proschan 2013, Biostatistics 14:723-736, with limits
    at an event day as in Fay and Brittain 2016, Stat Med 35:2726-2740. Units censored on a day
    were followed through it, so they still count in its lower limit of survival.
    """
    if method not in CURVE_LIMITS:
        raise ValueError(f"method must be one of {', '.join(CURVE_LIMITS)}, got {method!r}")
    tail = (1 - as_level(confidence_level)) / 2
    steps = all_reasons(table, days)
    return _curve(steps, CURVE_LIMITS[method](steps, tail))


def aalen_johansen(
    table: AtRisk, *, days: ArrayLike | None = None, confidence_level: float = 0.95
) -> Curve:
    """Cumulative incidence by reason: share with an event of that reason by each day.

    A unit with an event of another reason can no longer have this one; it is not censored. The
    incidences of all reasons and `event_free` add up to 1. With one reason everything equals
    `kaplan_meier`.

    The variance is that of the delta method (the Greenwood-type one: binomial without censoring),
    not Aalen's, which is a little larger. Limits are normal on log(-log(1 - rate)). Where no event
    of the reason has been seen, the upper limit is exact and binomial for the number followed
    through the day, those with other events included: at risk and event-free share give it.

    Sources: Aalen and Johansen 1978, Scand J Stat 5:141-150; Marubini and Valsecchi 1995,
    Analysing Survival Data, chapter 10 (from memory), for the variance; compared with others in
    Braun and Yuan 2007, Stat Med 26:1170-1180, and Allignol, Schumacher and Beyersmann 2010,
    Biom J 52:126-137.
    """
    tail = (1 - as_level(confidence_level)) / 2
    steps = by_reason(table, days)
    return _curve(steps, log_log_limits(steps, tail))


def nelson_aalen(
    table: AtRisk, *, days: ArrayLike | None = None, confidence_level: float = 0.95
) -> Hazard:
    """Cumulative hazard of an event of any reason: the sum over days of events / at risk.

    Several events on a day are taken as tied for good (days are discrete). The variance is the
    sum of events / at risk², as in Aalen 1978, Ann Stat 6:701-726; limits are normal on the
    logarithm (Kalbfleisch and Prentice 1980). Without an event the upper limit is the logarithm of
    the beta product's: log(2 / alpha) / number followed.
    """
    tail = (1 - as_level(confidence_level)) / 2
    steps = all_reasons(table, days)
    wider, places = _at(table, days)
    n = np.where(wider.n_at_risk > 0, wider.n_at_risk, 1.0)
    hazard = np.cumsum(wider.events / n, axis=-1)[..., places]
    variance = np.cumsum(wider.events / n**2, axis=-1)[..., places]
    some = hazard > 0
    safe = np.where(some, hazard, 1.0)
    with np.errstate(over="ignore"):
        factor = np.exp(normal_distance(tail) * np.sqrt(variance) / safe)
    none = -np.log(tail) / np.where(steps.n_followed > 0, steps.n_followed, np.nan)
    low = np.where(some, hazard / factor, 0.0)
    high = np.where(some, hazard * factor, none)
    hazard, low, high, variance = (
        np.where(steps.known, x, np.nan) for x in (hazard, low, high, variance)
    )
    return Hazard(steps.day, steps.n_at_risk, hazard, low, high, variance)


# --- the steps of a curve, and limits around them ---------------------------------------------


@dataclass(frozen=True)
class Steps:
    """A curve without limits, and what any limits at any level can be made of.

    `n_left`: watched through the day without event; `n_followed`: with those that had an event
    before they could have been censored, n_left / event_free. `log_mean`, `log_spread`: of the
    product of beta variables over events so far, log E(W) and log E(W²)/E(W)². `known`: where
    anything can be said.
    """

    day: FloatArray
    n_at_risk: FloatArray
    n_left: FloatArray
    n_followed: FloatArray
    event_free: FloatArray
    rate: FloatArray
    variance: FloatArray
    log_mean: FloatArray
    log_spread: FloatArray
    known: NDArray[np.bool_]


def _at(table: AtRisk, days: ArrayLike | None) -> tuple[AtRisk, NDArray[np.int64]]:
    """The table with rows for the days asked for, and the places of those rows."""
    wider = table if days is None else table.with_days(days)
    return wider, wider.rows(wider.day if days is None else days)


def all_reasons(table: AtRisk, days: ArrayLike | None) -> Steps:
    """Kaplan-Meier steps: an event of any reason."""
    wider, places = _at(table, days)
    survival = event_free(wider)
    variance: FloatArray = survival**2 * np.cumsum(greenwood_terms(wider), axis=-1)
    return _steps(wider, places, 1 - survival, variance)


def by_reason(table: AtRisk, days: ArrayLike | None) -> Steps:
    """Aalen-Johansen steps, one more axis in front: an event of each reason."""
    wider, places = _at(table, days)
    n = np.where(wider.n_at_risk > 0, wider.n_at_risk, 1.0)
    survival = event_free(wider)
    before = _shifted(survival)
    events = wider.n_events
    # Where all events so far are of this reason the sum is 1 - survival: exactly 1 at the end.
    so_far = np.cumsum(events, axis=-1)
    rate = np.cumsum(before * events / n, axis=-1)
    rate = np.where(so_far == so_far.sum(axis=0), 1 - survival, np.minimum(rate, 1.0))
    # Each day's events spread in three ways: through survival into all later steps, by this day's
    # own step, and both together. rate(t) - rate(s) in the first and the last is multiplied out.
    through = greenwood_terms(wider)
    own = before**2 * (n - events) * events / n**3
    both = before * events / n**2
    variance: FloatArray = (
        np.cumsum(own, axis=-1)
        - 2 * _spread_on(rate, both)
        + rate * _spread_on(rate, through)
        - _spread_on(rate, through * rate)
    )
    return _steps(wider, places, rate, np.maximum(variance, 0.0))


def _spread_on(rate: FloatArray, terms: FloatArray) -> FloatArray:
    """Sum over the days s up to t of (rate(t) - rate(s)) terms(s)."""
    total: FloatArray = rate * np.cumsum(terms, axis=-1) - np.cumsum(rate * terms, axis=-1)
    return total


def event_free(table: AtRisk) -> FloatArray:
    """Share without an event after each day of the table: the Kaplan-Meier product."""
    n = np.where(table.n_at_risk > 0, table.n_at_risk, 1.0)
    share: FloatArray = np.cumprod((n - table.events) / n, axis=-1, dtype=np.float64)
    return share


def greenwood_terms(table: AtRisk) -> FloatArray:
    """Events / (at risk × left); 0 where nobody is left, since survival is 0 from there on."""
    product = table.n_at_risk * table.n_left
    return np.where(product > 0, table.events / np.where(product > 0, product, 1.0), 0.0)


def _shifted(share: FloatArray) -> FloatArray:
    """The value before each day: 1 before the first."""
    first = np.ones((*share.shape[:-1], 1))
    shifted: FloatArray = np.concatenate([first, share[..., :-1]], axis=-1)
    return shifted


def _steps(
    table: AtRisk, places: NDArray[np.int64], rate: FloatArray, variance: FloatArray
) -> Steps:
    n, d, left = table.n_at_risk, table.events, table.n_left
    survival = event_free(table)
    # A day's event (of a unit among n) is a factor beta(n - d + 1, d). Its spread in this form
    # keeps its digits where n is in the millions.
    log_mean = np.cumsum(np.log1p(-d / (n + 1)), axis=-1)
    log_spread = np.cumsum(np.log1p(d / ((left + 1) * (n + 2))), axis=-1)
    staying = np.where(left > 0, (left - table.n_censored) / np.where(left > 0, left, 1.0), 1.0)
    uncensored: FloatArray = np.cumprod(staying, axis=-1, dtype=np.float64)
    followed = n[..., :1] * _shifted(uncensored) if len(table.day) else n
    known = (n > 0) | ((survival == 0) & (followed > 0))
    return Steps(
        day=table.day[places],
        n_at_risk=n[..., places],
        n_left=left[..., places],
        n_followed=followed[..., places],
        event_free=survival[..., places],
        rate=rate[..., places],
        variance=variance[..., places],
        log_mean=log_mean[..., places],
        log_spread=log_spread[..., places],
        known=known[..., places],
    )


def _curve(steps: Steps, limits: Pair) -> Curve:
    low, high = limits
    free, rate, low, high, variance = (
        np.where(steps.known, x, np.nan)
        for x in (steps.event_free, steps.rate, low, high, steps.variance)
    )
    return Curve(steps.day, steps.n_at_risk, free, rate, low, high, variance)


def log_log_limits(steps: Steps, tail: Tail) -> Pair:
    """Limits of the rate, normal on log(-log(1 - rate)), beta product where that has no value."""
    inner = (steps.rate > 0) & (steps.rate < 1)
    rate = np.where(inner, steps.rate, 0.5)
    log_free = np.log1p(-rate)
    spread = np.sqrt(steps.variance) / ((1 - rate) * -log_free)
    with np.errstate(over="ignore"):
        factor = np.exp(normal_distance(tail) * spread)
    # Rounding must not put the rate itself outside.
    low = np.minimum(-np.expm1(log_free / factor), rate)
    high = np.maximum(-np.expm1(log_free * factor), rate)
    none = steps.rate <= 0
    low, high = np.where(none, 0.0, low), np.where(none, _none_seen(steps, tail), high)
    all_of = np.broadcast_to(~inner & ~none, low.shape)
    if all_of.any():  # few places, and a costly function
        moments = (steps.log_mean, steps.log_spread, np.asarray(1 - tail))
        low[all_of] = 1 - _beta_quantile(*(np.broadcast_to(x, low.shape)[all_of] for x in moments))
        high[all_of] = 1.0
    return low, high


def beta_product_limits(steps: Steps, tail: Tail) -> Pair:
    """Limits of the rate from the product of beta variables, by the method of moments."""
    left = np.where(steps.n_left > 0, steps.n_left, 1.0)
    log_mean = steps.log_mean + np.log(left / (left + 1))
    log_spread = steps.log_spread + np.log1p(1 / (left * (left + 2)))
    lower = np.where(steps.n_left > 0, _beta_quantile(log_mean, log_spread, tail), 0.0)
    upper = _beta_quantile(steps.log_mean, steps.log_spread, 1 - tail)
    return 1 - upper, 1 - lower


CURVE_LIMITS: Mapping[str, Callable[[Steps, Tail], Pair]] = MappingProxyType(
    {"log-log": log_log_limits, "beta-product": beta_product_limits}
)


def _none_seen(steps: Steps, tail: Tail) -> FloatArray:
    """Upper limit without an event: no event among those followed through the day."""
    followed = np.where(steps.n_followed > 0, steps.n_followed, np.nan)
    limit: FloatArray = -np.expm1(np.log(tail) / followed)
    return limit


def _beta_quantile(log_mean: FloatArray, log_spread: FloatArray, probability: Tail) -> FloatArray:
    """Quantile of the beta variable with these moments; 1 where nothing spreads (no event)."""
    from scipy import special

    spreads = log_spread > 0
    square = np.where(spreads, np.expm1(np.where(spreads, log_spread, 1.0)), 1.0)
    mean = np.where(spreads, log_mean, -1.0)
    a = np.where(spreads, -np.expm1(mean + log_spread) / square, 1.0)
    b = a * np.expm1(-mean)
    quantile: FloatArray = np.where(spreads, special.betaincinv(a, b, probability), 1.0)
    return quantile


def normal_distance(tail: Tail) -> FloatArray:
    """How many standard deviations away a normal tail of this probability begins."""
    if isinstance(tail, float):  # the usual case does not wait for scipy
        return np.asarray(-NormalDist().inv_cdf(tail))
    from scipy import special

    return np.asarray(-special.ndtri(tail), dtype=np.float64)
