"""Shops for decisions, job by job and small: counts as the tallies give them."""

from collections import Counter

import numpy as np

from fixstats.findings.decide_cells import Counted
from fixstats.findings.decide_costs import EachCost
from fixstats.findings.decide_figures import Known
from fixstats.findings.safety import judge_safety
from fixstats.folder import Settings

SETTINGS = Settings(name="Bench", labour_rate=60.0)
KEYS = ("technician", "hard")


def table(rows, *values):
    """Rows (mappings) with the same option, model, keys and lateness added up."""
    sums = {}
    for row in rows:
        place = tuple(row[key] for key in ("option", "model", *KEYS, "late"))
        sums[place] = sums.get(place, np.zeros(len(values))) + [row[value] for value in values]
    columns = {
        key: [place[n] for place in sums]
        for n, key in enumerate(("option", "model", *KEYS, "late"))
    }
    return columns | {value: [float(s[n]) for s in sums.values()] for n, value in enumerate(values)}


def counted_of(jobs, *, left_out=20, **changes):
    """``jobs``: mappings with option, model, technician, hard, failures, minutes; in order."""
    seen = Counter()
    for job in reversed(jobs):
        seen[job["model"]] += 1
        job["late"] = seen[job["model"]] <= left_out
    failures = {"mode": []}
    for mode in sorted({mode for job in jobs for mode in job["failures"]}):
        own = table([job | {"failures": 1} for job in jobs if mode in job["failures"]], "failures")
        failures["mode"] += [mode] * len(own["option"])
        for key, values in own.items():
            failures[key] = failures.get(key, []) + values
    fine = [
        job | {"jobs": 1, "squares": job["minutes"] ** 2}
        for job in jobs
        if not job["failures"] and job["minutes"]
    ]
    base = {
        "choice": "opening",
        "keys": KEYS,
        "jobs": table([job | {"jobs": 1} for job in jobs], "jobs"),
        "failures": failures if failures["mode"] else {},
        "unlooked": {},
        "minutes": table(fine, "jobs", "minutes", "squares") if fine else {},
    }
    return Counted(**base | changes)


def known_of(counted, costs, *, used=None, safety=None, **changes):
    """``costs``: money by mode, None where nobody has said; ``used``: money by option."""
    options = Counter()
    models = Counter()
    for option, model, jobs in zip(
        *(counted.jobs[name] for name in ("option", "model", "jobs")), strict=True
    ):
        options[option] += jobs
        models[model] += jobs
    most = sorted(options, key=lambda one: (-options[one], one))
    money = np.array([[(used or {}).get(option, 0.0)] * len(models) for option in most])
    base = {
        "used": money,
        "costs": {m: None if c is None else EachCost(c, 0.0) for m, c in costs.items()},
        "safety": judge_safety(
            safety or dict.fromkeys(most, (0, 1000)), safety_limit=0.02, confidence_level=0.95
        ),
        "pace": {model: jobs / 365 for model, jobs in models.items()},
        "current": {None: most[0]} | dict.fromkeys(models, most[0]),
        "standards": {},
    }
    return Known(**base | changes)


def job(option, *failures, model="Elm", technician="T1", hard="no", minutes=20.0):
    """One job."""
    return {
        "option": option, "model": model, "technician": technician, "hard": hard,
        "failures": failures, "minutes": minutes,
    }  # fmt: skip


def many(rates, *, jobs=400, models=("Elm", "Oak"), minutes=20.0, mode="snap", seed=1):
    """A shop in which options take turns: option -> its failure rate, the same on all models.

    Failures come evenly: the rate is met exactly, so that a verdict does not hang on luck.
    """
    random = np.random.default_rng(seed)
    due, rows = dict.fromkeys(rates, 0.0), []
    for n in range(jobs * len(rates)):
        option = [*rates][n % len(rates)]
        due[option] += rates[option]
        failed = due[option] >= 1
        due[option] -= failed
        rows.append(
            job(
                option,
                *([mode] if failed else []),
                model=models[n // len(rates) % len(models)],
                technician="T1" if random.random() < 0.5 else "T2",
                minutes=minutes * float(np.exp(random.normal(-0.08, 0.4))),
            )
        )
    return rows
