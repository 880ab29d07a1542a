"""The truth beside the sheets: true rates and effects that follow from the parameters.

Every figure is an expectation over the case mix that was drawn, never a count of what happened.
A *standardised* rate answers: if all jobs of this scope in which the step was done had been tried
first with this option, by the technicians as they were, what share would have failed?
"""

from __future__ import annotations

from typing import Any

from fixstats.demo import truth
from fixstats.demo.cases import Columns, technicians
from fixstats.demo.facts_parts import (
    Row,
    bad_lot,
    comebacks,
    dead_on_arrival,
    grade_rates,
    mean,
    mixed_parts,
    step_minutes,
)
from fixstats.demo.outcomes import first_choice_chance, mode_chance


def facts(c: Columns) -> Row:
    """Everything a test or a reader may want to compare findings with."""
    keep = c["of_row"] < 0
    jobs = {key: value[keep] for key, value in c.items()}
    return {
        "what": "True values of the invented workshop; see README.md for the words.",
        "jobs": len(keep),
        "jobs_that_are_comebacks": int((~keep).sum()),
        "records_until": truth.UNTIL.isoformat(),
        "technicians": technicians(len(keep)),
        "planted": {
            "clearly_better": _clearly_better(jobs),
            "equal": _equal(jobs),
            "rank_by_model": _rank_by_model(jobs),
            "reversal": _reversal(jobs),
            "bad_lot": bad_lot(jobs),
            "drift": _drift(jobs),
            "weaker_technician": _weaker(jobs),
            "learning": _learning(jobs),
            "calibration_conditions": _conditions(jobs),
            "mixed_parts": mixed_parts(jobs),
            "safety": _safety(jobs),
        },
        "comebacks": comebacks(jobs),
        "dead_on_arrival": dead_on_arrival(jobs),
        "step_minutes": step_minutes(jobs),
        "step_rates": step_rates(jobs),
        "grade_rates": grade_rates(jobs),
    }


def step_rates(c: Columns) -> list[Row]:
    """For every step, option and mode, per model and over all: standardised true rates."""
    rows: list[Row] = []
    for step, modes in truth.STEP_MODES.items():
        for mode in modes:
            for index, option in enumerate(truth.METHODS[step]):
                rows += _option_rows(c, step, mode, index, option)
    return rows


def _option_rows(c: Columns, step: str, mode: str, index: int, option: str) -> list[Row]:
    chance = first_choice_chance(c, step, mode, index)
    learnt = c | {"uses": c["uses"] * 0 + truth.PRACTISED}
    practised = first_choice_chance(learnt, step, mode, index)
    by_now = first_choice_chance(c | {"uses": uses_reached(c)}, step, mode, index)
    could = opportunities(c, step, mode)
    rows = []
    for number, model in [(None, None), *enumerate(m.name for m in truth.MODELS)]:
        scope = could if number is None else could & (c["model"] == number)
        users = scope & (c[step] == index)
        row: Row = {"choice": step, "option": option, "mode": mode, "model": model}
        row |= {"jobs": int(scope.sum()), "jobs_with_option": int(users.sum())}
        row["true_rate"] = mean(chance, scope)
        row["true_rate_now"] = mean(by_now, scope)
        row["true_rate_practised"] = mean(practised, scope)
        row["true_rate_of_its_own_jobs"] = mean(chance, users)
        rows.append(row)
    return rows


def uses_reached(c: Columns) -> Any:
    """Uses of the method being learned that each job's technician has reached at the end."""
    import numpy as np

    most = np.zeros(c["technician"].max(initial=0) + 1, c["uses"].dtype)
    np.maximum.at(most, c["technician"], c["uses"])
    return most[c["technician"]]


def opportunities(c: Columns, step: str, mode: str) -> Any:
    """Jobs at which the mode could have occurred at the step and was not there at intake."""
    could = c[step] >= 0
    before = c.get(f"{mode}_before")
    return could if before is None else could & ~before


def _standardised(c: Columns, step: str, mode: str, where: Any = True) -> dict[str, float | None]:
    could = opportunities(c, step, mode) & where
    return {
        option: mean(first_choice_chance(c, step, mode, index), could)
        for index, option in enumerate(truth.METHODS[step])
    }


def _own_jobs(c: Columns, step: str, mode: str, where: Any = True) -> dict[str, float | None]:
    could = opportunities(c, step, mode) & where
    return {
        option: mean(first_choice_chance(c, step, mode, index), could & (c[step] == index))
        for index, option in enumerate(truth.METHODS[step])
    }


def _clearly_better(c: Columns) -> Row:
    return {
        "choice": "opening",
        "better": "heat_plate",
        "modes": ["display_lines", "glass_cracked"],
        "true_rates": {
            mode: _standardised(c, "opening", mode) for mode in ("display_lines", "glass_cracked")
        },
        "note": "heat_plate replaces heat_gun over the months",
    }


def _equal(c: Columns) -> Row:
    modes = tuple(truth.STEP_MODES["resealing"])
    rates = {mode: _standardised(c, "resealing", mode) for mode in modes}
    return {"choice": "resealing", "options": [*truth.METHODS["resealing"]], "true_rates": rates}


def _rank_by_model(c: Columns) -> Row:
    rates = {
        model.name: _standardised(c, "calibration", "calibration_refused", c["model"] == number)
        for number, model in enumerate(truth.MODELS)
    }
    return {"choice": "calibration", "mode": "calibration_refused", "true_rates": rates}


def _reversal(c: Columns) -> Row:
    step, mode = "display_handling", "display_flex_torn"
    effect = truth.STEP_MODES[step][mode].method["display_detached"]
    strata = []
    for hard in (0, 1):
        for careful in (0, 1):
            where = (c["hard"] == hard) & ((c["kind"] == 0) == bool(careful))
            strata.append(
                {"hard_device": hard, "technician": "T1" if careful else "the others"}
                | {"true_rates": _standardised(c, step, mode, where)}
            )
    return {
        "choice": step,
        "mode": mode,
        "truly_better": "display_detached",
        "looks_better": "display_on_stand",
        "through": "hard devices and the careful technician T1",
        "expected_raw_rates": _own_jobs(c, step, mode),
        "true_rates": _standardised(c, step, mode),
        "odds_ratio_within_strata": round(float(_exp(effect)), 6),
        "strata": strata,
        "hard_models": [model.name for model in truth.MODELS if model.hard],
    }


def _drift(c: Columns) -> Row:
    import numpy as np

    step, mode = "display_handling", "dust_under_glass"
    chance = mode_chance(c, step, mode, np.maximum(c[step], 0))
    after = c["finished"] >= np.datetime64(truth.DRIFT_FROM)
    could = opportunities(c, step, mode)
    return {
        "mode": mode,
        "step": step,
        "from": truth.DRIFT_FROM.isoformat(),
        "true_rate_before": mean(chance, could & ~after),
        "true_rate_after": mean(chance, could & after),
        "odds_ratio": round(float(_exp(truth.DRIFT)), 6),
    }


def _weaker(c: Columns) -> Row:
    import numpy as np

    theirs = c["kind"] == truth.WEAK
    usual = c | {"kind": np.where(theirs, 1, c["kind"])}
    rates = {}
    for step, mode in (
        ("opening", "display_lines"),
        ("opening", "glass_cracked"),
        ("display_handling", "display_flex_torn"),
    ):
        where = opportunities(c, step, mode) & theirs
        method = np.maximum(c[step], 0)
        rates[mode] = {
            "true_rate": mean(mode_chance(c, step, mode, method), where),
            "same_jobs_by_usual_hands": mean(mode_chance(usual, step, mode, method), where),
        }
    hands = truth.TECHNICIANS[truth.WEAK]
    ratio = float(_exp(hands.shift + hands.display_shift))
    return {"technician": "T4", "odds_ratio": round(ratio, 6), "modes": rates}


def _learning(c: Columns) -> Row:
    import numpy as np

    step, mode = "battery_release", "flex_cut"
    names = truth.METHODS[step]
    could = opportunities(c, step, mode)
    by_uses = {}
    for uses in (0, 5, 10, 20, 30, 50, 75, 100):
        at = c | {"uses": np.full_like(c["uses"], uses)}
        by_uses[str(uses)] = mean(mode_chance(at, step, mode, names.index("thread_cut")), could)
    done = c | {"uses": np.full_like(c["uses"], truth.PRACTISED)}
    minutes = truth.STEP_MINUTES[step]["thread_cut"]
    return {
        "choice": step,
        "option": "thread_cut",
        "mode": mode,
        "in_use_from": truth.THREAD_FROM.isoformat(),
        "true_rate_by_earlier_uses": by_uses,
        "true_rate_practised": mean(mode_chance(done, step, mode, 2), could),
        "other_methods_practised": mean(mode_chance(done, step, mode, 1), could),
        "formula": f"logit = practised + {truth.LEARNING} * exp(-uses / {truth.LEARNING_USES})",
        "minutes": f"median = {minutes} * (1 + {truth.WRIGHT_EXTRA} * (uses + 1)"
        f"^-{truth.WRIGHT_SLOPE}); sigma of the logarithm {truth.MINUTES_SPREAD}",
    }


def _conditions(c: Columns) -> Row:
    """Odds ratio, standardised risk difference and share due of each condition of calibration."""
    import numpy as np

    hotspot = list(truth.CONNECTIONS).index("hotspot")
    n = len(c["model"])
    every = np.ones(n, bool)
    above = np.maximum(c["charge"], truth.LOW_CHARGE_BELOW)
    no_hotspot = np.where(c["connection"] == hotspot, 1, c["connection"])
    # condition -> effect on the logit scale, everybody with it, nobody with it
    cases: dict[str, tuple[float, Columns, Columns]] = {
        "charge_below_20": (truth.LOW_CHARGE, {"charge": np.full(n, 10)}, {"charge": above}),
        "connection_hotspot": (
            truth.HOTSPOT,
            {"connection": np.full(n, hotspot)},
            {"connection": no_hotspot},
        ),
        "several_parts": (
            truth.SEVERAL_PARTS,
            {"battery_new": every, "display_new": every},
            {"battery_new": ~every},
        ),
        "grades_mixed": (truth.MIXED_GRADES, {"mixed": every}, {"mixed": ~every}),
    }
    could = c["calibration"] >= 0
    now = mean(_refused(c), could)
    rows: Row = {"mode": "calibration_refused", "true_rate": now, "conditions": {}}
    for name, (effect, on, off) in cases.items():
        with_it, without = mean(_refused(c | on), could), mean(_refused(c | off), could)
        if now is None or with_it is None or without is None:
            continue
        rows["conditions"][name] = {
            "odds_ratio": round(float(_exp(effect)), 6),
            "risk_difference": round(with_it - without, 6),
            "share_of_failures_due_to_it": round(1.0 - without / now, 6),
        }
    return rows


def _refused(c: Columns) -> Any:
    import numpy as np

    method = np.maximum(c["calibration"], 0)
    return mode_chance(c, "calibration", "calibration_refused", method)


def _safety(c: Columns) -> Row:
    step, modes = "battery_release", ("cell_bent", "cell_pierced")
    rates = {mode: _standardised(c, step, mode) for mode in modes}
    return {"choice": step, "dangerous": "pry_tool", "true_rates": rates}


def _exp(value: float) -> Any:
    import numpy as np

    return np.exp(value)
