"""Technicians, suppliers and lots against the shop: failures and come-backs, like for like.

Each is compared with alike jobs of the whole shop in the watched time: of the same device model and
quarter and, for parts, the same grade. Of all failures of alike jobs, as many would fall to the
group as its share of these jobs makes one expect; given all of them together the number is
binomial. What drifts for everybody thus accuses nobody.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fixstats import stats
from fixstats.findings.watch_figures import FALSE_SHARE, Floats
from fixstats.tallies.watch import Columns, Group

# Chart, key of the group, mode and value: what is out, told apart from all others.
Key = tuple[str, str, str | None, str]
# From so many groups on their usual differences can be told from chance.
ENOUGH_GROUPS = 10
ANY = "any"


@dataclass(frozen=True)
class Compared:
    """One kind of group and mode or reason a chart; arrays over the rows.

    ``chart``: ``funnel`` or ``comebacks``. ``shared``: failures of all alike jobs. ``own_part``:
    of the expected failures, what the group's own make one expect. ``ratio``: how much more groups
    always differ than chance takes them, at least 1.
    """

    chart: str
    group: Group
    mode: list[str | None]
    value: list[str]
    failures: Floats
    opportunities: Floats
    expected: Floats
    shared: Floats
    own_part: Floats
    ratio: Floats
    p_value: Floats
    p_corrected: Floats


def compare(chart: str, group: Group, counted: Columns) -> Compared:
    """p-values of each value of a group, each for itself."""
    name = "mode" if chart == "funnel" else "reason"
    names = counted[name]
    failures, opportunities, expected, shared, own_part = (
        np.asarray(counted[one], dtype=float)
        for one in ("failures", "opportunities", "expected", "shared", "own_part")
    )
    ratio = np.ones(len(names))
    for one in dict.fromkeys(names):
        own = np.array([other == one for other in names]) & (shared > 0)
        if own.sum() >= ENOUGH_GROUPS:
            spread = stats.dispersion(failures[own], shared[own], expected[own] / shared[own])
            ratio[own] = spread.ratio if np.isfinite(spread.ratio) else 1.0
    p_value = stats.expected_p_values(
        failures, np.maximum(shared, 1.0), np.minimum(expected, np.maximum(shared, 1.0)),
        alternative="more", ratio=ratio,
    ) if names else np.empty(0)  # fmt: skip
    return Compared(
        chart=chart,
        group=group,
        mode=[None if one == ANY else one for one in names],
        value=[str(one) for one in counted["value"]],
        failures=failures,
        opportunities=opportunities,
        expected=expected,
        shared=shared,
        own_part=own_part,
        ratio=ratio,
        p_value=np.asarray(p_value, dtype=float),
        p_corrected=np.ones(len(names)),
    )


def corrected(all_compared: Sequence[Compared]) -> list[Compared]:
    """The same, corrected over all of them in which anything failed at all."""
    judged = [one.shared > 0 for one in all_compared]
    p_values = [one.p_value[there] for one, there in zip(all_compared, judged, strict=True)]
    found = stats.benjamini_hochberg(np.concatenate(p_values)) if p_values else np.empty(0)
    answer, begin = [], 0
    for one, there in zip(all_compared, judged, strict=True):
        p_corrected = np.ones(len(there))
        p_corrected[there] = found[begin : begin + int(there.sum())]
        begin += int(there.sum())
        answer.append(replace(one, p_corrected=p_corrected))
    return answer


def false_alarms(all_compared: Sequence[Compared]) -> float:
    """Alarms that each comparison adds to a run in which nothing is out.

    The number of all follows, for many independent comparisons, the law of Borel and Tanner with
    mean q / (1 - q)^2 (Finner and Roters 2002, Ann Stat 30:220-238); counts that are whole numbers
    make it smaller.
    """
    judged = sum(int((one.shared > 0).sum()) for one in all_compared)
    return FALSE_SHARE / (1 - FALSE_SHARE) ** 2 / judged if judged else 0.0


def alarms_of(compared: Compared) -> list[int]:
    """Rows that are out."""
    return np.flatnonzero((compared.p_corrected <= FALSE_SHARE) & (compared.failures > 0)).tolist()


def key_of(compared: Compared, n: int) -> Key:
    """Of one row: one supplier can be out with two parts, and a lot by failures and come-backs."""
    return compared.chart, compared.group.key, compared.mode[n], compared.value[n]


def awaited_of(compared: Compared) -> Floats:
    """Failures, had the group done like the alike jobs of others.

    Mantel and Haenszel's ratio to the others: where they are few, a group's own failures are most
    of what it was compared with. Without failures of its own the ratio is taken over all alike jobs
    together.
    """
    k, expected, own = compared.failures, compared.expected, compared.own_part
    some, shared = k > 0, compared.shared
    above = np.where(some, k * (expected - own), shared * expected)
    below = np.where(some, k - own, shared - expected)
    there = below > 1e-9  # else nobody else was there to fail
    return np.asarray(np.where(there, above / np.where(there, below, 1.0), expected))


def _beside_others(limit: Floats, compared: Compared) -> Floats:
    """Failures beside those of the others that make up a share ``limit`` of all; inf: all."""
    others = compared.shared - compared.failures
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(limit >= 1, np.inf, others * limit / (1 - limit))


def group_rows(
    compared: Compared, each_false: float, period: str, since: Mapping[Key, str]
) -> list[dict[str, Any]]:
    """A row for each value; limits of a single comparison, for the eye."""
    shared = np.maximum(compared.shared, 1.0)
    share = np.minimum(compared.expected / shared, 1.0)
    limits = stats.funnel_limits(share, shared, ratio=compared.ratio)
    lower, upper = (
        _beside_others(one, compared) for one in (limits.lower_limit, limits.upper_limit)
    )
    jobs, awaited = compared.opportunities, awaited_of(compared)
    out = set(alarms_of(compared))
    return [
        {
            "chart": compared.chart,
            "mode": mode,
            "family": None,
            "group": compared.group.key,
            "value_of_group": value,
            "period": period,
            "failures": int(compared.failures[n]),
            "opportunities": int(jobs[n]),
            "value": float(compared.failures[n] / jobs[n]),
            "centre": min(float(awaited[n] / jobs[n]), 1.0),
            "lower_limit": min(float(lower[n] / jobs[n]), 1.0),
            "upper_limit": min(float(upper[n] / jobs[n]), 1.0),
            "alarm": n in out,
            "since": since.get(key_of(compared, n)) if n in out else None,
            "expected_false": each_false if compared.shared[n] > 0 else 0.0,
        }
        for n, (mode, value) in enumerate(zip(compared.mode, compared.value, strict=True))
    ]
