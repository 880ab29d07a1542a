"""How well anybody could choose in these workshops: by knowing all but what the options do.

Technicians, models, drift and learning are known exactly, and how far options typically differ.
Only what each option does on each model, to all failures, to minutes and to come-backs, is taken
from the records, drawn towards nothing.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from . import decision_shops as shops

# Sds of what options do where the best differs by model: log odds, log minutes, log come-backs.
FAILURES, MINUTES, RETURNS = 0.45, 0.06, 0.3
STEPS = 30


def best_known(shop: shops.Shop) -> np.ndarray:
    """The option that such a person picks for each model, (models,)."""
    kind = shop.kind
    costs = np.full((kind.options, kind.models), np.inf)
    for model in range(kind.models):
        mine = shop.model == model
        for option in np.flatnonzero(shop.used):
            costs[option, model] = _cost(shop, mine, mine & (shop.option == option), option)
    return costs.argmin(axis=0)


def _cost(shop, mine, own, option):
    """Expected money per job of one model with an option, from the jobs of it with that option."""
    odds, minutes, returns = shop.plain
    may = [not mode.safety for mode in shops.MODES]
    worse = _by_newton(
        shop.failed[own][:, may].sum(), lambda x: special.expit(odds[own][:, may] + x), FAILURES
    )
    back = 1 - np.exp(-np.exp(returns) * np.minimum(shops.DAYS - shop.day, shops.WARRANTY))
    came = (shop.returned <= shops.WARRANTY) & (shop.day + shop.returned <= shops.DAYS)
    oftener = _by_newton(came[own].sum(), lambda x: back[own] * np.exp(x), RETURNS, poisson=True)
    alone = shop.minutes - shop.failed @ np.array([mode.minutes for mode in shops.MODES])
    variance = np.log1p(shops.CV**2)
    off = np.log(np.maximum(alone[own], 0.1)) - minutes[own] + variance / 2
    slower = off.sum() / (own.sum() + variance / MINUTES**2)
    failing = special.expit(odds[mine] + worse * np.array(may)) @ shops.COSTS
    return (
        shop.kind.consumables[option]
        + np.exp(minutes[mine]).mean() * np.exp(slower) * shops.LABOUR / 60
        + failing.mean()
        + shops.RETURN.cost * shops.RETURN.rate * np.exp(oftener)
    )


def _by_newton(seen, expected, sd, *, poisson=False):
    """The likeliest change on the log scale, drawn towards 0 by a normal prior."""
    change = 0.0
    for _ in range(STEPS):
        mean = expected(change)
        variance = mean if poisson else mean * (1 - mean)
        change += (seen - mean.sum() - change / sd**2) / (variance.sum() + 1 / sd**2)
    return change
