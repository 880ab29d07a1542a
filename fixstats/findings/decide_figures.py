"""From the counts of one choice to its rows: cost per job of each option, and a verdict; pure.

Nothing here asks a database: a simulated shop can call ``weigh_choice`` with counts of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fixstats import stats
from fixstats.findings.costing import COMEBACK, Costing, Event, cost_up
from fixstats.findings.costing import DRAWS as MOST_DRAWS
from fixstats.findings.decide_cells import Counted, Ground, lay_ground
from fixstats.findings.decide_costs import EachCost
from fixstats.findings.decide_draws import (
    Class,
    failure_classes,
    minutes_of,
    rates_of,
    returns_of,
)
from fixstats.findings.safety import WORSE, OptionSafety
from fixstats.findings.weighing import Scope, Weighed, weigh
from fixstats.folder.settings import Settings
from fixstats.stats.validators import FloatArray

PIECE = "a piece of"
# What a trial takes beside the jobs themselves: minutes a job to draw and to note the option, and
# minutes to plan it and to read its result. Ours.
EFFORT_MINUTES, SETUP_MINUTES = 1.0, 30.0
DAYS_A_MONTH = 365.25 / 12
# Draws for the question whether the records without the last jobs said the same.
EARLIER_DRAWS = 4_000
# Money that nobody pays.
NEVER = 1e12
# That question is asked where an option is this close to being sure enough.
SLACK = 0.02
# How sure one is: draws are taken this much further from their means. A choice is asked about every
# month and on every model, by fits that are simpler than the workshop: failures, minutes and
# come-backs are fitted apart, though what suits a model badly is worse in all of them. In simulated
# workshops one in eight was told a wrong standard at some time in two years without it, and
# intervals of money held the truth too seldom (`tests/reference/test_decisions.py`); chosen so that
# it is well below one in twenty. Ours.
STRETCH = 1.5


@dataclass(frozen=True)
class Known:
    """What is known of one choice beside its counts.

    ``used`` (options, models): money for what a job uses. ``costs``: money for one failure of each
    mode that can follow, None where nobody has said. ``comeback``: money for one come-back, None
    likewise. ``safety``: over all models; ``safety_on``: what else holds on one. ``dearest``: the
    dearest failure or part of the shop that has a cost. ``pace``: jobs a day by model.
    ``current``: option in use by model, None for all. ``standards``: likewise, house standards
    only; ``adopted``: those, and what begins after the records end. ``models``: those that get
    rows, after one for all; None: every one.
    """

    used: FloatArray
    costs: Mapping[str, EachCost | None]
    safety: Mapping[str, OptionSafety]
    pace: Mapping[str, float]
    current: Mapping[str | None, str | None]
    standards: Mapping[str | None, str]
    safety_on: Mapping[str, Mapping[str, OptionSafety]] = field(default_factory=dict)
    adopted: Mapping[str | None, str] = field(default_factory=dict)
    comeback: EachCost | None = None
    dearest: float = math.inf
    models: Sequence[str] | None = None
    money: Callable[[float], str] = field(default="{:.2f}".format)
    name: Callable[[str], str] = field(default=str)

    def safety_at(self, scope: str | None) -> Mapping[str, OptionSafety]:
        """The states that hold on a model; None: over all."""
        return {**self.safety, **(self.safety_on.get(scope, {}) if scope else {})}


@dataclass(frozen=True)
class Parts:
    """Draws behind the money of one choice, (options, scopes, draws) each; None: none recorded."""

    classes: Sequence[Class]
    unpriced: Mapping[str, FloatArray]
    minutes: FloatArray | None
    cv: float
    returns: FloatArray | None


@dataclass(frozen=True)
class ChoiceWeighed:
    """The answer for one choice.

    ``scopes``: models, None for all, in the order of the rows. ``costing``: with axes (options,
    scopes of ``all_scopes``, draws). ``weighed``: one a scope, in order.
    """

    counted: Counted
    ground: Ground
    known: Known
    parts: Parts
    used: FloatArray
    costing: Costing
    all_scopes: tuple[str | None, ...]
    scopes: tuple[str | None, ...]
    weighed: Sequence[Weighed]
    labour_rate: float

    @property
    def options(self) -> tuple[str, ...]:
        """Most used first."""
        return self.ground.options

    def place(self, scope: str | None) -> int:
        """Where a scope stands in the arrays."""
        return self.all_scopes.index(scope)


@dataclass(frozen=True)
class Fitted:
    """Everything about one choice that is estimated, before it is weighed.

    ``before``: without the last jobs of each model; None where no option is sure enough now for
    that to matter, or those were all.
    """

    ground: Ground
    parts: Parts
    before: Parts | None


def weigh_choice(
    counted: Counted, known: Known, settings: Settings, *, seed: int = 1
) -> ChoiceWeighed:
    """Everything about one choice, from counts that hold at least one recorded option."""
    return conclude(
        fit_choice(counted, known, settings, seed=seed), counted, known, settings, seed=seed
    )


def fit_choice(counted: Counted, known: Known, settings: Settings, *, seed: int = 1) -> Fitted:
    """Fit everything, and once more without the last jobs where some option may be sure."""
    ground = lay_ground(counted)
    returns = returns_of(
        counted.returns,
        ground.options,
        ground.models,
        settings.warranty_days,
        settings.confidence_level,
    )
    parts = _parts(ground, known, returns, early=False, seed=seed)
    fitted = Fitted(ground, parts, None)
    kept = [n for n, one in enumerate(ground.options) if known.safety[one].state != WORSE]
    if len(kept) < 2:
        return fitted
    costs = _cost(fitted.parts, ground, known, settings, seed, EARLIER_DRAWS).draws[kept]
    nearly = settings.standardise_at - SLACK
    if all(
        stats.chance_best(costs[:, n], stretch=STRETCH).max() < nearly
        for n in range(costs.shape[1])
    ):
        return fitted
    if not ground.count("jobs", early=True).any():
        return fitted
    # Come-backs are those of now: the last jobs are hardly followed yet.
    before = _parts(ground, known, returns, early=True, seed=seed)
    comparable = (before.minutes is None) == (parts.minutes is None)
    return replace(fitted, before=before if comparable else None)


def conclude(
    fitted: Fitted, counted: Counted, known: Known, settings: Settings, *, seed: int = 1
) -> ChoiceWeighed:
    """Verdicts from what was estimated; ``seed`` combines its draws in another order."""
    ground = fitted.ground
    costing = _cost(fitted.parts, ground, known, settings, seed, MOST_DRAWS)
    earlier = None
    if fitted.before is not None:
        earlier = _cost(fitted.before, ground, known, settings, seed, EARLIER_DRAWS)
        # An option that was not in use then can't have been the best.
        unused = ground.table(ground.count("jobs", early=True)).sum(axis=1) == 0
        earlier.draws[unused] = NEVER
    wanted = ground.models if known.models is None else known.models
    answer = ChoiceWeighed(
        # Its tables are in the ground now; of a million jobs they are too large to be kept.
        counted=replace(counted, jobs={}, failures={}, minutes={}),
        ground=ground,
        known=known,
        parts=fitted.parts,
        used=_used_by_scope(ground, known.used)[0],
        costing=costing,
        all_scopes=(*ground.models, None),
        scopes=(*(() if known.models else (None,)), *(m for m in ground.models if m in wanted)),
        weighed=(),
        labour_rate=settings.labour_rate,
    )
    scopes = [_scope(answer, earlier, one, settings) for one in answer.scopes]
    return replace(answer, weighed=[weigh(one, seed=seed) for one in scopes])


def _parts(
    ground: Ground, known: Known, returns: FloatArray | None, *, early: bool, seed: int
) -> Parts:
    priced = {mode: one.money for mode, one in known.costs.items() if one is not None}
    jobs = ground.count("jobs", early=early)
    unpriced = {
        mode: rates_of(ground, ground.count(mode, early=early), jobs, seed)
        for mode, one in known.costs.items()
        if one is None and ground.count(mode, early=early).any()
    }
    minutes, cv = minutes_of(ground, early=early, seed=seed)
    classes = failure_classes(ground, priced, early=early, seed=seed)
    return Parts(classes, unpriced, minutes, cv, returns)


def _used_by_scope(ground: Ground, used: FloatArray) -> tuple[FloatArray, list[int]]:
    """By option and scope, and the options of which nobody said what they use (taken as 0 here).

    All models together are their average over the jobs of all options.
    """
    nobody = np.isnan(used).any(axis=1, keepdims=True)
    unknown = np.flatnonzero(nobody).tolist()
    money = np.where(nobody, 0.0, used)
    weights = ground.table(ground.cells.opportunities).sum(axis=0)
    together = money @ (weights / weights.sum())
    return np.concatenate([money, together[:, None]], axis=1), unknown


def _cost(
    parts: Parts, ground: Ground, known: Known, settings: Settings, seed: int, draws: int
) -> Costing:
    used, unknown = _used_by_scope(ground, known.used)
    events = [Event(", ".join(one.modes), one.rates, one.each) for one in parts.classes]
    events += [Event(mode, rates, None) for mode, rates in parts.unpriced.items()]
    if parts.returns is not None:
        each = known.comeback.money if known.comeback else None
        events.append(Event(COMEBACK, parts.returns, each))
    for option in unknown:  # a price that is missing is like a mode that always happens
        always = np.zeros((*used.shape, 1))
        always[option] = 1.0
        events.append(Event(f"{PIECE} {known.name(ground.options[option])}", always, None))
    return cost_up(
        used,
        parts.minutes,
        events,
        labour_rate=settings.labour_rate,
        cv=parts.cv,
        draws=draws,
        seed=seed,
    )


def _scope(
    answer: ChoiceWeighed, earlier: Costing | None, scope: str | None, settings: Settings
) -> Scope:
    place, known = answer.place(scope), answer.known
    pace = sum(known.pace.values()) if scope is None else known.pace.get(scope, 0.0)
    return Scope(
        options=answer.options,
        costs=answer.costing.draws[:, place],
        safety=known.safety_at(scope),
        job_variances=answer.costing.job_variances[:, place],
        horizon_jobs=pace * DAYS_A_MONTH * settings.horizon_months,
        standardise_at=settings.standardise_at,
        tolerance=settings.tolerance,
        earlier=None if earlier is None else earlier.draws[:, place],
        missing=[(name, rates[:, place]) for name, rates in answer.costing.missing],
        dearest=known.dearest,
        effort=EFFORT_MINUTES / 60 * settings.labour_rate,
        fixed=SETUP_MINUTES / 60 * settings.labour_rate,
        stretch=STRETCH,
        money=known.money,
        name=known.name,
    )
