"""What a reader of the bench brief must know beside it: each note only where it applies; pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.brief_plan import Counted, Subject
from fixstats.folder import Catalogue
from fixstats.tallies.counts import Period
from fixstats.words import listed, nearest

Row = Mapping[str, Any]


def notes_for(
    rows: Sequence[Row], counted: Counted, minutes: Row, subject: Subject, covered: Period
) -> tuple[Note, ...]:
    """Notes for the rows of a brief."""
    own = Note("own_records", OWN_RECORDS)
    if not covered.jobs:
        text = "no job is in the records yet: only the catalogue speaks here"
        return (Note("no_records", text), own)
    failures = [one for row in rows for one in row["failures"]]
    found = (
        _new_model(subject, [*counted.repair.jobs]),
        _pooled(failures, subject.level),
        _of_option(rows),
        _whole_job(failures),
        _mixed(failures),
        _zero(failures, subject.level),
        _unknown(counted.unknown, subject.catalogue),
        _minutes(minutes, subject),
        own,
    )
    return tuple(note for note in found if note)


def _new_model(subject: Subject, models: Sequence[str]) -> Note | None:
    model, known = subject.model, subject.known
    if model in models:
        return None
    near = [] if known else nearest(model, models)
    mean = f"; did you mean '{near[0]}'?" if near else ""
    which = "no job of this repair on it is" if known else "no job on it is"
    return Note(
        "new_model",
        f"{model}: {which} recorded; all its odds are borrowed from the other models{mean}",
    )


def _pooled(failures: Sequence[Row], level: float) -> Note | None:
    if not any(one["borrowed"] for one in failures):
        return None
    return Note(
        "pooled",
        f"odds are partially pooled over the models (beta-binomial, {100 * level:g} % posterior "
        "intervals); 'borrowed': more than half of the figure comes from the other models and the "
        "prior; jobs of one technician are taken as independent",
    )


def _of_option(rows: Sequence[Row]) -> Note | None:
    every = [row["label"] for row in rows if row["option"] and row["failures_of"] == "any"]
    text = (
        "odds of a step are those of jobs of this repair on which its method was the first "
        "choice, rescue attempts included; they describe, and compare nothing like for like"
    )
    if every:
        text += f"; of any method or grade at {listed(every)}, where the one named was never used"
    return Note("first_choice", text) if any(row["failures"] for row in rows) else None


def _whole_job(failures: Sequence[Row]) -> Note | None:
    if not any(one["whole_job"] for one in failures):
        return None
    return Note(
        "whole_job",
        "'any step': the failure can happen at several steps and the records do not tell at which; "
        "its odds are those of the job and do not add up over the steps",
    )


def _mixed(failures: Sequence[Row]) -> Note | None:
    if not any(one["where_mixed"] for one in failures):
        return None
    return Note(
        "where_mixed",
        "'if mixed': out of devices in which parts of different origin meet, grades known",
    )


def _zero(failures: Sequence[Row], level: float) -> Note | None:
    if not any(one["at_most"] for one in failures):
        return None
    return Note(
        "zero_failures",
        f"no failure seen does not mean none: at_most is the exact one-sided {100 * level:g} % "
        "upper limit over the jobs of all models",
    )


def _unknown(unknown: Sequence[str], catalogue: Catalogue) -> Note | None:
    if not unknown:
        return None
    return Note(
        "unknown_share",
        f"{listed(catalogue.label(mode) for mode in unknown)}: more than a tenth of the units are "
        "unknown and left out of the odds; fixstats rates gives the bounds",
    )


def _minutes(minutes: Row, subject: Subject) -> Note | None:
    if not minutes["borrowed"] or not subject.known:
        return None
    return Note(
        "minutes_borrowed",
        "too few jobs of this model have minutes for limits of 9 in 10: those of all models stand",
    )
