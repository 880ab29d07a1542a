"""What failures and come-backs are expected to add to one job of a repair, in money; pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fixstats.findings.brief_odds import DRAWS, rate_draws
from fixstats.findings.brief_plan import ByModel, Counted, Subject
from fixstats.findings.costing import as_one_event, similar_costs
from fixstats.findings.costs import cost_of
from fixstats.stats.validators import FloatArray
from fixstats.words import counted as count_of
from fixstats.words import listed


def allowance_row(counted: Counted, subject: Subject) -> dict[str, Any]:
    """The allowance with its interval.

    Each failure costs its catalogue minutes at the labour rate and its catalogue money, taken as
    known; a come-back costs the same for its reason. Modes of similar cost are pooled over the
    models as one, as in ``costing``. What has no cost is not counted, and named.
    """
    model, level = subject.model, subject.level
    returns = _returns(counted)
    prices = _prices([*counted.of_repair, *returns], subject)
    failures = _money(counted.of_repair, prices, model, seed=1)
    followed = {m: (0, n) for m, (_, n) in counted.repair.returns.items()}
    comebacks = _money(returns, prices, model, seed=101)
    if not returns:
        comebacks = _unseen(followed, prices, model)
    jobs = counted.repair.jobs
    row: dict[str, Any] = {
        "model": model, "jobs": jobs.get(model, 0), "jobs_all": sum(jobs.values())
    }  # fmt: skip
    parts = {"failures": failures, "comebacks": comebacks, "money": failures + comebacks}
    for name, draws in parts.items():
        low, high = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2])
        figures = {name: draws.mean(), f"{name}_low": low, f"{name}_high": high}
        known = _looked_at(followed) if name == "comebacks" else row["jobs_all"]
        row |= {key: float(value) if known else None for key, value in figures.items()}
    row["not_counted"] = [
        mode
        for mode, by_model in counted.of_repair.items()
        if prices[mode] is None and any(k for k, _ in by_model.values())
    ]
    row["never_looked_for"] = [
        mode for mode, by_model in counted.of_repair.items() if not _looked_at(by_model)
    ]
    row["returns_not_counted"] = int(
        sum(k for reason in returns if prices[reason] is None for k, _ in returns[reason].values())
    )
    row["text"] = _words(row, subject)
    return row


def _returns(counted: Counted) -> dict[str, ByModel]:
    """Reason -> model -> (come-backs, jobs followed)."""
    followed = {model: n for model, (_, n) in counted.repair.returns.items()}
    return {
        reason: {model: (by_model.get(model, 0), n) for model, n in followed.items()}
        for reason, by_model in sorted(counted.repair.reasons.items())
    }


def _prices(names: list[str], subject: Subject) -> dict[str, float | None]:
    modes, rate = subject.catalogue.modes, subject.settings.labour_rate
    return {name: cost_of(modes[name], rate) if name in modes else None for name in names}


def _money(
    events: Mapping[str, ByModel], prices: Mapping[str, float | None], model: str, *, seed: int
) -> FloatArray:
    """Draws of the expected money per job of what can happen to it."""
    costs = {name: price for name in events if (price := prices[name])}
    total = np.zeros(DRAWS)
    for n, names in enumerate(_classes(events, costs)):
        by_model, each = _as_one({name: events[name] for name in names}, costs)
        total += each * rate_draws(by_model, model, seed=seed + n)
    return total


def _unseen(followed: ByModel, prices: Mapping[str, float | None], model: str) -> FloatArray:
    """The same where none was seen: near nothing, at the mean cost, as in `as_one_event`."""
    costs = [price for price in prices.values() if price]
    return rate_draws(followed, model, seed=101) * (np.mean(costs) if costs else 0.0)


def _looked_at(by_model: ByModel) -> float:
    return sum(n for _, n in by_model.values())


def _classes(events: Mapping[str, ByModel], costs: Mapping[str, float]) -> list[tuple[str, ...]]:
    """Events to be pooled as one: of similar cost, and looked for on most of the jobs.

    One that few could know of stands by itself: together, its few would count for all.
    """
    most = max((_looked_at(events[name]) for name in costs), default=0)
    seldom = [name for name in costs if 2 * _looked_at(events[name]) < most]
    often = {name: cost for name, cost in costs.items() if name not in seldom}
    return [*similar_costs(often), *((name,) for name in seldom)]


def _as_one(
    events: Mapping[str, ByModel], costs: Mapping[str, float]
) -> tuple[dict[str, tuple[float, float]], float]:
    """Events of similar cost as one: equivalent failures of each model, and the money of each.

    Where one was looked for on fewer jobs than another, the fewest count for both.
    """
    models = sorted({model for by_model in events.values() for model in by_model})
    if not models:
        return {}, 0.0
    pairs = np.array([[by.get(m, (0, 0)) for by in events.values()] for m in models], dtype=float)
    failures, units = pairs[..., 0], pairs[..., 1]
    fewest = units.min(axis=1)
    scaled = failures * fewest[:, None] / np.maximum(units, 1.0)
    equivalent, each = as_one_event(scaled, [costs[name] for name in events])
    # A job may have several failures: a rate above 1 is cut off there.
    most = np.maximum(fewest, equivalent)
    return dict(
        zip(models, zip(equivalent.tolist(), most.tolist(), strict=True), strict=True)
    ), each


def _words(row: Mapping[str, Any], subject: Subject) -> str:
    """The allowance in a sentence, with what it leaves out."""
    if row["money"] is None:
        return "no job of this repair is recorded: no allowance can be given"
    currency = subject.settings.currency

    def ends(name: str) -> str:
        low, high = f"{row[f'{name}_low']:,.2f}", f"{row[f'{name}_high']:,.2f}"
        return f"{row[name]:,.2f} {currency} ({low} to {high})"

    days = subject.settings.warranty_days
    both = f"{ends('failures')} at the bench, "
    both += (
        f"come-backs not known, since no job was followed for {days} days yet"
        if row["comebacks"] is None
        else f"{ends('comebacks')} for come-backs"
    )
    text = (
        f"failures and come-backs are expected to add {ends('money')} to a job as done so far: "
        f"{both}; at the catalogue's costs, from {count_of(row['jobs'], 'job')} of this model, "
        f"{row['jobs_all']:,} in all"
    )
    missing = [subject.catalogue.label(code) for code in row["not_counted"]]
    if missing:
        text += f"; not counted, for want of a cost: {listed(missing)}"
    unknown = [subject.catalogue.label(code) for code in row["never_looked_for"]]
    if unknown:
        text += f"; not known of any job, and not counted: {listed(unknown)}"
    if row["returns_not_counted"]:
        text += f"; {count_of(row['returns_not_counted'], 'come-back')} without a reason or cost"
        text += " not counted"
    return text
