"""Binomial counts with normal random effects, at given standard deviations: the Laplace step.

At given standard deviations of the groups, the log posterior of all coefficients has one mode
and a curvature there. From both come the Laplace approximation of the marginal likelihood, its
exact derivative by the log standard deviations, and a first-order correction that moves the
mode to the mean: rare failures make the posterior skew, and the mode lies too high.

Source: Tierney and Kadane 1986, J Am Stat Assoc 81:82-86; Rue, Martino and Chopin 2009,
J R Stat Soc B 71:319-392; Bates, Maechler, Bolker and Walker 2015, J Stat Softw 67(1).
"""

from dataclasses import dataclass

import numpy as np

from fixstats.stats import blocks
from fixstats.stats.validators import FloatArray

STEPS = 100
CLOSE = 1e-11  # twice the log density still to be gained, before the last step
SHORTEST = 1e-12  # part of a Newton step; the log density is concave, so some part ascends
FAR = 25.0  # log odds that no workshop has: 1 in 10**11


@dataclass(frozen=True)
class Counts:
    """The data of a fit: counts of the cells, their layout, and the columns' prior precision.

    `integrate`: the columns' coefficients are integrated over with the groups' (a posterior),
    or maximised over (maximum likelihood).
    """

    failures: FloatArray
    opportunities: FloatArray
    layout: blocks.Layout
    penalty: FloatArray
    integrate: bool
    constant: float


@dataclass(frozen=True)
class Summit:
    """The result at given standard deviations.

    `log_marginal`: Laplace approximation of the log marginal likelihood; `slope`: its derivative
    by the log standard deviations, in the layout's order of groups; `rest`, `big`: mode of the
    coefficients; `shift`: what to add to it for the mean; `curved`, `inverse`: at the mode.
    """

    log_sds: FloatArray
    log_marginal: float
    slope: FloatArray
    rest: FloatArray
    big: FloatArray
    shift: tuple[FloatArray, FloatArray]
    curved: blocks.Curvature
    inverse: blocks.Inverse
    converged: bool
    steps: int


def summit(counts: Counts, log_sds: FloatArray, start: Summit | None = None) -> Summit:
    """Climb to the mode at these log standard deviations (layout's order), and look around."""
    layout = counts.layout
    precision = _precision(counts, log_sds)
    rest, big = np.zeros(layout.dense), np.zeros(layout.big.shape[0])
    if start is not None:
        rest, big = _foreseen(counts, start, log_sds)
    converged, steps = False, 0
    while steps < STEPS and not converged:
        p, curved = _bend(counts, rest, big, precision)
        score = _score(counts, p, rest, big, precision)
        if counts.integrate:
            (rest, big), gain = _climb(counts, curved, score, (rest, big), precision)
            converged = gain < CLOSE
        else:
            score = _marginal_score(counts, p, curved, score)
            move = blocks.solve(layout, curved, *score)
            rest, big = rest + move[0], big + move[1]
            converged = abs(_dot(score, move)) < CLOSE
        steps += 1
    eta = blocks.predict(layout, rest, big)
    converged = converged and bool((np.abs(eta[counts.opportunities > 0]) < FAR).all())
    return _look_around(counts, log_sds, (rest, big), precision, (converged, steps))


def _foreseen(counts: Counts, start: Summit, log_sds: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The mode at other log standard deviations, to first order from a known one, or the known
    one itself where that is a better place to start: after a long way."""
    layout = counts.layout
    precision = _precision(counts, start.log_sds)
    change = np.expm1(-2 * (log_sds - start.log_sds))
    by_group = _spread_out(layout, change)
    rest, big = (
        -c * p * x for c, p, x in zip(by_group, precision, (start.rest, start.big), strict=True)
    )
    move = blocks.solve(layout, start.curved, rest, big)
    known, moved = (start.rest, start.big), (start.rest + move[0], start.big + move[1])
    there = _precision(counts, log_sds)
    return max(known, moved, key=lambda place: _height(counts, place[0], place[1], there))


def _climb(
    counts: Counts,
    curved: blocks.Curvature,
    score: tuple[FloatArray, FloatArray],
    place: tuple[FloatArray, FloatArray],
    precision: tuple[FloatArray, FloatArray],
) -> tuple[tuple[FloatArray, FloatArray], float]:
    """A Newton step that never descends, then more with the same curvature while they pay.

    A new curvature costs ten times a step. Returns the place and what was still to be gained
    before the last step.
    """
    value = _height(counts, *place, precision)
    gain = np.inf
    for _ in range(8):
        move = blocks.solve(counts.layout, curved, *score)
        before, gain = gain, _dot(score, move)
        if gain > before / 4:
            break
        part = 1.0
        while True:
            trial = place[0] + part * move[0], place[1] + part * move[1]
            trial_value = _height(counts, *trial, precision)
            if trial_value > value - 1e-9 * (1 + abs(value)):
                place, value = trial, trial_value
                break
            if part < SHORTEST:
                break
            part /= 2
        if gain < CLOSE or part < 1:
            break
        p = _rates(blocks.predict(counts.layout, *place))
        score = _score(counts, p, *place, precision)
    return place, gain


def _dot(one: tuple[FloatArray, FloatArray], other: tuple[FloatArray, FloatArray]) -> float:
    return float(one[0] @ other[0] + one[1] @ other[1])


def _spread_out(layout: blocks.Layout, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """One value a group to one for each of its levels; 0 for columns."""
    small = [np.full(z.shape[0], v) for z, v in zip(layout.small, values, strict=False)]
    columns = np.zeros(layout.columns.shape[1])
    return np.concatenate([*small, columns]), np.full(layout.big.shape[0], values[-1:].sum())


def _precision(counts: Counts, log_sds: FloatArray) -> tuple[FloatArray, FloatArray]:
    rest, big = _spread_out(counts.layout, np.exp(-2 * log_sds))
    rest[counts.layout.grouped :] = counts.penalty
    return rest, big


def _height(
    counts: Counts, rest: FloatArray, big: FloatArray, precision: tuple[FloatArray, FloatArray]
) -> float:
    eta = blocks.predict(counts.layout, rest, big)
    likelihood = counts.failures @ eta - counts.opportunities @ np.logaddexp(0.0, eta)
    prior = precision[0] @ (rest * rest) + precision[1] @ (big * big)
    return float(likelihood - prior / 2)


def _bend(
    counts: Counts, rest: FloatArray, big: FloatArray, precision: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, blocks.Curvature]:
    p = _rates(blocks.predict(counts.layout, rest, big))
    # A hair of weight keeps the matrix regular while an endless coefficient runs away.
    weights = counts.opportunities * np.maximum(p * (1 - p), 1e-14)
    return p, blocks.curvature(counts.layout, weights, precision)


def _rates(eta: FloatArray) -> FloatArray:
    from scipy import special

    rates: FloatArray = special.expit(eta)
    return rates


def _score(
    counts: Counts,
    p: FloatArray,
    rest: FloatArray,
    big: FloatArray,
    precision: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    left = blocks.gather(counts.layout, counts.failures - counts.opportunities * p)
    return left[0] - precision[0] * rest, left[1] - precision[1] * big


def _pull(counts: Counts, p: FloatArray, variances: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Derivative of -log|curvature| / 2 by each coefficient: third derivatives times variances."""
    third = counts.opportunities * p * (1 - p) * (1 - 2 * p)
    return blocks.gather(counts.layout, -0.5 * third * variances)


def _marginal_score(
    counts: Counts, p: FloatArray, curved: blocks.Curvature, score: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Score of the columns when the groups' effects are integrated out: add the pull of the
    determinant, direct and through the effects, which move along with the columns."""
    layout = counts.layout
    m = layout.grouped
    inverse = blocks.invert(layout, curved, columns=False)
    pull_rest, pull_big = _pull(counts, p, inverse.cells)
    # Effects' response to a column is -inverse * cross curvature; the same solve, with the
    # columns' rows of the whole system, gives cross' * inverse * pull.
    effects = _solve_effects(layout, curved, pull_rest[:m], pull_big)
    weights = counts.opportunities * p * (1 - p)
    full = np.concatenate([effects[0], np.zeros(layout.dense - m)])
    through = layout.columns.T @ (weights * blocks.predict(layout, full, effects[1]))
    rest = score[0].copy()
    rest[m:] += pull_rest[m:] - through
    return rest, score[1]


def _solve_effects(
    layout: blocks.Layout, curved: blocks.Curvature, rest: FloatArray, big: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve with the groups' part of the curvature alone, the columns held fixed."""
    from scipy import linalg

    m, scale = layout.grouped, 1 / np.sqrt(curved.diagonal)
    answer, coupling = rest, curved.coupling[:, :m]
    if m:
        reduced = rest - (big * scale) @ coupling
        answer = linalg.cho_solve((curved.lower[:m, :m], True), reduced, check_finite=False)
    return answer, (big * scale - coupling @ answer) * scale


def _look_around(
    counts: Counts,
    log_sds: FloatArray,
    mode: tuple[FloatArray, FloatArray],
    precision: tuple[FloatArray, FloatArray],
    how: tuple[bool, int],
) -> Summit:
    layout, m = counts.layout, counts.layout.grouped
    p, curved = _bend(counts, *mode, precision)
    inverse = blocks.invert(layout, curved, columns=counts.integrate)
    pull = _pull(counts, p, inverse.cells)
    if counts.integrate:
        shift = blocks.solve(layout, curved, *pull)
    else:
        effects = _solve_effects(layout, curved, pull[0][:m], pull[1])
        shift = np.concatenate([effects[0], np.zeros(layout.dense - m)]), effects[1]
    levels = np.array([*(z.shape[0] for z in layout.small), layout.big.shape[0]])
    levels = levels[: len(log_sds)]
    size = layout.dense if counts.integrate else m
    log_marginal = (
        counts.constant
        + _height(counts, *mode, precision)
        - float(levels @ log_sds)
        - blocks.log_determinant(curved, size) / 2
    )
    # E(effect²) / sd² - 1 for each level, to first order: at the summit both agree.
    spread = np.concatenate([np.diag(inverse.rest)[:m], inverse.diagonal])
    where = np.concatenate([mode[0][:m], mode[1]])
    moved = np.concatenate([shift[0][:m], shift[1]])
    squares = (where * where + 2 * where * moved + spread) * np.concatenate(
        [precision[0][:m], precision[1]]
    )
    owner = np.repeat(np.arange(len(levels)), levels)
    slope = np.bincount(owner, squares, len(levels)) - levels
    return Summit(log_sds, log_marginal, slope, *mode, shift, curved, inverse, *how)
