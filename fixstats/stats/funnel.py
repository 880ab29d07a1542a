"""Funnel: many groups (technicians, suppliers, lots) against one target, each by its own size.

The fewer jobs a group has, the further its rate strays by chance alone; the limits narrow with the
number of opportunities. A funnel compares each group with the target, never groups with each other:
it makes no ranking.

Groups of a shop differ a little more than chance allows, for reasons nobody recorded.
`dispersion` measures that from all groups; limits and p-values widen by it, so that only groups
stand out that differ more than groups here always do.

Limits are for the eye. They are interpolated between numbers of failures, so a group with few jobs
can lie beyond them with a higher chance than the one named: judge by `expected_p_values` or
`rest_p_values`, corrected over all groups of a run (`benjamini_hochberg`).

Source: Spiegelhalter 2005, Stat Med 24:1185-1202.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.control_charts import (
    THREE_SIGMA_TAIL,
    ControlLimits,
    binomial_cdf,
    binomial_quantile,
)
from fixstats.stats.exact_tests import Alternative, fisher
from fixstats.stats.validators import FloatArray, as_counts, as_numbers, as_rates, refuse

WINSORISED_SHARE = 0.1


@dataclass(frozen=True)
class Dispersion:
    """How much more groups differ than chance allows; scalars.

    `ratio`: variance of the standardised rates over that of chance alone, phi; 1 where chance
    explains all. `between_variance`: variance of the true rates of the groups (squared rates)
    that explains the rest, tau squared; 0 where chance explains all. `n_groups`: those it rests
    on. NaN, NaN with fewer than two groups or a target of 0 or 1.
    """

    ratio: float
    between_variance: float
    n_groups: int


def dispersion(
    failures: ArrayLike,
    opportunities: ArrayLike,
    target: ArrayLike,
    *,
    share: float = WINSORISED_SHARE,
) -> Dispersion:
    """Overdispersion of groups around their target, from winsorised standardised rates.

    The most extreme `share` of the groups on either side is pulled in to the rest first: a group
    that is truly out must not widen the limits that should find it. A ratio under 1 counts as 1.
    tau squared is the method of moments of DerSimonian and Laird 1986 with the winsorised ratio.
    `failures`, `opportunities`: (groups,), those without opportunities are left out; `target`: one
    rate, or each group's expected one.

    Raises `ValueError` for counts that cannot be, a target outside 0 to 1 and a share outside 0
    to 0.5.
    Source: Spiegelhalter 2005, Stat Med 24:1185-1202, section 5 and appendix.
    """
    k, n = as_counts(failures, opportunities)
    rate = as_rates("target", target)
    if k.ndim != 1 or rate.shape not in {(), k.shape}:
        raise ValueError(
            "failures and opportunities must be vectors, target one rate or one a group, "
            f"got {k.shape} and {rate.shape}"
        )
    if not 0 <= share < 0.5:
        raise ValueError(f"share must be at least 0 and under 0.5, got {share!r}")
    rate = np.broadcast_to(rate, k.shape)
    used = (n > 0) & (rate > 0) & (rate < 1)
    k, n, rate = k[used], n[used], rate[used]
    groups = len(k)
    if groups < 2:
        return Dispersion(np.nan, np.nan, groups)
    weight = n / (rate * (1 - rate))
    z = (k / n - rate) * np.sqrt(weight)
    phi = float(np.mean(np.clip(z, *np.quantile(z, [share, 1 - share])) ** 2))
    spare = groups * phi - (groups - 1)
    between = spare / (weight.sum() - (weight**2).sum() / weight.sum())
    return Dispersion(max(phi, 1.0), max(float(between), 0.0), groups)


def funnel_limits(
    target: ArrayLike,
    opportunities: ArrayLike,
    *,
    tail: float = THREE_SIGMA_TAIL,
    ratio: ArrayLike = 1.0,
    between_variance: ArrayLike = 0.0,
) -> ControlLimits:
    """Limits of a group's rate around `target`, with `tail` chance beyond each; exact.

    Quantiles of the binomial distribution, interpolated between numbers of failures so that the
    funnel is smooth (Spiegelhalter 2005, appendix A.1). Overdispersion stretches their distance to
    the target as it stretches the standard error, by the root of `ratio` and of
    1 + between_variance / variance of the rate: with many opportunities these are his limits.
    Give one of the two, not both. Where so few jobs are seen that a single failure is rarer than
    `tail`, the upper limit lies at the target.

    `target`: 0 to 1; `opportunities`: whole numbers; shapes that fit. NaN without opportunities or
    target. Raises `ValueError` for values outside their range.
    """
    rate, n, phi, between = np.broadcast_arrays(
        as_rates("target", target),
        _whole(opportunities),
        as_numbers("ratio", ratio),
        as_numbers("between_variance", between_variance),
    )
    if not 0 < tail < 0.5:
        raise ValueError(f"tail must lie between 0 and 0.5, got {tail!r}")
    refuse("ratio", "must be at least 1", phi, phi < 1)
    refuse("between_variance", "must not be negative", between, between < 0)
    rate = np.where(n > 0, rate, np.nan)
    n = np.where(n > 0, n, 1.0)
    variance = rate * (1 - rate) / n
    more = 1 + between / np.where(variance > 0, variance, 1.0)
    stretch = np.sqrt(phi * np.where(variance > 0, more, 1.0))
    lower, upper = (_interpolated(one, n, rate) / n for one in (tail, 1 - tail))
    return ControlLimits(
        centre=rate[()],
        lower_limit=np.clip(rate - stretch * np.maximum(rate - lower, 0.0), 0.0, 1.0)[()],
        upper_limit=np.clip(rate + stretch * np.maximum(upper - rate, 0.0), 0.0, 1.0)[()],
    )


def _interpolated(tail: float, n: FloatArray, rate: FloatArray) -> FloatArray:
    """Number of failures at which P(X <= k), drawn as straight lines, equals `tail`; from 0."""
    k = binomial_quantile(tail, n, rate)
    at, before = binomial_cdf(k, n, rate), binomial_cdf(k - 1, n, rate)
    step = np.where(at > before, at - before, 1.0)
    return np.where(rate == 1, n, np.maximum(k - (at - tail) / step, 0.0))


def expected_p_values(
    failures: ArrayLike,
    opportunities: ArrayLike,
    expected: ArrayLike,
    *,
    alternative: Alternative = "two-sided",
    ratio: ArrayLike = 1.0,
) -> FloatArray:
    """p-value of each group: so many failures or more (or fewer) if it failed as expected.

    `expected`: expected failures of each group, the sum of the risks of its jobs. Binomial with
    their mean as rate: exact where all jobs have the same risk, and too large where they differ,
    as that only takes variance away (Hoeffding 1956, Ann Math Stat 27:713-721; beyond one failure
    from the expected number). Two-sided: twice the smaller one, at most 1. `ratio`: from
    `dispersion`; counts are divided by it, as for an effective number of jobs.

    The expected failures count as known. NaN without opportunities. Raises `ValueError` for counts
    that cannot be, more expected failures than opportunities, a ratio under 1 and another
    alternative.
    """
    k, n = as_counts(failures, opportunities)
    wanted, _ = as_counts(expected, n, prefix="expected ")
    phi = as_numbers("ratio", ratio)
    refuse("ratio", "must be at least 1", phi, phi < 1)
    k, n, wanted, phi = np.broadcast_arrays(k, n, wanted, phi)
    rate = wanted / np.where(n > 0, n, 1.0)
    fewer = binomial_cdf(k / phi, n / phi, rate)
    more = np.where(k > 0, _at_least(k / phi, n / phi, rate), 1.0)
    sides = {
        "more": more,
        "fewer": fewer,
        "two-sided": np.minimum(2 * np.minimum(more, fewer), 1.0),
    }
    if alternative not in sides:
        raise ValueError(f"alternative must be one of {', '.join(sides)}, got {alternative!r}")
    return np.where(n > 0, sides[alternative], np.nan)[()]


def _at_least(k: FloatArray, n: FloatArray, rate: FloatArray) -> FloatArray:
    """P(X >= k), k > 0, from the upper tail: 1 less the rest would lose the small ones."""
    from scipy import special

    inner = k > 0
    upper = special.betainc(np.where(inner, k, 1.0), np.where(inner, n - k, 0.0) + 1, rate)
    return np.asarray(upper, dtype=np.float64)


def rest_p_values(
    failures: ArrayLike, opportunities: ArrayLike, *, alternative: Alternative = "two-sided"
) -> FloatArray:
    """p-value of each group against all the others together: Fisher's exact test.

    What the others did is counted too, so it stays honest where records are few; the jobs of all
    are taken to be alike. `failures`, `opportunities`: (groups,), whole numbers. NaN where a group
    or all others have no opportunities. Raises `ValueError` as `fisher` does.
    """
    k, n = as_counts(failures, opportunities)
    if k.ndim != 1:
        raise ValueError(f"failures and opportunities must be vectors, got shape {k.shape}")
    return fisher(k, n, k.sum() - k, n.sum() - n, alternative=alternative)


def _whole(opportunities: ArrayLike) -> FloatArray:
    numbers = as_numbers("opportunities", opportunities)
    broken = (numbers < 0) | (numbers % 1 != 0)
    refuse("opportunities", "must be whole numbers from 0", numbers, broken)
    return numbers
