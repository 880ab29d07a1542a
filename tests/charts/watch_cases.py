"""Findings of watching, made by hand, as hard on a picture as real ones can be."""

from __future__ import annotations

from typing import Any

from fixstats.findings.base import Finding, Note

MONTHS = [f"2024-{n:02d}" for n in range(6, 13)] + [f"2025-{n:02d}" for n in range(1, 7)]
SETTINGS = {
    "view": "first", "mode": [], "family": [], "group": [], "since": "2025-01-01",
    "until": "2025-06-17", "baseline_since": "2024-06-01", "expected_false": 0.31, "where": [],
}  # fmt: skip
LONG = "A name that goes on and on as names in catalogues of careful people sometimes do"


def month(mode: str, at: int, value: float, **more: Any) -> dict[str, Any]:
    watched = MONTHS[at] >= "2025-01"
    return {
        "chart": "p", "mode": mode, "family": None, "group": None, "value_of_group": None,
        "period": MONTHS[at], "failures": int(300 * value), "opportunities": 300, "value": value,
        "centre": 0.02, "lower_limit": 0.0, "upper_limit": 0.055,
        "alarm": watched and value > 0.055, "since": None, "expected_false": 0.001,
        "watched": watched, "unknown": 0,
    } | more  # fmt: skip


def months(mode: str, late: float) -> list[dict[str, Any]]:
    return [
        month(mode, at, late if at > 8 else 0.01 + 0.004 * (at % 4)) for at in range(len(MONTHS))
    ]


def group(mode: str | None, key: str, value: str, expected: float, seen: int, alarm: bool) -> Any:
    return {
        "chart": "funnel" if mode else "comebacks", "mode": mode, "family": None, "group": key,
        "value_of_group": value, "period": "2025-01-01/2025-06-17", "failures": seen,
        "opportunities": 100, "value": seen / 100, "centre": expected / 100, "lower_limit": 0.0,
        "upper_limit": (expected + 3 * expected**0.5 + 1) / 100, "alarm": alarm,
        "since": "2025-03-01" if alarm else None, "expected_false": 0.0001,
    }  # fmt: skip


def alarm(row: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "mode": row["mode"], "family": row["family"], "group": row["group"],
        "value_of_group": row["value_of_group"], "charts": [row["chart"]], "since": "2025-03-04",
        "months": [], "lasting": True, "failures": 60, "opportunities": 900, "expected": 18.0,
        "ratio": 3.3, "low": 2.1, "high": None, "safety": False, "explained_by": None,
        "from_start": False,
    } | more  # fmt: skip


def watched(
    rows: list[Any], alarms: list[Any], points: list[Any], *notes: Note, **settings: Any
) -> Finding:
    return Finding(
        question="watch",
        settings=SETTINGS | settings,
        rows=rows,
        notes=notes,
        labels={"dust_under_glass": "Dust or print under the glass", "m0": LONG, "m1": LONG},
        parts={"alarms": alarms, "months": points},
    )


DUST = months("dust_under_glass", 0.07)
QUIET = months("seal_lifts", 0.02)
LOTS = [
    group(None, "battery_lot", f"LOT-{n}", 0.3 + n, 14 if n == 4 else n, n == 4) for n in range(12)
]
MANY = [point for n in range(11) for point in months(f"m{n}", 0.06 + n / 100)]
WATCHED = {
    "watch": watched(DUST + LOTS, [alarm(DUST[-1]), alarm(LOTS[4])], DUST),
    "watch, more than fit": watched(MANY, [alarm(one) for one in MANY[12::13]], MANY),
    "watch, people": watched(
        [group("seal_lifts", "technician", LONG, 20, 60, True)],
        [alarm(group("seal_lifts", "technician", LONG, 20, 60, True), from_start=True)],
        [],
    ),
    "watch, no others failed": watched(
        [LOTS[0], {**LOTS[4], "centre": 0.0, "upper_limit": 0.0}],
        [alarm(LOTS[4], expected=0.0, ratio=None, low=None)],
        [],
    ),
    "watch, nothing out": watched(QUIET, [], QUIET),
    "watch, nothing out of what was asked": watched(QUIET, [], QUIET, mode=["seal_lifts"]),
    "watch, no rows": watched([], [], [], Note("nothing", "no job was recorded yet")),
}
