"""Who brings what, who repairs it and how: everything fixed before anything can fail."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.demo import truth

if TYPE_CHECKING:
    import numpy as np

Columns = dict[str, Any]  # name -> array of one value a job

REPAIRS = tuple(truth.REPAIRS)


def months(jobs: int) -> int:
    """Length of the records: a very large sheet covers more months."""
    return truth.MONTHS if jobs < truth.MANY_JOBS else truth.MANY_MONTHS


def first_day(jobs: int) -> date:
    """The first day of the records of a sheet of ``jobs`` jobs."""
    last = truth.UNTIL.year * 12 + truth.UNTIL.month - 1
    year, month = divmod(last - months(jobs) + 1, 12)
    return date(year, month + 1, 1)


def technicians(jobs: int) -> int:
    """Number of technicians: five, and more in a larger workshop."""
    kinds = len(truth.TECHNICIANS)
    return max(kinds, min(jobs // truth.JOBS_PER_TECHNICIAN, truth.MOST_TECHNICIANS))


def per_model(attribute: str) -> np.ndarray[Any, Any]:
    """One attribute of the device models as an array."""
    import numpy as np

    return np.array([getattr(model, attribute) for model in truth.MODELS])


def per_kind(attribute: str) -> np.ndarray[Any, Any]:
    """One attribute of the kinds of technician as an array."""
    import numpy as np

    return np.array([getattr(hands, attribute) for hands in truth.TECHNICIANS])


def pick(rng: np.random.Generator, shares: Any, n: int) -> np.ndarray[Any, Any]:
    """Draw ``n`` indices by shares: one row of shares for all, or one row for each."""
    import numpy as np

    shares = np.asarray(shares, dtype=float)
    edges = np.cumsum(shares / shares.sum(axis=-1, keepdims=True), axis=-1)[..., :-1]
    index: np.ndarray[Any, Any] = (rng.random(n)[:, None] >= edges).sum(axis=1)
    return index.astype(np.int8)


def _day(day: date) -> np.datetime64:
    import numpy as np

    return np.datetime64(day, "D")


def draw_cases(rng: np.random.Generator, n: int, of: int) -> Columns:
    """The case mix of ``n`` jobs of a sheet of ``of``: device, repair, hands, circumstances."""
    import numpy as np

    start, end = _day(first_day(of)), _day(truth.UNTIL)
    span = int((end - start).astype(int)) + 1
    c: Columns = {"finished": start + np.sort(rng.integers(0, span, n)).astype("timedelta64[D]")}
    c["model"] = pick(rng, per_model("share"), n)
    c["repair"] = pick(rng, list(truth.REPAIRS.values()), n)
    assign_hands(rng, c, of)
    draw_circumstances(rng, c)
    return c


def assign_hands(rng: np.random.Generator, c: Columns, of: int) -> None:
    """Give each job its technician: the careful kind gets most of the hard devices."""
    import numpy as np

    n = len(c["model"])
    c["hard"] = per_model("hard")[c["model"]]
    shares = np.stack([per_kind("easy_share"), per_kind("hard_share")])
    c["kind"] = pick(rng, shares[c["hard"]], n)
    kinds = len(truth.TECHNICIANS)
    count = technicians(of)
    of_kind = (count - c["kind"] + kinds - 1) // kinds
    c["technician"] = c["kind"] + kinds * rng.integers(0, of_kind)
    c["branch"] = per_kind("branch")[c["kind"]]


def draw_circumstances(rng: np.random.Generator, c: Columns) -> None:
    """Factors and the times around the job."""
    import numpy as np

    n = len(c["model"])
    c["received"] = c["finished"] - np.minimum(rng.geometric(0.45, n) - 1, 14).astype(
        "timedelta64[D]"
    )
    c["swollen"] = rng.random(n) < truth.SWOLLEN
    c["prior_repair"] = rng.random(n) < truth.PRIOR_REPAIR
    c["battery_health"] = np.clip(np.round(rng.normal(*truth.HEALTH, n)), 40, 100).astype(np.int8)
    c["charge"] = rng.integers(6, 100, n).astype(np.int8)
    c["connection"] = pick(rng, list(truth.CONNECTIONS.values()), n)
    c["display_lines_before"] = has(c, "display_swap") & (
        rng.random(n) < truth.PREEXISTING["display_lines"]
    )
    c["glass_cracked_before"] = has(c, "display_swap") & (
        rng.random(n) < truth.PREEXISTING["glass_cracked"]
    )


def has(c: Columns, repair: str) -> np.ndarray[Any, Any]:
    """Jobs that include this repair."""
    import numpy as np

    return np.array([repair in code.split("; ") for code in REPAIRS])[c["repair"]]


def done(c: Columns, step: str) -> np.ndarray[Any, Any]:
    """Jobs to whose repair this step belongs."""
    import numpy as np

    holds = [any(step in truth.STEPS_OF[r] for r in code.split("; ")) for code in REPAIRS]
    return np.array(holds)[c["repair"]]


def draw_choices(rng: np.random.Generator, c: Columns, of: int) -> None:
    """First choice of method at each step (-1: the step does not belong to the repair)."""
    import numpy as np

    n = len(c["model"])
    start, end = _day(first_day(of)), _day(truth.UNTIL)
    through = ((c["finished"] - start) / (end - start))[:, None]
    early, late = (np.array(shares) for shares in truth.OPENING_SHARES)
    base, hard, careful = truth.DETACHED
    detached = expit(base + hard * c["hard"] + careful * per_kind("careful")[c["kind"]])
    after = (c["finished"] >= _day(truth.THREAD_FROM))[:, None]
    release = np.where(after, truth.RELEASE_SHARES_AFTER, truth.RELEASE_SHARES_BEFORE)
    tape, console = (np.array(s)[c["branch"]] for s in (truth.TAPE_SHARE, truth.CONSOLE_SHARE))
    drawn = {
        "opening": pick(rng, early + (late - early) * through, n),
        "display_handling": (rng.random(n) < detached).astype(np.int8),
        "battery_release": pick(rng, release, n),
        "glass_removal": (rng.random(n) >= truth.LASER_SHARE).astype(np.int8),
        "resealing": (rng.random(n) < tape).astype(np.int8),
        "calibration": (rng.random(n) < console).astype(np.int8),
    }
    for step, method in drawn.items():
        c[step] = np.where(done(c, step), method, -1).astype(np.int8)
    c["uses"] = running_uses(c, "battery_release", truth.METHODS["battery_release"][2])


def running_uses(c: Columns, step: str, method: str) -> np.ndarray[Any, Any]:
    """How often the technician had used the method before each job; jobs are in time order."""
    import numpy as np

    used = (c[step] == truth.METHODS[step].index(method)).astype(np.int64)
    order = np.argsort(c["technician"], kind="stable")
    before = np.cumsum(used[order]) - used[order]
    who = c["technician"][order]
    first = np.r_[True, who[1:] != who[:-1]] if len(who) else np.zeros(0, bool)
    base = np.maximum.accumulate(np.where(first, before, 0))
    uses = np.empty(len(who), np.int64)
    uses[order] = before - base
    return uses


def draw_parts(rng: np.random.Generator, c: Columns) -> None:
    """Grades of battery and display (fitted now or found inside), suppliers and lots."""
    import numpy as np

    n = len(c["model"])
    for part, shares in truth.GRADE_SHARES.items():
        fitted = has(c, f"{part}_swap")
        inside = np.where(c["prior_repair"], pick(rng, truth.PRIOR_GRADES, n), 0)
        c[f"{part}_new"] = fitted
        c[f"{part}_grade"] = np.where(fitted, pick(rng, shares, n), inside).astype(np.int8)
    c["supplier"] = pick(rng, np.array(truth.SUPPLIER_SHARES)[c["battery_grade"]], n)
    c["lot"] = lot_months(c["finished"])
    c["bad_lot"] = (
        c["battery_new"]
        & (c["supplier"] == truth.BAD_SUPPLIER)
        & (c["finished"] >= _day(truth.BAD_LOT_FROM))
        & (c["finished"] <= _day(truth.BAD_LOT_UNTIL))
    )
    c["mixed"] = c["battery_grade"] != c["display_grade"]


def lot_months(days: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Month in which the lot in use on a day began, as months since 1970; lots last two months."""
    import numpy as np

    month = days.astype("datetime64[M]").astype(np.int64)
    return month - month % truth.LOT_MONTHS


def expit(value: Any) -> Any:
    """The inverse of the logit."""
    import numpy as np

    return 1.0 / (1.0 + np.exp(-np.asarray(value, dtype=float)))
