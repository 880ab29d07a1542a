"""Which option costs least, how sure is that, and what would it be worth to know more?

All of it from paired draws of the cost per job, an array (options, draws): one column is one
state of the world, in which every option has its cost. Nothing here asks how the draws came about.
Source of the terms: Raiffa and Schlaifer 1961, Applied Statistical Decision Theory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.validators import FloatArray, as_level, as_numbers, refuse

# Sizes of a trial that are tried, jobs of each option.
SIZES = (5, 10, 15, 20, 30, 40, 50, 75, 100, 150, 200, 300, 400, 500)


@dataclass(frozen=True)
class Saving:
    """What one option saves per job against another: mean and equal-tailed interval, money."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class TrialValue:
    """What a trial of two options is worth, money over the horizon.

    `jobs`: of both options together. `gain`: expected saving on the jobs after the trial, from
    choosing better then; `cost`: what the jobs of the trial are expected to cost more than doing
    all of them the better way as known now, with the effort of running it; `net`: gain - cost.
    """

    jobs: int
    gain: float
    cost: float

    @property
    def net(self) -> float:
        """Above 0: worth running."""
        return self.gain - self.cost


def chance_best(costs: ArrayLike, *, stretch: float = 1.0) -> FloatArray:
    """Probability of being the cheapest, one an option; they sum to 1.

    `costs` (options, draws). Where several are cheapest in a draw they share it: an option that
    is the same as another must not win, or lose, by standing first. `stretch`: draws are first
    taken this many times as far from their option's mean, for an answer that is asked for again
    and again, of many models, and must not be surer than all that lets it be.
    """
    draws = stretched(_as_draws(costs), stretch)
    cheapest = draws == draws.min(axis=0)
    shares: FloatArray = (cheapest / cheapest.sum(axis=0)).mean(axis=1)
    return shares


def stretched(draws: FloatArray, by: float) -> FloatArray:
    """Draws, on the last axis, taken `by` times as far from their mean."""
    if by == 1.0:
        return draws
    mean = draws.mean(axis=-1, keepdims=True)
    away: FloatArray = mean + by * (draws - mean)
    return away


def expected_regret(costs: ArrayLike) -> FloatArray:
    """What choosing each option is expected to cost more per job than always choosing right."""
    draws = _as_draws(costs)
    regret: FloatArray = (draws - draws.min(axis=0)).mean(axis=1)
    return regret


def perfect_information(costs: ArrayLike) -> float:
    """Most that any information can be worth per job: the smallest expected regret."""
    return float(expected_regret(costs).min())


def saving(
    costs: ArrayLike,
    option: int,
    other: int,
    *,
    confidence_level: float = 0.95,
    stretch: float = 1.0,
) -> Saving:
    """Cost of `other` minus cost of `option`, both rows of `costs`, draw by draw.

    `stretch`: as in `chance_best`, of the interval.
    """
    tail = (1 - as_level(confidence_level)) / 2
    draws = _as_draws(costs)
    difference = draws[other] - draws[option]
    low, high = np.quantile(stretched(difference, stretch), [tail, 1 - tail])
    return Saving(float(difference.mean()), float(low), float(high))


def sample_information(difference: ArrayLike, error_variance: ArrayLike) -> FloatArray:
    """Expected value of a sample per job to which the choice between two options applies.

    `difference`: draws (one dimension) of the cost of one option minus that of the other.
    `error_variance`: of the difference that the sample will show, around the true one: the
    variance of one job's cost divided by the jobs, added over both options. An array is answered
    entry by entry; 0 gives the value of perfect information, infinity gives 0.

    What the choice will then rest on is the posterior mean. Its distribution, seen from now, has
    the mean of the draws and the variance v * v / (v + error_variance), v being that of the draws;
    its form is taken to be that of the draws, shrunk to this variance. Exact for normal draws and
    errors (the unit normal loss integral), and for any draws as the sample grows.
    Source: moment matching, Heath, Manolopoulou and Baio 2018, Med Decis Making 38:163-173.
    """
    draws = as_numbers("difference", difference)
    if draws.ndim != 1 or not draws.size:
        raise ValueError(f"difference must have one dimension and draws, got shape {draws.shape}")
    error = np.asarray(error_variance, dtype=np.float64)
    refuse("error_variance", "must not be negative", error, ~(error >= 0))
    mean, variance = draws.mean(), draws.var()
    total = variance + error
    shrink = np.sqrt(np.divide(variance, total, out=np.zeros(total.shape), where=total > 0))
    away = draws - mean
    value = [np.maximum(mean + away * one, 0).mean() for one in shrink.reshape(-1)]
    gained: FloatArray = np.reshape(value, shrink.shape) - max(mean, 0.0)
    return np.maximum(gained, 0.0)


def trial_value(
    costs: ArrayLike,
    option: int,
    other: int,
    *,
    job_variances: ArrayLike,
    horizon_jobs: float,
    effort: float = 0.0,
    fixed: float = 0.0,
) -> TrialValue:
    """The trial of `option` against `other` (rows of `costs`) with the highest net value.

    `job_variances` (options,): variance of one job's cost around the expected cost of its option.
    `horizon_jobs`: jobs to come within the horizon, the trial's among them. `effort`: money that
    a job costs more for being in a trial; `fixed`: what setting it up costs.

    Half of the jobs go to either option, so the half that goes to what now seems dearer costs
    the difference. Only the jobs after the trial gain. Other options than these two are taken as
    they are: being able to fall back on them would only add to the value. Sizes are those of
    `SIZES` that fit into the horizon; where none fits, the answer has 0 jobs, gain and cost.
    """
    draws = _as_draws(costs)
    spread = as_numbers("job_variances", job_variances)
    refuse("job_variances", "must not be negative", spread, spread < 0)
    if spread.shape != (len(draws),):
        raise ValueError(
            f"job_variances must have one entry an option, got {spread.shape} for {len(draws)}"
        )
    for name, value in (("horizon_jobs", horizon_jobs), ("effort", effort), ("fixed", fixed)):
        number = as_numbers(name, value)
        refuse(name, "must not be negative", number, number < 0)
    each = np.array([size for size in SIZES if 2 * size < horizon_jobs], dtype=np.float64)
    if not each.size:
        return TrialValue(0, 0.0, 0.0)
    difference = draws[option] - draws[other]
    per_job = sample_information(difference, (spread[option] + spread[other]) / each)
    gains = per_job * (horizon_jobs - 2 * each)
    prices = each * abs(difference.mean()) + 2 * each * effort + fixed
    best = int(np.argmax(gains - prices))
    return TrialValue(int(2 * each[best]), float(gains[best]), float(prices[best]))


def jobs_to_know(difference: ArrayLike, job_variance: float, regret: float) -> float:
    """Jobs of each of two options after which the expected regret between them is `regret`.

    `difference`: as in `sample_information`; `job_variance`: of the cost of one job around the
    expected cost of its option, added over both. 0 where the regret is that small already,
    infinite for a regret of 0 that is not reached. To the next whole job.
    """
    spread = as_numbers("job_variance", job_variance)
    refuse("job_variance", "must not be negative", spread, spread < 0)
    perfect = float(sample_information(difference, 0.0))

    def enough(jobs: float) -> bool:
        return perfect - float(sample_information(difference, spread / jobs)) <= regret

    if perfect <= regret:
        return 0.0
    if regret <= 0:
        return np.inf
    low, high = 0.0, 1.0
    while not enough(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _as_draws(costs: ArrayLike) -> FloatArray:
    draws = as_numbers("costs", costs)
    if draws.ndim != 2 or not draws.size:
        raise ValueError(f"costs must have the shape (options, draws), got {draws.shape}")
    return draws
