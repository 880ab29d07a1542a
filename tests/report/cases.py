"""Material made by hand, so that each rule of a report can be asked alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

from fixstats.findings.base import Finding, listing
from fixstats.findings.decide_rows import KEYS as DECIDE_KEYS
from fixstats.findings.month import KEYS as MONTH_KEYS
from fixstats.findings.month import Month
from fixstats.folder import ShopFolder
from fixstats.report.material import Material
from fixstats.tallies.counts import Period

DEMO = Path(__file__).parents[2] / "demo_data"
SEPTEMBER = Month(2026, 9)
LABELS = {"opening": "Opening the device", "heat_gun": "Hot-air gun", "heat_plate": "Heated plate"}
LEVELS = {"confidence_level": 0.95, "view": "first", "interval": "wilson", "since": None}


@cache
def folder() -> ShopFolder:
    return ShopFolder(DEMO)


def verdict(choice: str = "opening", name: str = "standardise", **more: object) -> dict:
    """A row of decide over all models."""
    row = dict.fromkeys(DECIDE_KEYS) | {
        "choice": choice, "scope": "all", "verdict": name, "option": "heat_plate",
        "runner_up": "heat_gun", "runner_up_safety": "cleared",
        "current": "heat_gun", "p_best": 0.97, "cost_per_job": 10.0,
        "cost_low": 8.0, "cost_high": 12.0, "saving_per_job": 4.0, "saving_low": 1.0,
        "saving_high": 7.0, "saving_vs_current": 4.0, "vs_current_low": 1.0,
        "vs_current_high": 7.0, "regret_per_job": 0.1, "jobs": 500,
        "safety": "cleared", "borrowed": 0.0, "reason": "sure enough", "borderline": False,
    }  # fmt: skip
    return row | more


def option(name: str, safety: str = "cleared", **more: object) -> dict:
    """A row of decide's part ``options``."""
    row = {
        "choice": "opening", "scope": "all", "model": None, "option": name, "safety": safety,
        "jobs": 110, "cost_per_job": 10.0, "cost_low": 8.0, "cost_high": 12.0, "used_money": 1.0,
        "minutes": 5.0, "minutes_money": 4.5, "failures_money": 4.0, "comebacks_money": 0.5,
        "p_best": None, "regret_per_job": None, "borrowed": 0.0, "current": False,
        "standard": False, "safety_failures": 5, "safety_opportunities": 108,
        "safety_unknown": 0, "safety_returned": 0,
        "safety_low": 0.031, "safety_high": 0.09,
    }  # fmt: skip
    return row | more


def decided(*rows: dict, options: tuple[dict, ...] = (), rival: str = "heat_gun") -> Finding:
    """Verdicts with options beside them: those given, and the leader of each row."""
    sentences = [
        {"choice": r["choice"], "model": r["model"], "text": "why"}
        | {"rival": rival if r["verdict"] == "trial" else None}
        for r in rows
    ]
    given = {(one["choice"], one["option"]) for one in options}
    leaders = [
        option(r["option"], r["safety"], choice=r["choice"], scope=r["scope"], model=r["model"])
        for r in rows
        if r["option"] and (r["choice"], r["option"]) not in given
    ]
    parts = {"options": (*options, *leaders), "sentences": sentences}
    return Finding("decide", LEVELS, rows, labels=LABELS, parts=parts)


def alarm(mode: str = "dust_under_glass", **more: object) -> dict:
    """An alarm of watch."""
    row = {
        "mode": mode, "family": None, "group": None, "value_of_group": None, "charts": ["p"],
        "safety": False, "explained_by": None, "since": "2026-09-04", "months": ["2026-09"],
        "lasting": True, "failures": 129, "opportunities": 2184, "expected": 46.1, "ratio": 2.8,
        "low": 2.0, "high": 4.1, "from_start": False,
    }  # fmt: skip
    return row | more


def watched(*alarms: dict) -> Finding:
    return Finding("watch", LEVELS, (), labels=LABELS, parts={"alarms": alarms, "months": ()})


def changed(*rows: dict, jobs: int = 337, before: int = 352) -> Finding:
    settings = {**LEVELS, "jobs": jobs, "jobs_before": before}
    return Finding("month", settings, rows, labels=LABELS)


def month_row(**more: object) -> dict:
    row = dict.fromkeys(MONTH_KEYS) | {
        "unit": "job", "mode": "tab_snapped", "family": "broken_tabs", "failures": 9,
        "opportunities": 100, "unknown": 0, "rate": 0.09, "low": 0.05, "high": 0.16,
        "before_failures": 1, "before_opportunities": 100, "before_unknown": 0,
        "before_rate": 0.01, "before_low": 0.002, "before_high": 0.05, "difference": 0.08,
        "difference_low": 0.02, "difference_high": 0.15, "p_value": 0.02, "p_corrected": 0.02,
        "changed": True,
    }  # fmt: skip
    return row | more


def material(**more: object) -> Material:
    """Nothing to say, but for what is given."""
    quiet = Material(
        folder=folder(),
        month=SEPTEMBER,
        covered=Period(6000, date(2025, 4, 1), date(2026, 9, 30), date(2026, 9, 30), 0, (1,)),
        changed=changed(),
        decided=decided(),
        verdicts_before=None,
        standards=listing("standards", []),
        costs=listing("costs", [], settings={**LEVELS, "until": "2026-09-30"}),
        costs_of_month=listing("costs", [], settings={**LEVELS, "until": "2026-09-30"}),
        compared=(),
        comebacks=listing("comebacks", []),
        comebacks_by_model=listing("comebacks", []),
        watched=watched(),
        trials=listing("trial list", []),
        trial_states=(),
        checked=listing("check", []),
        batches=listing("batches", []),
    )
    return replace(quiet, **more)
