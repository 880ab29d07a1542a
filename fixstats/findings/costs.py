"""Which failure modes cost the workshop most? Rates times what one failure costs."""

from __future__ import annotations

from typing import Any

from fixstats.findings.base import Finding, Note
from fixstats.folder import FailureMode, ShopFolder
from fixstats.words import listed


def costs(rates: Finding, folder: ShopFolder) -> Finding:
    """Money that each mode cost over the period, ranked; pure.

    ``rates`` is a rates finding without ``by``. A failure costs its catalogue minutes at the
    labour rate plus its catalogue money. ``money`` is failures times that; ``money_low`` and
    ``money_high`` are the ends of the rate's interval times the opportunities times that, so they
    carry the uncertainty of the rate and none of the cost. A mode without a cost in the catalogue
    is missing, not free: its money is None.
    """
    rows = []
    for row in rates.rows:
        mode = folder.catalogue.modes[row["mode"]]
        each = cost_of(mode, folder.settings.labour_rate)
        rows.append(_row(row, each))
    missing = [row["mode"] for row in rows if row["cost_per_failure"] is None and row["failures"]]
    notes = list(rates.notes)
    if missing:
        names = listed(folder.catalogue.label(mode) for mode in missing)
        notes.insert(0, Note("missing_cost", f"no cost in the catalogue for {names}: not ranked"))
    return Finding(
        question="costs",
        settings={**rates.settings, "labour_rate": folder.settings.labour_rate},
        rows=tuple(sorted(rows, key=lambda row: (row["money"] is None, -(row["money"] or 0)))),
        notes=tuple(notes),
        cautions=rates.cautions,
        labels=rates.labels,
    )


def cost_of(mode: FailureMode, labour_rate: float) -> float | None:
    """Money for one failure: minutes at the labour rate and money; None where neither is known."""
    if mode.cost_minutes is None and mode.cost_money is None:
        return None
    return (mode.cost_minutes or 0) / 60 * labour_rate + (mode.cost_money or 0)


def _row(row: Any, each: float | None) -> dict[str, Any]:
    known = each is not None and row["rate"] is not None
    scale = (each or 0) * row["opportunities"]
    return {
        "mode": row["mode"],
        "family": row["family"],
        "failures": row["failures"],
        "opportunities": row["opportunities"],
        "cost_per_failure": each,
        "money": row["rate"] * scale if known else None,
        "money_low": row["low"] * scale if known else None,
        "money_high": row["high"] * scale if known else None,
    }
