"""Draws of what jobs of each option take and fail in, over the same jobs; pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixstats import stats
from fixstats.findings.adjusting import CROSSED
from fixstats.findings.comebacks_adjusted import ALL_MODELS, adjust_returns
from fixstats.findings.comebacks_figures import Followed
from fixstats.findings.costing import aligned, as_one_event, rates_without_fit
from fixstats.findings.decide_cells import Ground
from fixstats.stats import minutes
from fixstats.stats.validators import FloatArray

# Draws of each fit; `costing` combines the parts into more.
DRAWS = 2000
# A choice is a small part of the job: it seldom changes the minutes of the whole one by more than
# a quarter, nor differently by model by more than that (priors of `stats.fit_minutes`). Ours.
WHOLE_CONTRAST_SD = 0.1
# Rates of the prior of the sds on the log scale: models and technicians differ more than what an
# option does differs by model (mean sds 1/3 and 1/6; of the minutes of a whole job 1/30).
SD_RATE, CROSSED_RATE, WHOLE_CROSSED_RATE = minutes.SD_RATE, 12.0, 60.0
# Where more than this share of an option's jobs tell nothing of a mode, it is fitted by itself.
MOSTLY_LOOKED = 0.1


@dataclass(frozen=True)
class Class:
    """Failures of several modes, fitted as one event, or of one.

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
    """Rates of all modes that have a cost and were seen: one fit for all that were looked for.

    Modes that were never seen tell no options apart and are left out.
    """
    seen = {
        mode: cost
        for mode, cost in costs.items()
        if cost > 0 and ground.count(mode, early=early).any()
    }
    apart = [mode for mode in seen if ground.unlooked.get(mode, np.zeros(1)).max() > MOSTLY_LOOKED]
    together = tuple(mode for mode in seen if mode not in apart)
    sets = [*([together] if together else []), *((mode,) for mode in apart)]
    jobs = ground.count("jobs", early=early)
    found = []
    for modes in sets:
        looked = np.stack(
            [1 - ground.unlooked.get(m, np.zeros(len(ground.options))) for m in modes]
        )
        counts = np.stack([ground.count(mode, early=early) for mode in modes], axis=1)
        price = np.array([seen[mode] for mode in modes])
        if len(modes) == 1:
            shown = looked[0][ground.cells.option]
            rates = rates_of(ground, counts[:, 0], np.maximum(jobs * shown, counts[:, 0]), seed)
            each = float(price[0])
        else:
            # What nobody looked for is taken to have failed as often as what was looked for.
            counts = counts / looked.T[ground.cells.option]
            equivalent, each = as_one_event(counts, price)
            rates = rates_of(ground, equivalent, jobs, seed)
        found.append(Class(modes, rates, each, _shares(ground, counts * price)))
    return found


def _shares(ground: Ground, money: FloatArray) -> FloatArray:
    """Part of each mode in the money lost with each option, drawn towards that of all options.

    As if each option had lost the money of one more average failure in the proportions of all.
    """
    options = len(ground.options)
    by_option = np.stack(
        [np.bincount(ground.cells.option, column, options) for column in money.T], axis=1
    )
    whole = by_option.sum(axis=0)
    typical = whole.sum() / max(np.count_nonzero(money), 1)
    drawn = by_option + typical * whole / whole.sum()
    shares: FloatArray = drawn / drawn.sum(axis=1, keepdims=True)
    return shares


def rates_of(
    ground: Ground, failures: FloatArray, opportunities: FloatArray, seed: int = 1
) -> FloatArray:
    """Adjusted rates with draws, (options, scopes, draws); the last scope is all models.

    Failures may be equivalent ones, more than the jobs of a cell: then opportunities are
    multiplied for the fit, and rates after it. A rare event has the same likelihood by either.
    """
    if len(ground.options) > 1 and 0 < failures.sum() < opportunities.sum():
        some = opportunities > 0
        most = float((failures[some] / opportunities[some]).max())
        times = max(1.0, np.ceil(most))
        try:
            fit = stats.fit_multilevel(
                failures,
                opportunities * times,
                ground.plan.design,
                ground.plan.groups,
                draws=DRAWS,
                seed=seed,
            )
        except (np.linalg.LinAlgError, ValueError):
            fit = None
        if fit is not None and fit.converged:
            found = stats.rate_draws(fit, ground.at_option, ground.weights, scopes=ground.scopes)
            rates: FloatArray = times * _scoped(ground, found)
            return rates
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

    None where some option has no recorded minutes: then there is nothing to compare.
    """
    jobs = ground.count("timed", early=early)
    rows = np.flatnonzero(jobs > 0)
    if len(np.unique(ground.cells.option[rows])) < len(ground.options):
        return None, 0.0
    design = ground.plan.design
    some = stats.Design(design.columns[rows], design.names, design.penalised)
    groups = [stats.grouping(g.name, g.codes[rows], g.levels) for g in ground.plan.groups]
    crossed = WHOLE_CROSSED_RATE if ground.whole_minutes else CROSSED_RATE
    fit = stats.fit_minutes(
        jobs[rows],
        ground.count("minutes", early=early)[rows],
        ground.count("squares", early=early)[rows],
        some,
        groups,
        draws=DRAWS,
        seed=seed,
        sd_rate=[crossed if one.name == CROSSED else SD_RATE for one in groups],
        contrast_sd=WHOLE_CONTRAST_SD if ground.whole_minutes else minutes.CONTRAST_SD,
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
