"""Rows of come-backs for one reason after another: by group, by day, and of all jobs; pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixstats.findings.comebacks_figures import (
    Followed,
    Test,
    corrected,
    costs_of,
    figures,
    plain,
    steps_of,
    test_of,
)
from fixstats.findings.comebacks_plan import ComebacksAsk
from fixstats.stats.validators import FloatArray

# Groups whose curves are kept for the picture: those that differ from the rest and have a rate,
# then those with the most jobs.
MOST_DRAWN = 6
# Days between the numbers at risk under a picture; the first that leaves few enough.
TICKS = (1, 5, 10, 15, 30, 60, 90, 180, 365, 730)
MOST_TICKS = 7


@dataclass(frozen=True)
class Answer:
    """One reason.

    ``rows``: a row a group; ``steps``: a row for each day on which a group's share rises, and the
    last; ``overall``: all groups as one, with costs; ``costs``: of come-backs per 100 jobs, a row
    a group; ``curve``, ``numbers``: steps, and numbers at risk on even days, of the groups that
    a picture shows.
    """

    reason: str
    rows: list[dict[str, Any]]
    steps: list[dict[str, Any]]
    overall: dict[str, Any]
    test: Test | None
    costs: list[dict[str, Any]]
    curve: list[dict[str, Any]]
    numbers: list[dict[str, Any]]


def answers_of(
    followed: Followed,
    names: Sequence[str],
    ask: ComebacksAsk,
    prices: Mapping[str, float | None],
) -> list[Answer]:
    """An answer for each reason; all their tests are corrected together.

    ``names``: of the keys; ``prices``: what one come-back costs by reason, None where not known.
    """
    if not followed.groups:
        return []
    tests = [test_of(followed, reason) for reason in ask.reason]
    nothing = np.full(len(followed.groups), np.nan)
    each = np.stack([test.group_p if test else nothing for test in tests])
    # Of two groups both tests are one and the same.
    own = each[:, :1] if len(followed.groups) == 2 else each
    allowed = np.broadcast_to(corrected(own.ravel()).reshape(own.shape), each.shape)
    both = np.stack([each, allowed], axis=-1)
    return [
        _answer(followed, names, reason, ask, prices, test, p)
        for reason, test, p in zip(ask.reason, tests, both, strict=True)
    ]


def _answer(
    followed: Followed,
    names: Sequence[str],
    reason: str,
    ask: ComebacksAsk,
    prices: Mapping[str, float | None],
    test: Test | None,
    p_values: FloatArray,
) -> Answer:
    days, level = ask.days or 0, ask.confidence or 0.0
    heads = [dict(zip(names, group, strict=True)) | {"reason": reason} for group in followed.groups]
    tested = [{"p_value": plain(p), "p_corrected": plain(q)} for p, q in p_values]
    last = figures(followed, reason, [days], level)
    rows = [head | at | p for head, (at,), p in zip(heads, last, tested, strict=True)]

    def steps(places: Sequence[int]) -> list[dict[str, Any]]:
        some = followed.picked(places)
        found = figures(some, reason, steps_of(some, reason, days), level)
        return [
            heads[place] | at | tested[place]
            for place, own in zip(places, found, strict=True)
            for at in _rising(own)
        ]

    drawn = _drawn(rows, level)
    costs = costs_of(followed, reason, days, prices, level)
    whole = followed.together
    overall = figures(whole, reason, [days], level)[0][0]
    return Answer(
        reason=reason,
        rows=rows,
        steps=steps(range(len(heads))) if ask.curve else [],
        overall={"reason": reason} | overall | costs_of(whole, reason, days, prices, level)[0],
        test=test,
        costs=[head | cost for head, cost in zip(heads, costs, strict=True)],
        curve=steps(drawn),
        numbers=_numbers(followed, heads, drawn, days),
    )


def _drawn(rows: Sequence[Mapping[str, Any]], level: float) -> list[int]:
    """Places of the groups that a picture shows, in their order."""

    def place(n: int) -> tuple[float, int]:
        differs = rows[n]["rate"] is not None and (rows[n]["p_corrected"] or 1.0) < 1 - level
        return (rows[n]["p_corrected"] if differs else 1.0, -rows[n]["jobs"])

    return sorted(sorted(range(len(rows)), key=place)[:MOST_DRAWN])


def _rising(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The days on which the share of this group rises, the last with a rate, and the last."""
    before = [0, *(row["returns"] for row in rows[:-1])]
    told = max((n for n, row in enumerate(rows) if row["rate"] is not None), default=-1)
    return [
        row
        for n, (row, last) in enumerate(zip(rows, before, strict=True))
        if row["returns"] > last or n in (told, len(rows) - 1)
    ]


def _numbers(
    followed: Followed, heads: Sequence[Mapping[str, Any]], places: Sequence[int], days: int
) -> list[dict[str, Any]]:
    """Numbers at risk at evenly spaced days."""
    step = next((one for one in TICKS if days / one <= MOST_TICKS), TICKS[-1])
    ticks = list(range(0, days + 1, step))
    table = followed.table.with_days(ticks)
    at = table.n_at_risk[:, table.rows(ticks)]
    return [
        {**heads[g], "day": day, "n_at_risk": int(at[g, n])}
        for g in places
        for n, day in enumerate(ticks)
    ]
