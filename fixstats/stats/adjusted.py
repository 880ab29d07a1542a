"""AdjustedRates rates: each option's rate over the same jobs, whoever got it in fact.

Every cell of a case mix is asked: what would its rate be with option A, and what with B, all
else as it is? The average over the cells, by draw, gives each option's rate and all differences
with their uncertainty. The draws are the same for all options: a difference keeps only what
differs. Source: Lane and Nelder 1982, Biometrics 38:613-621 (standardisation after a logistic
fit).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.design import IntArray
from fixstats.stats.multilevel import MultilevelFit
from fixstats.stats.validators import FloatArray, as_level, as_numbers, refuse

BLOCK = 4_000_000  # cells times draws held at once
IN_CACHE = 64  # cells worked on at once, so that their draws stay near the processor


@dataclass(frozen=True)
class CellsAt:
    """The cells of a case mix as they would be with one option.

    `columns` (cells, columns) as in the fit's design; `codes`: one array a group of the fit, in
    its order. A level without opportunities, as of option by model where the model never had
    the option, is allowed: its effect is drawn from the distribution of the others.
    """

    columns: FloatArray
    codes: tuple[IntArray, ...]


@dataclass(frozen=True)
class AdjustedRates:
    """Rates by option (rows) and scope (columns), and differences to the baseline option.

    `rate`, `low`, `high`: posterior mean and equal-tailed interval. `difference` and its ends:
    option minus baseline; exactly 0 for the baseline itself. NaN where a scope has no weight.
    `borrowed`: share of the scope's weight whose cells have, with that option, a level that no
    opportunity stands behind.
    `rate_draws` (options, scopes, draws): the draws behind all of it, paired over options.
    """

    rate: FloatArray
    low: FloatArray
    high: FloatArray
    difference: FloatArray
    difference_low: FloatArray
    difference_high: FloatArray
    borrowed: FloatArray
    rate_draws: FloatArray


def adjusted_rates(
    fit: MultilevelFit,
    options: Sequence[CellsAt],
    weights: ArrayLike,
    *,
    scopes: ArrayLike | None = None,
    baseline: int = 0,
    confidence_level: float = 0.95,
) -> AdjustedRates:
    """Average each option's rate over a case mix with these weights, one a cell.

    `scopes`: code of each cell from 0 (its model, say); the last scope of the answer is then
    followed by one more for all cells together. Without it, all cells are the one scope.
    `baseline`: place of the option that differences are taken to.

    Raises `ValueError` for a fit that did not converge, weights that are negative or do not
    match, and a confidence level outside (0, 1).
    """
    tail = (1 - as_level(confidence_level)) / 2
    draws = rate_draws(fit, options, weights, scopes=scopes)
    w = as_numbers("weights", weights)
    codes = None if scopes is None else np.asarray(scopes, dtype=np.int64)
    unseen = [np.array([total == 0 for total in totals]) for totals in fit.level_opportunities]
    borrowed = np.stack(
        [_scope_means(_any_unseen(unseen, cells)[:, None], w, codes)[:, 0] for cells in options]
    )
    differences = draws - draws[baseline]
    low, high = np.quantile(draws, [tail, 1 - tail], axis=2)
    difference_low, difference_high = np.quantile(differences, [tail, 1 - tail], axis=2)
    return AdjustedRates(
        rate=draws.mean(axis=2),
        low=low,
        high=high,
        difference=differences.mean(axis=2),
        difference_low=difference_low,
        difference_high=difference_high,
        borrowed=borrowed,
        rate_draws=draws,
    )


def rate_draws(
    fit: MultilevelFit,
    options: Sequence[CellsAt],
    weights: ArrayLike,
    *,
    scopes: ArrayLike | None = None,
) -> FloatArray:
    """The draws alone, (options, scopes, draws); arguments and errors as `adjusted_rates`."""
    if not fit.converged:
        raise ValueError(f"fit must have converged, but {fit.problem}")
    w = as_numbers("weights", weights)
    refuse("weights", "must not be negative", w, w < 0)
    codes = None if scopes is None else np.asarray(scopes, dtype=np.int64)
    for cells in options:
        if len(cells.columns) != len(w) or len(cells.codes) != len(fit.groups):
            raise ValueError("weights and options must have the same cells, and all groups' codes")
    return np.stack([_averages(fit, cells, w, codes) for cells in options])


def _any_unseen(unseen: Sequence[FloatArray], cells: CellsAt) -> FloatArray:
    found = np.zeros(len(cells.columns))
    for levels, codes in zip(unseen, cells.codes, strict=True):
        found = np.maximum(found, levels[codes])
    return found


def _averages(
    fit: MultilevelFit, cells: CellsAt, weights: FloatArray, scopes: IntArray | None
) -> FloatArray:
    """Weighted mean rate by scope and draw, (scopes, draws)."""
    from scipy import special

    # Single precision: its error, 1e-5 of a rate, is far below that of any number of draws.
    beta = fit.coefficient_draws.astype(np.float32)
    effects = [effect.astype(np.float32) for effect in fit.effect_draws]
    step = max(1, BLOCK // fit.coefficient_draws.shape[1])
    number = 1 if scopes is None else int(scopes.max(initial=-1)) + 1
    sums = np.zeros((number, beta.shape[1]))
    for first in range(0, len(weights), step):
        part = slice(first, first + step)
        columns = cells.columns[part].astype(np.float32)
        eta = np.empty((len(columns), beta.shape[1]), dtype=np.float32)
        for row in range(0, len(columns), IN_CACHE):
            few = eta[row : row + IN_CACHE]
            np.matmul(columns[row : row + IN_CACHE], beta, out=few)
            for effect, codes in zip(effects, cells.codes, strict=True):
                few += effect[codes[first + row : first + row + len(few)]]
            special.expit(few, out=few)
        sums += _scope_sums(eta, weights[part], scopes, part, number)
    return _with_all(sums, _weight_sums(weights, scopes, number))


def _scope_means(values: FloatArray, weights: FloatArray, scopes: IntArray | None) -> FloatArray:
    number = 1 if scopes is None else int(scopes.max(initial=-1)) + 1
    sums = _scope_sums(values, weights, scopes, slice(None), number)
    return _with_all(sums, _weight_sums(weights, scopes, number))


def _scope_sums(
    values: NDArray[np.floating],
    weights: FloatArray,
    scopes: IntArray | None,
    part: slice,
    number: int,
) -> FloatArray:
    from scipy import sparse

    if scopes is None:
        return np.asarray(weights[None, :].astype(values.dtype) @ values, dtype=np.float64)
    place = (scopes[part], np.arange(len(weights)))
    matrix = sparse.csr_array((weights.astype(values.dtype), place), shape=(number, len(weights)))
    return np.asarray(matrix @ values, dtype=np.float64)


def _weight_sums(weights: FloatArray, scopes: IntArray | None, number: int) -> FloatArray:
    owner = np.zeros(len(weights), dtype=np.int64) if scopes is None else scopes
    return np.bincount(owner, weights, number).astype(np.float64)


def _with_all(sums: FloatArray, totals: FloatArray) -> FloatArray:
    """Sums to means; more scopes than one are followed by all of them together."""
    if len(totals) > 1:
        sums = np.concatenate([sums, sums.sum(axis=0, keepdims=True)])
        totals = np.append(totals, totals.sum())
    with np.errstate(invalid="ignore", divide="ignore"):
        means: FloatArray = sums / totals[:, None]
    return means
