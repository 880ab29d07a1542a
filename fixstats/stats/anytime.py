"""What may be looked at every week: confidence sequences and evidence for rates and differences.

An interval of the usual kind holds for one look at a number of jobs fixed beforehand. Whoever
looks every week and stops at the first good news is wrong far more often than its level says. A
confidence sequence holds at all looks together: with probability `confidence_level` it never
leaves the truth out, whenever one looks and for whatever reason one stops.

All of it rests on one thought. A bettor who may not go into debt stakes money on each new outcome
at odds that are fair if a certain rate is the true one. Then the capital rarely grows: that it
ever reaches 1 / a has a probability of at most a (Ville 1939, Etude critique de la notion de
collectif). The capital itself is the evidence against that rate, an e-value: 1 at the start, 25
for what would be a 1 in 25 event at most. Rates against which it never got to 1 / a are the
confidence sequence. Capital of several bettors may be averaged (a mixture), and that of bets one
after the other is multiplied.

Counts are scalars or arrays that broadcast against each other, and answers have their shape; a
path over time is an array of running counts. They raise `ValueError` for counts that cannot be.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.proportion import Interval
from fixstats.stats.validators import FloatArray, as_counts, as_level, as_numbers, refuse

Function = Callable[[FloatArray], FloatArray]
Test = Callable[[FloatArray], NDArray[np.bool_]]

# Stakes of the bettors whose capital is averaged, as shares of the most that cannot ruin them.
# Any fixed set is valid. Squares of even steps are dense near 0, where small differences and long
# runs are won; against four other sets these stopped invented trials among the soonest.
_STAKES = ((np.arange(32) + 0.5) / 32) ** 2
# Halvings of an interval of length 1 or 2 until its ends are exact to 1e-12.
_HALVINGS = 42
# The fewest jobs that the prior of the beta-binomial mixture is worth, as its authors have it.
_LEAST_PRIOR = 1e-3


# --- one proportion ---------------------------------------------------------------------------


def proportion_sequence(
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    narrowest_at: float = 100.0,
    confidence_level: float = 0.95,
) -> Interval:
    """Confidence sequence for one rate: the two-sided beta-binomial mixture.

    A rate p is kept as long as the mixture of binomial likelihoods over a beta distribution with
    mean p, divided by that of p itself, stays below 1 / (1 - confidence_level). `narrowest_at`:
    the number of jobs at which the sequence shall be about as narrow as it can be; it holds at
    all others, too. Low is 0 where nothing failed and high 1 where all did; 0 to 1 at no jobs.

    Source: Howard, Ramdas, McAuliffe and Sekhon 2021, Ann Stat 49:1055-1080: the two-sided
    beta-binomial mixture, tuned as their two-sided normal mixture at the variance of p.
    """
    k, n = as_counts(failures, opportunities)
    level = as_level(confidence_level)
    at = as_numbers("narrowest_at", narrowest_at)
    refuse("narrowest_at", "must be above 0", at, at <= 0)
    threshold = -np.log1p(-level)
    tuning = 2 * threshold + np.log1p(2 * threshold)
    prior = max(float(at) / tuning - 1, _LEAST_PRIOR)
    rate = np.divide(k, n, out=np.full(k.shape, 0.5), where=n > 0)

    def kept(at_rate: FloatArray) -> NDArray[np.bool_]:
        return np.asarray(_log_beta_mixture(k, n, at_rate, prior) < threshold)

    low, high = _edge(kept, rate, 0.0), _edge(kept, rate, 1.0)
    low = np.where((k == 0) | (n == 0), 0.0, low)
    high = np.where((k == n) | (n == 0), 1.0, high)
    return Interval(low[()], high[()])


def _log_beta_mixture(k: FloatArray, n: FloatArray, rate: FloatArray, prior: float) -> FloatArray:
    """Log of the capital against a rate of who believes in a beta distribution around it."""
    from scipy import special

    inside = np.clip(rate, 1e-300, 1 - 1e-16)
    a, b = prior * inside, prior * (1 - inside)
    log_mixture = special.betaln(a + k, b + n - k) - special.betaln(a, b)
    log_rate = special.xlogy(k, inside) + special.xlog1py(n - k, -inside)
    capital: FloatArray = log_mixture - log_rate
    return capital


def _edge(kept: Test, inside: FloatArray, outside: float) -> FloatArray:
    """Where, from `inside` towards `outside`, values stop being kept; by halving."""
    near, far = inside.copy(), np.full(inside.shape, outside)
    for _ in range(_HALVINGS):
        middle = (near + far) / 2
        stays = kept(middle)
        near, far = np.where(stays, middle, near), np.where(stays, far, middle)
    # Whatever is not excluded for sure stays in.
    return far


def evidence_above(failures: ArrayLike, opportunities: ArrayLike, limit: float) -> FloatArray:
    """Evidence (an e-value) that a rate is above `limit`; 1 where there were no opportunities.

    Average capital of bettors each of whom stakes a fixed share on failures, at odds that are
    fair at the limit: while the rate is at most the limit, this ever reaches x with probability
    1 / x at most.
    Source: Waudby-Smith and Ramdas 2024, J R Stat Soc B 86:1-27, section 4 (capital); Cover
    1991, Math Finance 1:1-29 (averaging over fixed shares).
    """
    k, n = as_counts(failures, opportunities)
    if not 0 < limit < 1:
        raise ValueError(f"limit must lie between 0 and 1, got {limit!r}")
    won, lost = np.log1p(_STAKES * (1 / limit - 1)), np.log1p(-_STAKES)
    return _exp(_average(k[..., None] * won + (n - k)[..., None] * lost))


# --- the difference of two, in pairs ----------------------------------------------------------


def pair_evidence(
    more: ArrayLike, fewer: ArrayLike, same: ArrayLike, *, difference: float = 0.0
) -> FloatArray:
    """Evidence (an e-value) against a true difference of two rates, in either direction.

    Jobs come in pairs of one stratum (technician, kind of model), one job drawn for the option
    and one for its baseline. `more`: pairs in which only the option failed; `fewer`: only the
    baseline; `same`: both or neither. Average of `pair_evidence_above` and of its mirror image.

    The pairing is what makes it fair: whatever else tells strata or months apart is the same for
    both jobs of a pair, so nothing need be known of it. Against a difference of 0 it holds with
    any mix of strata, of unlike rates; against others where the difference is the same in all
    strata, or the mix of strata steady: then it speaks of the difference over that mix.
    """
    above = _log_above(more, fewer, same, difference)
    below = _log_above(fewer, more, same, -difference)
    return _exp(np.logaddexp(above, below) - np.log(2))


def pair_evidence_above(
    more: ArrayLike, fewer: ArrayLike, same: ArrayLike, *, difference: float = 0.0
) -> FloatArray:
    """Evidence (an e-value) that the option fails more often than its baseline by `difference`.

    Each pair scores 1, 0 or -1, and a bettor stakes a fixed share on scores above the difference
    at fair odds; the capital of many shares is averaged. One-sided: while the true difference is
    at most `difference`, this ever reaches x with probability 1 / x at most.
    Source: Waudby-Smith and Ramdas 2024, J R Stat Soc B 86:1-27, section 4 (means of bounded
    scores by betting); Cover 1991, Math Finance 1:1-29 (averaging over fixed shares).
    """
    return _exp(_log_above(more, fewer, same, difference))


def pair_sequence(
    more: ArrayLike, fewer: ArrayLike, same: ArrayLike, *, confidence_level: float = 0.95
) -> Interval:
    """Confidence sequence for the difference of two rates from pairs: option minus baseline.

    The differences against which `pair_evidence` stays below 1 / (1 - confidence_level): they are
    an interval, since the capital of either side is a convex function of the difference. From -1
    to 1 before the first pair. Counts as in `pair_evidence`.
    """
    up, down, even = _pairs(more, fewer, same)
    threshold = -np.log1p(-as_level(confidence_level))
    total = up + down + even

    def capital(difference: FloatArray) -> FloatArray:
        above = _log_above(up, down, even, difference)
        both = np.logaddexp(above, _log_above(down, up, even, -difference))
        return np.asarray(both - np.log(2))

    def kept(difference: FloatArray) -> NDArray[np.bool_]:
        return np.asarray(capital(difference) < threshold)

    middle = _least(capital, up.shape)
    low, high = _edge(kept, middle, -1.0), _edge(kept, middle, 1.0)
    empty = total == 0
    return Interval(np.where(empty, -1.0, low)[()], np.where(empty, 1.0, high)[()])


def _pairs(more: ArrayLike, fewer: ArrayLike, same: ArrayLike) -> list[FloatArray]:
    names = ("more", "fewer", "same")
    counts = [
        as_numbers(name, values) for name, values in zip(names, (more, fewer, same), strict=True)
    ]
    for name, values in zip(names, counts, strict=True):
        refuse(name, "must not be negative", values, values < 0)
    try:
        return [*np.broadcast_arrays(*counts)]
    except ValueError:
        shapes = ", ".join(str(values.shape) for values in counts)
        raise ValueError(f"more, fewer and same must have shapes that fit, got {shapes}") from None


def _log_above(
    more: ArrayLike, fewer: ArrayLike, same: ArrayLike, difference: ArrayLike
) -> FloatArray:
    """Log of the average capital of those who bet on scores above the difference."""
    up, down, even = _pairs(more, fewer, same)
    at = as_numbers("difference", difference)
    refuse("difference", "must lie between -1 and 1", at, (at < -1) | (at > 1))
    # Scores and difference brought to 0 to 1: a stake s multiplies by 1 - s + s score / mean.
    mean = np.maximum((1 + at) / 2, 1e-300)[..., None]
    won = np.log1p(_STAKES * (1 / mean - 1))
    kept = np.log1p(_STAKES * (0.5 / mean - 1))
    lost = np.log1p(-_STAKES)
    return _average(up[..., None] * won + even[..., None] * kept + down[..., None] * lost)


def _average(log_capital: FloatArray) -> FloatArray:
    """Log of the mean over the last axis."""
    top = log_capital.max(axis=-1)
    mean: FloatArray = top + np.log(np.exp(log_capital - top[..., None]).mean(axis=-1))
    return mean


def _exp(log_capital: FloatArray) -> FloatArray:
    """The capital; what is beyond the largest number is given as that number."""
    capital: FloatArray = np.exp(np.minimum(log_capital, np.log(np.finfo(np.float64).max)))
    return capital[()]


def _least(function: Function, shape: tuple[int, ...]) -> FloatArray:
    """Where a convex function over -1 to 1 is least, by golden section."""
    ratio = (np.sqrt(5) - 1) / 2
    left, right = np.full(shape, -1.0), np.full(shape, 1.0)
    for _ in range(60):
        first, second = right - ratio * (right - left), left + ratio * (right - left)
        lower = function(first) < function(second)
        left, right = np.where(lower, left, first), np.where(lower, second, right)
    middle: FloatArray = (left + right) / 2
    return middle
