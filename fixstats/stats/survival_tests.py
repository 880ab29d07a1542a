"""Tests between groups followed in time: do they have events at the same rate?

Tables as in `survival_table`, with groups, (groups, days), or within strata, (strata, groups,
days): a group is then compared with the others of its stratum only, and the strata are added up.
"""

from dataclasses import dataclass

import numpy as np

from fixstats.stats.survival import event_free
from fixstats.stats.survival_table import AtRisk
from fixstats.stats.validators import FloatArray


@dataclass(frozen=True)
class CurveTest:
    """A chi-squared test of all groups at once, and of each group against the others.

    `statistic`, `p_value`: NaN with no `degrees_of_freedom`, where no two groups can be compared.
    By group: `score` (observed less expected events, weighted in Gray's test), its `covariance`
    (groups, groups), and the `group_p_value` of that score alone, NaN where it cannot vary. The
    group's own test has one degree of freedom; several groups' p-values need a correction.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float
    score: FloatArray
    covariance: FloatArray
    group_p_value: FloatArray


def log_rank(table: AtRisk) -> CurveTest:
    """Log-rank test: observed against expected events of any reason, as if all were one group.

    Tied events are exact: each day's events are drawn from those at risk without replacement
    (hypergeometric variance). `table.only(reason)` compares the hazard of one reason; for the
    share with an event of one reason among several use `gray_test`. `group_p_value` is that of the
    two-group test of a group against all others pooled within each stratum.

    Raises `ValueError` for a table without groups.
    Sources: Mantel 1966, Cancer Chemother Rep 50:163-170; Peto and Peto 1972, J R Stat Soc A
    135:185-207; Kalbfleisch and Prentice 1980 for strata.
    """
    n, d = _by_stratum(table.n_at_risk), _by_stratum(table.events)
    at, events = n.sum(axis=1, keepdims=True), d.sum(axis=1, keepdims=True)
    share = n / np.where(at > 0, at, 1.0)
    score = np.sum(d - share * events, axis=(0, 2))
    spread = events * (at - events) / np.where(at > 1, at - 1, 1.0)
    covariance = -np.einsum("sgd,shd->gh", share * spread, share)
    # Written so that a group without anybody to compare with has a variance of exactly 0.
    np.fill_diagonal(covariance, np.sum(share * (1 - share) * spread, axis=(0, 2)))
    return _test(score, covariance)


def gray_test(table: AtRisk, reason: int = 0) -> CurveTest:
    """Gray's test: is the cumulative incidence of one reason the same in all groups?

    It compares subdistribution hazards: units with an event of another reason stay in, with the
    chance that they would still be watched. `group_p_value` is that of the group's own score.

    Raises `ValueError` for a table without groups and for a reason that is not there.
    Source: Gray 1988, Ann Stat 16:1141-1154, with rho = 0 and the variance of its section 3 (as in
    its author's program, with the same factor for ties).
    """
    event = table.n_events[table.known(reason)]
    own, others = _by_stratum(event), _by_stratum(table.events - event)
    at, free = _by_stratum(table.n_at_risk), _by_stratum(event_free(table))
    groups = at.shape[1]
    score, covariance = np.zeros(groups), np.zeros((groups, groups))
    for stratum in zip(at, own, others, free, strict=True):
        one_score, one_covariance = _gray_stratum(*stratum)
        score, covariance = score + one_score, covariance + one_covariance
    return _test(score, covariance)


def _gray_stratum(
    at: FloatArray, own: FloatArray, others: FloatArray, free: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Score and covariance of one stratum; all arrays (groups, days). `h` as in the paper."""
    groups, days = at.shape
    if days == 0:
        return np.zeros(groups), np.zeros((groups, groups))
    present = at > 0
    n = np.where(present, at, 1.0)
    before = np.where(present, _shifted(free, 1.0), 1.0)
    incidence = np.cumsum(before * own / n, axis=1)
    h = np.where(present, at / before, 0.0)
    events, all_h = own.sum(axis=0), _positive(h.sum(axis=0))
    risk = h * (1 - _shifted(incidence, 0.0))
    score = np.sum(own - events * risk / _positive(risk.sum(axis=0)), axis=1)

    pooled = np.cumsum(events / all_h)
    step = events / (all_h * _positive(1 - _shifted(pooled, 0.0)))
    left = np.where(free > 0, (1 - pooled) / _positive(free), 0.0)
    own_spread = _drawn(events, all_h * before) / (all_h * _positive(h)) * present
    others_spread = _drawn(others, at) / _positive(h) ** 2
    covariance = np.zeros((groups, groups))
    for k in range(groups):
        # What an event in group k does to all scores: at once, and to what comes later. The later
        # part is that of the event's reason through the pooled curve, and of any event through
        # the event-free share of the group, which carries its weights.
        at_once = (np.eye(groups)[:, k, None] - h / all_h) * h[k]
        so_far = np.cumsum(at_once * step, axis=1)
        later = so_far[:, -1:] - so_far
        of_own = at_once + (1 - left[k]) * later
        of_others = left[k] * later
        covariance += (of_own * own_spread[k]) @ of_own.T
        covariance += (of_others * others_spread[k]) @ of_others.T
    return score, covariance


def _drawn(events: FloatArray, among: FloatArray) -> FloatArray:
    """Variance of several events of a day over one alone: drawn without replacement."""
    several = events > 1
    factor = 1 - (events - 1) / np.where(several & (among > 1), among - 1, np.inf)
    return events * np.maximum(factor, 0.0)


def _shifted(values: FloatArray, first: float) -> FloatArray:
    """The value before each day, `first` before all."""
    start = np.full((*values.shape[:-1], 1), first)
    shifted: FloatArray = np.concatenate([start, values[..., :-1]], axis=-1)
    return shifted


def _positive(values: FloatArray) -> FloatArray:
    """Something to divide by where what is divided is 0 too."""
    return np.where(values > 0, values, 1.0)


def _by_stratum(values: FloatArray) -> FloatArray:
    """(strata, groups, days), one stratum where none were named."""
    if values.ndim < 2:
        raise ValueError("a test between groups needs a table with groups, got one without")
    return values[None] if values.ndim == 2 else values


def _test(score: FloatArray, covariance: FloatArray) -> CurveTest:
    from scipy import special

    variance = np.diag(covariance)
    varies = variance > 0
    scale = np.sqrt(np.where(varies, variance, 1.0))
    # Scores add up to 0 within each set of groups that were at risk together: the covariance has
    # one rank less for each set. In units of standard deviations the zeros show themselves.
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    ranked = values > 1e-9
    along = (score / scale) @ vectors
    degrees = int(ranked.sum())
    statistic = float(np.sum(along[ranked] ** 2 / values[ranked])) if degrees else np.nan
    each = np.where(varies, score / scale, np.nan) ** 2
    return CurveTest(
        statistic=statistic,
        degrees_of_freedom=degrees,
        p_value=float(special.chdtrc(max(degrees, 1), statistic)),
        score=score,
        covariance=covariance,
        group_p_value=special.chdtrc(1, each),
    )
