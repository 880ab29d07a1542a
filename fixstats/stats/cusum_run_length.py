"""How long a Bernoulli CUSUM runs until it signals: spacing of false alarms, time to find a change.

The value of the sum is a Markov chain (Brook and Evans 1972, Biometrika 59:539-549): the next value
depends on the present one and on the next job alone. On a lattice of values the average number of
jobs to signal is the solution of linear equations, one a value.

Where all scores are whole steps of the lattice the answer is exact: the plain form with a whole m
at a constant chance of failure. Where every job has its own expected risk the scores are any
numbers; each is then split between the two lattice values around it so that its mean stays. Plain
rounding would move the drift of the sum, and its answers jump about as the lattice gets finer
(Webster and Pettitt 2007, Commun Stat Simul Comput 36:471-482). What the split adds to the variance
of a step is known; two lattices, one twice as wide, extrapolate the answer to where it adds none.

"In control": nothing has changed, every job fails with its expected risk.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.cusum_jobs import as_odds_ratio
from fixstats.stats.validators import FloatArray, as_numbers, refuse

# Widths of the lattice; what they are worth: `tests/reference/test_watching.py`.
STATES = 800
STATES_OF_MANY_JOBS = 160
# One risk: at most so many values of the sum, and so many widths to the smaller score.
MOST_ALIGNED = 4000
MOST_PARTS = 50
# A mix of more risks than this is represented by the means of so many equal parts of it.
MOST_RISKS = 400
# The wider of two lattices must add so many times the variance of the other to tell anything.
LEAST_CONTRAST = 1.25
# A signal as good as sure; following the chain ends there.
CERTAIN = 1 - 1e-15


@dataclass(frozen=True)
class ScoreMix:
    """Scores that one more job can have, and how probable each is; both (scores,)."""

    scores: FloatArray
    probability: FloatArray


def score_mix(
    risks: ArrayLike,
    weights: ArrayLike | None = None,
    *,
    odds_ratio: float = 2.0,
    true_odds_ratio: float = 1.0,
) -> ScoreMix:
    """Scores of `cusum_scores` over a shop's mix of jobs, each with its expected risk.

    `risks`: (jobs,) or (kinds of jobs,), 0 to 1; `weights`: how many jobs of each. `odds_ratio`:
    that of the scores. `true_odds_ratio`: how the jobs really fail; 1, as expected. Beyond
    `MOST_RISKS` values the mix is cut into so many parts of equal weight, ordered by risk, each
    with its mean.

    Raises `ValueError` for risks outside 0 to 1, negative weights, a mix without jobs, and odds
    ratios that are not positive.
    """
    ratio = as_odds_ratio("odds_ratio", odds_ratio, changed=True)
    truth = as_odds_ratio("true_odds_ratio", true_odds_ratio)
    risk, weight = _mix(risks, weights)
    failing = truth * risk / (1 - risk + truth * risk)
    if_not = -np.log1p((ratio - 1) * risk)
    return ScoreMix(
        scores=np.concatenate([if_not + np.log(ratio), if_not]),
        probability=np.concatenate([weight * failing, weight * (1 - failing)]),
    )


def bernoulli_run_length(rate: ArrayLike, m: int, threshold: float) -> FloatArray:
    """Average number of jobs to signal of the plain form with a whole m; exact.

    `rate`: constant chance of failure, any shape; `m`, `threshold`: those of `plain_cusum_scores`
    and of the sum B. The lattice is that of multiples of 1 / m; infinite for a rate of 0.
    Source: Reynolds and Stoumbos 1999, J Qual Technol 31:87-108.

    Raises `ValueError` for a rate outside 0 to 1, m that is not whole and at least 2, and a
    threshold that is not positive.
    """
    chance = as_numbers("rate", rate)
    refuse("rate", "must lie between 0 and 1", chance, (chance < 0) | (chance > 1))
    if m != int(m) or m < 2:
        raise ValueError(f"m must be a whole number of at least 2, got {m!r}")
    height = ceil(_positive("threshold", threshold) * m - 1e-9)
    found = [
        _run_lengths(_gathered(np.array([int(m) - 1, -1]), np.array([p, 1 - p])), height)[-1]
        for p in chance.ravel()
    ]
    return np.reshape(found, chance.shape)[()]


def average_run_length(mix: ScoreMix, threshold: float, *, states: int = STATES) -> float:
    """Average number of jobs until the sum, started at 0, reaches `threshold`.

    By Markov chain on `states` values and on half as many, extrapolated. A mix of one risk alone
    has two scores; then the smaller one is a whole number of lattice widths and the other rounded
    to one, which is exact unless the rounding carries a possible sum over the threshold.
    Infinite where no score is positive. Raises `ValueError` for a threshold that is not positive.
    Source: Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441-452.
    """
    height = _positive("threshold", threshold)
    if not _can_signal(mix):
        return np.inf
    aligned = _aligned(mix, height)
    if aligned is not None:
        return float(_run_lengths(*aligned)[-1])
    both = [(_on_lattice(mix, height / n, n), n) for n in (states, states // 2)]
    fine, wide = (np.log(_run_lengths(steps, n)[-1]) for steps, n in both)
    return float(np.exp(_without_excess(fine, wide, (both[0][0].excess, both[1][0].excess))))


def cusum_threshold(mix: ScoreMix, run_length: float, *, states: int = STATES) -> float:
    """Threshold at which false alarms are on average `run_length` jobs apart.

    A mix of one risk alone has few run lengths: then the next longer one.

    `mix`: in control (`true_odds_ratio` 1). From one elimination, which gives the run lengths of
    all thresholds of the lattice at once. The search ends at log(run_length): the scores are
    logarithms of likelihood ratios, and for these the run length is at least exp(threshold)
    (Lorden 1971, Ann Math Stat 42:1897-1908).

    Raises `ValueError` for a run length that is not above 1, and a mix in which nothing can fail.
    """
    wanted = as_numbers("run_length", run_length)
    refuse("run_length", "must be above 1", wanted, wanted <= 1)
    if not _can_signal(mix):
        raise ValueError("mix must hold jobs that can fail: without them there is no false alarm")
    width = float(np.log(wanted)) / (states - 2)
    steps, wider = _on_lattice(mix, width, states), _on_lattice(mix, 2 * width, states // 2)
    fine = np.log(_run_lengths(steps, states)[1::2])
    wide = np.log(_run_lengths(wider, states // 2))
    # Extrapolated, neighbours can be out of order where a single failure more decides.
    curve = np.maximum.accumulate(_without_excess(fine, wide, (steps.excess, wider.excess)))
    heights = 2 * width * np.arange(1, len(curve) + 1)
    height = float(np.interp(np.log(wanted), curve, heights))
    # One risk alone has a curve of steps, which the lattice smooths: not below the step wanted.
    if _aligned(mix, height) is not None:
        while average_run_length(mix, height) < wanted and height < heights[-1]:
            height += 2 * width
    return height


def false_alarm_probability(
    mix: ScoreMix, threshold: float, n_jobs: ArrayLike, *, states: int = STATES_OF_MANY_JOBS
) -> FloatArray:
    """Chance that the sum, started at 0, signals within the next `n_jobs` jobs of this mix.

    Of several mixes at once: `false_alarm_probabilities`.

    In control it is what a group of so many jobs adds to the false alarms of a run. Any shape;
    `n_jobs` need not be whole: a group with harder or easier jobs than the mix counts as its
    expected failures over the mean risk of the mix.

    The chain is followed job by job, then in strides that double, up to the largest number; in
    between the cumulative hazard is linear. For few jobs, which cannot gather the failures that an
    alarm takes, it is far below n_jobs / average_run_length.

    Raises `ValueError` for negative numbers and a threshold that is not positive.
    """
    return np.asarray(false_alarm_probabilities([mix], threshold, n_jobs, states=states)[0])[()]


def false_alarm_probabilities(
    mixes: Sequence[ScoreMix],
    threshold: float,
    n_jobs: ArrayLike,
    *,
    states: int = STATES_OF_MANY_JOBS,
) -> FloatArray:
    """`false_alarm_probability` of each mix, (mixes, ...): their chains are followed together."""
    height = _positive("threshold", threshold)
    jobs = as_numbers("n_jobs", n_jobs)
    refuse("n_jobs", "must not be negative", jobs, jobs < 0)
    most = float(jobs.max(initial=0.0))
    sizes = (states, states // 2)
    both = [[_on_lattice(mix, height / n, n) for mix in mixes] for n in sizes]
    curves = (_cumulative_hazard(chains, n, most) for chains, n in zip(both, sizes, strict=True))
    fine, wide = (np.array([np.interp(jobs, at, one) for one in found]) for at, found in curves)
    known = (fine > 0) & (wide > 0)
    fine_log, wide_log = (np.log(np.where(known, one, 1.0)) for one in (fine, wide))
    excess = [(finer.excess, wider.excess) for finer, wider in zip(*both, strict=True)]
    logs = [_without_excess(*one) for one in zip(fine_log, wide_log, excess, strict=True)]
    return np.asarray(-np.expm1(-np.where(known, np.exp(np.array(logs)), fine)))


def _can_signal(mix: ScoreMix) -> bool:
    return bool((mix.probability[mix.scores > 0] > 0).any())


# --- from scores to steps of a lattice --------------------------------------------------------


@dataclass(frozen=True)
class _Steps:
    """One more job on a lattice: `chance` of each step from `lowest` on, in lattice widths.

    `excess`: variance of one step that the split has added, in squared scores.
    """

    chance: FloatArray
    lowest: int
    excess: float


def _on_lattice(mix: ScoreMix, width: float, most: int) -> _Steps:
    # What ends below 0 or beyond the last value from everywhere may as well end just there.
    steps = np.clip(mix.scores / width, -most, most)
    below = np.floor(steps + 1e-9)
    share = np.clip(steps - below, 0.0, 1.0)
    step = np.concatenate([below, below + 1]).astype(int)
    split = np.concatenate([mix.probability * (1 - share), mix.probability * share])
    excess = float(mix.probability @ (share * (1 - share))) * width**2
    return _gathered(step, split, excess)


def _aligned(mix: ScoreMix, height: float) -> tuple[_Steps, int] | None:
    """The steps of two scores on a lattice that fits the smaller one, and the height in widths.

    None for other mixes, and where it would take too many values.
    """
    if len(mix.scores) != 2:
        return None
    smaller = float(np.abs(mix.scores).min())
    parts = min(int(MOST_ALIGNED * smaller / height), MOST_PARTS)
    if parts < 1:
        return None
    width = smaller / parts
    most = ceil(height / width - 1e-9)
    steps = np.clip(np.rint(mix.scores / width), -most, most).astype(int)
    return _gathered(steps, mix.probability), most


def _gathered(step: NDArray[np.int64], chance: FloatArray, excess: float = 0.0) -> _Steps:
    """Gather equal steps; the lowest is at most -1 and the highest at least 1."""
    lowest, highest = min(int(step.min()), -1), max(int(step.max()), 1)
    gathered = np.bincount(step - lowest, chance, highest - lowest + 1)
    return _Steps(np.asarray(gathered, dtype=np.float64), lowest, excess)


def _without_excess(fine: FloatArray, wide: FloatArray, excess: tuple[float, float]) -> FloatArray:
    """Logarithms on two lattices, to what a lattice that adds no variance would give."""
    less, more = excess
    # Where the wider lattice happens to fit no worse it tells nothing; both fit well then.
    if more < LEAST_CONTRAST * less:
        return fine
    return fine + (fine - wide) * (less / (more - less) if more > less else 0.0)


def _mix(risks: ArrayLike, weights: ArrayLike | None) -> tuple[FloatArray, FloatArray]:
    """Risks and their shares, at most `MOST_RISKS` of them."""
    risk = as_numbers("risks", risks).ravel()
    refuse("risks", "must lie between 0 and 1", risk, (risk < 0) | (risk > 1))
    weight = np.ones_like(risk) if weights is None else as_numbers("weights", weights).ravel()
    if weight.shape != risk.shape:
        raise ValueError(f"weights must have one entry a risk, got {weight.shape}")
    refuse("weights", "must not be negative", weight, weight < 0)
    if weight.sum() == 0:
        raise ValueError("risks must hold at least one job")
    weight = weight / weight.sum()
    if len(risk) <= MOST_RISKS:
        return risk, weight
    order = np.argsort(risk, kind="stable")
    risk, weight = risk[order], weight[order]
    middle = np.cumsum(weight) - weight / 2
    part = np.minimum((middle * MOST_RISKS).astype(int), MOST_RISKS - 1)
    total = np.bincount(part, weight, MOST_RISKS)
    there = total > 0
    means = np.bincount(part, weight * risk, MOST_RISKS)[there] / total[there]
    return means, np.asarray(total[there], dtype=np.float64)


def _positive(name: str, value: float) -> float:
    number = as_numbers(name, value)
    refuse(name, "must be positive", number, number <= 0)
    return float(number)


# --- the chain --------------------------------------------------------------------------------


def _run_lengths(steps: _Steps, most: int) -> FloatArray:
    """Average steps to reach each of the heights 1 to `most`, in lattice widths, from 0.

    The equations of a height N are (I - Q) x = 1 with Q the chances to move among the values
    0 to N - 1, and those of a smaller height are the first rows and columns of them. So one
    elimination without pivoting serves all heights: with I - Q = L U, y = L^-1 1 and z = U^-T e_0,
    the answer is x_0 = sum of z_i y_i over i < N, a running sum.

    Nothing is ever subtracted, so a run length keeps its digits however long it is: entries off the
    diagonal are negative and stay so, and a pivot is not 1 less the chance to stay but what leaves
    (Grassmann, Taksar and Heyman 1985, Oper Res 33:1107-1116).
    """
    down, up = -steps.lowest, len(steps.chance) + steps.lowest - 1
    if not steps.chance[down + 1 :].sum() > 0:
        return np.full(most, np.inf)
    square, signals = _equations(steps.chance, down, up, most), _signals(steps, most)
    y, z = np.ones(most), np.zeros(most)
    z[0] = 1.0
    for k in range(most):
        below, beside = slice(k + 1, min(k + down + 1, most)), slice(k + 1, min(k + up + 1, most))
        right = square[k, beside]
        pivot = signals[k] - right.sum()
        factors = square[below, k] / pivot
        square[below, beside] -= factors[:, None] * right
        signals[below] -= factors * signals[k]
        y[below] -= factors * y[k]
        z[k] /= pivot
        z[beside] -= z[k] * right
    return np.cumsum(z * y)


def _equations(chance: FloatArray, down: int, up: int, most: int) -> FloatArray:
    """I - Q without its diagonal, of which only a band is stored, seen as a square."""
    width = down + up + 1
    stored = np.tile(-chance, (most + 1, 1))
    # From low values every step below 0 ends at 0.
    for value in range(min(down, most)):
        stored[value, down - value] = -chance[: down - value + 1].sum()
    # Entry (i, j) of the square stands at i * width + j - i + down of the store. Only entries
    # within the band are ever touched.
    step = stored.strides[1]
    return as_strided(stored.ravel()[down:], (most, most), (step * (width - 1), step))


def _transitions(steps: _Steps, states: int) -> FloatArray:
    """Q, chances to move among the values 0 to states - 1 in one step."""
    chance, lowest = steps.chance, steps.lowest
    offset = np.arange(states)[None, :] - np.arange(states)[:, None] - lowest
    inside = (offset >= 0) & (offset < len(chance))
    moves = np.where(inside, chance[np.clip(offset, 0, len(chance) - 1)], 0.0)
    cumulative = np.cumsum(chance)
    ends = -lowest - np.arange(states)
    moves[:, 0] = np.where(ends >= 0, cumulative[np.clip(ends, 0, len(chance) - 1)], 0.0)
    return moves


def _signals(steps: _Steps, states: int) -> FloatArray:
    """From each value, the chance that the next step signals."""
    beyond = np.append(np.cumsum(steps.chance[::-1])[::-1], 0.0)
    missing = states - np.arange(states) - steps.lowest
    signals: FloatArray = beyond[np.minimum(missing, len(steps.chance))]
    return signals


def _cumulative_hazard(
    chains: Sequence[_Steps], states: int, most: float
) -> tuple[FloatArray, FloatArray]:
    """Numbers of jobs from 0 to at least `most`, and -log of the chance of no signal by then.

    The numbers are (times,), the others (chains, times).

    Job by job up to 64, then the stride doubles at every doubling of the number. Followed is the
    chance to have signalled, from each value: it keeps its digits where it is small.
    """
    moves = np.array([_transitions(steps, states) for steps in chains])
    in_stride = np.array([_signals(steps, states) for steps in chains])[:, :, None]
    stride, jobs, found = 1, [0], [np.zeros(len(chains))]
    signalled = np.zeros((len(chains), states, 1))
    while jobs[-1] < most and (signalled[:, 0] < CERTAIN).any():
        if jobs[-1] == 64 * stride:
            in_stride = in_stride + moves @ in_stride
            moves, stride = moves @ moves, 2 * stride
        signalled = np.minimum(in_stride + moves @ signalled, CERTAIN)
        jobs.append(jobs[-1] + stride)
        found.append(-np.log1p(-signalled[:, 0, 0]))
    return np.asarray(jobs, dtype=np.float64), np.array(found).T
