"""One proportion from clusters: jobs of one technician are more alike than jobs in general.

Five technicians with 200 jobs each say less about a rate than 1,000 technicians with one job
each. The design effect says how many times larger the variance of the rate is than that of
independent jobs; dividing both counts by it gives the effective counts, and `wilson` of these
an interval that is honest about it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

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
    one = rao_scott_by_group((n > 0).sum(), k.sum(), n.sum(), k @ k, k @ n, n @ n)
    return ClusteredRate(
        rate=one.rate[()],
        design_effect=one.design_effect[()],
        effective_opportunities=one.effective_opportunities[()],
        effective_failures=one.effective_failures[()],
    )


def rao_scott_by_group(
    clusters: ArrayLike,
    failures: ArrayLike,
    opportunities: ArrayLike,
    failures_squared: ArrayLike,
    failures_by_opportunities: ArrayLike,
    opportunities_squared: ArrayLike,
) -> ClusteredRate:
    """`rao_scott` for many rates at once, from sums that a database can make in one pass.

    One entry a group: `clusters` that have opportunities, `failures` and `opportunities` in all,
    and the sums over the group's clusters of failures², failures times opportunities, and
    opportunities². sum((x - rate * n)²) is then failures_squared - 2 rate
    failures_by_opportunities + rate² opportunities_squared.

    Raises `ValueError` for counts that are negative, not finite, or more failures than
    opportunities.
    """
    k, n = as_counts(failures, opportunities)
    m, kk, kn, nn = (
        np.asarray(values, dtype=np.float64)
        for values in (
            clusters,
            failures_squared,
            failures_by_opportunities,
            opportunities_squared,
        )
    )
    estimable = (m >= 2) & (k > 0) & (k < n)
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(n > 0, k / n, np.nan)
        squares = np.maximum(kk - 2 * rate * kn + rate**2 * nn, 0.0)
        # n * variance / (rate * (1 - rate)), with one factor of n cancelled.
        ratio = m / (m - 1) * squares / (n * rate * (1 - rate))
    design_effect = np.where(estimable, np.maximum(ratio, 1.0), np.nan)
    return ClusteredRate(
        rate=rate,
        design_effect=design_effect,
        effective_opportunities=n / design_effect,
        effective_failures=k / design_effect,
    )
