"""Shares of devices that came back, their tests and costs, from an at-risk table; pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixstats import stats
from fixstats.stats.validators import FloatArray
from fixstats.tallies.followups import NOT_STATED, UNRELATED, Leaving

ANY = "any"
# With fewer still followed, the curve says little of that day: no rate is given.
FEW = 10
# Groups beyond which they are not tested against each other, and a measure of that work.
MOST_GROUPS, MOST_WORK = 1_000, 5e9

Group = tuple[Any, ...]


@dataclass(frozen=True)
class Followed:
    """An at-risk table with the names of its axes: `table.n_events` is (reasons, groups, days)."""

    groups: tuple[Group, ...]
    reasons: tuple[str, ...]
    table: stats.AtRisk

    @property
    def jobs(self) -> FloatArray:
        """Jobs of each group: those followed when its first day began."""
        at = self.table.n_at_risk
        jobs: FloatArray = at[:, 0] if at.shape[1] else np.zeros(len(self.groups))
        return jobs

    @property
    def together(self) -> Followed:
        """All groups as one, with an empty name."""
        one = self.table.pooled()
        table = stats.AtRisk(
            one.day, one.n_at_risk[None], one.n_events[:, None], one.n_censored[None]
        )
        return Followed(((),), self.reasons, table)

    def picked(self, places: Sequence[int]) -> Followed:
        """These groups only."""
        one = self.table
        table = stats.AtRisk(
            one.day, one.n_at_risk[places], one.n_events[:, places], one.n_censored[places]
        )
        return Followed(tuple(self.groups[n] for n in places), self.reasons, table)

    def of(self, reason: str) -> stats.AtRisk:
        """The table with two reasons: a come-back for this one, and a return for any other."""
        wanted = [(r != UNRELATED) if reason == ANY else (r == reason) for r in self.reasons]
        own = self.table.n_events[np.array(wanted, dtype=bool)].sum(axis=0)
        table = self.table
        both = np.stack([own, table.events - own])
        return stats.AtRisk(table.day, table.n_at_risk, both, table.n_censored)

    def returns(self, reason: str) -> FloatArray:
        """Come-backs of each group for this reason."""
        total: FloatArray = self.of(reason).n_events[0].sum(axis=-1)
        return total


def followed_of(leaving: Leaving, keep: Callable[[Group], bool]) -> Followed:
    """The tally's rows of the groups to keep, on one grid of days; groups by name, null last."""
    names = list(zip(*leaving.keys.values(), strict=True)) or [()] * len(leaving.day)
    groups = sorted({name for name in set(names) if keep(name)}, key=_by_name)
    place = {name: number for number, name in enumerate(groups)}
    own = np.array([place.get(name, -1) for name in names], dtype=np.int64)
    rows = np.flatnonzero(own >= 0)
    reasons = sorted({one for one in leaving.reason if one is not None})
    code = {None: -1} | {one: number for number, one in enumerate(reasons)}
    reason = np.array([code[one] for one in leaving.reason], dtype=np.int64)[rows]
    group = own[rows]
    day, jobs, at_risk = (
        np.asarray(column, dtype=np.float64)[rows]
        for column in (leaving.day, leaving.jobs, leaving.at_risk)
    )
    if not len(rows):
        nothing = np.zeros((len(groups), 0))
        return Followed((), tuple(reasons), stats.AtRisk(np.zeros(0), nothing, nothing[None][:0],
                                                         nothing))  # fmt: skip
    both = np.stack([group, day.astype(np.int64)])
    spots, first, spot = np.unique(both, axis=1, return_index=True, return_inverse=True)
    spot = spot.ravel()
    counts = np.zeros((len(reasons) + 1, spots.shape[1]))
    counts[reason, spot] = jobs  # -1, the last row: follow-up ended without a return
    table = stats.at_risk(
        spots[1], at_risk[first], counts[:-1] if reasons else np.zeros((1, spots.shape[1])),
        counts[-1], groups=spots[0], n_groups=len(groups),
    )  # fmt: skip
    return Followed(tuple(groups), tuple(reasons) or (NOT_STATED,), table)


def _by_name(group: Group) -> list[tuple[bool, str]]:
    return [(value is None, str(value)) for value in group]


def figures(
    followed: Followed, reason: str, days: Sequence[float], level: float
) -> list[list[dict[str, Any]]]:
    """The figures of each group by each of the days; no tests yet, see `test_of`."""
    table = followed.of(reason)
    curve = stats.aalen_johansen(table, days=days, confidence_level=level)
    returns = np.cumsum(table.with_days(days).n_events[0], axis=-1)
    returns = returns[:, table.with_days(days).rows(days)]
    told = curve.n_at_risk >= FEW
    rate, low, high = (
        np.where(told, one[0], np.nan) for one in (curve.rate, curve.low, curve.high)
    )
    return [
        [
            {
                "jobs": int(jobs),
                "returns": int(returns[g, d]),
                "n_at_risk": int(curve.n_at_risk[g, d]),
                "days": int(day),
                "rate": plain(rate[g, d]),
                "low": plain(low[g, d]),
                "high": plain(high[g, d]),
            }
            for d, day in enumerate(days)
        ]
        for g, jobs in enumerate(followed.jobs)
    ]


def plain(value: Any) -> float | None:
    """A float, None where there is no finite value."""
    return float(value) if np.isfinite(value) else None


@dataclass(frozen=True)
class Test:
    """All groups at once, and each against the rest: log-rank for any reason, Gray for one."""

    name: str
    statistic: float
    degrees: int
    p_value: float
    group_p: FloatArray


def too_many(followed: Followed, reason: str) -> bool:
    """Whether a test of these groups against each other would take more than some seconds.

    Both tests need the covariance of all groups; Gray's adds one such matrix a group and day.
    """
    groups, days = followed.table.n_at_risk.shape
    return groups > MOST_GROUPS or (reason != ANY and groups**3 * days > MOST_WORK)


def test_of(followed: Followed, reason: str) -> Test | None:
    """Do the groups differ? None where there are not two, or too many, or nothing can tell.

    Nothing tells where nobody came back, or where on each day with a come-back either one group
    only was still followed or all who were came back: no day expects less of one than of another.
    """
    table = followed.of(reason)
    if len(followed.groups) < 2 or too_many(followed, reason) or not table.n_events[0].any():
        return None
    if reason == ANY:
        name, found = "log-rank test", stats.log_rank(table.only(0))
    else:
        name, found = "Gray's test", stats.gray_test(table, 0)
    if not np.isfinite(found.statistic):
        return None
    return Test(name, found.statistic, found.degrees_of_freedom, found.p_value, found.group_p_value)


def corrected(p_values: FloatArray) -> FloatArray:
    """All tests of one answer corrected together (Holm); NaN stays NaN."""
    answer = np.full(p_values.shape, np.nan)
    finite = np.isfinite(p_values)
    if finite.any():
        answer[finite] = stats.holm(p_values[finite])
    return answer


def costs_of(
    followed: Followed, reason: str, day: float, prices: Mapping[str, float | None], level: float
) -> list[dict[str, Any]]:
    """Cost of come-backs per 100 jobs of each group; None where too few were followed so far.

    Where no come-back with a price was seen the cost so far is 0 without limits: how dear the first
    one will be is not known, and 0 to 0 would say that there is none.

    `prices`: cost of one come-back by reason, None where the catalogue has none: those are left
    out and counted in `without_cost`. Costs are taken as known.
    """
    asked = [r for r in followed.reasons if r != UNRELATED and reason in (ANY, r)]
    price = [prices.get(r) or 0.0 if r in asked else 0.0 for r in followed.reasons]
    found = stats.mean_cost(followed.table, price, day, confidence_level=level)
    told = stats.n_at_risk_at(followed.table, [day])[:, 0] >= FEW
    limited = told & (found.mean > 0)
    unpriced = [r in asked and prices.get(r) is None for r in followed.reasons]
    missing = followed.table.n_events[np.array(unpriced, dtype=bool)].sum(axis=(0, 2))
    ends = [
        np.where(known, 100 * one, np.nan)
        for known, one in ((told, found.mean), (limited, found.low), (limited, found.high))
    ]
    return [
        {
            "cost_per_100": plain(ends[0][g]),
            "cost_low": plain(ends[1][g]),
            "cost_high": plain(ends[2][g]),
            "without_cost": int(missing[g]),
        }
        for g in range(len(followed.groups))
    ]


def steps_of(followed: Followed, reason: str, last: int) -> list[float]:
    """Days on which any group's curve rises, on which it can last be told, and the last day."""
    table = followed.of(reason)
    rises = table.day[table.n_events[0].any(axis=0)]
    told = [table.day[at >= FEW].max(initial=0.0) for at in table.n_at_risk]
    return sorted({*rises.tolist(), *map(float, told), float(last)})
