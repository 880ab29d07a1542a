"""Invented jobs that show how the columns of a blank job sheet are filled in."""

from __future__ import annotations

from datetime import date
from typing import Any

from fixstats.folder import Catalogue, FailureMode
from fixstats.folder.catalogue import Factor, Repair

Row = dict[str, Any]


def example_rows(catalogue: Catalogue) -> list[Row]:
    """One or two invented jobs in the words of ``catalogue``: one went well, one did not.

    Values are text, numbers or dates by column name; columns left out are blank cells.
    """
    if not catalogue.repairs:
        return []
    rows = [_plain_job(catalogue, catalogue.repairs[0])]
    found = _retried(catalogue)
    if found:
        rows.append(_retried_job(catalogue, *found))
    return rows


def _plain_job(catalogue: Catalogue, repair: Repair) -> Row:
    row: Row = {
        "job": "1001",
        "received": date(2026, 1, 14),
        "finished": date(2026, 1, 15),
        "technician": "T1",
        "model": "Example 5",
        "repair": repair.code,
        "outcome": "completed",
        "minutes": 45,
        "price": 60,
    }
    for step in repair.steps:
        row[step] = next(iter(catalogue.methods_of(step)), "")
    if catalogue.grades:
        row |= {f"{part}_grade": catalogue.grades[0].code for part in repair.parts}
    factors = {factor.code: factor for factor in catalogue.factors}
    return row | {code: _value(factors[code]) for code in repair.factors}


def _value(factor: Factor) -> str | float:
    if factor.kind == "flag":
        return "no"
    return factor.values[0] if factor.values else factor.bands[0] if factor.bands else 1


def _retried(catalogue: Catalogue) -> tuple[Repair, FailureMode, str] | None:
    """A mode that only one method of its step has, with the repair and another method."""
    for mode in catalogue.failure_modes:
        if len(mode.steps) != 1 or not mode.methods:
            continue
        others = [one for one in catalogue.methods_of(mode.steps[0]) if one not in mode.methods]
        repairs = [one for one in catalogue.repairs if mode.steps[0] in one.steps]
        if others and repairs:
            return repairs[0], mode, others[0]
    return None


def _retried_job(catalogue: Catalogue, repair: Repair, mode: FailureMode, other: str) -> Row:
    """A method failed, another was tried; one step was left out, one thing nobody looked for."""
    row = _plain_job(catalogue, repair)
    step = mode.steps[0]
    row |= {"job": "1002", "technician": "T2", "minutes": 70}
    row |= {step: f"{mode.methods[0]} > {other}", "failures": mode.code}
    left_out = [one for one in repair.steps if one != step]
    row |= dict.fromkeys(left_out[-1:], "-")
    families = [family for family in catalogue.families if family != mode.family]
    return row | ({"unchecked": families[-1]} if families else {})
