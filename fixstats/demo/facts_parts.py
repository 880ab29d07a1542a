"""The truth about parts, come-backs and minutes; see ``facts.py``."""

from __future__ import annotations

from typing import Any

from fixstats.demo import truth
from fixstats.demo.cases import Columns, has
from fixstats.demo.outcomes import comeback_hazards, mode_chance

Row = dict[str, Any]


def mean(chance: Any, where: Any) -> float | None:
    """Mean chance over some jobs; None where there is none."""
    return round(float(chance[where].mean()), 6) if where.any() else None


def bad_lot(c: Columns) -> Row:
    """The bad lot: its dates, its size, and what it does at fitting and later."""
    import numpy as np

    bad = c["bad_lot"]
    fitted = c["battery_new"]
    return {
        "part": "battery",
        "supplier": truth.SUPPLIERS[truth.BAD_SUPPLIER],
        "lot": truth.BAD_LOT,
        "fitted_from": truth.BAD_LOT_FROM.isoformat(),
        "fitted_until": truth.BAD_LOT_UNTIL.isoformat(),
        "first_pieces": int(bad.sum()),
        "dead_on_arrival": {
            "this_lot": truth.BAD_DEAD_ON_ARRIVAL,
            "others_same_grades": mean(
                np.array(truth.DEAD_ON_ARRIVAL["battery"])[c["battery_grade"]],
                fitted & ~bad & (c["supplier"] == truth.BAD_SUPPLIER),
            ),
        },
        "drains_fast_hazard_ratio": truth.BAD_HAZARD_RATIO,
        "drains_fast_within_90_days": {
            "this_lot": mean(_incidence(c, "drains_fast"), bad & ~c["dead:battery"]),
            "other_lots_of_the_supplier": mean(
                _incidence(c, "drains_fast"),
                fitted & ~bad & ~c["dead:battery"] & (c["supplier"] == truth.BAD_SUPPLIER),
            ),
        },
    }


def mixed_parts(c: Columns) -> Row:
    """Chance of a conflict by pair of grades."""
    pairs = [
        {"part_a": "battery", "grade_a": battery, "part_b": "display", "grade_b": display}
        | {"true_rate": truth.RESTART_CONFLICT[i][k]}
        for i, battery in enumerate(truth.GRADES)
        for k, display in enumerate(truth.GRADES)
        if i != k
    ]
    port = dict(zip(truth.GRADES, truth.CHARGING_CONFLICT, strict=True))
    return {
        "restart_conflict": pairs,
        "charging_conflict": {"by_battery_grade_with_the_maker's_port": port},
    }


def _incidence(c: Columns, reason: str) -> Any:
    """Probability of coming back for a reason within 90 days, the other reasons competing."""
    import numpy as np

    hazards = comeback_hazards(c)
    total = sum(hazards.values())
    return hazards[reason] / total * -np.expm1(-total * truth.COMEBACK_DAYS)


def comebacks(c: Columns) -> Row:
    """Probability of a come-back within 90 days by reason, over all and by grade."""
    whole = c["outcome"] == 0
    rows: Row = {"days": truth.COMEBACK_DAYS, "over_all": {}, "by_grade_in_the_device": {}}
    for reason in comeback_hazards(c):
        rows["over_all"][reason] = mean(_incidence(c, reason), whole)
    for part, reason in (("battery", "drains_fast"), ("display", "touch_erratic")):
        at_end = c[f"{part}_grade"] * ~c[f"dead:{part}"]
        rows["by_grade_in_the_device"][reason] = {
            grade: mean(_incidence(c, reason), whole & c[f"{part}_new"] & (at_end == number))
            for number, grade in enumerate(truth.GRADES)
        }
    return rows


def dead_on_arrival(c: Columns) -> Row:
    """Chance of a dead first piece by grade."""
    rows: Row = {}
    for part, rates in truth.DEAD_ON_ARRIVAL.items():
        rows[part] = dict(zip(truth.GRADES, rates, strict=True))
    rows["note"] = f"first pieces; batteries of lot {truth.BAD_LOT}: {truth.BAD_DEAD_ON_ARRIVAL}"
    return rows


def grade_rates(c: Columns) -> list[Row]:
    """Standardised true rates by grade of the first piece, per model and over all.

    ``calibration_refused`` is downstream harm: the grade works through mixed grades only.
    """
    rows: list[Row] = []
    for part in truth.PIECE_COST:
        for number, grade in enumerate(truth.GRADES):
            dead, refused = _by_grade(c, part, number)
            fitted, calibrated = c[f"{part}_new"], c[f"{part}_new"] & (c["calibration"] >= 0)
            for mode, chance, scope in (
                ("dead_on_arrival", dead, fitted & ~c["bad_lot"]),
                ("calibration_refused", refused, calibrated),
            ):
                for index, model in [(None, None), *enumerate(m.name for m in truth.MODELS)]:
                    where = scope if index is None else scope & (c["model"] == index)
                    row: Row = {"choice": f"{part}_grade", "option": grade, "mode": mode}
                    users = where & (c[f"{part}_grade"] == number)
                    row |= {"model": model, "jobs": int(where.sum())}
                    rows.append(row | {"jobs_with_option": int(users.sum())}
                                | {"true_rate": mean(chance, where)})  # fmt: skip
    return rows


def _by_grade(c: Columns, part: str, number: int) -> tuple[Any, Any]:
    """Chances of a dead first piece and of a refused calibration, had all had this grade."""
    import numpy as np

    other = c["display_grade" if part == "battery" else "battery_grade"]
    at = c | {"mixed": other != number}
    method = np.maximum(c["calibration"], 0)
    refused = mode_chance(at, "calibration", "calibration_refused", method)
    return np.full(len(other), truth.DEAD_ON_ARRIVAL[part][number]), refused


def step_minutes(c: Columns) -> Row:
    """Median and mean minutes of each method without rescue tries; thread_cut by practice."""
    import numpy as np

    to_mean = float(np.exp(truth.MINUTES_SPREAD**2 / 2))
    rows: Row = {}
    for step, medians in truth.STEP_MINUTES.items():
        rows[step] = {
            method: {"median": median, "mean": round(median * to_mean, 6)}
            for method, median in medians.items()
        }
    slow = truth.WRIGHT_EXTRA * (c["uses"] + 1.0) ** -truth.WRIGHT_SLOPE
    thread = rows["battery_release"]["thread_cut"]
    thread["note"] = "median and mean of the fully practised; others by the number of uses"
    thread["mean_over_all_battery_jobs"] = mean(
        thread["mean"] * (1.0 + slow), has(c, "battery_swap") & (c["battery_release"] >= 0)
    )
    rows["rescue_of_a_snapped_tab"] = {"median": truth.RESCUE_MINUTES}
    return rows
