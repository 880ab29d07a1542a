"""Tests of two proportions that hold for any number of jobs: Fisher, Fisher mid-P, Boschloo.

Counts as in `two_proportions`, here whole numbers. `alternative` names what the test looks for:
`two-sided`, `more` (the option fails more often than its baseline) or `fewer`. All functions take
scalars or arrays that broadcast against each other and answer p-values in that shape, NaN where a
group is empty. Where nothing or everything failed only one table is possible: p is 1, and 1/2 for
mid-P, which counts half of it. They raise `ValueError` for counts that cannot be, or are not
whole, and for another alternative.

What "two-sided" means differs between books; each function says which rule it follows.
"""

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_two_groups, refuse

Alternative = Literal["two-sided", "more", "fewer"]
Test = Callable[..., FloatArray]

# Two probabilities closer than this, relative to each other, count as equal: equal ones are
# computed along different roads.
_TIE = 1e-7
# Failures up to which the terms of both tails are added up one by one, and tables up to which that
# is done for each: SciPy's distributions take a second to load.
FEW, FEW_TABLES = 10_000, 100
# One tail: standard deviations and tables beside them that are looked at, cells at a time.
_REACH, _NEAR, _CELLS = 9.0, 50.0, 200_000
# The same for two tail probabilities: near 1, where they differ by little, a wider margin would
# join tables that are not equally extreme.
_SAME_TAIL = 1e-10


def fisher(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    alternative: Alternative = "two-sided",
) -> FloatArray:
    """p-value given how many failed in all; never too small, mostly too large.

    Two-sided: the probability of all tables that are no more probable than the one seen.
    Source: Fisher 1935, The Design of Experiments, ch. 2; the two-sided rule is that of Freeman
    and Halton 1951, Biometrika 38:141-149.
    """
    x1, n1, x2, n2 = _whole(failures, opportunities, baseline_failures, baseline_opportunities)
    return _given_total(alternative, x1, n1, x2, n2, share_of_ties=1.0)


def fisher_mid_p(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    alternative: Alternative = "two-sided",
) -> FloatArray:
    """`fisher`, counting what was seen only half: close to its level on average.

    Two-sided: the probability of all less probable tables and half of that of the equally
    probable ones, the one seen among them. One-sided: half of the one seen.
    Source: Lancaster 1961, J Am Stat Assoc 56:223-234; Fagerland, Lydersen and Laake 2017,
    Statistical Analysis of Contingency Tables, ch. 4.
    """
    x1, n1, x2, n2 = _whole(failures, opportunities, baseline_failures, baseline_opportunities)
    return _given_total(alternative, x1, n1, x2, n2, share_of_ties=0.5)


def boschloo(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
    *,
    alternative: Alternative = "two-sided",
) -> FloatArray:
    """Unconditional p-value: never too small, and never larger than Fisher's on one side.

    Tables are ordered by their one-sided Fisher p-value; the answer is the largest probability,
    over all rates that both groups could share, of a table no more likely to be chance than the
    one seen. Two-sided: twice the smaller of both one-sided p-values, at most 1. (Another rule
    in use orders the tables by the two-sided Fisher p-value.)

    One pass per table: meant for a few tables of up to some thousand opportunities.
    Source: Boschloo 1970, Statistica Neerlandica 24:1-35.
    """
    counts = _whole(failures, opportunities, baseline_failures, baseline_opportunities)
    sides = _sides(alternative)
    answer = np.full(counts[0].shape, np.nan)
    for place in np.argwhere((counts[1] > 0) & (counts[3] > 0)):
        x1, n1, x2, n2 = (int(values[tuple(place)]) for values in counts)
        swapped = {"more": (x1, n1, x2, n2), "fewer": (x2, n2, x1, n1)}
        answer[tuple(place)] = len(sides) * min(_boschloo_more(*swapped[side]) for side in sides)
    return _answer(answer)


TESTS: Mapping[str, Test] = MappingProxyType(
    {"fisher": fisher, "fisher-mid-p": fisher_mid_p, "boschloo": boschloo}
)


# --- checks -----------------------------------------------------------------------------------


def _whole(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    counts = as_two_groups(failures, opportunities, baseline_failures, baseline_opportunities)
    names = ("failures", "opportunities", "baseline_failures", "baseline_opportunities")
    for name, values in zip(names, counts, strict=True):
        refuse(name, "must be whole numbers in an exact test", values, values != np.rint(values))
    return counts


def _sides(alternative: Alternative) -> tuple[str, ...]:
    sides = {"two-sided": ("more", "fewer"), "more": ("more",), "fewer": ("fewer",)}
    if alternative not in sides:
        raise ValueError(f"alternative must be one of {', '.join(sides)}, got {alternative!r}")
    return sides[alternative]


def _answer(p_values: FloatArray) -> FloatArray:
    """Scalars in, a scalar out; rounding must not lift a probability above 1."""
    answer: FloatArray = np.minimum(p_values, 1.0)[()]
    return answer


# --- given the total: Fisher ------------------------------------------------------------------


def _given_total(
    alternative: Alternative,
    x1: FloatArray,
    n1: FloatArray,
    x2: FloatArray,
    n2: FloatArray,
    *,
    share_of_ties: float,
) -> FloatArray:
    _sides(alternative)
    answer = np.full(x1.shape, np.nan)
    filled = (n1 > 0) & (n2 > 0)
    x1, n1, x2, n2 = (values[filled] for values in (x1, n1, x2, n2))
    if alternative == "two-sided":
        answer[filled] = _both_tails(x1, n1, x2, n2, share_of_ties)
    elif alternative == "more":
        answer[filled] = _lower_tail(x2, n2, x1, n1, share_of_ties)
    else:
        answer[filled] = _lower_tail(x1, n1, x2, n2, share_of_ties)
    return _answer(answer)


def _lower_tail(
    x1: FloatArray, n1: FloatArray, x2: FloatArray, n2: FloatArray, share_of_ties: float
) -> FloatArray:
    """Probability that so few of the failures fall to group 1, the number seen by its share.

    From the ratios of neighbouring tables, around the most probable one and the one seen; what lies
    further out than `_REACH` standard deviations has no part in the sixteenth digit.
    """
    total, all_jobs = x1 + x2, n1 + n2
    fewest, most = np.maximum(total - n2, 0.0), np.minimum(n1, total)
    mode = np.floor((n1 + 1) * (total + 1) / (all_jobs + 2))
    share = total / all_jobs
    variance = n1 * share * (1 - share) * (all_jobs - n1) / np.maximum(all_jobs - 1, 1.0)
    reach = np.ceil(_REACH * np.sqrt(variance)) + _NEAR
    low = np.maximum(fewest, np.minimum(x1, mode) - reach)
    width = (np.minimum(most, np.maximum(x1, mode) + reach) - low).astype(np.int64)
    tail = np.empty(x1.shape)
    order = np.argsort(width)
    block = max(1, _CELLS // max(int(width.max(initial=0)), 1))
    for at in (order[begin : begin + block] for begin in range(0, len(order), block)):
        k = low[at, None] + np.arange(width[at].max())
        n, all_failed, seen = n1[at, None], total[at, None], (x1 - low)[at].astype(np.int64)
        ratio = (all_failed - k) * (n - k) / ((k + 1) * (n2[at, None] - all_failed + k + 1))
        inside = np.arange(k.shape[1]) < width[at, None]
        logs = np.cumsum(np.log(ratio, where=inside, out=np.full(k.shape, -np.inf)), axis=1)
        logs = np.concatenate([np.zeros((len(at), 1)), logs], axis=1)
        chances = np.exp(logs - logs.max(axis=1, keepdims=True))
        below = np.arange(chances.shape[1]) < seen[:, None]
        here = chances[np.arange(len(at)), seen]
        so_few = np.where(below, chances, 0.0).sum(axis=1) + share_of_ties * here
        tail[at] = so_few / chances.sum(axis=1)
    return tail


def _chances(table: Sequence[float]) -> tuple[FloatArray, int]:
    """Probabilities of all tables with as many failures, and the place of the one seen."""
    x1, n1, x2, n2 = table
    total = x1 + x2
    fewest, most = max(total - n2, 0.0), min(n1, total)
    k = np.arange(fewest, most)
    steps = np.log((total - k) * (n1 - k)) - np.log((k + 1) * (n2 - total + k + 1))
    logs = np.concatenate([[0.0], np.cumsum(steps)])
    chances = np.exp(logs - logs.max())
    return chances / chances.sum(), int(x1 - fewest)


def _both_tails(
    x1: FloatArray, n1: FloatArray, x2: FloatArray, n2: FloatArray, share_of_ties: float
) -> FloatArray:
    total = x1 + x2
    if x1.size <= FEW_TABLES and np.all(np.minimum(n1, total) <= FEW):
        tables = zip(x1.tolist(), n1.tolist(), x2.tolist(), n2.tolist(), strict=True)
        return np.array([_two_tails(table, share_of_ties) for table in tables])
    from scipy.stats import hypergeom

    # Seen from the other group the table is the same: what was seen can always lie at or below
    # the most probable number, the smaller one where two are.
    swap = x1 > np.ceil((n1 + 1) * (total + 1) / (n1 + n2 + 2)) - 1
    x, n, other = np.where(swap, x2, x1), np.where(swap, n2, n1), np.where(swap, n1, n2)
    where = (n + other, total, n)
    seen = np.asarray(hypergeom.pmf(x, *where))
    mode = np.ceil((n + 1) * (total + 1) / (n + other + 2)) - 1
    first = np.maximum(mode, x + 1)
    beyond = np.minimum(n, total) + 1

    def no_more_probable(k: FloatArray) -> NDArray[np.bool_]:
        return np.asarray((k >= beyond) | (hypergeom.pmf(k, *where) <= seen * (1 + _TIE)))

    mirror = _first_true(no_more_probable, first, np.maximum(beyond, first))
    mirrored = np.asarray(hypergeom.pmf(mirror, *where))
    tied = seen + np.where(mirrored >= seen * (1 - _TIE), mirrored, 0.0)
    near = np.asarray(hypergeom.cdf(x, *where), dtype=np.float64)
    far = np.asarray(hypergeom.sf(mirror - 1, *where), dtype=np.float64)
    tails: FloatArray = near + far - (1 - share_of_ties) * tied
    return tails


def _two_tails(table: Sequence[float], share_of_ties: float) -> float:
    """The same of one table."""
    chances, place = _chances(table)
    seen = chances[place]
    fewer = chances < seen * (1 - _TIE)
    tied = ~fewer & (chances <= seen * (1 + _TIE))
    return float(chances[fewer].sum() + share_of_ties * chances[tied].sum())


def _first_true(
    holds: Callable[[FloatArray], NDArray[np.bool_]], first: FloatArray, last: FloatArray
) -> FloatArray:
    """The smallest whole number from which on it holds, by halving; it holds at `last`."""
    low, high = first.copy(), last.copy()
    while np.any(low < high):
        middle = np.floor((low + high) / 2)
        yes = holds(middle)
        high = np.where(yes, middle, high)
        low = np.where(yes, low, np.minimum(middle + 1, high))
    return high


# --- over all rates: Boschloo -----------------------------------------------------------------


def _boschloo_more(x1: int, n1: int, x2: int, n2: int) -> float:
    """One-sided p-value for "group 1 fails more often"."""
    k1 = np.arange(n1 + 1.0)
    most = _most_of_the_other(x1, n1, x2, n2)
    k1, most = k1[most >= 0], most[most >= 0]

    def probability(rates: FloatArray) -> FloatArray:
        return _rejected(rates, k1, n1, most, n2)

    return _supremum(probability, n1 + n2)


def _most_of_the_other(x1: int, n1: int, x2: int, n2: int) -> FloatArray:
    """Of tables at least as extreme: for 0 to n1 failures of group 1 the most of group 2, or -1.

    Fisher's one-sided p-value falls with the failures of group 1 and rises with those of group 2
    (Boschloo 1970), so that the extreme tables are those with at most so many.
    """
    from scipy.stats import hypergeom

    k1 = np.arange(n1 + 1.0)
    limit = hypergeom.sf(x1 - 1, n1 + n2, x1 + x2, n1) * (1 + _SAME_TAIL)

    def not_extreme(k2: FloatArray) -> NDArray[np.bool_]:
        return np.asarray((k2 > n2) | (hypergeom.sf(k1 - 1, n1 + n2, k1 + k2, n1) > limit))

    return _first_true(not_extreme, np.zeros(n1 + 1), np.full(n1 + 1, n2 + 1.0)) - 1


def _rejected(rates: FloatArray, k1: FloatArray, n1: int, most: FloatArray, n2: int) -> FloatArray:
    """Probability of an extreme table at each rate that both groups share."""
    from scipy import special

    at = rates[:, None]
    choose = -special.betaln(n1 - k1 + 1, k1 + 1) - np.log(n1 + 1)
    mass = np.exp(choose + special.xlogy(k1, at) + special.xlog1py(n1 - k1, -at))
    # P(X <= most) of a binomial: 1 where most = n2, which the incomplete beta has no value for.
    inner = np.minimum(most, n2 - 1)
    below = np.where(most >= n2, 1.0, special.betainc(n2 - inner, inner + 1, 1 - at))
    probability: FloatArray = (mass * below).sum(axis=1)
    return probability


def _supremum(function: Callable[[FloatArray], FloatArray], size: int) -> float:
    """Largest value over rates from 0 to 1: a dense grid, then every hill that could win.

    On the arcsine scale the function cannot turn faster than about 1 / sqrt(size); the grid has
    some tens of points within that. Each hill whose top on the grid comes within a tenth of the
    best is looked at again, four times 16 times closer.
    """
    points = 257 + 32 * int(np.ceil(np.sqrt(size)))
    angles = np.linspace(0.0, np.pi / 2, points)
    values = _in_blocks(function, np.sin(angles) ** 2)
    padded = np.concatenate([[-1.0], values, [-1.0]])
    hills = (values >= padded[:-2]) & (values >= padded[2:]) & (values >= 0.9 * values.max())
    best = float(values.max())
    step = angles[1]
    # A plateau (the region is empty or everything) has no hill to climb.
    tops = angles[hills] if hills.sum() < points / 2 else angles[:0]
    for _ in range(4 if tops.size else 0):
        near = np.clip(tops[:, None] + step * np.linspace(-1, 1, 33), 0.0, np.pi / 2)
        values = _in_blocks(function, (np.sin(near) ** 2).ravel()).reshape(near.shape)
        tops = near[np.arange(len(near)), values.argmax(axis=1)]
        best, step = max(best, float(values.max())), step / 16
    return best


def _in_blocks(
    function: Callable[[FloatArray], FloatArray], rates: FloatArray, block: int = 128
) -> FloatArray:
    """The function of all rates, in pieces that keep the memory small."""
    parts = [function(rates[at : at + block]) for at in range(0, len(rates), block)]
    return np.concatenate(parts)
