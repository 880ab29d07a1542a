"""House standards made by hand, as hard on a picture as real ones can be."""

from __future__ import annotations

from datetime import date
from typing import Any

from fixstats.findings.base import Finding, Note
from fixstats.findings.standards import conclude
from fixstats.folder.catalogue import Standard

LABELS = {
    "opening": "Opening the device",
    "heat_plate": "Heated plate, timed",
    "battery": "Battery",
}
LONG = "An extraordinarily long model name with edition, market and colour, year 2024, "
NAMES = (
    "jobs_since", "followed", "failures_before", "opportunities_before", "failures_after",
    "opportunities_after",
)  # fmt: skip
NOTHING = Note("nothing", "no house standard is recorded: fixstats adopt CHOICE OPTION records one")


def held(
    *counts: int, choice: str = "opening", option: str = "heat_plate", model: str | None = None
) -> dict[str, Any]:
    """A row; ``counts``: as in ``NAMES``."""
    standard = Standard(choice, option, date(2025, 3, 1), model)
    return conclude(standard, dict(zip(NAMES, counts, strict=True)), 0.95)


def standards(*rows: dict[str, Any], notes: tuple[Note, ...] = ()) -> Finding:
    settings = {
        "confidence_level": 0.95, "view": "first", "since": None, "until": None,
        "where": ["rework=no"], "as_of": "2025-06-17", "choices": [], "currency": "EUR",
    }  # fmt: skip
    return Finding("standards", settings, rows, ("choice", "model"), notes, (), LABELS)


STANDARDS = {
    "standards": standards(
        held(1211, 596, 140, 1287, 60, 1211),
        held(74, 37, 11, 54, 9, 71, model="Norvane 22"),
        held(9, 9, 0, 12, 3, 9, choice="battery_supplier", option="heat_plate"),
        held(0, 0, 0, 0, 0, 0, choice="battery_grade", option="original", model="Tarn 9"),
    ),
    "standards, one row": standards(held(120, 80, 30, 120, 10, 118)),
    "standards, zeros": standards(held(90, 90, 0, 80, 0, 90), held(9, 0, 0, 8, 0, 9, model="A")),
    "standards, to come": standards(held(0, 0, 0, 0, 0, 0)),
    "standards, 90 rows": standards(
        *(held(100 + n, 50, n % 9, 80 + n, n % 7, 90 + n, model=f"Tarn {n}") for n in range(90))
    ),
    "standards, long names": standards(
        held(90, 60, 9, 80, 3, 90, model=f"{LONG}A", option="x" * 90),
        held(90, 60, 9, 80, 30, 90, model=f"{LONG}B", option="x" * 90),
    ),
    "standards, no rows": standards(notes=(NOTHING,)),
}
