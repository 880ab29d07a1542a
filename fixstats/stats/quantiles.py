"""Quantiles of what was measured, with limits that need no form of distribution."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.validators import FloatArray, as_level, as_numbers, as_rates, refuse


@dataclass(frozen=True)
class Quantile:
    """Quantiles and their limits, in the unit of the values, one entry a probability.

    `low` or `high` is NaN where there are too few values for a limit on that side.
    """

    value: FloatArray
    low: FloatArray
    high: FloatArray


def sample_quantiles(
    values: ArrayLike,
    counts: ArrayLike,
    probabilities: ArrayLike,
    *,
    confidence_level: float = 0.95,
) -> Quantile:
    """Quantiles of `values` (distinct ones or not), each of which was seen `counts` times.

    The quantile is the smallest value that at least that share of all does not exceed. Its limits
    are two of the sorted values: at most half of the error on either side, by the binomial number
    of values below the true quantile. Without values all entries are NaN.

    Raises `ValueError` for probabilities outside 0 to 1, counts that are negative or not whole,
    and counts that are not one for each value.
    Source: Conover 1999, Practical Nonparametric Statistics, 3rd edition, section 3.2.
    """
    from scipy import special

    tail = (1 - as_level(confidence_level)) / 2
    q = np.atleast_1d(as_rates("probabilities", probabilities))
    x, times = as_numbers("values", values), as_numbers("counts", counts)
    refuse("counts", "must be whole and not negative", times, (times < 0) | (times % 1 != 0))
    if x.shape != times.shape or x.ndim != 1:
        raise ValueError(f"counts must be one for each value, got {times.shape} for {x.shape}")
    order = np.argsort(x, kind="stable")
    x, below = x[order], np.cumsum(times[order])
    n = int(below[-1]) if len(below) else 0
    if not n:
        nothing = np.full(q.shape, np.nan)
        return Quantile(nothing, nothing, nothing)
    # at_most[r]: probability that at most r of n values lie below the true quantile.
    at_most = special.bdtr(np.arange(n)[:, None], n, q)
    first = (at_most <= tail).sum(axis=0)  # the rank of the lower limit, 0: none
    last = (1 - at_most > tail).sum(axis=0) + 1  # of the upper one, n + 1: none

    def ranked(ranks: FloatArray) -> FloatArray:
        inside = (ranks >= 1) & (ranks <= n)
        places = np.searchsorted(below, np.clip(ranks, 1, n))
        found: FloatArray = np.where(inside, x[places], np.nan)
        return found

    # Without the subtraction, 0.9 of 10 would be the tenth value where rounding has it above 9.
    middle = np.maximum(np.ceil(q * n - 1e-9), 1)
    return Quantile(ranked(middle), ranked(first), ranked(last))
