"""Puts the workshop together: ordinary jobs, then the come-backs as jobs of their own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fixstats.demo import truth
from fixstats.demo.cases import (
    Columns,
    assign_hands,
    draw_cases,
    draw_choices,
    draw_circumstances,
    draw_parts,
)
from fixstats.demo.outcomes import draw_comebacks, draw_failures

if TYPE_CHECKING:
    import numpy as np

# Jobs made at once; bounds the memory. Technicians learn within one batch only.
BATCH = 500_000
REASONS = ("drains_fast", "cell_swelled", "touch_erratic", "seal_lifts", "unrelated")


def batches(jobs: int, seed: int) -> Iterator[Columns]:
    """Columns of ``jobs`` jobs, at most half a million at a time; the seed fixes every value."""
    for number, start in enumerate(range(0, jobs, BATCH)):
        yield make_jobs(min(BATCH, jobs - start), seed, of=jobs, first=start, batch=number)


def make_jobs(
    jobs: int, seed: int, *, of: int | None = None, first: int = 0, batch: int = 0
) -> Columns:
    """Columns of ``jobs`` jobs of a sheet of ``of``, numbered from ``first``.

    Some rows at the end are come-backs of rows before them (``of_row``, else -1).
    """
    import numpy as np

    rng = np.random.default_rng([seed, batch])
    of = jobs if of is None else of
    rework = int(jobs * truth.REWORK_SHARE)
    plain = draw_cases(rng, jobs - rework, of)
    _work(rng, plain, of)
    plain["of_row"] = np.full(jobs - rework, -1)
    again = _comeback_cases(rng, plain, rework, of)
    _work(rng, again, of)
    again["back"][:] = False
    both = {key: np.concatenate([plain[key], again[key]]) for key in plain}
    both["number"] = first + np.arange(jobs)
    return both


def _work(rng: np.random.Generator, c: Columns, of: int) -> None:
    """Everything that happens to the cases: choices, parts, failures, end, come-back, minutes."""
    import numpy as np

    n = len(c["model"])
    draw_choices(rng, c, of)
    draw_parts(rng, c)
    draw_failures(rng, c)
    u = rng.random(n)
    c["outcome"] = (u < truth.ABANDONED + truth.UNREPAIRED).astype(np.int8)
    c["outcome"] += (u < truth.UNREPAIRED).astype(np.int8)
    _cut_short(c)
    draw_comebacks(rng, c)
    _draw_minutes(rng, c)
    _draw_blanks(rng, c)


def _comeback_cases(rng: np.random.Generator, plain: Columns, rework: int, of: int) -> Columns:
    """Case mix of the jobs that are come-backs; with too few come-backs, second visits."""
    import numpy as np

    back = np.flatnonzero(plain["back"])
    chosen = rng.permutation(back)[:rework]
    other = rng.integers(0, max(len(plain["model"]), 1), rework - len(chosen))
    rows = np.concatenate([chosen, other]).astype(int)
    is_back = np.arange(rework) < len(chosen)
    c: Columns = {"model": plain["model"][rows], "repair": plain["repair"][rows]}
    last = np.datetime64(truth.UNTIL)
    came = np.where(is_back, plain["returned"][rows], plain["finished"][rows])
    c["finished"] = np.minimum(came + rng.integers(0, 4, rework).astype("timedelta64[D]"), last)
    assign_hands(rng, c, of)
    # A come-back stays at the bench that did the repair, or its follow-up could not be joined.
    for key in ("kind", "technician", "branch"):
        c[key] = plain[key][rows]
    draw_circumstances(rng, c)
    c["received"] = came
    c["prior_repair"] = np.ones(rework, bool)
    c["of_row"] = np.where(is_back, rows, -1)
    return c


def _cut_short(c: Columns) -> None:
    """Outcome 1 (abandoned) ends before calibration; outcome 2 (unrepaired) after opening."""
    import numpy as np

    early, never = c["outcome"] >= 1, c["outcome"] == 2
    c["stopped"] = early
    for step, modes in truth.STEP_MODES.items():
        if step == "opening":
            continue
        missed = early if step == "calibration" else never
        for name in (step, f"{step}_again"):
            if name in c:
                c[name] = np.where(missed & (c[name] >= 0), -2, c[name]).astype(np.int8)
        for key in (f"{kind}:{mode}" for mode in modes for kind in ("fail", "again")):
            if key in c:
                c[key] &= ~missed
    for key in ("fail:restart_conflict", "fail:charging_conflict", "dead:battery", "dead:display"):
        c[key] &= ~early
    for part in ("battery", "display"):
        c[f"{part}_new"] &= ~early
    c["bad_lot"] &= ~early


def _draw_minutes(rng: np.random.Generator, c: Columns) -> None:
    import numpy as np

    n = len(c["model"])
    total = np.array([truth.OTHER_MINUTES[code] for code in truth.REPAIRS])[c["repair"]]
    total = total * rng.lognormal(0.0, truth.MINUTES_SPREAD, n)
    for step, medians in truth.STEP_MINUTES.items():
        median = np.array([*medians.values()])[np.maximum(c[step], 0)]
        if step == "battery_release":
            thread = c[step] == truth.METHODS[step].index("thread_cut")
            extra = truth.WRIGHT_EXTRA * (c["uses"] + 1.0) ** -truth.WRIGHT_SLOPE
            median = median * np.where(thread, 1.0 + extra, 1.0)
            median = median + truth.RESCUE_MINUTES * (c["battery_release_again"] >= 0)
        taken = np.where(c[step] >= 0, median * rng.lognormal(0.0, truth.MINUTES_SPREAD, n), 0.0)
        c[f"{step}_minutes"] = np.round(taken, 1)
        total = total + taken
    failed = sum(np.where(c[key], 1, 0) for key in c if key.startswith(("fail:", "dead:")))
    total = total + truth.FAILURE_MINUTES * failed * rng.lognormal(0.0, 0.5, n)
    c["minutes"] = np.round(np.where(c["outcome"] == 2, 0.5 * total, total)).astype(np.int32)


def _draw_blanks(rng: np.random.Generator, c: Columns) -> None:
    """What the bench leaves blank or does not look for, at random."""
    import numpy as np

    n = len(c["model"])
    for step in ("opening", "display_handling", "resealing"):
        c[f"blank:{step}"] = rng.random(n) < truth.BLANK_STEP
    for factor, share in truth.BLANK_FACTOR.items():
        c[f"blank:{factor}"] = rng.random(n) < share
    c["in_device_noted"] = rng.random(n) < truth.IN_DEVICE_NOTED
    edges = np.cumsum([*truth.UNCHECKED.values()])
    c["unchecked"] = np.searchsorted(edges, rng.random(n), side="right")
    _forget(c)


def _forget(c: Columns) -> None:
    """Nobody notes a mode that nobody looked for."""
    for number, codes in enumerate(truth.UNCHECKED):
        modes: Any = [key for key in c if key.startswith(("fail:", "again:", "dead:"))]
        if codes != "all":
            modes = [f"fail:{mode}" for mode in codes.split("; ")]
        for key in modes:
            if not key.startswith("dead:"):
                c[key] = c[key] & (c["unchecked"] != number)
