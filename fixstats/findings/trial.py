"""How does a trial stand, and may it stop? And which trials are there?"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fixstats import stats
from fixstats.findings.base import Finding, common_settings
from fixstats.findings.compare_plan import find_choice
from fixstats.findings.safety import OptionSafety, safety_of, safety_states, worse_of
from fixstats.findings.trial_notes import list_notes, status_notes
from fixstats.findings.trial_settled import settled_for
from fixstats.findings.trial_words import trial_cautions
from fixstats.folder import ShopFolder
from fixstats.stats.trial_rule import GO_ON, HARM_ERROR, MAIN_ERROR
from fixstats.stats.validators import FloatArray
from fixstats.tallies.counts import period
from fixstats.tallies.trials import (
    MAIN,
    SAFETY,
    Trial,
    TrialCounts,
    all_trials,
    count_trial,
    find_trial,
    unknown_trials,
)

if TYPE_CHECKING:
    import duckdb

KEYS = (
    "trial", "choice", "option", "role", "handed_out", "jobs", "used_as_drawn", "used_otherwise",
    "use_not_recorded", "failures", "opportunities", "unknown", "rate", "low", "high",
    "safety_failures", "safety_unknown", "verdict", "pairs", "difference", "difference_low",
    "difference_high", "evidence", "harm_evidence", "worth_having", "max_jobs",
)  # fmt: skip
LIST_KEYS = (
    "trial", "choice", "baseline", "option", "mode", "family", "difference", "started",
    "handed_out", "jobs", "max_jobs", "excluded", "seed",
)  # fmt: skip
NONE_YET = {
    "jobs": 0, "as_drawn": 0, "otherwise": 0, "not_recorded": 0, "failures": 0,
    "opportunities": 0, "unknown": 0, "unknown_failed": 0,
}  # fmt: skip
# A picture needs no more points than this.
MOST_POINTS = 300


@dataclass(frozen=True)
class Path:
    """What the pairs say step by step (import by import, within one day by day), arrays.

    ``batches``: the imports; ``days``: the latest hand-over known by then. ``low``, ``high``: the
    confidence sequence of the difference, never wider than at the step before; NaN where steps
    contradict each other. ``harm``: evidence of harm.
    """

    batches: Sequence[int]
    days: Sequence[Any]
    pairs: FloatArray
    score: FloatArray
    low: FloatArray
    high: FloatArray
    evidence: FloatArray
    harm: FloatArray
    verdicts: Sequence[int]

    @property
    def since(self) -> list[tuple[int, int, Any]]:
        """Verdict, import and latest hand-over, for each step."""
        return list(zip(self.verdicts, self.batches, self.days, strict=True))


def trial_status(con: duckdb.DuckDBPyConnection, folder: ShopFolder, name: str) -> Finding:
    """Rows of both options of a trial, the sequence of their difference, and the verdict.

    ``con`` is a session with all views.

    Raises
    ------
    UsageError
        If there is no such trial, or the catalogue no longer knows its choice or modes.
    """
    trial = find_trial(con, name)
    choice = find_choice(trial.choice, folder.catalogue)
    settled = settled_for(trial, choice, folder)
    counts = count_trial(con, folder.catalogue, trial, choice.place, settled.safety_modes)
    covered = period(con)
    path = follow(trial, counts, settled.safety_limit)
    rows = conclude(trial, counts, path)
    return Finding(
        question="trial status",
        settings=common_settings(
            folder,
            covered,
            trial=trial.trial,
            choice=trial.choice,
            baseline=trial.baseline,
            option=trial.option,
            mode=trial.mode,
            family=trial.family,
            modes=list(trial.modes),
            safety_modes=list(settled.safety_modes),
            confidence_level=1 - MAIN_ERROR,
            view="first",
            since=None,
            until=None,
            main_error=MAIN_ERROR,
            harm_error=HARM_ERROR,
            worth_having=trial.difference,
            safety_limit=settled.safety_limit,
            wait_days=trial.wait_days,
            max_jobs=trial.max_jobs,
            seed=trial.seed,
        ),
        rows=tuple(rows),
        notes=status_notes(
            trial, counts, rows, path.since, settled.note, ruled_out(con, folder, name)
        ),
        cautions=trial_cautions(
            trial.modes, choice, (trial.baseline, trial.option), folder.catalogue
        ),
        labels=folder.catalogue.labels,
        parts={"path": tuple(points_of(path))},
    )


def ruled_out(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, name: str, model: str | None = None
) -> list[OptionSafety]:
    """Options of a trial that all records, of the trial or not, by now say are worse in safety.

    Also those worse on ``model``; None: on any one model. UsageError as for ``trial_status``.
    """
    trial = find_trial(con, name)
    choice = find_choice(trial.choice, folder.catalogue)
    options = trial.baseline, trial.option
    if model is None:
        return worse_of(safety_states(con, folder, choice, options))
    states = safety_of(con, folder, choice, options, model=model)
    return worse_of({model: states})


def trial_list(con: duckdb.DuckDBPyConnection, folder: ShopFolder) -> Finding:
    """Every trial with how far it is; ``con`` is a session."""
    rows = []
    for trial in all_trials(con):
        row = vars(trial) | {"started": trial.started.isoformat(sep=" ", timespec="minutes")}
        rows.append({key: row[key] for key in LIST_KEYS})
    settings = common_settings(
        folder, period(con), confidence_level=None, view="first", since=None, until=None
    )
    notes, labels = list_notes(rows, unknown_trials(con)), folder.catalogue.labels
    return Finding("trial list", settings, tuple(rows), notes=notes, labels=labels)


def follow(trial: Trial, counts: TrialCounts, safety_limit: float) -> Path:
    """The sequence, the evidence and the verdict at every step that tells more; pure.

    A look may happen after any import, so what is known by one import must be the beginning of what
    is known by the next: pairs are made in the order in which jobs came to count (the statement
    trial_places says how), and a job recorded late goes to the end, whenever its device came in.
    By day of intake it would take a place among pairs already looked at and move those after it.

    Failed jobs take longer, and would come to count later. That shows no difference where there is
    none: the lot then has no part in whether a job fails nor in when it is recorded, so among the
    jobs of a stratum as they come in, which of them were drawn for the option says nothing of how
    they went. The two of a pair score +1 or -1 with the same probability, whatever went before;
    exactly so where outcomes come in at a steady rate, and where the rate drifts, blocks keep the
    two of a pair near each other. But while failures are outstanding with both options, a true
    difference looks too small, and the trial would stop for want of one. So a job waits until the
    days after its intake are over that nearly all failed ones took before the trial (trial_wait):
    then the quick ones do not go first. tests/reference/test_trial_errors.py simulates all this.
    It would do harm if failed jobs of one option alone were held up beyond that: then looks favour
    that option.

    A job corrected later keeps its place and counts with what its record says now, so a stop that
    rested on a wrong record falls with it. The error budget bears that, since it holds for every
    beginning of the series of true outcomes at once (Ville 1939), however late they are known; it
    does not bear records that are corrected because of what a look showed.
    """
    main, safety, dangers = counts.pairs[MAIN], counts.pairs[SAFETY], counts.dangers
    parts = [(one, _steps(one)) for one in (main, safety, dangers)]
    steps = sorted({step for _, own in parts for step in own})
    told, harmful, mine = (_running(one, own, steps) for one, own in parts)
    pairs = stats.Pairs(told["more"], told["fewer"], told["both"] + told["neither"])
    beside = stats.Pairs(harmful["more"], harmful["fewer"], harmful["both"] + harmful["neither"])
    harm = stats.harm_evidence(beside, mine["harmed"], mine["jobs"], safety_limit=safety_limit)
    found = stats.pair_sequence(
        pairs.more, pairs.fewer, pairs.same, confidence_level=1 - MAIN_ERROR
    )
    low, high = np.maximum.accumulate(found.low), np.minimum.accumulate(found.high)
    low, high = (np.where(low <= high, ends, np.nan) for ends in (low, high))
    verdicts = stats.stopping_rule(
        pairs, harm, np.zeros(len(steps)), worth=trial.difference, max_jobs=1
    )
    return Path(
        batches=[batch for batch, _ in steps],
        days=list(itertools.accumulate((day for _, day in steps), max)),
        pairs=pairs.total,
        score=(pairs.more - pairs.fewer) / np.maximum(pairs.total, 1),
        low=low,
        high=high,
        evidence=np.asarray(stats.pair_evidence(pairs.more, pairs.fewer, pairs.same)),
        harm=np.asarray(harm),
        verdicts=[int(one) for one in verdicts],
    )


Columns = Mapping[str, Sequence[Any]]
Step = tuple[int, Any]


def _steps(columns: Columns) -> list[Step]:
    """Imports in order, and days of hand-over within one: no look can fall between two of these."""
    return list(zip(columns["batch"], columns["day"], strict=True))


def _running(columns: Columns, own: Sequence[Step], steps: Sequence[Step]) -> dict[str, FloatArray]:
    """Counts up to each of the steps; ``own``: those of these columns."""
    place = {step: at for at, step in enumerate(steps)}
    at = [place[step] for step in own]
    running = {}
    for name in columns.keys() - {"batch", "day"}:
        new = np.zeros(len(steps))
        new[at] = columns[name]
        running[name] = np.cumsum(new)
    return running


def conclude(trial: Trial, counts: TrialCounts, path: Path) -> list[dict[str, Any]]:
    """A row for each option, the baseline first; figures of the trial as a whole on both; pure."""
    recorded = sum(numbers["jobs"] for (role, _), numbers in counts.options.items() if role == MAIN)
    whole = _whole(trial, path, ended=recorded - counts.waiting >= trial.max_jobs)
    rows = []
    for role, option in (("baseline", trial.baseline), ("option", trial.option)):
        drawn = option.lower()
        main = counts.options.get((MAIN, drawn), NONE_YET)
        safety = counts.options.get((SAFETY, drawn), NONE_YET)
        jobs, failures = main["opportunities"], main["failures"]
        found = stats.proportion_sequence(
            failures, jobs, narrowest_at=trial.max_jobs / 2, confidence_level=1 - MAIN_ERROR
        )
        row = {
            "trial": trial.trial,
            "choice": trial.choice,
            "option": option,
            "role": role,
            "handed_out": counts.handed_out.get(option, 0),
            "jobs": main["jobs"],
            "used_as_drawn": main["as_drawn"],
            "used_otherwise": main["otherwise"],
            "use_not_recorded": main["not_recorded"],
            "failures": failures,
            "opportunities": jobs,
            "unknown": main["unknown"],
            "rate": failures / jobs if jobs else None,
            "low": float(found.low) if jobs else None,
            "high": float(found.high) if jobs else None,
            "safety_failures": safety["failures"] + safety["unknown_failed"],
            "safety_unknown": safety["unknown"] - safety["unknown_failed"],
        }
        rows.append(row | whole)
    return rows


def _whole(trial: Trial, path: Path, *, ended: bool) -> dict[str, Any]:
    """What is said of the trial as a whole."""
    last = path.verdicts[-1] if path.verdicts else GO_ON
    verdict = stats.VERDICTS[last]
    if last == GO_ON and ended:
        verdict = stats.VERDICTS[-1]
    some = bool(path.days) and bool(path.pairs[-1])
    finite = some and bool(np.isfinite(path.low[-1]))
    return {
        "verdict": verdict,
        "pairs": int(path.pairs[-1]) if some else 0,
        "difference": float(path.score[-1]) if some else None,
        "difference_low": float(path.low[-1]) if finite else None,
        "difference_high": float(path.high[-1]) if finite else None,
        "evidence": float(path.evidence[-1]) if some else 1.0,
        "harm_evidence": float(path.harm[-1]) if path.days else 1.0,
        "worth_having": trial.difference,
        "max_jobs": trial.max_jobs,
    }


def points_of(path: Path) -> list[dict[str, Any]]:
    """The sequence over jobs for a picture, thinned to what an eye can tell apart."""
    keep = (
        np.unique(np.linspace(0, len(path.days) - 1, MOST_POINTS).astype(int)) if path.days else ()
    )
    return [
        {
            "batch": path.batches[at],
            "day": path.days[at].isoformat(),
            "jobs": 2 * int(path.pairs[at]),
            "difference": float(path.score[at]),
            "low": None if np.isnan(path.low[at]) else float(path.low[at]),
            "high": None if np.isnan(path.high[at]) else float(path.high[at]),
            "verdict": stats.VERDICTS[path.verdicts[at]],
        }
        for at in keep
        if path.pairs[at]
    ]
