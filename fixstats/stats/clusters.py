"""One proportion from clusters: jobs of one technician are more alike than jobs in general.

Five technicians with 200 jobs each say less about a rate than 1,000 technicians with one job
each. The design effect says how many times larger the variance of the rate is than that of
independent jobs; dividing both counts by it gives the effective counts, and `wilson` of these
an interval that is honest about it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_counts


@dataclass(frozen=True)
class ClusteredRate:
    """A rate estimated from clusters; scalars, or arrays with one entry a group.

    `rate`: all failures over all opportunities, NaN without any.
    `design_effect`: variance of the rate over that of as many independent units, at least 1.
    `effective_opportunities`, `effective_failures`: the counts divided by the design effect.
    The last three are NaN where the records allow no estimate: fewer than two clusters with
    opportunities, no failure at all, or nothing but failures.
    """

    rate: FloatArray
    design_effect: FloatArray
    effective_opportunities: FloatArray
    effective_failures: FloatArray


def rao_scott(failures_by_cluster: ArrayLike, opportunities_by_cluster: ArrayLike) -> ClusteredRate:
    """Design effect of one rate from the counts of its clusters, two arrays of one dimension.

    The variance is that of a ratio estimator, m / (m - 1) * sum((x - rate * n)²) / (sum n)²
    over the m clusters that have opportunities, with no assumption on how they differ.

    A design effect under 1 counts as 1. It would say that technicians are more alike than
    chance allows; nothing in a workshop does that, few clusters do it by luck, and to believe
    it would make an interval narrower than that of independent jobs.

    Raises `ValueError` for counts that are negative, not finite, or more failures than
    opportunities.
    Source: Rao and Scott 1992, Biometrics 48:577-585.
    """
    k, n = as_counts(failures_by_cluster, opportunities_by_cluster)
    k, n = np.atleast_1d(k), np.atleast_1d(n)
    groups = np.zeros(k.shape, dtype=np.intp)
    one = rao_scott_by_group(groups, k, n, group_count=1)
    return ClusteredRate(
        rate=one.rate[0],
        design_effect=one.design_effect[0],
        effective_opportunities=one.effective_opportunities[0],
        effective_failures=one.effective_failures[0],
    )


def rao_scott_by_group(
    groups: ArrayLike,
    failures_by_cluster: ArrayLike,
    opportunities_by_cluster: ArrayLike,
    *,
    group_count: int | None = None,
) -> ClusteredRate:
    """`rao_scott` for many rates at once: one row for each cluster of each group.

    `groups` numbers the groups from 0; a cluster has one row in a group, and may have rows in
    several. `group_count` gives the length of the answer where the last groups may have no rows.

    Raises `ValueError` as `rao_scott` does, and for group numbers that are not whole, negative,
    or not below `group_count`.
    """
    k, n = as_counts(failures_by_cluster, opportunities_by_cluster)
    group = _group_numbers(groups, k, group_count)
    count = group_count if group_count is not None else int(group.max(initial=-1)) + 1

    def total(values: FloatArray) -> FloatArray:
        # Without rows, bincount forgets the weights and answers in whole numbers.
        return np.bincount(group, weights=values, minlength=count).astype(np.float64)

    failures, opportunities = total(k), total(n)
    clusters = total((n > 0).astype(np.float64))
    estimable = (clusters >= 2) & (failures > 0) & (failures < opportunities)
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(opportunities > 0, failures / opportunities, np.nan)
        squares = total((k - np.where(n > 0, rate[group], 0.0) * n) ** 2)
        # n * variance / (rate * (1 - rate)), with one factor of n cancelled.
        ratio = clusters / (clusters - 1) * squares / (opportunities * rate * (1 - rate))
    design_effect = np.where(estimable, np.maximum(ratio, 1.0), np.nan)
    return ClusteredRate(
        rate=rate,
        design_effect=design_effect,
        effective_opportunities=opportunities / design_effect,
        effective_failures=failures / design_effect,
    )


def _group_numbers(
    groups: ArrayLike, counts: FloatArray, group_count: int | None
) -> NDArray[np.intp]:
    numbers = np.asarray(groups)
    if numbers.size == 0:
        numbers = numbers.astype(np.intp)
    if not np.issubdtype(numbers.dtype, np.integer):
        raise ValueError(f"groups must be whole numbers from 0, got type {numbers.dtype}")
    if numbers.ndim != 1 or numbers.shape != counts.shape:
        raise ValueError(
            "groups and counts must be of one dimension and the same length, "
            f"got {numbers.shape} and {counts.shape}"
        )
    if (numbers < 0).any():
        raise ValueError(f"groups must be whole numbers from 0, got {numbers.min()}")
    if group_count is not None and (numbers >= group_count).any():
        raise ValueError(f"groups must be below group_count {group_count}, got {numbers.max()}")
    return numbers.astype(np.intp)
