"""Multilevel logistic fit of failure counts: options beside device models and technicians.

    failures ~ binomial(opportunities, rate), logit(rate) = columns beta + sum of group effects
    effect ~ normal(0, sd of its group), independent

Two ways to use it:

- with the default prior it answers with a posterior. Each sd has a gamma(2, rate `SD_RATE`)
  prior, which keeps it off 0, where groups would be declared alike for want of data, and off
  sizes that no workshop has (form: Chung, Rabe-Hesketh, Dorie, Gelman and Liu 2013,
  Psychometrika 78:685-709; the rate is ours, chosen by coverage). Penalised columns have a
  normal(0, `CONTRAST_SD`) prior against separation, other columns a flat one. The log sds are
  integrated over a central composite design around their mode, and draws of all coefficients
  come from the normal distribution at each of its points, centred at the corrected mean.
- with `sd_rate=None` and `contrast_sd=None` it is maximum likelihood by Laplace approximation,
  with the sds held at their estimates.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats import blocks
from fixstats.stats.composite import composite_points, standard_axes
from fixstats.stats.design import Design, Grouping, one_each
from fixstats.stats.laplace import Counts, Summit, summit
from fixstats.stats.validators import FloatArray, as_counts

SD_RATE = 3.0
CONTRAST_SD = 1.5
DRAWS = 2000
SEED = 1
SMALLEST, START, LARGEST = np.log([1e-4, 0.5, 20.0])
# Slope of the log posterior at the best log sds, in units of their standard errors: estimates
# want digits, an integration only a place near the middle.
CLOSE_ENOUGH, CLOSE = 0.01, 1e-4


@dataclass(frozen=True)
class MultilevelFit:
    """The answer of `fit_multilevel`.

    `converged`: whether every step ended at a mode; `problem` says in words what did not.
    Figures of a fit that did not converge mean nothing.
    `names`, `coefficients`, `standard_errors`: of the columns, on the log odds scale.
    `groups`, `sds`: names of the groups and their sds at the mode (or the estimates), with
    `sd_low`, `sd_high`, the middle 95 % by a normal approximation of the log sd.
    `effects`: mean effect of each level, one array a group.
    `level_opportunities`: opportunities behind each level, 0 where its effect is all borrowed.
    `log_likelihood`: Laplace approximation at the sds above; where the columns' coefficients
    are integrated over (not under maximum likelihood), it is the log marginal likelihood.
    `coefficient_draws` (columns, draws), `effect_draws` (levels, draws) one a group: joint
    draws. They come in pairs, mirrored about the mean, one after the other.
    """

    converged: bool
    problem: str
    names: tuple[str, ...]
    coefficients: FloatArray
    standard_errors: FloatArray
    groups: tuple[str, ...]
    sds: FloatArray
    sd_low: FloatArray
    sd_high: FloatArray
    effects: tuple[FloatArray, ...]
    level_opportunities: tuple[FloatArray, ...]
    log_likelihood: float
    coefficient_draws: FloatArray
    effect_draws: tuple[FloatArray, ...]


def fit_multilevel(
    failures: ArrayLike,
    opportunities: ArrayLike,
    design: Design,
    groups: Sequence[Grouping] = (),
    *,
    sd_rate: ArrayLike | None = SD_RATE,
    contrast_sd: ArrayLike | None = CONTRAST_SD,
    draws: int = DRAWS,
    seed: int = SEED,
) -> MultilevelFit:
    """Fit counts of cells, arrays of one dimension; see the module for the model and its priors.

    `sd_rate`: rate of the gamma(2) prior of the sds, or one a group; None for maximum likelihood.
    `contrast_sd`: sd of the normal prior of penalised columns, or one a column of the design,
    those that are not penalised among them; None for no penalty.
    The same data and `seed` give the same draws.

    Raises `ValueError` for counts that cannot be, no failure or no success at all, columns that
    are not independent, and rows of design or groups that do not match the counts.
    """
    k, n = _checked(failures, opportunities, design, groups)
    penalty = np.zeros(len(design.names))
    if contrast_sd is not None:
        penalty[design.penalised] = one_each(contrast_sd, len(penalty))[design.penalised] ** -2
    _refuse_dependent(design, n, penalty)
    layout = blocks.lay_out(design.columns, groups)
    counts = Counts(k, n, layout, penalty, sd_rate is not None, _constant(k, n))
    rate = None if sd_rate is None else one_each(sd_rate, len(groups))[list(layout.order)]
    best, log_sds, problem = _best(counts, rate)
    points, weights, errors = [best], np.ones(1), np.full(len(groups), np.nan)
    if groups and rate is not None:
        points, weights, errors = _integrate(counts, log_sds, best, rate)
        if not all(point.converged for point in points):
            problem = problem or "the fit failed near the best standard deviations"
    return _collect(
        counts, design, groups, (log_sds, errors), (points, weights), (draws, seed), problem
    )


def _checked(
    failures: ArrayLike, opportunities: ArrayLike, design: Design, groups: Sequence[Grouping]
) -> tuple[FloatArray, FloatArray]:
    k, n = (np.atleast_1d(counts) for counts in as_counts(failures, opportunities))
    lengths = {len(k), len(design.columns), *(len(group.codes) for group in groups)}
    if k.ndim != 1 or len(lengths) != 1:
        raise ValueError(
            "failures, design and groups must have one entry a cell, got "
            f"{', '.join(map(str, sorted(lengths)))}"
        )
    if not 0 < k.sum() < n.sum():
        raise ValueError(
            "failures must hold at least one failure and one success in all, "
            f"got {k.sum():g} of {n.sum():g}"
        )
    return k, n


def _refuse_dependent(design: Design, n: FloatArray, penalty: FloatArray) -> None:
    gram = (design.columns.T * n) @ design.columns
    size = np.sqrt(np.diag(gram) + penalty)
    if (size == 0).any():
        raise ValueError(f"column {design.names[int(size.argmin())]} is 0 in every cell")
    values, vectors = np.linalg.eigh((gram + np.diag(penalty)) / np.outer(size, size))
    if values.size and values[0] < 1e-11:
        guilty = np.flatnonzero(np.abs(vectors[:, 0]) > 0.05)
        raise ValueError(
            f"columns are not independent: {', '.join(design.names[i] for i in guilty)}"
        )


def _constant(k: FloatArray, n: FloatArray) -> float:
    from scipy import special

    terms = special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)
    return float(terms.sum())


def _log_prior(log_sds: FloatArray, rate: FloatArray | None) -> tuple[float, FloatArray]:
    """Log density of the log sds and its derivative: gamma(2, rate) times d sd / d log sd."""
    if rate is None:
        return 0.0, np.zeros(log_sds.shape)
    sds = np.exp(log_sds)
    return float((2 * log_sds - rate * sds).sum()), 2 - rate * sds


def _best(counts: Counts, rate: FloatArray | None) -> tuple[Summit, FloatArray, str]:
    """The summit at the best log sds, these, and what went wrong in words, or nothing."""
    from scipy import optimize

    layout = counts.layout
    levels = np.array([z.shape[0] for z in (*layout.small, layout.big)])[: len(layout.order)]
    # In these units the curvature is near 1 in every direction if the levels are well known.
    unit = 1 / np.sqrt(2.0 * np.maximum(levels, 1))
    tolerance = CLOSE if rate is None else CLOSE_ENOUGH
    first = summit(replace(counts, integrate=True), np.full(len(levels), START))
    last = [first if counts.integrate else summit(counts, first.log_sds, first)]

    def cost(scaled: FloatArray) -> tuple[float, FloatArray]:
        log_sds = scaled * unit
        here = summit(counts, log_sds, last[0])
        last[0] = here
        value, slope = _log_prior(log_sds, rate)
        return -here.log_marginal - value, -(here.slope + slope) * unit

    if not len(levels):
        return last[0], np.zeros(0), _words(counts, last[0])
    found = optimize.minimize(
        cost,
        START / unit,
        method="L-BFGS-B",
        jac=True,
        bounds=[(SMALLEST / u, LARGEST / u) for u in unit],
        options={"ftol": 0.0, "gtol": tolerance / 3, "maxiter": 100},
    )
    log_sds = found.x * unit
    best = last[0] if (last[0].log_sds == log_sds).all() else summit(counts, log_sds, last[0])
    _, prior_slope = _log_prior(log_sds, rate)
    slope = (best.slope + prior_slope) * unit
    at_end = (log_sds <= SMALLEST + 1e-9) & (slope < 0)
    problem = _words(counts, best)
    if not problem and (np.abs(slope[~at_end]) > tolerance).any():
        problem = "the search for the groups' standard deviations did not end at a summit"
    return best, log_sds, problem


def _words(counts: Counts, best: Summit) -> str:
    if best.converged:
        return ""
    worst = int(np.abs(best.rest[counts.layout.grouped :]).argmax())
    return f"the coefficients run away (largest: column {worst + 1}); separation, or too few data"


def _integrate(
    counts: Counts, log_sds: FloatArray, best: Summit, rate: FloatArray
) -> tuple[list[Summit], FloatArray, FloatArray]:
    """Summits at the points of a composite design in the log sds, their weights, and the
    standard errors of the log sds."""

    def at(place: FloatArray) -> tuple[Summit, float, FloatArray]:
        here = best if (place == log_sds).all() else summit(counts, place, best)
        value, slope = _log_prior(place, rate)
        return here, here.log_marginal + value, here.slope + slope

    h = 0.02
    size = len(log_sds)
    slope = best.slope + _log_prior(log_sds, rate)[1]
    bend = np.array([(at(log_sds + h * e)[2] - slope) / h for e in np.eye(size)])
    axes = standard_axes(-(bend + bend.T) / 2)
    z, base = composite_points(size)
    visited = [at(log_sds + axes @ point) for point in z]
    heights = np.array([value for _, value, _ in visited])
    # The design's weights are right for a normal density; the ratio to it corrects them.
    log_weights = np.log(base) + heights + (z * z).sum(axis=1) / 2
    weights = np.exp(log_weights - log_weights.max())
    errors = np.sqrt((axes * axes).sum(axis=1))
    return [here for here, _, _ in visited], weights / weights.sum(), errors


def _collect(
    counts: Counts,
    design: Design,
    groups: Sequence[Grouping],
    log_sds: tuple[FloatArray, FloatArray],
    mixture: tuple[list[Summit], FloatArray],
    how: tuple[int, int],
    problem: str,
) -> MultilevelFit:
    from fixstats.stats.draws import draw_coefficients, mixture_moments

    layout = counts.layout
    mean, errors, means = mixture_moments(layout, *mixture)
    beta, effects = draw_coefficients(layout, *mixture, *how)
    # From the layout's order of groups back to the caller's.
    back = np.argsort(np.array(layout.order, dtype=np.int64))
    best, error = (values[back] for values in log_sds)
    indicators = (*layout.small, layout.big)
    return MultilevelFit(
        converged=not problem,
        problem=problem,
        names=design.names,
        coefficients=mean,
        standard_errors=errors,
        groups=tuple(group.name for group in groups),
        sds=np.exp(best),
        sd_low=np.exp(best - 1.96 * error),
        sd_high=np.exp(best + 1.96 * error),
        effects=tuple(means[i] for i in back),
        level_opportunities=tuple(indicators[i] @ counts.opportunities for i in back),
        log_likelihood=mixture[0][0].log_marginal,
        coefficient_draws=beta,
        effect_draws=tuple(effects[i] for i in back),
    )
