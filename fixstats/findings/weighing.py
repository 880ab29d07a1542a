"""From draws of the cost per job to the figures a verdict rests on, and the verdict; pure."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fixstats import stats
from fixstats.findings.costing import COMEBACK, unsure_from
from fixstats.findings.safety import WORSE, OptionSafety
from fixstats.findings.verdicts import (
    LEAN,
    WAIT,
    Candidate,
    Figures,
    MissingCost,
    Verdict,
    judge,
    with_borderline,
)
from fixstats.stats.validators import FloatArray

# A verdict is held against this many others from draws that differ by chance alone. Costs are
# put together from parts of 2,000 draws each, so that is how well their means are known.
LOOKS, KNOWN_AS = 10, 2000
# What nobody has put a cost on may cost so many times the dearest failure or part that has one; a
# come-back, which is a mixture of failures, as much as that. Ours.
MAY_COST = 10.0


@dataclass(frozen=True)
class Scope:
    """One choice in one scope: what is to be weighed.

    `options`: in the order in which a tie is broken, as in the rows of all arrays.
    `costs` (options, draws): paired draws of money per job; `earlier`: the same from the records
    without the last jobs, None where there is no telling. `job_variances` (options,): of the money
    of one job. `missing`: modes without a cost, with draws of their rates (options, draws), or
    their rates (options,); `dearest`: the dearest failure or part that has a cost.
    `horizon_jobs`: jobs of this scope to come within the horizon; `effort`, `fixed`: money that a
    trial takes per job and to set up. `stretch`: of the draws, where it is asked how sure one is
    (`stats.chance_best`).
    """

    options: Sequence[str]
    costs: FloatArray
    safety: Mapping[str, OptionSafety]
    job_variances: FloatArray
    horizon_jobs: float
    standardise_at: float
    tolerance: float
    earlier: FloatArray | None = None
    missing: Sequence[tuple[str, FloatArray]] = ()
    dearest: float = math.inf
    effort: float = 0.0
    fixed: float = 0.0
    stretch: float = 1.0
    money: Callable[[float], str] = field(default="{:.2f}".format)
    name: Callable[[str], str] = field(default=str)


@dataclass(frozen=True)
class Weighed:
    """A verdict and the figures behind it. `rival`: what the leader would be tried against."""

    verdict: Verdict
    figures: Figures


def weigh(scope: Scope, *, seed: int = 1) -> Weighed:
    """Verdict and figures; marked as borderline where draws that differ by chance say otherwise."""
    scope = replace(scope, missing=[(name, _wide(rates)) for name, rates in scope.missing])
    figures = figures_of(scope, scope.costs, scope.earlier)
    random = np.random.default_rng(seed)
    others = []
    for _ in range(LOOKS):
        costs = _resampled(scope.costs, random)
        earlier = None if scope.earlier is None else _resampled(scope.earlier, random)
        missing = [(name, _resampled(rates, random)) for name, rates in scope.missing]
        others.append(judge(figures_of(replace(scope, missing=missing), costs, earlier)))
    return Weighed(with_borderline(judge(figures), others), figures)


def figures_of(scope: Scope, costs: FloatArray, earlier: FloatArray | None) -> Figures:
    """Figures from these draws. Options that are worse take part in nothing but their own cost.

    What a trial is worth is worked out only where no earlier rule has settled the verdict.
    """
    kept = [n for n, one in enumerate(scope.options) if scope.safety[one].state != WORSE]
    means = costs.mean(axis=1)
    p_best, regret = np.zeros(len(means)), np.full(len(means), np.nan)
    if kept:
        p_best[kept] = stats.chance_best(costs[kept], stretch=scope.stretch)
        regret[kept] = stats.expected_regret(costs[kept])
    candidates = [
        Candidate(
            option,
            float(means[n]),
            float(p_best[n]),
            float(regret[n]),
            scope.safety[option].state,
            scope.safety[option].jobs_needed,
            scope.safety[option],
        )
        for n, option in enumerate(scope.options)
    ]
    base = Figures(
        candidates,
        standardise_at=scope.standardise_at,
        tolerance=scope.tolerance,
        money=scope.money,
        name=scope.name,
    )
    if len(kept) < 2:
        return base
    leader = min(kept, key=lambda n: means[n])
    rates = [_wide(rates)[kept] for _, rates in scope.missing]
    missing = [
        _missing(scope, name, one, costs[kept], kept.index(leader), p_best[leader])
        for (name, _), one in zip(scope.missing, rates, strict=True)
    ]
    figures = replace(base, earlier=_sure(scope, earlier, kept), missing=missing)
    if p_best[leader] >= scope.standardise_at and not any(one.matters for one in missing):
        modes = list(zip(missing, rates, strict=True))
        figures = replace(
            figures, together=_together(scope, modes, costs[kept], kept.index(leader))
        )
    if judge(figures).verdict not in (LEAN, WAIT):
        return figures  # settled before a trial is thought of
    rival, value = _best_trial(scope, costs, leader, [n for n in kept if n != leader])
    figures = replace(
        figures,
        trial_net=value.net if value.jobs else None,
        trial_jobs=value.jobs,
        trial_rival=scope.options[rival],
    )
    if judge(figures).verdict != WAIT:
        return figures
    spread = float(scope.job_variances[[leader, rival]].sum())
    more = stats.jobs_to_know(costs[leader] - costs[rival], spread, scope.tolerance)
    return replace(figures, jobs_to_know=more)


def _best_trial(
    scope: Scope, costs: FloatArray, leader: int, others: Sequence[int]
) -> tuple[int, stats.TrialValue]:
    """What the leader is best tried against: not always what is second cheapest now."""
    values = [
        stats.trial_value(
            costs,
            leader,
            other,
            job_variances=scope.job_variances,
            horizon_jobs=scope.horizon_jobs,
            effort=scope.effort,
            fixed=scope.fixed,
        )
        for other in others
    ]
    best = max(range(len(others)), key=lambda n: values[n].net)
    return others[best], values[best]


def _sure(scope: Scope, earlier: FloatArray | None, kept: Sequence[int]) -> str | None:
    """The option that was sure enough on the earlier records: safety is that of now."""
    if earlier is None:
        return None
    chance = stats.chance_best(earlier[kept], stretch=scope.stretch)
    best = int(chance.argmax())
    return scope.options[kept[best]] if chance[best] >= scope.standardise_at else None


def _missing(
    scope: Scope, name: str, rates: FloatArray, costs: FloatArray, leader: int, p_best: float
) -> MissingCost:
    """Where its cost begins to matter; not asked of a leader that is not sure enough anyway."""
    up_to = scope.dearest * (1.0 if name == COMEBACK else MAY_COST)
    if p_best < scope.standardise_at:
        return MissingCost(name, math.inf, up_to)
    found = unsure_from(costs, rates, leader, at=scope.standardise_at, stretch=scope.stretch)
    return MissingCost(name, found, up_to)


def _together(
    scope: Scope,
    modes: Sequence[tuple[MissingCost, FloatArray]],
    costs: FloatArray,
    leader: int,
) -> Sequence[MissingCost]:
    """The fewest that make the leader unsure where none does alone, each as dear as it may be.

    Asked for each other option by the modes that are likelier with the leader than with that one:
    a failure that had only one cost must not pass because it was split into several.
    """

    def sure(some: Sequence[tuple[MissingCost, FloatArray]]) -> bool:
        dearer = costs + sum(one.up_to * rates for one, rates in some)
        chance = stats.chance_best(dearer, stretch=scope.stretch)
        return bool(chance[leader] >= scope.standardise_at)

    for other in range(len(costs)):
        weights = [one.up_to * float((rates[leader] - rates[other]).mean()) for one, rates in modes]
        order = sorted(range(len(modes)), key=lambda n: -weights[n])
        likelier = [modes[n] for n in order if 0 < weights[n] < math.inf]
        if len(likelier) < 2 or sure(likelier):
            continue
        fewest = next(n for n in range(2, len(likelier) + 1) if not sure(likelier[:n]))
        return [one for one, _ in likelier[:fewest]]
    return ()


def _wide(rates: FloatArray) -> FloatArray:
    """Rates with an axis of draws."""
    return rates[:, None] if rates.ndim == 1 else rates


def _resampled(draws: FloatArray, random: np.random.Generator) -> FloatArray:
    number = min(KNOWN_AS, draws.shape[1])
    return draws[:, random.integers(0, draws.shape[1], number)]
