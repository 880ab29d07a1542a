"""What one failure costs, and what a job of each option uses; pure.

Money is counted once. A failure has the cost of the catalogue, or what the sheets say it cost;
minutes are those of jobs without such a failure; a rescue's consumables and spare parts belong to
what its failure costs, so an option uses what its first try or its first piece uses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixstats.findings.costs import cost_of
from fixstats.folder import Catalogue, FailureMode
from fixstats.folder.catalogue import Price
from fixstats.stats.validators import FloatArray

Columns = Mapping[str, Sequence[Any]]
PriceOf = Mapping[tuple[str, str], float]


@dataclass(frozen=True)
class EachCost:
    """Money for one failure: `money`, of which `minutes` are paid at the labour rate."""

    money: float
    minutes: float


def costs_each(
    modes: Sequence[FailureMode],
    labour_rate: float,
    recorded: Columns,
    changed: Mapping[str, float],
) -> dict[str, EachCost | None]:
    """Money for one failure of each mode; None where nobody has said.

    ``recorded``: jobs on which a mode was the only failure, those of them with a recorded
    failure_cost, and the sum of these, as ``queries/tallies/decide_failure_costs.sql``. A recorded
    cost is all that the failure cost, minutes included; jobs without one cost what the catalogue
    says. ``changed``: what if, money by mode.
    """
    stated = {
        mode: (jobs, known, money)
        for mode, jobs, known, money in zip(
            *(recorded.get(name, ()) for name in ("mode", "jobs", "stated", "money")), strict=True
        )
        if known
    }
    found: dict[str, EachCost | None] = {}
    for mode in modes:
        listed = cost_of(mode, labour_rate)
        own = None if listed is None else EachCost(listed, mode.cost_minutes or 0.0)
        if mode.code in stated:
            jobs, known, money = stated[mode.code]
            share = known / jobs if own else 1.0
            rest = (1 - share) * own.money if own else 0.0
            minutes = (1 - share) * own.minutes if own else 0.0
            own = EachCost(share * money / known + rest, minutes)
        if mode.code in changed:
            own = EachCost(changed[mode.code], 0.0)
        found[mode.code] = own
    return found


def used_by_methods(
    options: Sequence[str], models: Sequence[str], catalogue: Catalogue, step: str
) -> FloatArray:
    """Consumables of each method of a step, (options, models)."""
    money = {one.code: one.consumables for one in catalogue.methods if one.step == step}
    each = np.array([money.get(option, 0.0) for option in options])
    return np.repeat(each[:, None], len(models), axis=1)


def used_by_pieces(
    options: Sequence[str],
    models: Sequence[str],
    paid: Columns,
    price_of: Mapping[tuple[str, str], float],
    changed: Mapping[str, float],
    *,
    by_grade: bool,
) -> FloatArray:
    """Money for the first piece of each option, (options, models); NaN where nobody has said.

    ``paid``: by option, model and grade, as ``queries/tallies/decide_paid.sql``. A piece without a
    recorded cost costs the mean of those of its option, model and grade, else what its grade costs
    on that model by the catalogue (``price_of``: by grade and model). ``changed``: what if, money
    by grade. An option that a model never had costs its grade's price there, where options are
    grades (``by_grade``); else what it costs elsewhere beside the others (``filled``).
    """
    money = np.zeros((len(options), len(models)))
    pieces = np.zeros(money.shape)
    own_option = {option: n for n, option in enumerate(options)}
    own_model = {model: n for n, model in enumerate(models)}
    names = ("option", "model", "grade", "pieces", "paid", "money")
    for option, model, grade, number, known, total in zip(
        *(paid.get(name, ()) for name in names), strict=True
    ):
        each = changed.get(grade)
        if each is None:
            each = total / known if known else price_of.get((grade, model))
        if each is not None:
            place = own_option[option], own_model[model]
            money[place] += number * each
            pieces[place] += number
    with np.errstate(invalid="ignore"):
        table = money / pieces
    for o, option in enumerate(options if by_grade else ()):
        for m, model in enumerate(models):
            if np.isnan(table[o, m]):
                table[o, m] = changed.get(option, price_of.get((option, model), np.nan))
    return filled(table)


def filled(table: FloatArray) -> FloatArray:
    """Money that is not known (NaN), as the other rows and columns suggest: row times column.

    Least squares of the logarithms where all are above 0, else of the money itself. A row that
    is known nowhere stays NaN.
    """
    known = ~np.isnan(table)
    if known.all() or not known.any():
        return table
    logs = bool((table[known] > 0).all())
    rows, columns = np.nonzero(known)
    wide = np.zeros((len(rows), sum(table.shape)))
    wide[np.arange(len(rows)), rows] = 1
    wide[np.arange(len(rows)), table.shape[0] + columns] = 1
    y = np.log(table[known]) if logs else table[known]
    effects = np.linalg.lstsq(wide, y, rcond=None)[0]
    both = effects[: table.shape[0], None] + effects[table.shape[0] :]
    guess = np.exp(both) if logs else both
    row, column = known.any(axis=1, keepdims=True), known.any(axis=0, keepdims=True)
    seen, alone = row & column, row & ~column
    answer = np.where(known, table, np.where(seen, guess, np.nan))
    with np.errstate(invalid="ignore"):
        of_row = np.nansum(table, axis=1) / np.maximum(known.sum(axis=1), 1)
    return np.where(alone, of_row[:, None], answer)


def prices_on(
    prices: Sequence[Price], part: str, models: Sequence[str], day: Any
) -> dict[tuple[str, str], float]:
    """Price of each grade on each model on that day: the model's own, else that for all."""
    found: dict[tuple[str, str], float] = {}
    valid = [one for one in prices if one.part == part and one.since <= day]
    for own in (False, True):
        for one in sorted(valid, key=lambda price: price.since):
            if (one.model is not None) == own:
                for model in models:
                    if one.model in (None, model):
                        found[one.grade, model] = one.money
    return found
