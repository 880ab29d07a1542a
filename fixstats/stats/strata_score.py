"""The Mantel-Haenszel difference with the interval of a score test, for few failures.

Counts, `groups` and `n_groups` as in `strata`. The variances of Sato and of Greenland and Robins
are taken at the rates seen: with one stratum, or with an empty cell, they are too small. The
variance here is that of the rates most likely under the difference tested.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.strata import (
    IntArray,
    Strata,
    StrataEffect,
    as_effect,
    as_strata,
    two_sided_z,
    weighted_difference,
)
from fixstats.stats.two_proportions import baseline_rate_given, score_share, solve_between
from fixstats.stats.validators import FloatArray

# The start of the steps is right to eight digits or so, and a rate of next to 0 in one stratum of
# many needs no more: the interval comes out the same to nine digits.
STEPS = 4


def score_difference(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> StrataEffect:
    """Mantel-Haenszel difference with the differences that a stratified score test does not reject.

    At a difference of 0 the test is that of Cochran, Mantel and Haenszel without correction: the
    interval excludes 0 where their p-value is below 1 - `confidence_level`. With one stratum it is
    `miettinen_nurminen_difference`. It lies in -1 to 1 and has a value where nothing failed.
    `variance` is that under the estimate itself.
    Source: Miettinen and Nurminen 1985, Stat Med 4:213-226, the test over strata; the weights are
    those of Cochran 1954.
    """
    s = as_strata(
        (failures, opportunities, baseline_failures, baseline_opportunities), groups, n_groups
    )
    weight, difference = weighted_difference(s)
    table = _Table.of(s)
    # A variance needs two opportunities; effective numbers may leave fewer.
    lacking = s.total(np.where(s.filled & (s.size <= 1), 1.0, 0.0)) > 0
    limit = np.where(lacking, np.nan, two_sided_z(confidence_level) ** 2 / weight**2)
    place = np.arange(len(difference), dtype=np.float64)

    def excess(
        tested: FloatArray, seen: FloatArray, where: FloatArray, limit: FloatArray
    ) -> FloatArray:
        return score_share(seen - tested, limit, table.variance(tested, where.astype(np.int64)))

    args = (difference, place, limit)
    least, most = np.full_like(difference, -1.0), np.full_like(difference, 1.0)
    low = solve_between(excess, least, difference, args)
    high = solve_between(excess, difference, most, args)
    variance = np.where(
        np.isfinite(limit), table.variance(difference, place.astype(np.int64)) / weight**2, np.nan
    )
    return as_effect(s, (difference, low, high, variance), s.filled)


@dataclass(frozen=True)
class _Table:
    """The filled strata sorted by comparison: those of comparison k are `size[k]` from `start[k]`.

    `share`: squared weight of a stratum, times n / (n - 1).
    """

    counts: tuple[FloatArray, FloatArray, FloatArray, FloatArray]
    share: FloatArray
    start: IntArray
    size: IntArray

    @classmethod
    def of(cls, s: Strata) -> _Table:
        kept = np.flatnonzero(s.filled & (s.size > 1))
        kept = kept[np.argsort(s.places.groups[kept], kind="stable")]
        x1, n1, x2, n2 = (values[kept] for values in (s.x1, s.n1, s.x2, s.n2))
        n = n1 + n2
        size = np.bincount(s.places.groups[kept], minlength=s.places.n_groups)
        return cls((x1, n1, x2, n2), (n1 * n2 / n) ** 2 * n / (n - 1), size.cumsum() - size, size)

    def variance(self, difference: FloatArray, comparison: IntArray) -> FloatArray:
        """Of the sum of weighted differences, if each stratum's is `difference`; by comparison."""
        size = self.size[comparison]
        of = np.repeat(np.arange(len(comparison)), size)
        begin = self.start[comparison] - (size.cumsum() - size)
        rows = np.arange(size.sum()) + begin[of]
        x1, n1, x2, n2 = (values[rows] for values in self.counts)
        p2 = baseline_rate_given(difference[of], x1, n1, x2, n2, STEPS)
        p1 = np.clip(p2 + difference[of], 0.0, 1.0)
        within = self.share[rows] * (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
        return np.bincount(of, within, len(comparison)).astype(np.float64)
