"""How many devices come back because of the repair, and of which repairs more than of others?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.findings.base import Finding, Note, common_settings
from fixstats.findings.comebacks_adjusted import ALL_MODELS, AdjustedReturns, adjust_returns
from fixstats.findings.comebacks_answers import answers_of
from fixstats.findings.comebacks_figures import ANY, Followed, followed_of
from fixstats.findings.comebacks_notes import Told, notes_for
from fixstats.findings.comebacks_plan import ComebacksAsk, Counted, count, modes_of, settled
from fixstats.findings.comebacks_words import adjusted_words, sentences_for
from fixstats.findings.costs import cost_of
from fixstats.findings.rates_notes import cautions_for
from fixstats.folder import Catalogue, ShopFolder
from fixstats.tallies.counts import Period, period
from fixstats.tallies.followups import Leaving
from fixstats.tallies.keys import STEP_FIELDS, Key

if TYPE_CHECKING:
    import duckdb


def comebacks(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: ComebacksAsk) -> Finding:
    """Share of completed jobs whose device came back within the days, with censoring.

    ``con`` is a session with the catalogue and views of ``folder``. A row for each reason and group
    (with ``curve`` for each day on which it rises too). ``parts``: ``sentences``; ``overall``, a
    row a reason for all jobs; ``costs`` of come-backs per 100 jobs; ``curve`` and ``at_risk``, days
    and numbers of a few groups, for pictures; ``adjusted``, see ``adjusted_returns``.

    Raises
    ------
    UsageError
        If the question names something unknown or does not fit together.
    """
    ask = settled(ask, folder)
    covered = period(con)
    as_of = covered.as_of if ask.as_of is None else min(ask.as_of, covered.as_of or ask.as_of)
    counted = count(con, folder, ask, as_of or date.min)
    return conclude(counted, folder, ask, replace(covered, as_of=as_of), covered.as_of)


def adjusted_returns(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: ComebacksAsk, reason: str = ANY
) -> AdjustedReturns:
    """Come-backs of each option of ``ask.by`` by device model over the same jobs, with draws.

    For decisions: ``draws`` (options, scopes, draws) are paired over options and models, see
    ``AdjustedReturns``; ``ask.adjust`` need not be set. Raises as ``comebacks`` does.
    """
    ask = settled(replace(ask, adjust=True), folder)
    as_of = period(con).as_of
    as_of = as_of if ask.as_of is None else min(ask.as_of, as_of or ask.as_of)
    cells = count(con, folder, ask, as_of or date.min).cells
    return _adjust(cells, reason, ask)


def _adjust(cells: Leaving | None, reason: str, ask: ComebacksAsk) -> AdjustedReturns:
    followed = followed_of(cells or Leaving({}, [], [], [], []), lambda _: True)
    return adjust_returns(followed, reason, ask.days or 0, confidence_level=ask.confidence or 0.0)


def conclude(
    counted: Counted, folder: ShopFolder, ask: ComebacksAsk, covered: Period, last: date | None
) -> Finding:
    """The finding from the counts; ``last``: the latest date in the records; pure."""
    labels, level = folder.catalogue.labels, ask.confidence or 0.0
    names = tuple(counted.leaving.keys)
    needed = _needed(counted.keys[: len(names)], ask)
    followed = followed_of(counted.leaving, lambda group: all(group[n] != "-" for n in needed))
    modes, rate = folder.catalogue.failure_modes, folder.settings.labour_rate
    prices = {mode.code: cost_of(mode, rate) for mode in modes}
    answers = answers_of(followed, names, ask, prices)
    told = Told(
        settings=_stated(folder, ask, names, covered),
        labels=labels,
        followed=followed,
        rows=[row for one in answers for row in one.rows],
        tests={one.reason: one.test for one in answers},
        overall=[one.overall for one in answers],
        costs=[row for one in answers for row in one.costs],
        covered=replace(covered, as_of=last),
        left_out=sum(counted.leaving.jobs) - int(followed.jobs.sum()),
        asked_as_of=ask.as_of,
        part_keys=tuple(key.name for key in counted.keys if key.kind == "part"),
    )
    adjusted, more = _adjusted(counted.cells, ask, labels) if answers else ([], [])
    said = [sentences_for(one.rows, one.overall, names, labels, level) for one in answers]
    return Finding(
        question="comebacks",
        settings=told.settings,
        rows=tuple(row for one in answers for row in (one.steps if ask.curve else one.rows)),
        keys=(*names, *(("reason",) if len(ask.reason) > 1 else ())),
        notes=(*more, *notes_for(told)),
        cautions=_cautions(followed, ask, folder.catalogue),
        labels=labels,
        parts={
            "sentences": [{"text": text} for texts in said for text in texts],
            "overall": told.overall,
            "groups": told.rows,
            "costs": told.costs,
            "curve": [row for one in answers for row in one.curve],
            "at_risk": [row for one in answers for row in one.numbers],
            "adjusted": adjusted,
        },
    )


def _stated(
    folder: ShopFolder, ask: ComebacksAsk, names: Sequence[str], covered: Period
) -> dict[str, Any]:
    """Everything that shaped the answer."""
    return common_settings(
        folder,
        covered,
        by=list(names),
        reason=list(ask.reason),
        days=ask.days,
        warranty_days=folder.settings.warranty_days,
        confidence_level=ask.confidence,
        view="first",
        interval="log-log",
        where=[f"{key}={value}" for key, value in ask.where],
        since=ask.since.isoformat() if ask.since else None,
        until=ask.until.isoformat() if ask.until else None,
        adjust=ask.adjust,
        curve=ask.curve,
        include_rework=ask.include_rework,
        labour_rate=folder.settings.labour_rate,
    )


def _needed(keys: Sequence[Key], ask: ComebacksAsk) -> list[int]:
    """Places of the keys of steps and parts: where they are '-' the job says nothing of them.

    Else jobs without a battery would be what batteries of one grade are compared with.
    """
    return [
        n
        for n, key in enumerate(keys)
        if key.kind in ("step", "part", *STEP_FIELDS) and (key.name, "-") not in ask.where
    ]


def _adjusted(
    cells: Leaving | None, ask: ComebacksAsk, labels: Mapping[str, str]
) -> tuple[list[dict[str, Any]], list[Note]]:
    """Rows of the options over the same jobs, and the notes on them."""
    if cells is None:
        return [], []
    rows: list[dict[str, Any]] = []
    notes: list[Note] = []
    for reason in ask.reason:
        answer = _adjust(cells, reason, ask)
        if answer.problem:
            notes.append(Note("not_adjusted", f"no like-for-like figures: {answer.problem}"))
            continue
        own = [
            {"reason": reason, "option": option, "scope": "all" if scope == ALL_MODELS else "model",
             "model": None if scope == ALL_MODELS else scope, **vars(row)}
            for (option, scope), row in answer.rows.items()
        ]  # fmt: skip
        rows += own
        notes.append(Note("adjusted", adjusted_words(own, reason, labels)))
    if rows:
        notes.append(
            Note(
                "adjusted_how",
                "like for like: each option's share if all these jobs had had it, from a "
                "discrete-time hazard by bands of follow-up with device model, technician and "
                "option by model as random effects and their mean use of each option; an option "
                "is taken to act alike in all bands; jobs whose option was not written down are "
                "left out, and what else was not recorded is not adjusted for",
            )
        )
    return rows, notes


def _cautions(followed: Followed, ask: ComebacksAsk, catalogue: Catalogue) -> tuple[str, ...]:
    """The usual cautions where a device came back, or is asked about, for a safety mode."""
    seen = [
        reason
        for reason, events in zip(followed.reasons, followed.table.n_events, strict=False)
        if events.any() and (ANY in ask.reason or reason in ask.reason)
    ]
    return cautions_for(
        [{"mode": one, "family": None} for one in (*seen, *modes_of(ask))], catalogue
    )
