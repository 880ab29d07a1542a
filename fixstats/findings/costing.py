"""Expected money per job of each option of a choice, as paired draws; pure.

A job costs what it uses (known), its minutes at the labour rate, and for everything that can go
wrong after that first choice its probability times its cost. Each of these parts comes with draws
that are paired over options and scopes; parts are independent of each other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixstats import stats
from fixstats.stats.validators import FloatArray

DRAWS = 20_000
# The event that is no failure mode: a device that comes back.
COMEBACK = "come-backs"
# Log odds by which options differ before anything was seen to fail: mostly by a factor below 3.
APART = 1.0
# Modes whose costs differ by no more than this factor may be counted as one, see `as_one_event`.
SIMILAR = 3.0


@dataclass(frozen=True)
class Event:
    """Something that happens to a job once or not: a failure mode, or a come-back.

    `rates` (options, scopes, draws): its probability, NaN where nothing is known. `cost`: money
    each time; None is missing, which is not free: it is left out and named.
    """

    name: str
    rates: FloatArray
    cost: float | None


@dataclass(frozen=True)
class Costing:
    """Expected money per job.

    `draws` (options, scopes, draws): NaN where a part is not known. `job_variances` (options,
    scopes): variance of the money of one job around its expectation. `missing`: events without a
    cost, with draws of their rates (options, scopes, draws).
    """

    draws: FloatArray
    job_variances: FloatArray
    missing: Sequence[tuple[str, FloatArray]]


def cost_up(
    used: ArrayLike,
    minutes: FloatArray | None,
    events: Sequence[Event],
    *,
    labour_rate: float,
    cv: float = 0.0,
    draws: int = DRAWS,
    seed: int = 1,
) -> Costing:
    """Add up what a job costs.

    `used` (options, scopes): money for consumables or the part. `minutes` (options, scopes,
    draws): mean minutes of jobs *without* a costed failure, or each failure would be paid twice;
    `cv`: their coefficient of variation within a cell. None where no minutes are recorded: then
    they are the same for every option, and left out. `labour_rate`: money per hour.
    """
    known = np.asarray(used, dtype=np.float64)
    random, apart = np.random.default_rng(seed), np.random.default_rng(seed + 1)
    total = np.repeat(known[..., None], draws, axis=-1)
    variances = np.zeros(known.shape)
    missing = []
    if minutes is not None:
        money = spread(minutes, draws, random) * (labour_rate / 60)
        total += money
        variances += (cv * money.mean(axis=-1)) ** 2
    for event in events:
        if event.cost is None:
            missing.append((event.name, spread(event.rates, draws, apart)))
            continue
        rates = event.rates.mean(axis=-1)
        total += event.cost * spread(event.rates, draws, random)
        variances += event.cost**2 * rates * (1 - rates)
    return Costing(total, variances, tuple(missing))


def aligned(
    draws: FloatArray,
    rows: Sequence[tuple[str, str | None]],
    options: Sequence[str],
    scopes: Sequence[str | None],
) -> FloatArray:
    """Draws of one fit (its options, its scopes, draws) in the places of all options and scopes.

    `rows`: (option, model) of the fit in its order, None for all models, as the keys of
    `Adjustment.rows`; `options`, `scopes`: those wanted. A model on which nobody looked for this
    mode has the rate over all models; an option without any opportunity has NaN.
    """
    own_options = list(dict.fromkeys(option for option, _ in rows))
    own_scopes = list(dict.fromkeys(model for _, model in rows))
    everything = own_scopes.index(None)
    places = [own_scopes.index(s) if s in own_scopes else everything for s in scopes]
    answer = np.full((len(options), len(scopes), draws.shape[-1]), np.nan)
    for n, option in enumerate(options):
        if option in own_options:
            answer[n] = draws[own_options.index(option), places]
    return answer


def similar_costs(costs: Mapping[str, float]) -> list[tuple[str, ...]]:
    """Names of events in classes, cheapest first; within one, no cost is `SIMILAR` times another.

    Events that cost nothing make a class of their own.
    """
    classes: list[list[str]] = []
    for name in sorted(costs, key=lambda one: (costs[one], one)):
        if classes and costs[name] <= SIMILAR * costs[classes[-1][0]]:
            classes[-1].append(name)
        else:
            classes.append([name])
    return [tuple(one) for one in classes]


def as_one_event(failures: ArrayLike, costs: ArrayLike) -> tuple[FloatArray, float]:
    """Failures of several modes as equivalent failures of one, and the money for each of these.

    `failures` (cells, modes); `costs` (modes,), money above 0. One fit instead of one for each
    mode: equivalent failures times their cost are the money lost in each cell, exactly, and as
    counts they vary as that money does. In invented shops of 600 jobs, choices made from one fit of
    all modes lost a tenth less than from fits of their own, which are each drawn towards no
    difference. Where no mode was seen there are none, at the mean cost.
    Source: the two moments of a compound Poisson sum, as in quasi-likelihood (McCullagh and
    Nelder 1989, Generalized Linear Models, 2nd edition, chapter 9).
    """
    counts, price = np.asarray(failures, dtype=np.float64), np.asarray(costs, dtype=np.float64)
    money = counts @ price
    each = float((counts @ price**2).sum() / money.sum()) if money.sum() else float(price.mean())
    return money / each, each


def spread(draws: FloatArray, number: int, random: np.random.Generator) -> FloatArray:
    """As many draws as asked for, in an order that has nothing to do with any other part's.

    The given draws over and over, each round in a new order, which is the same for all options
    and scopes: they stay paired, and every draw is used as often as any other, or once more.
    """
    given = draws.shape[-1]
    rounds = math.ceil(number / given)
    order = np.concatenate([random.permutation(given) for _ in range(rounds)])[:number]
    return draws[..., order]


def rates_without_fit(
    failures: ArrayLike, opportunities: ArrayLike, weights: ArrayLike, *, draws: int, seed: int = 3
) -> FloatArray:
    """Rates where `adjusting` has none, as for a mode never seen: (options, scopes, draws).

    `failures`, `opportunities` (options, models); `weights` (models,): jobs of each, over which
    the last scope averages. Where no job failed, or every one did, no model tells anything by
    itself: see `_rates_of_options`. Otherwise the cells of option and model are pooled partially,
    all together.
    """
    k, n = np.asarray(failures, dtype=np.float64), np.asarray(opportunities, dtype=np.float64)
    if k.sum() in (0, n.sum()):
        each = _rates_of_options(k.sum(axis=1), n.sum(axis=1), draws, seed)
        return np.repeat(each[:, None], k.shape[1] + 1, axis=1)
    pooled = stats.pool_rates(k.ravel(), n.ravel())
    each = stats.draw_rates(pooled, k.ravel(), n.ravel(), draws=draws, seed=seed)
    by_cell = each.reshape(*k.shape, draws)
    w = np.asarray(weights, dtype=np.float64)
    together = np.einsum("omd,m->od", by_cell, w / w.sum())
    return np.concatenate([by_cell, together[:, None]], axis=1)


def _rates_of_options(
    failures: FloatArray, opportunities: FloatArray, draws: int, seed: int
) -> FloatArray:
    """Draws of each option's rate where none failed, or all did: (options, draws).

    One common rate, known as well as all jobs together tell (Jeffreys' prior), from which each
    option departs by normal(0, `APART`) log odds, weighed by what its own jobs say. A rate for each
    from its own few jobs would make the option used least look dangerous; one for all would make
    us sure of what nobody has seen.
    """
    from scipy import special

    random = np.random.default_rng(seed)
    fine = opportunities - failures
    number = 4 * draws
    common = random.beta(0.5 + failures.sum(), 0.5 + fine.sum(), number)
    off = APART * random.standard_normal((len(failures), number))
    rates = special.expit(special.logit(common) + off)
    likelihood = special.xlogy(failures[:, None], rates / common)
    likelihood += special.xlog1py(fine[:, None], -rates) - special.xlog1py(fine[:, None], -common)
    weights = np.exp(likelihood.sum(axis=0))
    chosen = random.choice(number, draws, p=weights / weights.sum())
    answer: FloatArray = rates[:, chosen]
    return answer


def unsure_from(
    costs: ArrayLike, rates: ArrayLike, leader: int, *, at: float, stretch: float = 1.0
) -> float:
    """Cost of one event from which on the leader is the cheapest with a probability below `at`.

    `costs` (options, draws): money per job without this event; `rates` (options, draws or 1): its
    probability, independent of these. `stretch`: as in `stats.chance_best`. 0 where it is not even
    sure without the event, infinite where no cost makes it unsure. In each draw the leader is the
    cheapest between two costs, for money is a straight line in them; so the answer is exact.
    """
    money, rate = (_stretched(np.asarray(one, dtype=np.float64), stretch) for one in (costs, rates))
    others = np.arange(len(money)) != leader
    ahead = money[others] - money[leader]
    more = np.broadcast_to(rate[leader] - rate[others], ahead.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = ahead / more
    high = np.where(more > 0, ends, np.where((more == 0) & (ahead < 0), -1.0, np.inf)).min(axis=0)
    low = np.maximum(np.where(more < 0, ends, 0.0).max(axis=0), 0.0)
    leads = high >= low
    lows, highs = np.sort(low[leads]), np.sort(high[leads])
    enough = at * ahead.shape[1]
    if np.searchsorted(lows, 0.0, side="right") < enough:
        return 0.0
    begun = np.searchsorted(lows, highs, side="right")
    left = begun - np.arange(1, len(highs) + 1)
    unsure = np.flatnonzero((left < enough) & np.isfinite(highs))
    return float(highs[unsure[0]]) if len(unsure) else math.inf


def _stretched(draws: FloatArray, stretch: float) -> FloatArray:
    mean = draws.mean(axis=1, keepdims=True)
    return np.asarray(mean + stretch * (draws - mean))
