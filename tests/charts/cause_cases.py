"""Findings of causes made by hand, as hard on a picture as real ones can be."""

from __future__ import annotations

from typing import Any

from fixstats.findings.base import Finding, Note

SETTINGS = {
    "mode": "display_lines", "unit": "job", "confidence_level": 0.95, "view": "first",
    "where": [], "since": None, "until": None, "min_opportunities": 10, "as_of": "2025-06-17",
    "currency": "EUR",
}  # fmt: skip
LABELS = {"display_lines": "Lines in the picture", "charge": "Charge at calibration, %"}


def cause(
    odds: float | None,
    low: float | None,
    high: float | None,
    p: float | None = 0.001,
    condition: str = "charge",
    level: str = "<20",
    mode: str | None = "display_lines",
) -> dict[str, Any]:
    """A row: a value of a condition against its reference."""
    return {
        "condition": condition, "level": level, "reference": ">=20", "mode": mode,
        "family": "display_damage", "failures": 9, "opportunities": 60, "rate": 0.15,
        "reference_failures": 12, "reference_opportunities": 1200, "reference_rate": 0.01,
        "odds_ratio": odds, "odds_low": low, "odds_high": high, "p_corrected": p,
    }  # fmt: skip


def causes(*rows: dict[str, Any], notes: tuple[Note, ...] = (), **settings: Any) -> Finding:
    """A finding of these rows."""
    total = {"failures": 21, "opportunities": 1260, "unknown": 0}
    return Finding(
        "causes", SETTINGS | settings, rows, notes=tuple(notes), labels=LABELS,
        parts={"total": [total], "sentences": []},
    )  # fmt: skip


NO_CONTRAST = Note("no_contrast", "it never occurred in 5,573 opportunities")
CAUSES = {
    "causes": causes(
        cause(0.5, 0.2, 1.4, p=0.4, level="a"), cause(3, 2, 5), cause(1.2, 0.9, 1.6, p=0.3)
    ),
    "one cause": causes(cause(3, 2, 5)),
    "causes, wide": causes(cause(2, 0.001, 5000, p=0.9), cause(0.02, 0.0001, 3, p=0.9)),
    "causes, 70 rows": causes(
        *(cause(1 + n / 100, 0.5, 3, p=(n + 0.5) / 100, level=str(n)) for n in range(70))
    ),
    "causes, long names": causes(
        cause(2, 1.1, 4, condition="x" * 80, level="</script>" + "long value, edition, " * 9),
        cause(0.7, 0.4, 0.9, p=0.04),
    ),
    "causes, no rows": causes(notes=(NO_CONTRAST,)),
}  # fmt: skip
