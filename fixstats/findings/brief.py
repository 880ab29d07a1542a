"""One page before the job: how to do each step, what goes wrong and how often, what to say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.errors import UsageError
from fixstats.findings.base import Finding, common_settings
from fixstats.findings.brief_choices import Pick, in_trial, pick, standard_of
from fixstats.findings.brief_money import allowance_row
from fixstats.findings.brief_notes import notes_for
from fixstats.findings.brief_odds import Odds, counts_words, mostly_borrowed, odds_of, odds_words
from fixstats.findings.brief_plan import ByModel, Cells, Counted, Subject, find_repair
from fixstats.findings.brief_sections import (
    HARM,
    customer_rows,
    intake_rows,
    minutes_row,
    ready_row,
)
from fixstats.findings.compare_plan import Choice
from fixstats.findings.decide import decide
from fixstats.findings.decide_plan import DecideAsk
from fixstats.findings.rates_notes import cautions_for
from fixstats.findings.trial import trial_status
from fixstats.folder import Catalogue, ShopFolder
from fixstats.folder.catalogue import Repair
from fixstats.tallies.ask import Ask
from fixstats.tallies.brief import count_repair, shown_model
from fixstats.tallies.counts import Counts, Period, count_modes, count_union, period
from fixstats.tallies.trials import Trial, all_trials

if TYPE_CHECKING:
    import duckdb

LIKELIEST = 3
# So many of a place are worked out before the likeliest are taken; further down a plain guess at
# the order is never wrong by so many places.
WORKED_OUT = 5
# What the other models are worth, in jobs, in that guess.
WORTH = 40.0
# A new job is no come-back.
NO_REWORK = (("rework", "no"),)


def brief(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    model: str,
    repair: str,
) -> Finding:
    """The brief for one repair on one model, which may never have been seen.

    ``con`` is a session with the catalogue and all views of ``folder``. A row for each step in
    bench order, then each part, with the option that ``decide`` or a house standard leads to and
    up to three likeliest failures. ``parts``: ``minutes``, ``ready`` (parts to have),
    ``stop_first``, ``intake``, ``customer`` and ``allowance``, every row with a ``text`` that says
    it in words.

    Raises
    ------
    UsageError
        If the repair is unknown or the model has no name.
    """
    catalogue = folder.catalogue
    asked = find_repair(repair, catalogue)
    if not model.strip():
        raise UsageError("--model: say which device model, such as --model 'NAME 5'")
    shown = shown_model(con, model)
    covered = period(con)
    subject = Subject(
        asked, shown or " ".join(model.split()), shown is not None, catalogue, folder.settings,
        covered.as_of or date.max,
    )  # fmt: skip
    counted, trials = _count(con, subject), _running(con, folder, subject)
    return conclude(counted, folder, subject, _decided(con, folder, subject), trials, covered)


def _running(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, subject: Subject
) -> dict[str, Trial]:
    """Trials that still take devices in, by their choice."""
    choices = {choice.name for choice in subject.choices}
    found = [one for one in all_trials(con) if one.choice in choices and one.jobs < one.max_jobs]
    # how a trial stands takes a moment to compute: only for those that can concern this job
    return {
        one.choice: one
        for one in found
        if trial_status(con, folder, one.trial).rows[-1]["verdict"] == "go on"
    }


def _decided(con: duckdb.DuckDBPyConnection, folder: ShopFolder, subject: Subject) -> Finding:
    """What ``decide`` says of this repair's choices, on this model or else over all."""
    choices = tuple(choice.name for choice in subject.choices)
    models = (subject.model,) if subject.known else ()
    return decide(con, folder, DecideAsk(choices=choices, models=models))


# ---------------------------------------------------------------- counting


def _count(con: duckdb.DuckDBPyConnection, subject: Subject) -> Counted:
    catalogue, repair = subject.catalogue, subject.repair
    at: dict[str, Cells] = {}
    unknown: set[str] = set()
    for choice in subject.choices:
        modes = [mode.code for mode in subject.modes_at(choice)]
        at[choice.name] = {}
        if modes:
            counts = _count_at(con, subject, choice.name, modes)
            at[choice.name] = _cells(counts, choice.name)
            unknown.update(_many_unknown(counts))
    counted = count_repair(con, repair.code, subject.settings.warranty_days)
    own = [mode.code for mode in subject.modes]
    grave = [mode.code for mode in subject.modes if mode.steps and mode.severity >= HARM]
    return Counted(
        at,
        [mode for mode in own if mode in unknown],
        _of_repair(con, catalogue, own, repair, counted.jobs),
        _harmed(con, catalogue, grave, repair),
        counted,
    )


def _count_at(
    con: duckdb.DuckDBPyConnection, subject: Subject, choice: str, modes: Sequence[str]
) -> Counts:
    """On jobs asked for the repair, alone or with others; other repairs fail in other ways."""
    where = (*NO_REWORK, ("repair", subject.repair.code))
    return count_modes(con, subject.catalogue, Ask(tuple(modes), ("model", choice), where=where))


def _cells(counts: Counts, key: str) -> dict[str, dict[str | None, dict[str, tuple[int, int]]]]:
    names = ("mode", key, "model", "failures", "opportunities")
    found: dict[str, dict[str | None, dict[str, tuple[int, int]]]] = {}
    for mode, option, model, k, n in zip(*(counts.columns[one] for one in names), strict=True):
        if option != "-":
            found.setdefault(mode, {}).setdefault(option, {})[model] = (int(k), int(n))
    return found


def _many_unknown(counts: Counts) -> set[str]:
    """Modes of which more than a tenth of all units are unknown."""
    units: dict[str, list[int]] = {}
    names = ("mode", "opportunities", "unknown")
    for mode, n, not_known in zip(*(counts.columns[one] for one in names), strict=True):
        both = units.setdefault(mode, [0, 0])
        both[0], both[1] = both[0] + n + not_known, both[1] + not_known
    return {mode for mode, (every, some) in units.items() if some * 10 > every}


def _of_repair(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    modes: Sequence[str],
    repair: Repair,
    jobs: Mapping[str, int],
) -> Mapping[str, ByModel]:
    if not modes:
        return {}
    where = (*NO_REWORK, ("repair", repair.code))
    counts = count_modes(con, catalogue, Ask(tuple(modes), ("model", "repair"), where=where))
    names = ("mode", "repair", "model", "failures", "unknown")
    found: dict[str, dict[str, tuple[float, float]]] = {
        mode: {model: (0.0, float(n)) for model, n in jobs.items()} for mode in modes
    }
    for mode, asked, model, k, unknown in zip(*(counts.columns[one] for one in names), strict=True):
        if asked == repair.code:
            found[mode][model] = (float(k), float(max(jobs.get(model, 0) - unknown, k)))
    return found


def _harmed(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, modes: Sequence[str], repair: Repair
) -> ByModel:
    if not modes:
        return {}
    where = (*NO_REWORK, ("repair", repair.code))
    found = count_union(con, catalogue, Ask(tuple(modes), ("model", "repair"), where=where)).columns
    names = ("repair", "model", "failures", "opportunities")
    return {
        model: (int(k), int(n))
        for asked, model, k, n in zip(*(found[one] for one in names), strict=True)
        if asked == repair.code
    }


# ---------------------------------------------------------------- concluding


def conclude(
    counted: Counted,
    folder: ShopFolder,
    subject: Subject,
    decided: Finding,
    trials: Mapping[str, Trial],
    covered: Period,
) -> Finding:
    """The brief from the counts; pure."""
    name, options = subject.catalogue.label, decided.parts["options"]
    picks = _picks(subject, decided)
    for at, one in trials.items():
        picks[at] = in_trial(one, picks[at], options, name)
    rows = tuple(_row(choice, picks[choice.name], counted, subject) for choice in subject.choices)
    minutes = minutes_row(counted.repair, subject)
    stop_first = _stop_first(counted, subject)
    parts = {
        "minutes": [minutes],
        "ready": [
            ready_row(part, picks[f"{part}_grade"], counted.repair, subject)
            for part in subject.parts
        ],
        "stop_first": stop_first,
        "intake": intake_rows(counted.repair, subject),
        "customer": customer_rows(counted.repair, counted.harmed, subject),
        "allowance": [allowance_row(counted, subject)],
    }
    return Finding(
        question="brief",
        settings=_stated(counted, folder, subject, covered),
        rows=rows,
        notes=notes_for(rows, counted, minutes, subject, covered),
        cautions=_cautions(stop_first, rows, subject.catalogue),
        labels=subject.catalogue.labels,
        parts=parts,
    )


def _stated(
    counted: Counted, folder: ShopFolder, subject: Subject, covered: Period
) -> dict[str, Any]:
    """Everything that shaped the answer."""
    jobs, settings = counted.repair.jobs, subject.settings
    return common_settings(
        folder,
        covered,
        shop=settings.name,
        model=subject.model,
        model_known=subject.known,
        repair=subject.repair.code,
        repair_label=subject.repair.label,
        jobs=jobs.get(subject.model, 0),
        jobs_all=sum(jobs.values()),
        confidence_level=settings.confidence_level,
        view="first",
        where=["rework=no"],
        since=None,
        until=None,
        warranty_days=settings.warranty_days,
        labour_rate=settings.labour_rate,
    )


def _picks(subject: Subject, decided: Finding) -> dict[str, Pick]:
    options = decided.parts["options"]
    catalogue, model = subject.catalogue, subject.model
    return {
        choice.name: pick(
            choice.name,
            model,
            decided.rows,
            options,
            standard_of(choice.name, model, catalogue, subject.day),
            name=catalogue.label,
            currency=subject.settings.currency,
        )
        for choice in subject.choices
    }


def _row(choice: Choice, chosen: Pick, counted: Counted, subject: Subject) -> dict[str, Any]:
    catalogue = subject.catalogue
    failures, own = _likeliest(counted.at[choice.name], chosen.option, subject)
    methods = [one for one in catalogue.methods if one.code == chosen.option and choice.is_step]
    return {
        "place": choice.place,
        "kind": "step" if choice.is_step else "part",
        "label": catalogue.label(choice.place),
        "choice": choice.name,
        "option": chosen.option,
        "option_label": catalogue.label(chosen.option) if chosen.option else None,
        "word": chosen.word,
        "standard": chosen.standard,
        "why": chosen.why,
        "verdict": chosen.verdict,
        "scope": chosen.scope,
        "p_best": chosen.p_best,
        "jobs": chosen.jobs,
        "borrowed": chosen.borrowed,
        "safety": chosen.safety,
        "trial": chosen.trial,
        "cautions": [text for method in methods for text in method.cautions],
        "failures_of": "option" if own else "any",
        "failures": [_failure(mode, odds, choice, subject) for mode, odds in failures],
    }


def _failure(mode: str, odds: Odds, choice: Choice, subject: Subject) -> dict[str, Any]:
    of = subject.catalogue.modes[mode]
    # Where it can happen at several steps nothing tells at which: its odds are the job's.
    whole_job = choice.is_step and len({*of.steps}.intersection(subject.repair.steps)) > 1
    marks = ["any step"] if whole_job else ["if mixed"] if of.mixed else []
    marks += ["borrowed"] if mostly_borrowed(odds) else []
    return {
        "mode": mode,
        "label": of.label,
        **asdict(odds),
        "safety": of.safety,
        "whole_job": whole_job,
        "where_mixed": bool(of.mixed),
        "text": ", ".join([f"{of.label}: {odds_words(odds)}", counts_words(odds), *marks]),
    }


def _likeliest(
    cells: Cells, option: str | None, subject: Subject
) -> tuple[list[tuple[str, Odds]], bool]:
    """The likeliest failures of a choice, and whether they are those of the option named.

    Where that option was never used, or none is named, those of all options together.
    """
    own = option is not None and any(
        n for by_option in cells.values() for _, n in by_option.get(option, {}).values()
    )
    counts = {
        mode: dict(cells[mode].get(option, {})) if own else _together(cells[mode].values())
        for mode in subject.catalogue.modes
        if mode in cells
    }
    guessed = sorted(counts, key=lambda mode: -_guess(counts[mode], subject.model))[:WORKED_OUT]
    odds = [(mode, odds_of(counts[mode], subject.model, subject.level)) for mode in guessed]
    told = [one for one in odds if one[1].rate is not None]
    return sorted(told, key=lambda one: -(one[1].rate or 0))[:LIKELIEST], own


def _together(of_options: Iterable[ByModel]) -> ByModel:
    found: dict[str, tuple[float, float]] = {}
    for by_model in of_options:
        for model, (k, n) in by_model.items():
            before = found.get(model, (0, 0))
            found[model] = before[0] + k, before[1] + n
    return found


def _guess(by_model: ByModel, model: str) -> float:
    """The rate drawn towards that of all models; -1 where nobody looked."""
    k, n = by_model.get(model, (0, 0))
    every = [sum(pair[i] for pair in by_model.values()) for i in (0, 1)]
    if not every[1]:
        return -1.0
    return (k + WORTH * every[0] / every[1]) / (n + WORTH)


def _stop_first(counted: Counted, subject: Subject) -> list[dict[str, Any]]:
    """Safety modes that this repair can bring about: what to do, and how often it was seen."""
    rows = []
    for code, by_model in counted.of_repair.items():
        mode = subject.catalogue.modes[code]
        if mode.safety:
            odds = odds_of(by_model, subject.model, subject.level)
            text = " ".join([f"{mode.label}, {odds_words(odds)}:", *mode.cautions])
            rows.append({"mode": code, "label": mode.label, "cautions": list(mode.cautions),
                         **asdict(odds), "text": text})  # fmt: skip
    return rows


def _cautions(
    stop_first: Sequence[Mapping[str, Any]],
    rows: Sequence[Mapping[str, Any]],
    catalogue: Catalogue,
) -> tuple[str, ...]:
    """What to stop for first, then what the methods named ask for; each once."""
    modes = [{"mode": one["mode"], "family": None} for one in stop_first]
    first = [*cautions_for(modes, catalogue), *(t for one in stop_first for t in one["cautions"])]
    return tuple(dict.fromkeys([*first, *(text for row in rows for text in row["cautions"])]))
