"""Findings on trials from made counts, as hard on a picture as real ones can be."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np

from fixstats.findings.base import Finding, Note
from fixstats.findings.trial import conclude, follow, points_of
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.tallies.trials import MAIN, SAFETY, Trial, TrialCounts

CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)
DAY = date(2025, 1, 7)
TRIAL = Trial(
    "pads", "opening", "heat_plate", "heat_pad", None, "display_damage", ("display_lines",), 0.05,
    1330, "7", None, 0, 0, 0,
)  # fmt: skip


def days_of(pairs: int, rate: float, other: float, seed: int) -> dict[str, list[Any]]:
    """Counts of pairs day by day, five a day, with these true rates."""
    rng = np.random.default_rng(seed)
    failed = rng.random((pairs, 2)) < (rate, other)
    names = ("batch", "day", "more", "fewer", "both", "neither")
    columns: dict[str, list[Any]] = {name: [] for name in names}
    for number, at in enumerate(range(0, pairs, 5)):
        one, two = failed[at : at + 5].T
        columns["batch"].append(number)
        columns["day"].append(DAY + timedelta(days=number))
        for name, met in (
            ("more", one & ~two), ("fewer", two & ~one), ("both", one & two),
            ("neither", ~one & ~two),
        ):  # fmt: skip
            columns[name].append(int(met.sum()))
    return columns


def trial(
    pairs: int,
    rate: float = 0.04,
    other: float = 0.12,
    harm: tuple[float, float] = (0.004, 0.004),
    seed: int = 3,
    **changed: Any,
) -> Finding:
    """A finding as `trial_status` makes it."""
    new = Trial(**vars(TRIAL) | changed)
    main, safety = days_of(pairs, rate, other, seed), days_of(pairs, *harm, seed + 1)
    names = (
        "jobs", "as_drawn", "otherwise", "not_recorded", "failures", "opportunities", "unknown",
        "unknown_failed",
    )  # fmt: skip
    options = {}
    for role, columns in ((MAIN, main), (SAFETY, safety)):
        both = sum(columns["both"])
        for option, alone in ((new.option, "more"), (new.baseline, "fewer")):
            numbers = (pairs, pairs, 0, 0, both + sum(columns[alone]), pairs, 0, 0)
            options[role, option.lower()] = dict(zip(names, numbers, strict=True))
    harmed = [sum(both) for both in zip(safety["more"], safety["both"], strict=True)]
    dangers = {name: safety[name] for name in ("batch", "day")}
    dangers |= {"harmed": harmed, "jobs": [5] * len(harmed)}
    counts = TrialCounts(options, {MAIN: main, SAFETY: safety}, dangers, {})
    path = follow(new, counts, 0.02)
    settings = {
        "view": "first", "since": None, "until": None, "where": [], "as_of": "2025-06-17",
        "confidence_level": 0.96, "choice": new.choice, "baseline": new.baseline,
        "option": new.option, "mode": new.mode, "family": new.family, "max_jobs": new.max_jobs,
        "trial": new.trial,
    }  # fmt: skip
    return Finding(
        "trial status", settings, tuple(conclude(new, counts, path)), labels=CATALOGUE.labels,
        notes=(Note("verdict", "go on: no pair of jobs is complete yet"),),
        parts={"path": tuple(points_of(path))},
    )  # fmt: skip


TRIALS = {
    "trial, shown": trial(300),
    "trial, no difference": trial(400, 0.05, 0.05, difference=0.1),
    "trial, harm": trial(150, 0.06, 0.07, (0.12, 0.0), option="thin_blade", baseline="heat_gun"),
    "trial, ended": trial(60, max_jobs=120, mode="display_lines"),
    "trial, one day": trial(5),
    "trial, long names": trial(300, option="x" * 60, baseline="a long name " * 5),
}
NOT_BEGUN = trial(0)
