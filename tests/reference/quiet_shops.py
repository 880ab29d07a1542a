"""Job sheets of shops in which nothing drifts and nobody differs: what watching finds is chance.

Rates differ between modes and device models, and the mix of models moves over the months; they do
not differ between technicians, suppliers or lots beyond what the grade does. Come-backs have a
constant hazard by grade and are cut off where the records end.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import polars as pl

FIRST = date(2024, 1, 1)
MODELS = ("Tolm A", "Tolm B", "Tolm C", "Tolm D", "Tolm E", "Tolm F")
# Modes that every battery job can show -> rate on a usual model.
MODES = {
    "tab_snapped": 0.04,
    "clip_snapped": 0.02,
    "display_flex_torn": 0.03,
    "frame_parted": 0.01,
    "calibration_refused": 0.1,
    "calibration_stalled": 0.015,
    "cell_bent": 0.004,
    "cell_pierced": 0.0005,
    "button_flex_torn": 0.006,
    "dust_under_glass": 0.02,
    "seal_lifts": 0.03,
    "gap_uneven": 0.04,
    "dead_on_arrival": 0.02,
}
GRADES = ("original", "refurbished", "aftermarket_high")
WORSE = {"original": 0.5, "refurbished": 1.5, "aftermarket_high": 1.2}
# What happened at a step that could have been another one is told with its step.
TOLD = {
    "clip_snapped": "clip_snapped@opening",
    "cell_pierced": "cell_pierced@battery_release",
    "button_flex_torn": "button_flex_torn@opening",
    "dust_under_glass": "dust_under_glass@display_handling",
}


def write_sheet(
    path: Path,
    seed: int,
    *,
    jobs: int = 2400,
    months: int = 18,
    worse_from: date | None = None,
    worse: float = 1.0,
) -> Path:
    """A sheet of battery jobs; ``worse``: odds of clip_snapped from a day on, for power."""
    rng = np.random.default_rng(seed)
    days = np.sort(rng.integers(0, int(30.4 * months), jobs))
    easy = np.linspace(0.3, 0.1, jobs)[:, None] * np.array([1, 1, 1, 0, 0, 0])
    mix = easy + (1 - 3 * easy[:, :1]) / 3 * np.array([0, 0, 0, 1, 1, 1])
    model = (rng.random(jobs)[:, None] > mix.cumsum(axis=1)).sum(axis=1).clip(0, 5)
    harder = np.exp(rng.normal(0, 0.4, (len(MODELS), len(MODES))))
    technician = rng.choice(6, jobs, p=[0.3, 0.25, 0.2, 0.15, 0.07, 0.03])
    grade = rng.choice(3, jobs)
    supplier = rng.choice(3, jobs)
    lot = days // 61
    handed = np.array([FIRST + timedelta(days=int(day)) for day in days])
    rates = np.array([*MODES.values()])
    odds = rates / (1 - rates) * harder[model]
    if worse_from is not None:
        late = np.array([day >= worse_from for day in handed])
        odds[late, [*MODES].index("clip_snapped")] *= worse
    odds[:, [*MODES].index("dead_on_arrival")] *= np.array([WORSE[one] for one in GRADES])[grade]
    failed = rng.random(odds.shape) < odds / (1 + odds)
    told = np.array([TOLD.get(mode, mode) for mode in MODES])
    hazard = 0.0005 * np.array([WORSE[one] for one in GRADES])[grade]
    back = np.ceil(rng.exponential(1 / hazard)).astype(int)
    end = days.max()
    returned = [
        FIRST + timedelta(days=int(day + wait)) if wait <= 180 and day + wait <= end else None
        for day, wait in zip(days, back, strict=True)
    ]
    pl.DataFrame(
        {
            "job": [f"J{n}" for n in range(jobs)],
            "finished": handed.tolist(),
            "model": [MODELS[n] for n in model],
            "repair": "battery_swap",
            "technician": [f"P{n}" for n in technician],
            "battery_grade": [GRADES[n] for n in grade],
            "battery_supplier": [f"House {n}" for n in supplier],
            "battery_lot": [f"L{a}-{b}" for a, b in zip(supplier, lot, strict=True)],
            "failures": ["; ".join(told[row]) for row in failed],
            "returned": returned,
            "return_reason": [one and "drains_fast" for one in returned],
        }
    ).write_csv(path)
    return path
