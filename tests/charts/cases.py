"""Findings made by hand, as hard on a picture as real ones can be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fixstats import stats
from fixstats.charts import chart
from fixstats.findings.base import Finding, Note
from fixstats.findings.rates_pool import pool_rows

from .cause_cases import CAUSES
from .comeback_cases import COMEBACKS
from .compare_cases import COMPARISONS
from .decide_cases import DECISIONS
from .practice_cases import PRACTICES
from .standards_cases import STANDARDS
from .trial_cases import TRIALS
from .watch_cases import WATCHED

LABELS = {
    "opening": "Opening the device",
    "heat_plate": "Heated plate, timed",
    "heat_gun": "Hot-air gun",
    "suction_frame": "Suction frame, no heat",
    "display_lines": "Lines in the picture",
    "glass_cracked": "Front glass cracked",
    "charge": "Charge at calibration, %",
    "swollen": "Battery swollen",
    "battery": "Battery",
    "display": "Display",
    "original": "New, from the maker",
    "refurbished": "Reworked",
}
METHODS = ("heat_plate", "heat_gun", "suction_frame")
MODELS = ("Tarn 10", "Tarn 9", "Alder 2", "Osier Tab")
PARTIAL = Note("partial", "2025-06 is not over: the records end on 2025-06-17")
NOTHING = Note("nothing", "no job in the records was an opportunity for what was asked")


def row(k: int, n: int, *, mode: str | None = "display_lines", **more: Any) -> dict[str, Any]:
    """A row of a rates finding; ``more``: keys, unit, unknown, unknown_failed."""
    unit = more.pop("unit", "job")
    unknown, unknown_failed = more.pop("unknown", 0), more.pop("unknown_failed", 0)
    interval = stats.wilson(k, n, confidence_level=0.95)
    units = n + unknown
    return {
        "unit": unit,
        "mode": mode,
        "family": "display_damage",
        **more,
        "failures": k,
        "opportunities": n,
        "unknown": unknown,
        "unknown_failed": unknown_failed,
        "rate": k / n if n else None,
        "low": float(interval.low) if n else None,
        "high": float(interval.high) if n else None,
        "at_most": float(stats.at_most(n, confidence_level=0.95)) if k == 0 else None,
        "bound_low": (k + unknown_failed) / units if units else None,
        "bound_high": (k + unknown) / units if units else None,
        "one_in": n / k if k else None,
    }


def finding(
    rows: Sequence[dict[str, Any]],
    keys: Sequence[str] = (),
    notes: Sequence[Note] = (),
    question: str = "rates",
    **settings: Any,
) -> Finding:
    common = {
        "confidence_level": 0.95,
        "view": "first",
        "interval": "wilson",
        "cluster": None,
        "by": list(keys),
        "where": [],
        "since": None,
        "until": None,
        "min_opportunities": 0,
        "as_of": "2025-06-17",
        "currency": "EUR",
    }
    return Finding(question, common | settings, tuple(rows), tuple(keys), tuple(notes), (), LABELS)


def pooled(rows: Sequence[dict[str, Any]], keys: Sequence[str]) -> Finding:
    """A finding of rates that were pooled across models."""
    return finding(pool_rows(rows, keys, 0.95), keys, pool=True)


def pair(k: int, n: int, a: str | None, b: str | None, **more: Any) -> dict[str, Any]:
    """A row of a rate by pair of grades of battery and display."""
    parts = {"part_a": "battery", "grade_a": a, "part_b": "display", "grade_b": b}
    return row(k, n, unit="pair", **parts, **more)


def pairs(*rows: dict[str, Any]) -> Finding:
    return finding(rows, ("part_a", "grade_a", "part_b", "grade_b"))


def cost(mode: str, k: int, n: int, each: float | None) -> dict[str, Any]:
    """A row of a costs finding."""
    rates = row(k, n, mode=mode)
    known = each is not None and n
    return {
        "mode": mode,
        "family": "display_damage",
        "failures": k,
        "opportunities": n,
        "cost_per_failure": each,
        **{
            f"money{end}": rates[name] * n * (each or 0) if known else None
            for end, name in (("", "rate"), ("_low", "low"), ("_high", "high"))
        },
    }


def costs(*rows: dict[str, Any]) -> Finding:
    return finding(rows, question="costs", labour_rate=48.0)


def grid(models: Sequence[str], methods: Sequence[str | None], **more: Any) -> list[dict[str, Any]]:
    """A row for every model and method, counts from their places."""
    return [
        row((3 * i + 5 * j) % 9, 60 + 17 * i + 11 * j, model=model, opening=method, **more)
        for i, model in enumerate(models)
        for j, method in enumerate(methods)
    ]


def months(gap: Sequence[int] = (), **more: Any) -> list[dict[str, Any]]:
    """Eighteen months to June 2025, some without a row."""
    return [
        row(place % 5, 40 + place, month=f"{2024 + place // 12}-{place % 12 + 1:02d}", **more)
        for place in range(18)
        if place not in gap
    ]


def records(found: Finding, layer: int) -> list[dict[str, Any]]:
    """What a layer of the picture of a finding draws."""
    spec = chart(found).to_dict()
    data = spec["layer"][layer]["data"]
    return list(spec["datasets"][data["name"]] if "name" in data else data["values"])


LONG = "An extraordinarily long model name with edition, market and colour, year 2024, "
FINDINGS = {
    "models and methods": finding(grid(MODELS, METHODS), ("model", "opening")),
    "60 rows": finding(
        grid([f"Alder {n}" for n in range(12)], [*METHODS, "-", None]), ("model", "opening")
    ),
    "several modes": finding(
        [*grid(MODELS, METHODS), *grid(MODELS, METHODS, mode="glass_cracked")],
        ("model", "opening"),
    ),
    "modes alone": finding([row(3, 90), row(20, 90, mode="glass_cracked")]),
    "one row": finding([row(6, 193)]),
    "all zeros": finding([row(0, 9 + n, model=m) for n, m in enumerate(MODELS)], ("model",)),
    "no opportunity": finding([row(0, 0, model=m) for m in MODELS], ("model",)),
    "only unknown": finding([row(0, 0, model=m, unknown=5) for m in MODELS], ("model",)),
    "no rows": finding([], ("model",), [NOTHING]),
    "long names": finding(
        grid([f"{LONG}A", f"{LONG}B"], ["heat_gun", "x" * 120]),
        ("model", "opening"),
        where=[f"model={LONG}A", f"model={LONG}B"],
    ),
    "empty keys": finding(
        [row(2, 50, opening=o, battery_grade=g) for o in ("heat_gun", "-", None)
         for g in ("original", "-", None)],
        ("opening", "battery_grade"),
    ),
    "unknown": finding(
        [row(2, 50, model="Tarn 9", unknown=5), row(2, 50, model="Tarn 10", unknown=60)], ("model",)
    ),
    "bands": finding(
        [row(3, 50, charge=band) for band in (">=80", "20-80", "<20", None)], ("charge",)
    ),
    "pairs": pairs(
        pair(3, 50, "refurbished", "original"), pair(1, 9, "original", "refurbished"),
        pair(0, 240, "house_brand", "original"), pair(40, 300, "house_brand", "refurbished"),
        pair(0, 0, None, "original", unknown=12), pair(2, 60, "house_brand", None, unknown=80),
    ),
    "one pair": pairs(pair(3, 50, "refurbished", "original")),
    "pairs, zeros": pairs(pair(0, 50, "refurbished", "original"), pair(0, 0, None, "original")),
    "pairs, no opportunity": pairs(pair(0, 0, None, "original", unknown=3)),
    "60 pairs": pairs(*(
        pair((a * b) % 7, 15 + 40 * a, f"grade {a}", f"grade {b}") for a in range(6)
        for b in range(10)
    )),
    "pairs, long names": pairs(
        *(pair(3, 150, f"{LONG}{a}", f"{LONG}{b}") for a in "AB" for b in "CD")
    ),
    "two grids": pairs(
        pair(3, 50, "refurbished", "original"),
        pair(9, 150, "refurbished", "original", mode="glass_cracked"),
    ),
    "pairs, no rows": finding([], ("part_a", "grade_a", "part_b", "grade_b"), [NOTHING]),
    "pairs of models": finding(
        [pair(3, 50, "refurbished", None) | {"model": m} for m in MODELS],
        ("model", "part_a", "grade_a", "part_b", "grade_b"),
    ),
    "pooled": pooled(
        [row(k, n, model=m) for m, (k, n) in zip(
            MODELS, ((3, 90), (0, 6), (14, 120), (1, 3)), strict=True)], ("model",)
    ),
    "pooled, 60 rows": pooled(
        grid([f"Alder {n}" for n in range(12)], [*METHODS, "-", None]), ("opening", "model")
    ),
    "pooled, one row": pooled([row(3, 90, model="Tarn 9")], ("model",)),
    "pooled, zeros": pooled(
        [row(0, 30 * n, model=m) for n, m in enumerate(MODELS)], ("model",)
    ),
    "pooled, long names": pooled(
        grid([f"{LONG}A", f"{LONG}B", "C"], ["heat_gun", "x" * 120]), ("model", "opening")
    ),
    "pooled, no rows": finding([], ("model",), [NOTHING], pool=True),
    "pooled months": pooled(
        [one for m in MODELS[:3] for one in months((4,), model=m)[:4]], ("month", "model")
    ),
    "18 months": finding(months((4, 9)), ("month",), [PARTIAL]),
    "one month": finding(months()[:1], ("month",)),
    "months of models": finding(
        [one for m in ("Tarn 9", None) for one in months((4,), model=m)],
        ("month", "model"), [PARTIAL],
    ),
    "months, zeros": finding(
        [row(0, n, month=f"2025-0{n}", unknown=n) for n in range(1, 7)], ("month",), [PARTIAL]
    ),
    "months, no opportunity": finding([row(0, 0, month="2025-01")], ("month",)),
    "months, no rows": finding([], ("month",), [NOTHING]),
    "costs": costs(
        cost("display_lines", 34, 1900, 150), cost("glass_cracked", 12, 1900, 60),
        cost("cell_bent", 0, 1900, 60), cost("dust", 3, 90, None),
    ),
    "one cost": costs(cost("display_lines", 34, 1900, 150)),
    "costs, zeros": costs(cost("display_lines", 0, 1900, 150), cost("glass_cracked", 0, 19, 5)),
    "costs unknown": costs(cost("display_lines", 3, 1900, None)),
    "costs, no rows": costs(),
}  # fmt: skip
FINDINGS |= COMPARISONS | PRACTICES | CAUSES | COMEBACKS | TRIALS | WATCHED | DECISIONS | STANDARDS
