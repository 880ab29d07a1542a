"""Counts what a decision rests on, choice by choice."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from fixstats import stats
from fixstats.findings.comebacks_figures import Followed, followed_of
from fixstats.findings.compare_plan import Choice, modes_at, practice_key, standards_of
from fixstats.findings.decide_cells import Counted, by_jobs
from fixstats.findings.decide_costs import (
    EachCost,
    costs_each,
    prices_on,
    used_by_methods,
    used_by_pieces,
)
from fixstats.findings.decide_figures import Known
from fixstats.findings.decide_plan import DecideAsk, choices_of
from fixstats.findings.safety import safety_states
from fixstats.folder import ShopFolder
from fixstats.folder.catalogue import Price
from fixstats.folder.settings import Settings
from fixstats.tallies.ask import Ask
from fixstats.tallies.choices import factors_met
from fixstats.tallies.counts import Period
from fixstats.tallies.decide import (
    Tallied,
    clear,
    failure_costs,
    lay_follow_up,
    lay_jobs,
    learning_steps,
    tally_choice,
    timed_steps,
)
from fixstats.tallies.followups import NOT_STATED, UNRELATED, Leaving
from fixstats.tallies.keys import resolve
from fixstats.tallies.values import spelled

if TYPE_CHECKING:
    import duckdb

# What is too short to tell a pace, and what is long enough.
MONTH, YEAR = 30, 365
# Minutes recorded on a smaller share of the jobs tell of few and perhaps special ones. Ours.
OFTEN = 0.2


@dataclass(frozen=True)
class DecidePlan:
    """What all choices of one question share; ``last``: the day on which it is asked."""

    folder: ShopFolder
    ask: DecideAsk
    settings: Settings
    covered: Period
    models: tuple[str, ...]
    factors: tuple[str, ...]
    learning: frozenset[str]
    recorded: Mapping[str, Sequence[Any]]
    last: date

    @property
    def days(self) -> int:
        """Days of the warranty."""
        return self.settings.warranty_days


def plan_of(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    ask: DecideAsk,
    settings: Settings,
    covered: Period,
) -> DecidePlan:
    """What is looked up before any choice is counted; UsageError for an unknown model."""
    catalogue = folder.catalogue
    key = resolve("model", catalogue, ())
    met = factors_met(con)
    return DecidePlan(
        folder=folder,
        ask=ask,
        settings=settings,
        covered=covered,
        models=tuple(spelled(con, catalogue, key, model) for model in ask.models),
        factors=tuple(f.code for f in catalogue.factors if f.when == "intake" and f.code in met),
        learning=learning_steps(con, covered.first),
        recorded=failure_costs(con),
        last=min(covered.as_of, ask.until or covered.as_of),
    )


def count_choices(
    con: duckdb.DuckDBPyConnection, plan: DecidePlan
) -> Iterator[tuple[Counted, Known]]:
    """Each choice of which an option was recorded, in their order; UsageError as ``lay_jobs``."""
    catalogue = plan.folder.catalogue
    choices = choices_of(plan.ask, catalogue)
    where = plan.ask.where
    if "rework" not in {key for key, _ in where}:
        where = (*where, ("rework", "no"))
    asked = Ask((), (), "first", where, plan.ask.since, plan.ask.until)
    names = [choice.name for choice in choices]
    practice = [practice_key(c) for c in choices if c.is_step and c.name in plan.learning]
    conditions = ("technician", "quarter", "repair", *plan.factors, *practice)
    jobs = lay_jobs(con, catalogue, asked, names, conditions)
    made = [choice for choice in choices if jobs[choice.name]]
    if made:
        lay_follow_up(con, catalogue, asked, [choice.name for choice in made])
    timed = timed_steps(con)
    for choice in made:
        enough = OFTEN * jobs[choice.name]
        own = choice.is_step and timed.get(choice.place, 0) >= enough
        yield _count(con, plan, choice, _Clock(own, own or timed.get("", 0) >= enough))
    clear(con)


@dataclass(frozen=True)
class _Clock:
    """Which minutes tell of a choice: ``own``, those of its step; ``any``, its own or the job's."""

    own: bool
    any: bool


def _count(
    con: duckdb.DuckDBPyConnection, plan: DecidePlan, choice: Choice, clock: _Clock
) -> tuple[Counted, Known]:
    """Everything that is counted and looked up for one choice."""
    catalogue, settings = plan.folder.catalogue, plan.settings
    codes = modes_at(choice, catalogue)
    costs = costs_each(
        catalogue.failure_modes, settings.labour_rate, plan.recorded, dict(plan.ask.costs)
    )
    practice = practice_key(choice) if choice.name in plan.learning else None
    whole = clock.any and not clock.own
    stay = ("repair",) if whole else ()
    keys = ("technician", "quarter", *stay, *plan.factors, *([practice] if practice else []))
    paid_for = codes if clock.own else tuple(costs)
    tallied = tally_choice(
        con, catalogue, choice.name, keys, codes, [one for one in paid_for if costs[one]],
        step=choice.place if clock.own else None, as_of=plan.last, days=plan.days,
    )  # fmt: skip
    returns, comeback = _returns(tallied.leaving, codes, costs)
    counted = Counted(
        choice=choice.name,
        keys=keys,
        jobs=tallied.jobs,
        failures=tallied.failures,
        unlooked=tallied.unlooked,
        minutes=tallied.minutes if clock.any else {},
        whole_minutes=whole,
        stay=stay,
        returns=returns,
        practice=practice,
    )
    options, models = by_jobs(tallied.jobs, "option"), by_jobs(tallied.jobs, "model")
    standards = standards_of(choice, catalogue, plan.last)
    # A supplier is weighed within one grade, and so is his danger.
    grade = f"{choice.place}_grade"
    within = [one for one in plan.ask.where if one[0] == grade and choice.name != grade]
    safety = safety_states(con, plan.folder, choice, options, settings, plan.ask.until, within)
    used = _used(plan, choice, tallied, options, models)
    known = Known(
        used=used,
        costs={code: costs[code] for code in codes},
        safety=safety.pop(None),
        safety_on={model: states for model, states in safety.items() if model is not None},
        pace=_pace(tallied, plan),
        current=_current(tallied, models, standards),
        standards=standards,
        adopted=standards_of(choice, catalogue, date.max),
        comeback=comeback,
        dearest=_dearest(used, costs, catalogue.prices),
        models=plan.models or None,
        money=_money(settings),
        name=catalogue.label,
    )
    return counted, known


def _dearest(
    used: np.ndarray[Any, np.dtype[np.float64]],
    costs: Mapping[str, EachCost | None],
    prices: Sequence[Price],
) -> float:
    """The most that a failure or part of the shop costs, of those that have a cost."""
    money = [one.money for one in costs.values() if one is not None]
    money += [one.money for one in prices]
    return max([*money, *used[~np.isnan(used)].tolist()], default=0.0) or math.inf


def _used(
    plan: DecidePlan,
    choice: Choice,
    tallied: Tallied,
    options: Sequence[str],
    models: Sequence[str],
) -> np.ndarray[Any, np.dtype[np.float64]]:
    catalogue = plan.folder.catalogue
    if choice.is_step:
        return used_by_methods(options, models, catalogue, choice.place)
    changed = {grade: money for part, grade, money in plan.ask.prices if part == choice.place}
    price_of = prices_on(catalogue.prices, choice.place, models, plan.last)
    return used_by_pieces(
        options, models, tallied.paid, price_of, changed, by_grade=choice.name.endswith("_grade")
    )


def _returns(
    leaving: Leaving, codes: Sequence[str], costs: Mapping[str, EachCost | None]
) -> tuple[Followed | None, EachCost | None]:
    """Come-backs that can follow from the choice, and what one costs on average.

    Returns for modes of other places say nothing of it and compete, like unrelated ones; those of
    which nobody wrote down why may be from here, and cost what the others do.
    """
    followed = followed_of(leaving, lambda group: group[0] not in (None, "-"))
    if not followed.groups:
        return None, None
    own = np.array([reason in (*codes, NOT_STATED) for reason in followed.reasons], dtype=bool)
    events = followed.table.n_events
    both = np.stack([events[own].sum(axis=0), events[~own].sum(axis=0)])
    table = stats.AtRisk(
        followed.table.day, followed.table.n_at_risk, both, followed.table.n_censored
    )
    known = [
        (events[n].sum(), costs[reason])
        for n, reason in enumerate(followed.reasons)
        if reason in codes and costs[reason] is not None and events[n].any()
    ]
    each = None
    if known:
        number = sum(count for count, _ in known)
        money, minutes = (
            float(sum(count * getattr(cost, name) for count, cost in known) / number)
            for name in ("money", "minutes")
        )
        each = EachCost(money, minutes)
    return Followed(followed.groups, ("own", UNRELATED), table), each


def _pace(tallied: Tallied, plan: DecidePlan) -> dict[str, float]:
    """Jobs a day of each model at which the choice arises: those of the last year."""
    table = tallied.pace
    begun = min(table["first"])
    span = min(YEAR, max(MONTH, (plan.last - begun).days + 1))
    pace: dict[str, float] = {}
    for model, jobs in zip(table["model"], table["year"], strict=True):
        pace[model] = pace.get(model, 0.0) + jobs / span
    return pace


def _current(
    tallied: Tallied, models: Sequence[str], standards: Mapping[str | None, str]
) -> dict[str | None, str | None]:
    """House standard, else the most used in the last 90 days, else ever; by model, None for all."""
    used: dict[tuple[str | None, str], tuple[int, int]] = {}
    table = tallied.pace
    for option, model, jobs, recent in zip(
        *(table[name] for name in ("option", "model", "jobs", "recent")), strict=True
    ):
        if option is None:
            continue
        for scope in (model, None):
            before = used.get((scope, option), (0, 0))
            used[scope, option] = (before[0] + recent, before[1] + jobs)
    found: dict[str | None, str | None] = {}
    for scope in (None, *models):
        standard = standards.get(scope, standards.get(None))
        own = {option: number for (place, option), number in used.items() if place == scope}
        most = max(sorted(own), key=lambda option: own[option]) if own else None
        found[scope] = standard or most
    return found


def _money(settings: Settings) -> Callable[[float], str]:
    return lambda value: f"{value:,.2f} {settings.currency}"
