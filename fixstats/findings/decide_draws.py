"""Draws of what jobs of each option take and fail in, over the same jobs; pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixstats import stats
from fixstats.findings.comebacks_adjusted import ALL_MODELS, adjust_returns
from fixstats.findings.comebacks_figures import Followed
from fixstats.findings.costing import aligned, as_one_event, rates_without_fit, similar_costs
from fixstats.findings.decide_cells import Ground
from fixstats.findings.decide_fit import MINUTES, WHOLE, Counts, fit_rates
from fixstats.stats.validators import FloatArray

# Draws of each fit; `costing` combines the parts into more.
DRAWS = 2000
# Where more than this share of an option's jobs tell nothing of a mode, it is fitted by itself.
MOSTLY_LOOKED = 0.1


@dataclass(frozen=True)
class Class:
    """Failures of several modes of similar cost, fitted as one event.

    ``rates`` (options, scopes, draws): equivalent failures per job, each costing ``each`` money.
    ``shares`` (options, modes): what part of that money is each mode's.
    """

    modes: tuple[str, ...]
    rates: FloatArray
    each: float
    shares: FloatArray


def failure_classes(
    ground: Ground, costs: Mapping[str, float], *, early: bool = False, seed: int = 1
) -> list[Class]:
    """Rates of all modes that have a cost and were seen, in one fit; similar costs are one event.

    Modes that were never seen tell no options apart and are left out, unless that is so of all:
    then they are together what may still be seen.
    """
    priced = {mode: cost for mode, cost in costs.items() if cost > 0}
    seen = {mode: cost for mode, cost in priced.items() if ground.count(mode).any()} or priced
    apart = [mode for mode in seen if ground.unlooked.get(mode, np.zeros(1)).max() > MOSTLY_LOOKED]
    together = {mode: cost for mode, cost in seen.items() if mode not in apart}
    sets = [*similar_costs(together), *((mode,) for mode in apart)]
    jobs = ground.count("jobs", early=early)
    counted = [_class_counts(ground, modes, seen, jobs, early) for modes in sets]
    classes = [one for one, _, _ in counted]
    rates = _together(ground, classes, seed)
    return [
        Class(modes, rate, each, _shares(ground, money))
        for modes, rate, (_, each, money) in zip(sets, rates, counted, strict=True)
    ]


def _class_counts(
    ground: Ground, modes: Sequence[str], seen: Mapping[str, float], jobs: FloatArray, early: bool
) -> tuple[Counts, float, FloatArray]:
    """Counts of one class, the money of each of its failures, and the money lost (cells, modes)."""
    looked = np.stack([1 - ground.unlooked.get(m, np.zeros(len(ground.options))) for m in modes])
    counts = np.stack([ground.count(mode, early=early) for mode in modes], axis=1)
    price = np.array([seen[mode] for mode in modes])
    if len(modes) == 1:
        looked_at = np.maximum(jobs * looked[0][ground.cells.option], counts[:, 0])
        return Counts(counts[:, 0], looked_at), float(price[0]), counts * price
    # What nobody looked for is taken to have failed as often as what was looked for.
    counts = counts / looked.T[ground.cells.option]
    equivalent, each = as_one_event(counts, price)
    return Counts(equivalent, jobs), each, counts * price


def _together(ground: Ground, classes: Sequence[Counts], seed: int) -> list[FloatArray]:
    """Rates of the classes from one fit of them all, else from one for each."""
    telling = [one for one in classes if one.tells]
    found = fit_rates(ground, telling, DRAWS, seed) if telling else None
    if found is None:
        return [rates_of(ground, one.failures, one.opportunities, seed) for one in classes]
    fitted = iter(found)
    return [
        _scoped(ground, next(fitted))
        if one.tells
        else rates_of(ground, one.failures, one.opportunities, seed)
        for one in classes
    ]


def _shares(ground: Ground, money: FloatArray) -> FloatArray:
    """Part of each mode in the money lost with each option, drawn towards that of all options.

    As if each option had lost the money of one more average failure in the proportions of all.
    """
    options = len(ground.options)
    by_option = np.stack(
        [np.bincount(ground.cells.option, column, options) for column in money.T], axis=1
    )
    whole = by_option.sum(axis=0)
    if not whole.any():
        return np.full(by_option.shape, 1 / len(whole))
    typical = whole.sum() / max(np.count_nonzero(money), 1)
    drawn = by_option + typical * whole / whole.sum()
    shares: FloatArray = drawn / drawn.sum(axis=1, keepdims=True)
    return shares


def rates_of(
    ground: Ground, failures: FloatArray, opportunities: FloatArray, seed: int = 1
) -> FloatArray:
    """Adjusted rates with draws, (options, scopes, draws); the last scope is all models.

    Where there is no fit, rates are pooled by option and model, or common to all.
    """
    found = fit_rates(ground, [Counts(failures, opportunities)], DRAWS, seed)
    if found is not None:
        return _scoped(ground, found[0])
    k, n = ground.table(failures), ground.table(opportunities)
    weights = ground.table(ground.cells.opportunities).sum(axis=0)
    return rates_without_fit(np.minimum(k, n), n, weights, draws=DRAWS, seed=seed + 2)


def _scoped(ground: Ground, draws: FloatArray) -> FloatArray:
    """One model is the same as all."""
    return np.repeat(draws, 2, axis=1) if len(ground.models) == 1 else draws


def minutes_of(
    ground: Ground, *, early: bool = False, seed: int = 1
) -> tuple[FloatArray | None, float]:
    """Mean minutes with draws, (options, scopes, draws), and their coefficient of variation.

    None where fewer than two options have recorded minutes, or the only one has none: then there
    is nothing to compare. An option without any is drawn from the prior, around the others.
    """
    jobs = ground.count("timed", early=early)
    rows = np.flatnonzero(jobs > 0)
    if len(np.unique(ground.cells.option[rows])) < min(2, len(ground.options)):
        return None, 0.0
    design, priors = ground.plan.design, WHOLE if ground.whole_minutes else MINUTES
    some = stats.Design(design.columns[rows], design.names, design.penalised)
    groups = [stats.grouping(g.name, g.codes[rows], g.levels) for g in ground.plan.groups]
    fit = stats.fit_minutes(
        jobs[rows],
        ground.count("minutes", early=early)[rows],
        ground.count("squares", early=early)[rows],
        some,
        groups,
        draws=DRAWS,
        seed=seed,
        sd_rate=priors.groups(ground),
        contrast_sd=priors.columns(ground),
    )
    found = stats.mean_minutes(fit, ground.at_option, ground.weights, ground.scopes)
    return found, fit.cv


def returns_of(
    returns: Followed | None,
    options: Sequence[str],
    models: Sequence[str],
    days: int,
    confidence_level: float,
) -> FloatArray | None:
    """Share that comes back within the days with draws, (options, scopes, draws).

    None where nobody came back, or nothing tells the options apart.
    """
    if returns is None or not returns.groups or not returns.returns(returns.reasons[0]).any():
        return None
    found = adjust_returns(returns, returns.reasons[0], days, confidence_level=confidence_level)
    scopes = [*models, None]
    if found.draws is None:
        return _plain_returns(returns, options, scopes)
    rows = [
        (option, None if scope == ALL_MODELS else scope)
        for option in found.options
        for scope in found.scopes
    ]
    draws = aligned(found.draws, rows, options, scopes)
    # An option none of whose devices was followed comes back as the others do.
    unknown = np.isnan(draws[:, -1, 0])
    draws[unknown] = draws[~unknown].mean(axis=0)
    return draws


def _plain_returns(
    returns: Followed, options: Sequence[str], scopes: Sequence[str | None]
) -> FloatArray:
    """One common share: nothing tells the options apart."""
    came, jobs = returns.returns(returns.reasons[0]).sum(), returns.jobs.sum()
    random = np.random.default_rng(2)
    common = random.beta(0.5 + came, 0.5 + jobs - came, DRAWS)
    return np.broadcast_to(common, (len(options), len(scopes), DRAWS)).copy()
