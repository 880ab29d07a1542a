"""What to know beside the status of a trial, and beside the list of all. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats import stats
from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.stats.trial_rule import ENDED, GO_ON, HARM, HARM_AT, MAIN_AT, NO_DIFFERENCE, SHOWN
from fixstats.tallies.trials import Trial
from fixstats.words import counted

Rows = Sequence[Mapping[str, Any]]
# More than a tenth of the jobs done otherwise than drawn: the comparison is of intentions.
WORTH_TELLING = 0.10


def status_notes(
    trial: Trial, rows: Rows, verdicts: Sequence[int], days: Sequence[Any]
) -> tuple[Note, ...]:
    """Notes for a status, the verdict in words first."""
    found = (
        _verdict(trial, rows, verdicts, days),
        _contradiction(rows),
        _by_drawing(rows),
        _unknown(rows),
        _unseen(rows),
        _not_yet(rows),
        _more_than_drawn(rows),
        _excluded(trial),
        _what_it_says(trial),
        Note("own_records", OWN_RECORDS),
    )
    return tuple(note for note in found if note)


def list_notes(rows: Rows) -> tuple[Note, ...]:
    """Where there is no trial: how to plan one."""
    if rows:
        return ()
    text = "no trial was begun yet: fixstats trial plan CHOICE --options PRESENT,NEW"
    return (Note("nothing", text),)


def in_hundred(value: float | None) -> str:
    """``+3.1``: a difference in a hundred jobs."""
    return "?" if value is None else f"{100 * value:+.1f}"


def span(row: Mapping[str, Any]) -> str:
    """``-3.1 in 100 jobs (-5.0 to -1.2)``."""
    ends = (row["difference_low"], row["difference_high"])
    return f"{in_hundred(row['difference'])} in 100 jobs ({' to '.join(map(in_hundred, ends))})"


def _verdict(trial: Trial, rows: Rows, verdicts: Sequence[int], days: Sequence[Any]) -> Note:
    row = rows[-1]
    code = stats.VERDICTS.index(row["verdict"])
    told = f"{trial.option} against {trial.baseline}: {span(row)}"
    if code == ENDED:
        text = (
            f"all {counted(trial.max_jobs, 'job')} are in it and nothing is shown: {told}; that "
            "nothing was shown does not say that there is no difference"
        )
    elif code == GO_ON:
        text = f"go on: {told if row['pairs'] else 'no pair of jobs is complete yet'}"
    else:
        text = f"stop since {days[list(verdicts).index(code)].isoformat()}: {_STOPS[code]}"
        text = text.format(
            told=told,
            option=trial.option,
            less="fewer" if (row["difference"] or 0) < 0 else "more",
            worth=f"{100 * trial.difference:g}",
        )
    return Note("verdict", text)


_STOPS = {
    SHOWN: "it is shown that {option} has {less} such failures: {told}",
    NO_DIFFERENCE: "any difference is smaller than the {worth} in 100 worth having: {told}",
    HARM: (
        "evidence that {option} harms: more safety failures than the other, or above the safety "
        "limit. Take it off the bench now, whatever the main outcome says"
    ),
}


def _contradiction(rows: Rows) -> Note | None:
    row = rows[-1]
    if not row["pairs"] or row["difference_low"] is not None:
        return None
    return Note(
        "contradiction",
        "early and late pairs exclude each other's differences: the difference changed while the "
        "trial ran, and no single figure stands for it",
    )


def _by_drawing(rows: Rows) -> Note | None:
    """Whoever changes sides takes the hard devices along: only what was drawn is fair."""
    other = sum(row["used_otherwise"] for row in rows)
    if not other:
        return None
    jobs = sum(row["jobs"] for row in rows)
    much = (
        "; with so many the difference between the options themselves is likely larger than this"
        if other > WORTH_TELLING * jobs
        else ""
    )
    return Note(
        "by_drawing",
        f"{counted(other, 'job')} of {jobs:,} used another option than was drawn and count for the "
        f"one drawn{much}",
    )


def _unknown(rows: Rows) -> Note | None:
    unknown = sum(row["unknown"] for row in rows)
    if not unknown:
        return None
    parts = ", ".join(f"{row['option']} {row['unknown']:,}" for row in rows)
    return Note(
        "unknown",
        f"{counted(unknown, 'job')} were not checked for the main outcome and are in no pair "
        f"({parts}); if one option is looked at more closely than the other, the trial is not fair",
    )


def _unseen(rows: Rows) -> Note | None:
    unseen = sum(row["safety_unknown"] for row in rows)
    if not unseen:
        return None
    return Note(
        "safety_unknown",
        f"{counted(unseen, 'job')} were not checked for every safety failure; the harm stop knows "
        "only what was seen",
    )


def _not_yet(rows: Rows) -> Note | None:
    waiting = sum(max(row["handed_out"] - row["jobs"], 0) for row in rows)
    if not waiting:
        return None
    parts = ", ".join(
        f"{row['option']} {max(row['handed_out'] - row['jobs'], 0):,}" for row in rows
    )
    return Note(
        "not_yet_recorded",
        f"{counted(waiting, 'slot')} handed out with no job recorded yet ({parts}); jobs that are "
        "never recorded, or without trial and assigned, can make any result wrong",
    )


def _more_than_drawn(rows: Rows) -> Note | None:
    more = [row["option"] for row in rows if row["jobs"] > row["handed_out"] > 0]
    if not more:
        return None
    return Note(
        "more_than_drawn",
        f"more jobs are recorded as drawn for {' and '.join(more)} than slots were handed out: "
        "from the printed sheet, or written down wrongly",
    )


def _excluded(trial: Trial) -> Note | None:
    if not trial.excluded:
        return None
    return Note(
        "excluded",
        f"{counted(trial.excluded, 'device')} kept out before anything was drawn; once an option "
        "is drawn a job stays in, whatever happens",
    )


def _what_it_says(trial: Trial) -> Note:
    return Note(
        "how_to_read",
        "the interval holds at all looks together with 96 % confidence, so looking every week is "
        f"allowed; it compares pairs of one technician and one group of models; evidence of "
        f"{MAIN_AT:g} shows a difference, {HARM_AT:g} that the option harms; the whole trial says "
        "anything wrong in at most 5 of 100 such trials; the intervals of the single options are "
        "for orientation, not for comparing",
    )
