"""Rows of a decision, and the tables behind them; pure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from fixstats import stats
from fixstats.findings.decide_costs import EachCost
from fixstats.findings.decide_figures import STRETCH, ChoiceWeighed
from fixstats.findings.decide_plan import standard_on
from fixstats.findings.safety import WORSE, OptionSafety, nothing_to_clear
from fixstats.findings.verdicts import TRIAL, Candidate
from fixstats.findings.weighing import Weighed
from fixstats.stats.validators import FloatArray
from fixstats.words import listed

# Every row has these keys, in this order; None where there is no finite value.
KEYS = (
    "choice", "scope", "model", "verdict", "option", "runner_up", "current", "p_best",
    "cost_per_job", "cost_low", "cost_high", "saving_per_job", "saving_low", "saving_high",
    "saving_vs_current", "regret_per_job", "jobs", "jobs_needed", "safety", "borrowed", "reason",
    "borderline", "runner_up_safety", "vs_current_low", "vs_current_high",
)  # fmt: skip


def rows_of(answer: ChoiceWeighed, level: float) -> list[dict[str, Any]]:
    """One row a scope: the verdict on the leader and the figures behind it."""
    jobs = jobs_table(answer)
    return [_row(answer, n, scope, jobs, level) for n, scope in enumerate(answer.scopes)]


def _head(answer: ChoiceWeighed, scope: str | None) -> dict[str, Any]:
    kind = "all" if scope is None else "model"
    return {"choice": answer.counted.choice, "scope": kind, "model": scope}


def _row(
    answer: ChoiceWeighed, number: int, scope: str | None, jobs: FloatArray, level: float
) -> dict[str, Any]:
    verdict = answer.weighed[number].verdict
    place, options = answer.place(scope), answer.options
    costs = answer.costing.draws[:, place]
    current = answer.known.current.get(scope)
    row: dict[str, Any] = dict.fromkeys(KEYS)
    row |= _head(answer, scope)
    row |= {
        "verdict": verdict.verdict,
        "option": verdict.option,
        "runner_up": verdict.runner_up,
        "current": current,
        "jobs_needed": verdict.jobs_needed,
        "reason": _not_on(answer, scope, verdict.option) + verdict.reason,
        "borderline": verdict.borderline,
    }
    if verdict.option is None:
        return row
    own = options.index(verdict.option)
    candidate = candidates(answer, number)[verdict.option]
    low, high = _ends(costs[own], level)
    row |= {
        "p_best": candidate.p_best,
        "cost_per_job": candidate.cost,
        "cost_low": float(low),
        "cost_high": float(high),
        "regret_per_job": candidate.regret,
        "jobs": int(jobs[own, place]),
        "safety": candidate.safety,
        "borrowed": float(borrowed(answer, jobs)[own, place]),
    }
    if verdict.runner_up is not None:
        other = options.index(verdict.runner_up)
        saved = stats.saving(costs, own, other, confidence_level=level, stretch=STRETCH)
        row |= {
            "runner_up_safety": candidates(answer, number)[verdict.runner_up].safety,
            "saving_per_job": saved.mean,
            "saving_low": saved.low,
            "saving_high": saved.high,
        }
    if current in options:
        other = options.index(current)
        saved = stats.saving(costs, own, other, confidence_level=level, stretch=STRETCH)
        row |= {
            "saving_vs_current": saved.mean,
            "vs_current_low": saved.low,
            "vs_current_high": saved.high,
        }
    return row


def _not_on(answer: ChoiceWeighed, scope: str | None, option: str | None) -> str:
    """Before the reason of a row over all models: where its option is ruled out."""
    models = [model for model, states in answer.known.safety_on.items() if option in states]
    if scope is not None or not models:
        return ""
    return f"NOT ON {listed(sorted(models))}, ruled out there by safety failures; "


def _ends(draws: FloatArray, level: float) -> FloatArray:
    """Interval of expected costs, draws on the last axis: as wide as `p_best` is unsure."""
    tail = [(1 - level) / 2, (1 + level) / 2]
    mean = draws.mean(axis=-1)
    # The quantiles of stretched draws are the stretched quantiles, without a copy of the draws.
    ends: FloatArray = mean + STRETCH * (np.quantile(draws, tail, axis=-1) - mean)
    return np.maximum(ends, 0.0)


def _danger(safety: OptionSafety) -> dict[str, Any]:
    """Safety failures of an option over all models, exact one-sided limits of their rate.

    No limits where no safety mode can follow: there is nothing to clear.
    """
    nothing = nothing_to_clear(safety.state, safety.opportunities)
    return {
        "safety_failures": safety.failures,
        "safety_opportunities": safety.opportunities,
        "safety_unknown": safety.unknown,
        "safety_returned": safety.returned,
        "safety_low": None if nothing else safety.low,
        "safety_high": None if nothing else safety.high,
    }


def candidates(answer: ChoiceWeighed, number: int) -> Mapping[str, Candidate]:
    """The options of one scope by name, with what is expected of each."""
    return {one.option: one for one in answer.weighed[number].figures.candidates}


def rival_of(weighed: Weighed) -> str | None:
    """What the option of a trial is best tried against, not always the runner-up; else None."""
    return weighed.figures.trial_rival if weighed.verdict.verdict == TRIAL else None


def jobs_table(answer: ChoiceWeighed) -> FloatArray:
    """Jobs by option and scope."""
    table = answer.ground.table(answer.ground.cells.opportunities)
    return np.concatenate([table, table.sum(axis=1, keepdims=True)], axis=1)


def borrowed(answer: ChoiceWeighed, jobs: FloatArray) -> FloatArray:
    """Share of the scope's jobs whose model never had the option: there the others speak for it."""
    unseen = (jobs[:, :-1] == 0).astype(np.float64)
    weights = jobs[:, :-1].sum(axis=0)
    together = unseen @ (weights / weights.sum())
    return np.concatenate([unseen, together[:, None]], axis=1)


def option_rows(answer: ChoiceWeighed, level: float) -> Iterator[dict[str, Any]]:
    """What a job of each option costs, part by part; the parts add up to the cost."""
    jobs = jobs_table(answer)
    own_share = borrowed(answer, jobs)
    parts, rate = answer.parts, answer.known.comeback
    low, high = _ends(answer.costing.draws, level)
    failures = sum((one.each * one.rates.mean(axis=-1) for one in parts.classes), np.zeros(1))
    for number, scope in enumerate(answer.scopes):
        at = answer.place(scope)
        found = candidates(answer, number)
        safety = answer.known.safety_at(scope)
        for n, option in enumerate(answer.options):
            one = found[option]
            minutes = None if parts.minutes is None else float(parts.minutes[n, at].mean())
            back = None if parts.returns is None else float(parts.returns[n, at].mean())
            yield _head(answer, scope) | {
                "option": option,
                "safety": one.safety,
                "jobs": int(jobs[n, at]),
                "cost_per_job": one.cost,
                "cost_low": float(low[n, at]),
                "cost_high": float(high[n, at]),
                "used_money": float(answer.used[n, at]),
                "minutes": minutes,
                "minutes_money": None if minutes is None else minutes * answer.labour_rate / 60,
                "failures_money": float(np.broadcast_to(failures, jobs.shape)[n, at]),
                "comebacks_money": _comebacks(back, rate),
                "p_best": None if one.safety == WORSE else one.p_best,
                "regret_per_job": one.regret if math.isfinite(one.regret) else None,
                "borrowed": float(own_share[n, at]),
                "current": answer.known.current.get(scope) == option,
                "standard": standard_on(answer.known.standards, scope) == option,
                **_danger(safety[option]),
            }


def _comebacks(share: float | None, each: EachCost | None) -> float | None:
    """Money for come-backs per job; 0 where there were none, None where they have no cost."""
    if share is None:
        return 0.0
    return None if each is None else share * each.money


def mode_rates(answer: ChoiceWeighed) -> dict[str, FloatArray]:
    """Mean rate of each mode that was seen, (options, scopes)."""
    found = {}
    for one in answer.parts.classes:
        money = one.each * one.rates.mean(axis=-1)
        for n, mode in enumerate(one.modes):
            cost = answer.known.costs[mode]
            if cost is not None:
                found[mode] = money * one.shares[:, n, None] / cost.money
    for mode, rates in answer.parts.unpriced.items():
        found[mode] = rates.mean(axis=-1)
    return found


def mode_rows(answer: ChoiceWeighed) -> Iterator[dict[str, Any]]:
    """What each mode adds to the cost of each option, dearest first."""
    rates = mode_rates(answer)
    for scope in answer.scopes:
        at = answer.place(scope)
        for n, option in enumerate(answer.options):
            rows = []
            for mode, rate in rates.items():
                cost = answer.known.costs[mode]
                each = None if cost is None else cost.money
                money = None if each is None else float(rate[n, at]) * each
                rows.append(
                    _head(answer, scope)
                    | {"option": option, "mode": mode, "rate": float(rate[n, at])}
                    | {"cost": each, "money": money}
                )
            yield from sorted(rows, key=lambda row: (row["money"] is None, -(row["money"] or 0)))


def flip_rows(answer: ChoiceWeighed) -> Iterator[dict[str, Any]]:
    """Where the leader changes as one input alone is changed: costs are straight lines in each."""
    inputs = dict(slopes(answer))
    for number, scope in enumerate(answer.scopes):
        at = answer.place(scope)
        verdict = answer.weighed[number].verdict
        kept = [
            n
            for n, option in enumerate(answer.options)
            if answer.known.safety_at(scope)[option].state != WORSE
        ]
        if verdict.option is None or len(kept) < 2:
            continue
        leader = kept.index(answer.options.index(verdict.option))
        money = answer.costing.draws[kept, at].mean(axis=-1)
        for name, (now, slope) in inputs.items():
            value = now[at] if isinstance(now, np.ndarray) else now
            found = crossing(money, slope[kept, at], leader, value or 0.0)
            to = None if found is None else answer.options[kept[found[1]]]
            yield _head(answer, scope) | {
                "input": name,
                "now": None if value is None else float(value),
                "flips_at": None if found is None else found[0],
                "option": verdict.option,
                "to": to,
            }


def crossing(
    costs: FloatArray, slopes: FloatArray, leader: int, now: float
) -> tuple[float, int] | None:
    """The nearest value of an input, above 0, at which another option overtakes the leader.

    `costs`: now; `slopes`: money per unit of the input. None where no value does it.
    """
    found = []
    for n in range(len(costs)):
        steeper = slopes[leader] - slopes[n]
        if n != leader and abs(steeper) > 1e-12:
            value = now + (costs[n] - costs[leader]) / steeper
            # where nothing costs anything all meet: no flip, but for rounding
            if value > 1e-9 * max(now, 1.0) and math.isfinite(value):
                found.append((abs(value - now), float(value), n))
    return min(found)[1:] if found else None


def slopes(answer: ChoiceWeighed) -> Iterator[tuple[str, tuple[Any, FloatArray]]]:
    """Input -> its value now (None: not known; an array: by scope) and money per unit of it."""
    parts, known = answer.parts, answer.known
    rates = mode_rates(answer)
    shape = (len(answer.options), len(answer.all_scopes))
    hours = np.zeros(shape)
    if parts.minutes is not None:
        hours += parts.minutes.mean(axis=-1) / 60
    for mode, rate in rates.items():
        cost = known.costs[mode]
        hours += rate * (cost.minutes / 60 if cost else 0.0)
    if parts.returns is not None and known.comeback:
        hours += parts.returns.mean(axis=-1) * known.comeback.minutes / 60
    yield "labour_rate", (answer.labour_rate, hours)
    for n, option in enumerate(answer.options):
        if answer.counted.choice.endswith("_grade"):
            own = np.zeros(shape)
            own[n] = 1.0
            part = answer.counted.choice.removesuffix("_grade")
            yield f"price {part}:{option}", (answer.used[n], own)
    for mode, rate in rates.items():
        cost = known.costs[mode]
        yield f"cost {mode}", (None if cost is None else cost.money, rate)
