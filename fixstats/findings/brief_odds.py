"""Odds for one device model, with what the other models tell of it; pure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixstats import stats
from fixstats.findings.brief_plan import ByModel
from fixstats.findings.rates_pool import FEWEST
from fixstats.stats.validators import FloatArray

DRAWS = 4000
# Rates from here on are told as so many of a hundred: "about 1 in 2" is too coarse, and so many of
# ten can make an interval of two equal ends.
OFTEN = 0.3
RAREST = 10_000


@dataclass(frozen=True)
class Odds:
    """How likely something is on one model.

    Attributes
    ----------
    rate, low, high
        Partially pooled over the models, with its interval. Where it was never seen on any model:
        0, 0 and ``at_most``. All None without any opportunity.
    one_in
        1 / rate; None where the rate is 0 or not known.
    at_most
        Exact one-sided limit over all models together where it was never seen; else None.
    failures, opportunities, failures_all, opportunities_all
        Of this model; of all models. Beside them the rate can be judged.
    borrowed
        Share of the rate that the other models (and the prior) bring, 0 to 1; None where nothing
        is known.
    """

    rate: float | None
    low: float | None
    high: float | None
    one_in: float | None
    at_most: float | None
    failures: int
    opportunities: int
    failures_all: int
    opportunities_all: int
    borrowed: float | None


def odds_of(by_model: ByModel, model: str, level: float) -> Odds:
    """The odds on ``model``, which may be one that was never seen.

    With opportunities on one model only there is nobody to learn from how models differ: then its
    own Wilson interval stands, wholly borrowed if it is another model.
    """
    failures, opportunities = by_model.get(model, (0, 0))
    every = [sum(pair[n] for pair in by_model.values()) for n in (0, 1)]
    counts = (int(failures), int(opportunities), int(every[0]), int(every[1]))
    if not every[1]:
        return Odds(None, None, None, None, None, *counts, None)
    if not every[0]:
        most = float(stats.at_most(every[1], confidence_level=level))
        return Odds(0.0, 0.0, most, None, most, *counts, 1 - opportunities / every[1])
    if sum(n > 0 for _, n in by_model.values()) < FEWEST:
        own = stats.wilson(*every, confidence_level=level)
        rate = every[0] / every[1]
        borrowed = 0.0 if opportunities else 1.0
        return Odds(rate, float(own.low), float(own.high), 1 / rate, None, *counts, borrowed)
    pooled, _ = _pooled(by_model, model, level)
    rate, low, high, share = (
        float(getattr(pooled, name)[0])
        for name in ("pooled_rate", "pooled_low", "pooled_high", "borrowed")
    )
    return Odds(rate, low, high, 1 / rate, None, *counts, share)


def rate_draws(by_model: ByModel, model: str, *, seed: int, draws: int = DRAWS) -> FloatArray:
    """Posterior draws of the rate on ``model``; zeros where nothing is known of any model.

    Of one model alone: Jeffreys' prior. Where it was never seen the draws are near 0, not at it.
    """
    every = [sum(pair[n] for pair in by_model.values()) for n in (0, 1)]
    if not every[1]:
        return np.zeros(draws)
    if sum(n > 0 for _, n in by_model.values()) < FEWEST:
        random = np.random.default_rng(seed)
        return random.beta(0.5 + every[0], 0.5 + every[1] - every[0], draws)
    pooled, own = _pooled(by_model, model, 0.95)
    drawn: FloatArray = stats.draw_rates(pooled, [own[0]], [own[1]], draws=draws, seed=seed)[0]
    return drawn


def _pooled(
    by_model: ByModel, model: str, level: float
) -> tuple[stats.Pooled, tuple[float, float]]:
    """The pooled rate of one model, and its own counts."""
    # In one order, or the last digits would hang on that of the database.
    counts = dict(sorted({model: (0, 0), **by_model}.items()))
    place = list(counts).index(model)
    failures, opportunities = zip(*counts.values(), strict=True)
    pooled = stats.pool_rate_of(place, failures, opportunities, confidence_level=level)
    return pooled, counts[model]


# ---------------------------------------------------------------- words


def odds_words(odds: Odds) -> str:
    """``about 1 in 32 (1 in 80 to 1 in 15)``; what can be said where it was never seen."""
    if odds.rate is None or odds.low is None or odds.high is None:
        return "not known: nobody looked"
    if odds.at_most is not None:
        return f"none seen, at most {frequency(odds.at_most)}"
    if odds.rate >= OFTEN:
        ends = f"{100 * odds.low:.0f} to {100 * odds.high:.0f}"
        return f"about {100 * odds.rate:.0f} in 100 ({ends})"
    return f"about {frequency(odds.rate)} ({frequency(odds.low)} to {frequency(odds.high)})"


def mostly_borrowed(odds: Odds) -> bool:
    """True where more than half of the rate comes from other models; of none seen, all stand."""
    return odds.at_most is None and (odds.borrowed or 0.0) > 0.5


def frequency(rate: float) -> str:
    """``1 in 32``, ``41 in 100``; two digits say more than the records can hold."""
    if rate >= OFTEN:
        return f"{100 * rate:.0f} in 100"
    if rate * RAREST < 1:
        return f"less than 1 in {RAREST:,}"
    one_in = 1 / rate
    digits = max(len(str(int(one_in))) - 2, 0)
    return f"1 in {round(one_in, -digits):,.0f}"


def seen_words(odds: Odds) -> str:
    """``5 of 193 here, 61 of 2,480 in all``: the counts behind the odds."""
    every = f"{odds.failures_all:,} of {odds.opportunities_all:,} in all"
    return every if not odds.opportunities else f"{_own(odds)} here, {every}"


def counts_words(odds: Odds) -> str:
    """The same in short: of this model, of all where it was never seen or never on any."""
    if odds.at_most is not None or not odds.opportunities:
        return f"{odds.failures_all:,} of {odds.opportunities_all:,} in all"
    return _own(odds)


def _own(odds: Odds) -> str:
    return f"{odds.failures:,} of {odds.opportunities:,}"
