"""Findings on come-backs from made counts, as hard on a picture as real ones can be."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np

from fixstats.findings.base import Finding
from fixstats.findings.comebacks import conclude
from fixstats.findings.comebacks_plan import ComebacksAsk, Counted
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.folder.settings import Settings
from fixstats.tallies.counts import Period
from fixstats.tallies.followups import Leaving
from fixstats.tallies.keys import resolve

DAY = date(2025, 6, 17)
COVERED = Period(9000, date(2024, 1, 1), DAY, DAY, 0, (1,))
CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)
FOLDER: Any = SimpleNamespace(
    catalogue=CATALOGUE, settings=Settings(name="Bench", labour_rate=60.0)
)
REASONS = ("drains_fast", "seal_lifts", "unrelated", "")


def leaving(
    groups: Mapping[tuple[Any, ...], tuple[int, float]],
    keys: tuple[str, ...],
    days: int,
    seed: int = 3,
    followed: tuple[int, int] = (20, 400),
) -> Leaving:
    """Rows as the tally gives them: groups of so many jobs with that daily hazard of a return."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[Any, ...]] = []
    for group, (jobs, hazard) in groups.items():
        left: Counter[tuple[int, str | None]] = Counter()
        for _ in range(jobs):
            end = min(int(rng.integers(*followed)), days)
            back = int(rng.geometric(hazard)) - 1 if hazard else days + 1
            reason = str(rng.choice(REASONS, p=[0.6, 0.2, 0.15, 0.05]))
            left[(back, reason) if back <= end else (end, None)] += 1
        for (day, reason_), number in left.items():
            at = sum(n for (later, _), n in left.items() if later >= day)
            rows.append((*group, day, reason_, number, at))
    columns = [list(one) for one in zip(*rows, strict=True)] or [[] for _ in range(len(keys) + 4)]
    return Leaving(dict(zip(keys, columns, strict=False)), *columns[len(keys) :])


def comebacks_finding(
    groups: Mapping[tuple[Any, ...], tuple[int, float]],
    by: tuple[str, ...] = (),
    days: int = 90,
    followed: tuple[int, int] = (20, 400),
    **ask: Any,
) -> Finding:
    """The finding on made jobs."""
    asked = ComebacksAsk(by=by, days=days, confidence=0.95, **{"reason": ("any",), **ask})
    keys = tuple(resolve(name, CATALOGUE, []) for name in by)
    counted = Counted(leaving(groups, by, days, followed=followed), None, keys)
    return conclude(counted, FOLDER, asked, COVERED, DAY)


MODELS = {(f"Extraordinarily long model name {n}, second edition",): (40 + 9 * n, 0.001)
          for n in range(12)}  # fmt: skip
COMEBACKS = {
    "comebacks": comebacks_finding({(): (900, 0.0006)}),
    "comebacks, three groups": comebacks_finding(
        {("original",): (400, 0.0003), ("refurbished",): (300, 0.0004),
         ("aftermarket_low",): (250, 0.002), ("-",): (50, 0.01)},
        ("battery_grade",),
    ),
    "comebacks, many long names": comebacks_finding(
        MODELS | {(None,): (700, 0.0016)}, ("model",), 365
    ),
    "comebacks, two reasons": comebacks_finding(
        {("North",): (400, 0.001), ("South",): (300, 0.001)},
        ("branch",),
        reason=("any", "drains_fast"),
    ),
    "comebacks, nobody yet": comebacks_finding(
        {("North",): (60, 0.0), ("South",): (30, 0.0)}, ("branch",)
    ),
    "comebacks, too few followed": comebacks_finding(
        {("North",): (60, 0.01), ("South",): (4, 0.0)}, ("branch",), followed=(1, 40)
    ),
    "comebacks, alike": comebacks_finding(
        {(f"Model {n}",): (200, 0.001) for n in range(5)}, ("model",)
    ),
    "comebacks, one of two": comebacks_finding(
        {("North",): (400, 0.001), ("South",): (300, 0.0)}, ("branch",)
    ),
    "comebacks, one group yet none": comebacks_finding({(): (80, 0.0)}),
    "comebacks, two ends": comebacks_finding(
        {(f"Model {n}",): (20 + 60 * n, 0.002) for n in range(5)}, ("model",), followed=(1, 100)
    ),
    "comebacks, steps": comebacks_finding({(): (300, 0.002)}, curve=True),
    "comebacks, one job": comebacks_finding({(): (1, 0.0)}),
    "comebacks, no rows": comebacks_finding({}),
}  # fmt: skip
