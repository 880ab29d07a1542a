"""Control charts of a failure rate: where points lie as long as nothing has changed.

A point is a period (a month) with `failures` of `opportunities`. The centre comes from a baseline
that ends before the points judged: a chart that judges its own baseline hides what it looks for.
Two kinds of limits:

- "exact": quantiles of the binomial distribution, the chance beyond each at most that beyond three
  sigma of a normal variable (`THREE_SIGMA_TAIL`). They are numbers of failures that can occur and
  are not interpolated: between two such numbers the chance would exceed the one promised, and a
  month with few jobs would cry wolf.
- "three_sigma": centre plus and minus three standard deviations, cut at 0 and 1. The textbook's;
  for few jobs or rare failures its upper limit is passed far more often than once in 740 points.

The limits hold for a centre that is known. One estimated from a short baseline is uncertain
itself: with no failure in the baseline the centre is 0, and any failure lies beyond it. There a
comparison of counts with counts (`funnel.rest_p_values`) is the honest judgement.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_counts, as_numbers, as_rates, refuse

# P(Z > 3) of a standard normal variable.
THREE_SIGMA_TAIL = 0.0013498980316300946
# Mean distance of two independent standard normal variables, 2 / sqrt(pi), to the digits that
# tables of control chart constants print (d2 of two); kept so that published figures agree.
MEAN_MOVING_RANGE = 1.128
FEWEST_POINTS = 2


@dataclass(frozen=True)
class ControlLimits:
    """Centre and limits of a chart; arrays of one shape, scalars where all came as scalars.

    In the unit of the points: a rate for `p_limits`, jobs between failures for `g_limits`. NaN
    where there is no point: no opportunities, or no centre. Only a point strictly beyond a limit
    is out.
    """

    centre: FloatArray
    lower_limit: FloatArray
    upper_limit: FloatArray


def centre_rate(failures: ArrayLike, opportunities: ArrayLike) -> FloatArray:
    """Centre of a chart: all failures of a baseline over all its opportunities (last axis).

    NaN without opportunities. Raises `ValueError` for counts that cannot be.
    """
    k, n = as_counts(failures, opportunities)
    total = np.atleast_1d(n).sum(axis=-1)
    centre: FloatArray = np.atleast_1d(k).sum(axis=-1) / np.where(total > 0, total, np.nan)
    return centre[()]


def p_limits(
    centre: ArrayLike,
    opportunities: ArrayLike,
    *,
    limits: str = "exact",
    sigma_z: ArrayLike = 1.0,
) -> ControlLimits:
    """Limits of a rate for each number of opportunities; p-chart, and p' with a `sigma_z`.

    `centre`: rate, 0 to 1. `opportunities`: whole numbers. `limits`: a name in `CHART_LIMITS`.
    `sigma_z`: from `laney_sigma`; the distances from the centre are multiplied by it. With exact
    limits that is ours: Laney's limits are three sigma. The two agree for many jobs.
    Sources: Shewhart 1931 (three sigma); Laney 2002, Qual Eng 14:531-537.

    Raises `ValueError` for a rate outside 0 to 1, opportunities that are negative or not whole,
    a negative sigma_z and an unknown name.
    """
    if limits not in CHART_LIMITS:
        raise ValueError(f"limits must be one of {', '.join(CHART_LIMITS)}, got {limits!r}")
    rate, n, stretch = _fitting(
        centre=as_rates("centre", centre),
        opportunities=_whole("opportunities", opportunities),
        sigma_z=as_numbers("sigma_z", sigma_z),
    )
    refuse("sigma_z", "must not be negative", stretch, stretch < 0)
    rate = np.where(n > 0, rate, np.nan)
    lower, upper = _LIMITS[limits](rate, np.where(n > 0, n, 1.0))
    return ControlLimits(
        centre=rate[()],
        lower_limit=np.clip(rate - stretch * (rate - lower), 0.0, 1.0)[()],
        upper_limit=np.clip(rate + stretch * (upper - rate), 0.0, 1.0)[()],
    )


def median_rate(centre: ArrayLike, opportunities: ArrayLike) -> FloatArray:
    """Rate with no more than half the chance above it and no more than half below it.

    Binomial median of the failures, over the opportunities; arguments and errors as in `p_limits`.
    The centre line for runs (`run_on_one_side`): for rare failures the mean has most points below.
    """
    rate, n = _fitting(
        centre=as_rates("centre", centre), opportunities=_whole("opportunities", opportunities)
    )
    rate = np.where(n > 0, rate, np.nan)
    n = np.where(n > 0, n, 1.0)
    return (binomial_quantile(0.5, n, rate) / n)[()]


def laney_sigma(
    failures: ArrayLike, opportunities: ArrayLike, *, centre: ArrayLike | None = None
) -> FloatArray:
    """How far periods lie apart compared with what chance alone would do: sigma_z of the p' chart.

    Mean distance of neighbouring standardised rates over 1.128. About 1 where chance is all; above
    1 where the rate itself moves from period to period. Neighbours and not all periods, so that
    one lasting change does not widen its own limits. `failures`, `opportunities`: (..., periods) in
    order of time, periods without opportunities are left out; `centre` by default their own.

    NaN with fewer than two periods and where the centre is 0 or 1. Raises `ValueError` for counts
    that cannot be and a rate outside 0 to 1.
    Source: Laney 2002, Qual Eng 14:531-537.
    """
    k, n = as_counts(failures, opportunities)
    k, n = np.atleast_1d(k), np.atleast_1d(n)
    middle = centre_rate(k, n) if centre is None else as_rates("centre", centre)
    charts = np.broadcast_shapes(k.shape[:-1], np.shape(middle))
    spread = np.sqrt(middle * (1 - middle))
    middle, spread = (np.broadcast_to(one, charts)[..., None] for one in (middle, spread))
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.where((n > 0) & (spread > 0), (k / n - middle) * np.sqrt(n) / spread, np.nan)
    found = [_mean_moving_range(one) for one in z.reshape(-1, z.shape[-1])]
    return (np.reshape(found, charts) / MEAN_MOVING_RANGE)[()]


def _mean_moving_range(z: FloatArray) -> float:
    seen = z[np.isfinite(z)]
    return float(np.abs(np.diff(seen)).mean()) if len(seen) >= FEWEST_POINTS else np.nan


def g_limits(rate: ArrayLike) -> ControlLimits:
    """Limits of the number of jobs without a failure between two failures; g-chart, rare modes.

    `rate`: failures per job, from a baseline. The centre is the mean of the geometric distribution,
    (1 - rate) / rate; the limits are its quantiles, whole numbers, with at most the tail beyond
    three sigma outside each. A gap *below* the lower limit says that failures come faster. For a
    rate above 0.00135 the lower limit is 0 and no single gap is short enough to say so: that is
    what the CUSUM is for. Above the upper limit failures have become rarer.

    NaN for a rate of 0 or NaN. Raises `ValueError` for a rate outside 0 to 1.
    Source: Benneyan 2001, Health Care Manag Sci 4:305-318 (probability limits).
    """
    p = as_rates("rate", rate)
    p = np.where(p > 0, p, np.nan)
    with np.errstate(divide="ignore"):
        log_none = np.log1p(-p)  # of the chance that one job does not fail
    # P(G <= g) = 1 - (1 - p)^(g + 1); the smallest g at which it reaches the wanted probability.
    lower = np.log1p(-THREE_SIGMA_TAIL) / log_none - 1
    upper = np.log(THREE_SIGMA_TAIL) / log_none - 1
    return ControlLimits(
        centre=((1 - p) / p)[()],
        lower_limit=_whole_up(lower)[()],
        upper_limit=_whole_up(upper)[()],
    )


def _whole_up(number: FloatArray) -> FloatArray:
    """Round up to a whole number from 0; what rounding alone has put above one stays there."""
    whole: FloatArray = np.maximum(np.ceil(number - 1e-9 * np.maximum(np.abs(number), 1.0)), 0.0)
    return whole + 0.0  # no -0.0


@dataclass(frozen=True)
class Gaps:
    """Jobs without a failure before each failure: the points of a g-chart.

    `gap`: (failures,), whole numbers. `row`, `group`: (failures,), the row of the failure that ends
    the gap and its group; in order of group, then time. `still_open`: (groups,), jobs since the
    last failure: a gap that is not over can be too long already, never too short. The gap before
    the first failure of a group begins where the records do, so it is at least as long.
    """

    gap: NDArray[np.int64]
    row: NDArray[np.int64]
    group: NDArray[np.int64]
    still_open: NDArray[np.int64]


def jobs_between(
    failures: ArrayLike, *, groups: ArrayLike | None = None, n_groups: int | None = None
) -> Gaps:
    """Count the jobs without a failure between failures, in each group.

    `failures`: (jobs,), 0 or 1, in order of time; `groups`: (jobs,), whole numbers from 0.
    Raises `ValueError` for other values.
    """
    from fixstats.stats.cusum_jobs import by_group

    failed = as_numbers("failures", failures)
    refuse("failures", "must be 0 or 1", failed, (failed != 0) & (failed != 1))
    rows = by_group(failed, groups, n_groups)
    place = np.flatnonzero(failed[rows.order])
    group = np.searchsorted(rows.start, place, side="right") - 1
    before = np.concatenate([[-1], place[:-1]]) if len(place) else place
    begin = np.maximum(before + 1, rows.start[group])
    last_end = rows.start[:-1].copy()
    np.maximum.at(last_end, group, place + 1)
    return Gaps(place - begin, rows.order[place], group, rows.start[1:] - last_end)


# --- limits of a rate -------------------------------------------------------------------------


def binomial_quantile(tail: float, opportunities: FloatArray, rate: FloatArray) -> FloatArray:
    """The smallest number of failures at which P(X <= k) reaches `tail`; NaN for a NaN rate.

    SciPy's inverse of the distribution is continuous in k: its value rounded up is right but for
    rounding, so the neighbours are looked at too.
    """
    from scipy import special

    k = np.ceil(special.bdtrik(tail, opportunities, np.where(np.isnan(rate), 0.5, rate)))
    # bdtrik answers NaN where even k = 0 has more than `tail`.
    k = np.clip(np.where(np.isnan(k), 0.0, k), 0.0, opportunities)
    k = np.where((k > 0) & (binomial_cdf(k - 1, opportunities, rate) >= tail), k - 1, k)
    k = np.where(binomial_cdf(k, opportunities, rate) < tail, np.minimum(k + 1, opportunities), k)
    k = np.where(rate == 1, opportunities, np.where(rate == 0, 0.0, k))
    return np.where(np.isnan(rate), np.nan, k)


def binomial_cdf(k: FloatArray, opportunities: FloatArray, rate: FloatArray) -> FloatArray:
    """P(X <= k) of a binomial variable; k and the number of opportunities need not be whole.

    Through the incomplete beta function, which interpolates between whole counts.
    """
    from scipy import special

    inner = (k >= 0) & (k < opportunities)
    left = np.where(inner, opportunities - k, 1.0)
    inside = special.betaincc(np.where(inner, k, 0.0) + 1, left, rate)
    return np.where(inner, inside, np.where(k < 0, 0.0, 1.0))


def _exact(rate: FloatArray, n: FloatArray) -> tuple[FloatArray, FloatArray]:
    # A mean of less than 0.00135 failures has its quantile, 0, on the wrong side of the centre;
    # at the centre the limit judges just the same, as no number of failures lies between.
    return (
        np.minimum(binomial_quantile(THREE_SIGMA_TAIL, n, rate) / n, rate),
        np.maximum(binomial_quantile(1 - THREE_SIGMA_TAIL, n, rate) / n, rate),
    )


def _three_sigma(rate: FloatArray, n: FloatArray) -> tuple[FloatArray, FloatArray]:
    distance = 3 * np.sqrt(rate * (1 - rate) / n)
    return np.maximum(rate - distance, 0.0), np.minimum(rate + distance, 1.0)


_LIMITS: Mapping[str, Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]] = (
    MappingProxyType({"exact": _exact, "three_sigma": _three_sigma})
)
CHART_LIMITS = tuple(_LIMITS)


def _whole(name: str, values: ArrayLike) -> FloatArray:
    numbers = as_numbers(name, values)
    refuse(name, "must be whole numbers from 0", numbers, (numbers < 0) | (numbers % 1 != 0))
    return numbers


def _fitting(**arrays: FloatArray) -> list[FloatArray]:
    try:
        return list(np.broadcast_arrays(*arrays.values()))
    except ValueError:
        raise ValueError(
            f"{', '.join(arrays)} must have shapes that fit, got "
            + ", ".join(str(one.shape) for one in arrays.values())
        ) from None
