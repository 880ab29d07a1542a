"""By simulation: do the intervals of practice hold what they say? Run with -m slow -s.

Shops of a few technicians who all learn a method; failures fall towards 2 %, minutes by 15 % with
each doubling. What is checked is the mean over many shops; the figures are printed.
"""

import numpy as np
import pytest

from fixstats.findings.practice_figures import method_figures

from ..charts.practice_cases import made_jobs, rates_by_uses

SHOPS = 150


def inside(summary, name, true):
    return summary[f"{name}_low"] <= true <= summary[f"{name}_high"]


def held(found, uses, begin):
    """What each interval should hold, and whether it does."""
    rates = rates_by_uses(np.arange(uses), 0.02, begin)
    for band in found.bands:
        last = uses if band["uses_to"] is None else band["uses_to"] + 1
        yield "band", band["low"] <= rates[band["uses_from"] : last].mean() <= band["high"]
    summary = found.summary
    if summary["learning_jobs"]:
        jobs = summary["learning_jobs"]
        extra = jobs * (rates[:jobs].mean() - rates[jobs:].mean())
        yield "extra_failures", inside(summary, "extra_failures", extra)
        times = 12 * np.arange(1, uses + 1) ** np.log2(0.85) * np.exp(0.2**2 / 2)
        minutes = jobs * (times[:jobs].mean() - times[jobs:].mean())
        yield "extra_minutes", inside(summary, "extra_minutes", minutes)
        yield "learning_cost", inside(summary, "learning_cost", minutes + 40 * extra)
    yield "learning_rate", inside(summary, "learning_rate", 0.85)
    if summary["practised_at"] is not None:
        true = next(n for n in range(uses) if rates[n] - rates[n:].mean() <= 0.02)
        yield "practised_at", inside(summary, "practised_at", true)
        late = rates[summary["practised_at"] :].mean()
        yield "practised_rate", summary["practised_low"] <= late <= summary["practised_high"]


@pytest.mark.slow
@pytest.mark.parametrize(("technicians", "uses"), [(3, 60), (5, 150), (12, 200)])
def test_intervals_hold_what_they_say(technicians, uses):
    kept: dict[str, list[bool]] = {}
    for seed in range(SHOPS):
        jobs = made_jobs(technicians, uses, seed=seed)
        found = method_figures(jobs, level=0.95, margin=0.02, labour_rate=60.0)
        for name, one in held(found, uses, 0.15):
            kept.setdefault(name, []).append(bool(one))
    print(f"\n{technicians} technicians, {uses} uses:")
    for name, values in kept.items():
        print(f"  {name}: {100 * np.mean(values):.1f} % of {len(values)}")
    for name, values in kept.items():
        # The number is picked from the same failures: its interval and rate are the roughest.
        floor = 0.88 if name.startswith("practised") else 0.92
        assert np.mean(values) >= floor - 2 * np.sqrt(0.05 * 0.95 / len(values)), name


@pytest.mark.slow
@pytest.mark.parametrize("technicians", [3, 12])
def test_where_nothing_is_learned_nothing_is_found(technicians):
    numbers = 0
    for seed in range(2 * SHOPS):
        jobs = made_jobs(technicians, 60, 0.05, 0.05, seed=seed)
        found = method_figures(jobs, level=0.95, margin=0.02, labour_rate=60.0)
        numbers += found.summary["practised_at"] is not None
    print(f"\n{technicians} technicians: a practised number in {numbers} of {2 * SHOPS}")
    # Two-sided 5 %, half of it in the falling direction.
    assert numbers <= 0.05 * 2 * SHOPS
