"""How do the failure rate and the minutes of a step fall as a technician gets used to a method?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.errors import UsageError
from fixstats.findings.base import Finding, common_settings
from fixstats.findings.practice_figures import SETTLED, Method, method_figures
from fixstats.findings.practice_notes import notes_for
from fixstats.findings.practice_words import sentences_for
from fixstats.findings.rates_notes import cautions_for, picked_by_result
from fixstats.folder import Catalogue, ShopFolder
from fixstats.tallies.ask import Ask, check_modes
from fixstats.tallies.counts import Period, period
from fixstats.tallies.practice import PracticeJobs, practice_jobs
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class PracticeAsk:
    """What a person asks about practice; every field has the option's name.

    ``step``: a step of the catalogue. ``mode``, ``family`` or ``any``: what counts as a failure;
    without any of these, every mode that can occur at the step. ``method``: only these methods.
    """

    step: str
    mode: str | None = None
    family: str | None = None
    any: tuple[str, ...] = ()
    method: tuple[str, ...] = ()
    where: tuple[tuple[str, str], ...] = ()
    since: date | None = None
    until: date | None = None
    confidence: float | None = None
    include_rework: bool = False


def practice(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: PracticeAsk) -> Finding:
    """Failure rate and minutes by the technician's earlier uses of each method of a step.

    ``con`` is a session with the catalogue and views of ``folder``. A row for each method and band
    of uses; every row also carries the summary of its method. ``parts["methods"]``: a row for each
    method with its ``sentences`` and ``reason``; ``parts["curve"]``: points of the curves.

    Raises
    ------
    UsageError
        If the question names something unknown or does not fit together.
    """
    catalogue = folder.catalogue
    if ask.confidence is None:
        ask = replace(ask, confidence=folder.settings.confidence_level)
    _check(ask, catalogue)
    modes = _modes(ask, catalogue)
    jobs = practice_jobs(
        con, catalogue, Ask(modes, (), "first", _where(ask), ask.since, ask.until), ask.step,
        folder.settings.labour_rate,
    )  # fmt: skip
    return conclude(jobs, folder, ask, modes, period(con))


def conclude(
    jobs: PracticeJobs, folder: ShopFolder, ask: PracticeAsk, modes: Sequence[str], covered: Period
) -> Finding:
    """The finding from the jobs; ``modes``: those whose union is a failure; pure."""
    catalogue, settings, level = folder.catalogue, folder.settings, ask.confidence or 0.0
    found = {
        method: method_figures(
            columns, level=level, margin=settings.worth_knowing, labour_rate=settings.labour_rate
        )
        for method, columns in jobs.by_method.items()
        if not ask.method or method in ask.method
    }
    # What was learned during the records comes first: it is what was asked about.
    found = dict(sorted(found.items(), key=lambda pair: pair[1].reason == SETTLED))
    about = _about(ask, modes, catalogue)
    rows = tuple(row for method, one in found.items() for row in _rows(about, method, one))
    stated = common_settings(
        folder,
        covered,
        step=ask.step,
        method=list(ask.method),
        modes=list(modes),
        confidence_level=level,
        view="first",
        interval="wilson",
        where=[f"{key}={value}" for key, value in ask.where],
        since=ask.since.isoformat() if ask.since else None,
        until=ask.until.isoformat() if ask.until else None,
        include_rework=ask.include_rework,
        worth_knowing=settings.worth_knowing,
        labour_rate=settings.labour_rate,
    )
    notes = notes_for(found, jobs.unrecorded, stated, covered, catalogue)
    picked = picked_by_result(ask.where, [ask.step], catalogue)
    return Finding(
        question="practice",
        settings=stated,
        rows=rows,
        keys=("method", "band"),
        notes=(*([picked] if picked else ()), *notes),
        cautions=cautions_for([{"mode": mode, "family": None} for mode in modes], catalogue),
        labels=catalogue.labels,
        parts={
            "methods": [
                {"method": method, "reason": one.reason, **one.summary, **one.more,
                 "sentences": sentences_for(method, one, stated, catalogue)}
                for method, one in found.items()
            ],
            "curve": [
                {"method": method, **point} for method, one in found.items() for point in one.curve
            ],
        },
    )  # fmt: skip


def _check(ask: PracticeAsk, catalogue: Catalogue) -> None:
    if ask.step not in catalogue.step_codes:
        near = did_you_mean(ask.step, catalogue.step_codes)
        raise UsageError(f"unknown step '{ask.step}'{near}")
    known = catalogue.methods_of(ask.step)
    for method in ask.method:
        if method not in known:
            near = did_you_mean(method, known)
            raise UsageError(f"step '{ask.step}' has no method '{method}'{near}")
    if sum(map(bool, (ask.mode, ask.family, ask.any))) > 1:
        raise UsageError("--mode, --family and --any each say what a failure is: use one of them")
    if not (ask.confidence and 0.5 < ask.confidence < 1):
        raise UsageError(f"confidence {ask.confidence} must lie between 0.5 and 1, such as 0.95")


def _modes(ask: PracticeAsk, catalogue: Catalogue) -> tuple[str, ...]:
    """The modes whose union is a failure here."""
    if ask.family is not None and ask.family not in catalogue.families:
        near = did_you_mean(ask.family, catalogue.families)
        raise UsageError(f"unknown family '{ask.family}'{near}")
    named = [ask.mode] if ask.mode else list(ask.any) or ([ask.family] if ask.family else [])
    if not named:
        here = [one.code for one in catalogue.failure_modes if ask.step in one.steps]
        if not here:
            raise UsageError(
                f"the catalogue has no failure mode that can occur at step '{ask.step}'\n"
                "say what counts as a failure with --mode or --any"
            )
        return tuple(here)
    families = {} if ask.mode else catalogue.families
    codes = [code for name in named for code in families.get(name, (name,))]
    check_modes(codes, catalogue)
    return tuple(dict.fromkeys(codes))


def _where(ask: PracticeAsk) -> tuple[tuple[str, str], ...]:
    """The conditions; come-backs are left out unless they are asked for."""
    if ask.include_rework or any(key == "rework" for key, _ in ask.where):
        return ask.where
    return (*ask.where, ("rework", "no"))


def _about(ask: PracticeAsk, modes: Sequence[str], catalogue: Catalogue) -> dict[str, Any]:
    """What each row counts: mode is null for a union, family where all modes have the same."""
    families = {catalogue.modes[mode].family for mode in modes}
    return {
        "unit": "job",
        "mode": modes[0] if len(modes) == 1 else None,
        "family": families.pop() if len(families) == 1 else None,
    }


def _rows(about: Mapping[str, Any], method: str, found: Method) -> list[dict[str, Any]]:
    return [{**about, "method": method, **band, **found.summary} for band in found.bands]
