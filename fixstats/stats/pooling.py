"""Partial pooling: what six jobs of a model say, once all the other models are looked at.

The rate of each group (models, say, of one option and failure mode) comes from a beta
distribution whose own mean and precision are estimated from all groups. A group with few
opportunities is drawn towards the others, one with many keeps its own rate. Nothing is plugged
in: the posterior of mean and precision is integrated over, so that with three groups the
intervals know how little is known about how groups differ.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.hyperprior import PRIORS, HyperPosterior, hyper_posterior
from fixstats.stats.validators import FloatArray, as_counts, as_level

# Groups times points that the interval ends may cost; beyond it the points are thinned.
BUDGET = 150_000
DEGREES = (8, 6, 5, 4, 3, 2)
TOLERANCE = 1e-10  # of the probability at an end
# Where rates stop being told from 0 and 1.
NEAR_ZERO, NEAR_ONE = 1e-300, 1 - 2.0**-53


@dataclass(frozen=True)
class Pooled:
    """Partially pooled rates, arrays with one entry a group.

    `pooled_rate`: posterior mean, between the group's own rate and what the others suggest.
    `pooled_low`, `pooled_high`: equal-tailed posterior interval.
    `borrowed`: the share of the estimate that comes from the other groups and the prior, the
    posterior mean of s / (s + opportunities) with s the precision of the distribution over
    groups; 1 where a group has no opportunities and the answer is the prediction for a new one.
    `hyper`: posterior of that distribution.
    """

    pooled_rate: FloatArray
    pooled_low: FloatArray
    pooled_high: FloatArray
    borrowed: FloatArray
    hyper: HyperPosterior


def pool_rates(
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    prior: str = "weak",
) -> Pooled:
    """Pool the rates of groups; counts are arrays of one dimension, one entry a group.

    `prior`: "weak" (see `hyperprior.weak`), or "bda3", the improper (a + b) ** (-5/2), which
    needs at least one group with both a failure and a success.

    The ends solve P(rate <= end) = tail to 1e-9 under a mixture of beta distributions, one for
    each point of `hyper`. Where groups times points are many, the points are first thinned to
    the few that keep all moments of the hyperposterior up to a degree of at least 2.

    Raises `ValueError` for counts that cannot be, an unknown prior, or counts that leave "bda3"
    without a proper posterior.
    Source: Gelman et al. 2013, Bayesian Data Analysis, 3rd edition, sections 5.1 to 5.3.
    """
    k, n, tail = _checked(failures, opportunities, confidence_level, prior)
    return _pooled(k, n, hyper_posterior(k[n > 0], n[n > 0], prior), tail)


def pool_rate_of(
    group: int,
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    confidence_level: float = 0.95,
    prior: str = "weak",
) -> Pooled:
    """The entry of one `group` of `pool_rates`, in arrays of length one, at less cost.

    For who asks about one model only: how groups differ is still learned from all of them.
    Raises as `pool_rates`, and `IndexError` for a group that is not there.
    """
    k, n, tail = _checked(failures, opportunities, confidence_level, prior)
    hyper = hyper_posterior(k[n > 0], n[n > 0], prior)
    return _pooled(k[[group]], n[[group]], hyper, tail)


def draw_rates(
    pooled: Pooled,
    failures: ArrayLike,
    opportunities: ArrayLike,
    *,
    draws: int = 4000,
    seed: int = 1,
) -> FloatArray:
    """Joint posterior draws of the groups' rates, (groups, draws), for the counts of `pooled`.

    One draw is one point of the hyperposterior for all groups: differences between groups may
    be taken draw by draw.
    """
    k, n = (np.atleast_1d(counts) for counts in as_counts(failures, opportunities))
    random = np.random.default_rng(seed)
    at = random.choice(len(pooled.hyper.weight), size=draws, p=pooled.hyper.weight)
    a = (pooled.hyper.mean * pooled.hyper.precision)[at]
    b = pooled.hyper.precision[at] - a
    return random.beta(a + k[:, None], b + (n - k)[:, None])


def _checked(
    failures: ArrayLike, opportunities: ArrayLike, confidence_level: float, prior: str
) -> tuple[FloatArray, FloatArray, float]:
    """The counts as arrays, and the probability beyond either end."""
    k, n = (np.atleast_1d(counts) for counts in as_counts(failures, opportunities))
    if k.ndim != 1:
        raise ValueError(f"failures must have one dimension, one entry a group, got {k.ndim}")
    tail = (1 - as_level(confidence_level)) / 2
    if prior not in PRIORS:
        raise ValueError(f"prior must be one of {', '.join(PRIORS)}, got {prior!r}")
    if prior == "bda3" and not ((k > 0) & (k < n)).any():
        raise ValueError("prior 'bda3' needs a group with both a failure and a success")
    return k, n, tail


def _pooled(k: FloatArray, n: FloatArray, hyper: HyperPosterior, tail: float) -> Pooled:
    # Groups with the same counts have the same answer.
    pairs, where = np.unique(np.stack([k, n]), axis=1, return_inverse=True)
    rate, borrowed = _means(pairs[0], pairs[1], hyper)
    thin = _thinned(hyper, pairs.shape[1])
    low, high = (_quantile(pairs[0], pairs[1], thin, q) for q in (tail, 1 - tail))
    where = where.reshape(-1)
    return Pooled(rate[where], low[where], high[where], borrowed[where], hyper)


def _means(k: FloatArray, n: FloatArray, hyper: HyperPosterior) -> tuple[FloatArray, FloatArray]:
    share = hyper.precision / (hyper.precision + n[:, None])
    own = k / np.where(n > 0, n, 1)
    rate = (share * hyper.mean + (1 - share) * own[:, None]) @ hyper.weight
    return rate, np.where(n > 0, share @ hyper.weight, 1.0)


def _thinned(hyper: HyperPosterior, groups: int) -> HyperPosterior:
    """Fewer points with new weights and the same moments, where the budget asks for it.

    A positive quadrature with no more points than moments always exists among the points
    (Tchakaloff 1957, Bull Sci Math 81:123-134); non-negative least squares finds one. Many
    groups make the posterior narrow and the mixture smooth over it, so a low degree is enough
    exactly where it is needed.
    """
    from scipy import optimize

    if groups * len(hyper.weight) <= BUDGET:
        return hyper
    sizes = [(degree + 1) * (degree + 2) // 2 for degree in DEGREES]
    affordable = [d for d, size in zip(DEGREES, sizes, strict=True) if groups * size <= BUDGET]
    degree = (affordable or DEGREES[-1:])[0]
    places = np.stack([np.log(hyper.mean / (1 - hyper.mean)), np.log(hyper.precision)])
    places = places - (places @ hyper.weight)[:, None]
    lower = np.linalg.cholesky((places * hyper.weight) @ places.T)
    x, y = np.linalg.solve(lower, places) / 3
    moments = np.stack([x**i * y ** (d - i) for d in range(degree + 1) for i in range(d + 1)])
    weight, _ = optimize.nnls(moments, moments @ hyper.weight)
    keep = weight > 0
    return HyperPosterior(
        hyper.mean[keep], hyper.precision[keep], weight[keep] / weight.sum(), hyper.mode
    )


def _quantile(k: FloatArray, n: FloatArray, hyper: HyperPosterior, q: float) -> FloatArray:
    """The rate below which the mixture has probability q, one for each group.

    Newton on the logit scale, kept inside a bracket that shrinks; from the quantile of the beta
    distribution that has the mixture's mean and variance.
    """
    a, b = hyper.mean * hyper.precision, (1 - hyper.mean) * hyper.precision
    rate = _start(k, n, a, b, hyper.weight, q)
    low, high = np.full(k.shape, NEAR_ZERO), np.full(k.shape, NEAR_ONE)
    open_ = np.arange(len(k))
    for _ in range(60):
        p = rate[open_]
        below, density = _mixture(k[open_], n[open_], a, b, hyper.weight, p)
        excess = below - q
        far = np.abs(excess) > TOLERANCE
        open_, p, excess, density = open_[far], p[far], excess[far], density[far]
        if not open_.size:
            break
        low[open_] = np.where(excess < 0, p, low[open_])
        high[open_] = np.where(excess > 0, p, high[open_])
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            newton = p / (p + (1 - p) * np.exp(excess / (density * p * (1 - p))))
        inside = (newton > low[open_]) & (newton < high[open_])
        rate[open_] = np.where(inside, newton, (low[open_] + high[open_]) / 2)
    return rate


def _start(
    k: FloatArray, n: FloatArray, a: FloatArray, b: FloatArray, weight: FloatArray, q: float
) -> FloatArray:
    from scipy import special

    total = a + b + n[:, None]
    means = (a + k[:, None]) / total
    mean = means @ weight
    variance = (means * (1 - means) / (total + 1) + (means - mean[:, None]) ** 2) @ weight
    precision = np.maximum(mean * (1 - mean) / variance - 1, 1e-3)
    start = special.betaincinv(mean * precision, (1 - mean) * precision, q)
    # Far out in the tail of a skew mixture the start may round to an end, where Newton stands.
    return np.clip(np.asarray(start), 1e-12, 1 - 1e-12)


def _mixture(
    k: FloatArray, n: FloatArray, a: FloatArray, b: FloatArray, weight: FloatArray, p: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Distribution function and density of each group's mixture at its own rate p."""
    from scipy import special

    shape_a, shape_b = a + k[:, None], b + (n - k)[:, None]
    below = special.betainc(shape_a, shape_b, p[:, None])
    log_density = (
        (shape_a - 1) * np.log(p)[:, None]
        + (shape_b - 1) * np.log1p(-p)[:, None]
        - special.betaln(shape_a, shape_b)
    )
    # A beta of a tiny shape has no bound at 0 and 1; its huge density only makes a short step.
    return below @ weight, np.exp(np.minimum(log_density, 700.0)) @ weight
