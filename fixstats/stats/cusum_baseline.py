"""False alarms of a CUSUM whose expected risks were estimated from a baseline.

The run lengths of `cusum_run_length` take the expected risks as known. Where they rest on few
failures the true rate may well lie above them; then the sum climbs although nothing has changed,
and false alarms are more frequent than computed. Averaged over the rates that the baseline leaves
possible, the chance is the honest one.

Source of the concern: Jones and Steiner 2012, Int J Qual Health Care 24:176-182 (effect of an
estimated risk model on the risk-adjusted CUSUM; cited from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.cusum_run_length import (
    STATES_OF_MANY_JOBS,
    false_alarm_probability,
    score_mix,
)
from fixstats.stats.validators import FloatArray, as_counts, as_numbers, as_rates, refuse

PARTS = 9


def baseline_odds(
    failures: ArrayLike, opportunities: ArrayLike, rate: ArrayLike, *, parts: int = PARTS
) -> FloatArray:
    """Odds of equally likely true rates, relative to the odds of the `rate` in use.

    After `failures` of `opportunities` in the baseline: quantiles of the Jeffreys posterior of the
    rate, at the middles of `parts` equal parts. Any shape, a last axis of `parts` added. All near 1
    where the baseline is large and `rate` its own. `rate`: strictly between 0 and 1; a baseline
    without failure needs another one than its own, (failures + 1/2) / (opportunities + 1) say.

    NaN without opportunities. Raises `ValueError` for counts that cannot be, a rate not between 0
    and 1 and fewer than one part.
    """
    from scipy import special

    k, n = as_counts(failures, opportunities)
    used = as_rates("rate", rate)
    refuse("rate", "must lie strictly between 0 and 1", used, ~((used > 0) & (used < 1)))
    if parts < 1:
        raise ValueError(f"parts must be at least 1, got {parts}")
    k, n, used = (one[..., None] for one in np.broadcast_arrays(k, n, used))
    middles = (np.arange(parts) + 0.5) / parts
    true = special.betaincinv(k + 0.5, n - k + 0.5, middles)
    odds = true / (1 - true) * (1 - used) / used
    return np.where(n > 0, odds, np.nan)


def uncertain_false_alarm_probability(
    risks: ArrayLike,
    weights: ArrayLike | None,
    threshold: float,
    n_jobs: ArrayLike,
    odds: ArrayLike,
    *,
    odds_ratio: float = 2.0,
    states: int = STATES_OF_MANY_JOBS,
) -> FloatArray:
    """Chance of a false alarm within `n_jobs`, averaged over the odds that may be the true ones.

    `risks`, `weights`, `odds_ratio` as in `score_mix`, `threshold`, `n_jobs` as in
    `false_alarm_probability`, `odds`: (parts,), from `baseline_odds`. Answers in the shape of
    `n_jobs`. For many jobs it does not fall with a higher threshold as fast as it would with known
    risks: a shop whose true rate is above its baseline's is told so sooner or later.

    Raises `ValueError` as those two do, and for odds that are not a vector.
    """
    possible = as_numbers("odds", odds)
    if possible.ndim != 1 or len(possible) == 0:
        raise ValueError(f"odds must be a vector, got shape {possible.shape}")
    chances = [
        false_alarm_probability(
            score_mix(risks, weights, odds_ratio=odds_ratio, true_odds_ratio=float(one)),
            threshold,
            n_jobs,
            states=states,
        )
        for one in possible
    ]
    return np.asarray(np.mean(chances, axis=0))[()]
