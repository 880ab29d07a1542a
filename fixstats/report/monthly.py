"""The monthly report: findings in, one page out; the order is that in which an owner reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fixstats.findings.base import Finding
from fixstats.report.blocks import Page
from fixstats.report.material import Material
from fixstats.report.now import now
from fixstats.report.sections_changes import changed
from fixstats.report.sections_choices import comparisons, trials, verdicts
from fixstats.report.sections_end import behind, cautions, quality, reading
from fixstats.report.sections_failures import alarms, comebacks, costs, money
from fixstats.words import counted

SECTIONS = (
    now, changed, verdicts, costs, comparisons, comebacks, alarms, trials, money, quality, reading,
    cautions, behind,
)  # fmt: skip


def monthly(material: Material) -> Page:
    """The report of one month; the same material gives the same page."""
    month = material.month
    name = f"{material.folder.settings.name}: {month.words}"
    jobs = counted(material.changed.settings["jobs"], "job")
    words = f"Repair outcomes of the month: {jobs}, as known on {_known_on(material)}."
    if material.partial:
        first = max(material.covered.first, month.first)
        words += f" Partial month: the records cover {first} to {_known_on(material)} only."
    sections = [section(material) for section in SECTIONS]
    return Page(name, words, sections, dict(_tables(material)), name=month.name)


def _known_on(material: Material) -> str:
    return str(min(material.covered.as_of, material.month.last))


def _tables(material: Material) -> Iterator[tuple[str, Sequence[Mapping[str, Any]]]]:
    """The rows behind every figure, by name of the file."""
    yield "month", material.changed.rows
    yield "decide", material.decided.rows
    for part, rows in material.decided.parts.items():
        yield f"decide_{part}", rows
    yield "standards", material.standards.rows
    yield "costs", material.costs.rows
    yield "costs_of_month", material.costs_of_month.rows
    yield "compare", [row for one in material.compared for row in one.rows]
    yield "comebacks", _with_costs(material.comebacks)
    yield "comebacks_curve", material.comebacks.parts.get("curve", ())
    yield "comebacks_at_risk", material.comebacks.parts.get("at_risk", ())
    yield "comebacks_by_model", material.comebacks_by_model.rows
    yield "watch", material.watched.rows
    yield "watch_alarms", material.watched.parts.get("alarms", ())
    yield "trials", material.trials.rows
    yield "trials_status", [row for one in material.trial_states for row in one.rows]
    yield "check", material.checked.rows
    yield "batches", material.batches.rows
    yield "settings", [_settings(material)]


def _with_costs(found: Finding) -> Sequence[Mapping[str, Any]]:
    """The row over all jobs has what come-backs cost, too."""
    return found.parts.get("overall") or found.rows


def _settings(material: Material) -> Mapping[str, Any]:
    known = vars(material.folder.settings) | {
        "month": material.month.name,
        "records_from": material.covered.first,
        "records_to": material.covered.as_of,
        "jobs": material.covered.jobs,
        "catalogue_hash": material.folder.catalogue.hash,
    }
    return {name: value for name, value in known.items() if not name.startswith("_")}
