"""A small catalogue that passes, to be spoilt in one place at a time."""

from copy import deepcopy
from datetime import date

SMALL = {
    "format": 1,
    "unrecorded_grade": "original",
    "step": [
        {"code": "opening", "label": "Opening", "order": 20},
        {"code": "release", "label": "Release", "order": 10},
    ],
    "method": [
        {"step": "opening", "code": "heat", "label": "Heat", "consumables": 0.2,
         "cautions": ["Hot."]},
        {"step": "opening", "code": "cold", "label": "Cold"},
        {"step": "release", "code": "pull", "label": "Pull"},
    ],
    "part": [{"code": "battery", "label": "Battery"}, {"code": "display", "label": "Display"}],
    "grade": [
        {"code": "original", "label": "Original", "origin": "maker"},
        {"code": "copy", "label": "Copy"},
    ],
    "factor": [
        {"code": "liquid", "label": "Liquid", "kind": "flag"},
        {"code": "casing", "label": "Casing", "kind": "category", "values": ["metal", "glass"]},
        {"code": "charge", "label": "Charge", "kind": "number", "bands": [20, 80],
         "when": "during"},
    ],
    "repair": [
        {"code": "swap", "label": "Swap", "steps": ["opening", "release"], "parts": ["battery"],
         "factors": ["liquid"]},
    ],
    "failure_mode": [
        {"code": "torn", "label": "Torn", "family": "broken_tabs", "severity": 2,
         "cost_minutes": 5, "cost_money": 1.5, "steps": ["release"], "methods": ["pull"]},
        {"code": "lines", "label": "Lines", "family": "display_damage", "severity": 3,
         "steps": ["opening", "release"]},
        {"code": "refused", "label": "Refused", "family": "calibration_failures", "severity": 2,
         "safety": False, "steps": ["opening"]},
        {"code": "clash", "label": "Clash", "family": "mixed_part_conflicts", "severity": 3,
         "mixed": ["battery", "display"]},
        {"code": "dead", "label": "Dead", "family": "part_failure", "severity": 2, "part": "any",
         "grades": ["copy"]},
    ],
    "price": [{"part": "battery", "grade": "copy", "money": 9, "since": date(2026, 1, 1)}],
    "standard": [{"choice": "opening", "option": "heat", "since": date(2026, 1, 1)}],
    "alias": [{"kind": "model", "is": "Alder 5", "also": ["Aldr 5", "A5"]}],
}  # fmt: skip


def spoilt(kind, position=0, /, *, without=(), **change):
    """The small catalogue with one entry changed."""
    raw = deepcopy(SMALL)
    raw[kind][position].update(change)
    for key in without:
        del raw[kind][position][key]
    return raw


def extended(kind, *entries):
    """The small catalogue with more entries."""
    raw = deepcopy(SMALL)
    raw[kind] += entries
    return raw
