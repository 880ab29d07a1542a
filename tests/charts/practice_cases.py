"""Findings on practice from made jobs, as hard on a picture as real ones can be."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np

from fixstats.findings.base import Finding
from fixstats.findings.practice import PracticeAsk, conclude
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.folder.settings import Settings
from fixstats.tallies.counts import Period
from fixstats.tallies.practice import PracticeJobs

STEP = "battery_release"
COVERED = Period(9000, date(2024, 1, 1), date(2025, 6, 17), date(2025, 6, 17), 0, (1,))
FOLDER: Any = SimpleNamespace(
    catalogue=read_catalogue(DEFAULT_CATALOGUE), settings=Settings(name="Bench", labour_rate=60.0)
)


def rates_by_uses(uses: Any, end: float, begin: float, pace: float = 30.0) -> Any:
    """Falling from ``begin`` towards ``end``, exp(-1) of the way left after ``pace`` uses."""
    return end + (begin - end) * np.exp(-np.asarray(uses) / pace)


def made_jobs(
    technicians: int = 5,
    uses: int = 150,
    end: float = 0.02,
    begin: float = 0.15,
    *,
    settled: int = 0,
    timed: bool = True,
    seed: int = 1,
) -> dict[str, Any]:
    """Jobs of one method: so many ``uses`` by each technician; the first ``settled`` are settled.

    Minutes follow an 85 % learning curve from 12 minutes.
    """
    rng = np.random.default_rng(seed)
    number = np.tile(np.arange(uses), technicians)
    n = len(number)
    who = np.repeat(np.arange(1, technicians + 1), uses)
    old = who <= settled
    rate = np.where(old, end, rates_by_uses(number, end, begin))
    minutes = 12 * (number + 1.0) ** np.log2(0.85) * np.exp(rng.normal(0, 0.2, n))
    return {
        "technician": who,
        "model": rng.integers(1, 5, n),
        "uses": number,
        "settled": old,
        "applies": np.ones(n, bool),
        "doubt": np.zeros(n, int),
        "seen": (rng.random(n) < rate).astype(int),
        "cost": np.full(n, 40.0),
        "unpriced": np.zeros(n, int),
        "minutes": minutes if timed else np.full(n, np.nan),
    }


def practice_finding(by_method: Mapping[str, Any], unrecorded: int = 0, **ask: Any) -> Finding:
    """The finding on these jobs, of one mode unless ``ask`` names others."""
    modes = ask.pop("modes", ("flex_cut",))
    asked = PracticeAsk(STEP, confidence=0.95, **ask)
    return conclude(PracticeJobs(by_method, unrecorded), FOLDER, asked, modes, COVERED)


PRACTICES = {
    "practice": practice_finding({"thread_cut": made_jobs()}),
    "practice of many methods": practice_finding(
        {
            "thread_cut": made_jobs(),
            "pull_tab": made_jobs(6, 200, settled=2),
            "solvent_drip": made_jobs(3, 25, 0.1, 0.1, timed=False),
            "pry_tool": made_jobs(2, 8, 0.0, 0.0, settled=1),
        }
    ),
    "practice of nobody": practice_finding({"pry_tool": made_jobs(3, 40, settled=3)}),
    "practice, zeros": practice_finding({"thread_cut": made_jobs(2, 30, 0.0, 0.0)}),
    "practice, one job": practice_finding({"thread_cut": made_jobs(1, 1, 0.0, 0.0)}),
    "practice, no rows": practice_finding({}),
}
