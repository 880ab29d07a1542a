"""Decisions made by hand, as hard on a picture and on words as real ones can be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fixstats.findings.base import Finding, Note

KEYS = (
    "choice", "scope", "model", "verdict", "option", "runner_up", "current", "p_best",
    "cost_per_job", "cost_low", "cost_high", "saving_per_job", "saving_low", "saving_high",
    "saving_vs_current", "regret_per_job", "jobs", "jobs_needed", "safety", "borrowed", "reason",
    "borderline", "runner_up_safety", "vs_current_low", "vs_current_high",
)  # fmt: skip
LABELS = {
    "opening": "Opening the device",
    "heat_plate": "Heated plate, timed",
    "heat_gun": "Hot-air gun",
    "warm_pad": "Warm pad",
    "battery": "Battery",
    "display_lines": "Lines in the picture",
}
LONG = "An extraordinarily long model name with edition, market and colour, year 2024, "
# cost, low, high; used, minutes money, failures, come-backs; jobs, p_best, safety
Costs = tuple[float, float, float]
PLATE = ("heat_plate", (9.1, 8.4, 9.9), (0.4, 6.1, 1.9, 0.7), 812, 0.97, "cleared")
GUN = ("heat_gun", (11.6, 10.2, 13.4), (0.1, 5.2, 5.1, 1.2), 402, 0.03, "cleared")
PAD = ("warm_pad", (8.0, 5.2, 14.0), (0.3, 5.0, 2.0, 0.7), 31, 0.0, "worse")
Option = tuple[str, Costs, tuple[float, ...], int, float, str]


def decided(
    options: Sequence[Option],
    *,
    choice: str = "opening",
    model: str | None = None,
    verdict: str = "standardise",
    current: str | None = "heat_gun",
    reason: str = "97% sure to be the cheapest, and as sure without the last 20 jobs",
    **more: Any,
) -> tuple[dict[str, Any], list[dict[str, Any]], dict[str, Any]]:
    """A row, its options and its sentence; the cheapest option that is not worse leads."""
    kept = sorted((one for one in options if one[5] != "worse"), key=lambda one: one[1][0])
    row: dict[str, Any] = dict.fromkeys(KEYS)
    scope = "model" if model else "all"
    row |= {"choice": choice, "scope": scope, "model": model, "verdict": verdict}
    row |= {"current": current, "reason": reason, "borderline": False}
    if kept:
        name, (cost, low, high), _, jobs, p_best, safety = kept[0]
        row |= {"option": name, "p_best": p_best, "cost_per_job": cost, "cost_low": low}
        row |= {"cost_high": high, "regret_per_job": 0.05, "jobs": jobs, "safety": safety}
        row |= {"borrowed": 0.2}
    if len(kept) > 1:
        saving = kept[1][1][0] - kept[0][1][0]
        row |= {"runner_up_safety": kept[1][5]}
        row |= {"runner_up": kept[1][0], "saving_per_job": saving, "saving_vs_current": saving}
        row |= {"saving_low": saving - 1.9, "saving_high": saving + 2.2}
    row |= more
    parts = [_option(row, one) for one in options]
    on = f"on {model}: " if model else ""
    text = f"{choice}: {on}make {row['option']} the standard: {row['reason']}"
    rival = row["runner_up"] if verdict == "trial" else None
    return (
        row,
        parts,
        {"choice": choice, "model": model, "text": text, "rival": rival, "adopted": False},
    )


def _option(row: dict[str, Any], one: Option) -> dict[str, Any]:
    name, (cost, low, high), (used, minutes, failures, comebacks), jobs, p_best, safety = one
    return {
        "choice": row["choice"], "scope": row["scope"], "model": row["model"], "option": name,
        "safety": safety, "jobs": jobs, "cost_per_job": cost, "cost_low": low, "cost_high": high,
        "used_money": used, "minutes": minutes, "minutes_money": minutes,
        "failures_money": failures, "comebacks_money": comebacks, "p_best": p_best,
        "regret_per_job": None if safety == "worse" else 0.05, "borrowed": 0.2,
        "current": name == row["current"], "standard": False, "safety_opportunities": jobs,
    }  # fmt: skip


def decision(
    answers: Sequence[tuple[dict[str, Any], list[dict[str, Any]], dict[str, Any]]],
    *,
    notes: Sequence[Note] = (),
    cautions: Sequence[str] = (),
    lines: Sequence[dict[str, Any]] = (),
    flips: Sequence[dict[str, Any]] = (),
    **settings: Any,
) -> Finding:
    """A finding of rows made by ``decided``."""
    common: dict[str, Any] = {
        "confidence_level": 0.95, "view": "first", "since": None, "until": None,
        "where": [], "labour_rate": 60.0, "tolerance": 0.5, "standardise_at": 0.95,
        "safety_limit": 0.02, "horizon_months": 12, "changed": [], "as_of": "2025-06-17",
        "catalogue_hash": "0", "batches": [1], "currency": "EUR",
    }  # fmt: skip
    parts = {
        "options": [one for _, options, _ in answers for one in options],
        "sentences": [told for _, _, told in answers],
        "modes": [],
        "flips": list(flips),
        "lines": list(lines),
    }
    rows = tuple(row for row, _, _ in answers)
    keys = ("choice", "model")
    return Finding(
        "decide", common | settings, rows, keys, tuple(notes), tuple(cautions), LABELS, parts
    )


def flipping(
    options: Sequence[Option],
    per_unit: Sequence[float],
    now: float | None,
    flip: tuple[float, str] | None,
    *,
    along: str = "labour_rate",
    model: str | None = None,
) -> Finding:
    """A decision drawn along one input; ``flip``: where, and to which option."""
    answer = decided(options, model=model)
    common = {"choice": "opening", "scope": answer[0]["scope"], "model": model, "input": along}
    lines = [
        common
        | {"option": name, "now": now, "per_unit": slope}
        | {"cost_per_job": cost, "cost_low": low, "cost_high": high}
        for (name, (cost, low, high), *_, safety), slope in zip(options, per_unit, strict=True)
        if safety != "worse"
    ]
    at, to = flip or (None, None)
    flips = [common | {"now": now, "flips_at": at, "option": answer[0]["option"], "to": to}]
    return decision([answer], lines=lines, flips=flips, along=along)


def many_models(number: int) -> Finding:
    """A row for all models and for each, three options in each."""
    answers = [decided([PLATE, GUN, PAD])]
    verdicts = ("standardise", "lean", "trial", "wait", "equal_enough", "unproven")
    for n in range(number):
        shift = 0.3 * (n % 7)
        costs = (9.1 + shift, 8.0 + shift, 10.4 + shift * 1.2)
        parts = (0.4, 6.1, 1.9 + shift, 0.7)
        plate: Option = ("heat_plate", costs, parts, max(60 - n, 2), 0.9, "cleared")
        answers.append(
            decided([plate, GUN, PAD], model=f"Tarn {n}", verdict=verdicts[n % len(verdicts)])
        )
    return decision(answers)


EQUAL = [
    ("heat_plate", (9.0, 8.9, 9.1), (0.0, 9.0, 0.0, 0.0), 500, 0.5, "cleared"),
    ("heat_gun", (9.0, 8.9, 9.1), (0.0, 9.0, 0.0, 0.0), 500, 0.5, "cleared"),
]
WIDE: Option = ("x" * 70, (14.0, 2.0, 190.0), (2.0, 6.0, 5.0, 1.0), 3, 0.2, "unproven")
NOTHING = Note("nothing", "no job in the records has a recorded option of opening")
DECISIONS = {
    "decided": decision([
        decided([PLATE, GUN, PAD]),
        decided([PLATE, GUN], model="Tarn 9"),
        decided([GUN, PLATE], model="Alder 2", verdict="lean", borderline=True),
    ]),
    "decided, one row": decision([decided([PLATE, GUN])]),
    "decided, only one": decision([
        decided([PLATE], verdict="only_one", reason="nothing to compare it with"),
    ]),
    "decided, all equal": decision([
        decided(EQUAL, verdict="equal_enough", model=model) for model in (None, "A", "B")
    ]),  # type: ignore[list-item]
    "decided, all worse": decision([decided([PAD], verdict="unproven")]),
    "decided, 60 rows": many_models(19),
    "decided, 300 rows": many_models(99),
    "decided, long names": decision([
        decided([PLATE, WIDE]), decided([PLATE, WIDE], model=f"{LONG}A", verdict="wait"),
        decided([PLATE, WIDE], model=f"{LONG}B", verdict="wait"),
    ], where=[f"technician={LONG}", "rework=no"]),
    "decided, several choices": decision([
        decided([PLATE, GUN]), decided([PLATE, GUN], model="Tarn 9"),
        decided([GUN, PLATE], choice="battery_grade", verdict="wait"),
        decided([GUN, PLATE], choice="battery_grade", model="Tarn 9", verdict="trial"),
    ], changed=["labour_rate 90"]),
    "decided, no rows": decision([], notes=[NOTHING]),
    "flips": flipping([PLATE, GUN, PAD], [0.14, 0.09, 0.1], 60.0, (110.0, "heat_gun")),
    "flips, never": flipping([PLATE, GUN], [0.09, 0.14], 60.0, None, model="Tarn 9"),
    "flips, not set": flipping(
        [PLATE, GUN], [0.03, 0.01], None, (125.0, "heat_gun"), along="cost display_lines"
    ),
    "flips, equal, long": flipping(
        [*EQUAL, ("w" * 60, (9.0, 8.9, 9.1), (0, 9, 0, 0), 5, 0.1, "cleared")], [1.0, 0.0, 0.0],
        9.0, (9.0, "heat_gun"), along="price battery:heat_plate", model=f"{LONG}A",
    ),
    "flips, no rows": decision([], notes=[NOTHING], along="labour_rate"),
}  # fmt: skip
