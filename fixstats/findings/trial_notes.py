"""What to know beside the status of a trial, and beside the list of all. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from fixstats import stats
from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.safety import OptionSafety
from fixstats.findings.trial_wait import waiting_note
from fixstats.stats.trial_rule import ENDED, GO_ON, HARM, HARM_AT, MAIN_AT, NO_DIFFERENCE, SHOWN
from fixstats.tallies.trials import Trial, TrialCounts
from fixstats.words import counted, listed

Rows = Sequence[Mapping[str, Any]]
# More than a tenth of the jobs done otherwise than drawn: the comparison is of intentions.
WORTH_TELLING = 0.10


def status_notes(
    trial: Trial,
    counts: TrialCounts,
    rows: Rows,
    since: Sequence[tuple[int, int, Any]],
    settled: Note | None,
    out: Sequence[OptionSafety],
) -> tuple[Note, ...]:
    """Notes for a status, the verdict in words first.

    ``since``: verdict, import and latest hand-over, for each step of the path; ``settled``:
    where the trial goes by other settings than those of now; ``out``: options ruled out by now.
    """
    found = (
        _verdict(trial, rows, since),
        *out_notes(out),
        settled,
        _contradiction(rows),
        _contradicts_draw(counts.contradictions),
        _unknown_trials(counts.unknown_trials),
        _early(trial, counts),
        waiting_note(trial, counts),
        _corrected(counts),
        _all_handed_out(trial, rows),
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


def out_notes(out: Iterable[OptionSafety]) -> Iterator[Note]:
    """Each option that is ruled out, at all or on one model."""
    return (Note("ruled_out", f"{one.option}: {out_words(one)}") for one in out)


def out_words(one: OptionSafety) -> str:
    """Why no more devices go into a trial of this option, whatever its verdict."""
    where = f" on {one.on_model}" if one.on_model else ""
    return (
        f"ruled out{where} by all records, of the trial or not ({one.told}): do not use it"
        f"{where}; no {'such' if where else 'more'} devices go into the trial"
    )


def list_notes(rows: Rows, unknown: Mapping[str, int]) -> tuple[Note, ...]:
    """Where there is no trial: how to plan one; and names on jobs that no trial has."""
    text = "no trial was begun yet: fixstats trial plan CHOICE --options PRESENT,NEW"
    found = (None if rows else Note("nothing", text), _unknown_trials(unknown))
    return tuple(note for note in found if note)


def in_hundred(value: float | None) -> str:
    """``+3.1``: a difference in a hundred jobs."""
    return "?" if value is None else f"{100 * value:+.1f}"


def span(row: Mapping[str, Any]) -> str:
    """``-3.1 in 100 jobs (-5.0 to -1.2)``."""
    ends = (row["difference_low"], row["difference_high"])
    return f"{in_hundred(row['difference'])} in 100 jobs ({' to '.join(map(in_hundred, ends))})"


def _verdict(trial: Trial, rows: Rows, since: Sequence[tuple[int, int, Any]]) -> Note:
    row = rows[-1]
    code = stats.VERDICTS.index(row["verdict"])
    told = f"{trial.option} against {trial.baseline}: {span(row)}"
    if code == ENDED:
        text = (
            f"all {counted(trial.max_jobs, 'job')} are recorded and nothing is shown: {told}; that "
            "nothing was shown does not say that there is no difference"
        )
    elif code == GO_ON:
        text = f"go on: {told if row['pairs'] else 'no pair of jobs is complete yet'}"
        handed, jobs = (sum(one[key] for one in rows) for key in ("handed_out", "jobs"))
        so_far = f"; so far {told}" if row["pairs"] else ""
        if jobs >= trial.max_jobs:
            text = (
                f"all {counted(trial.max_jobs, 'job')} are recorded, and some wait to be paired: "
                f"draw no more, and look again{so_far}"
            )
        elif trial.max_jobs <= handed:
            text = (
                f"{handed:,} of {counted(trial.max_jobs, 'job')} are handed out, {jobs:,} "
                f"recorded: go on recording{so_far}"
            )
    else:
        batch, day = next((batch, day) for verdict, batch, day in since if verdict == code)
        text = f"stop since {day} (import {batch}): {_STOPS[code]}".format(
            told=told,
            option=trial.option,
            less="fewer" if (row["difference"] or 0) < 0 else "more",
            worth=f"{100 * trial.difference:g}",
        )
    return Note("verdict", text)


_STOPS = {
    SHOWN: "it is shown that {option} has {less} such failures: {told}",
    NO_DIFFERENCE: "any difference is smaller than the {worth} in 100 worth having (with "
    "96 % confidence): {told}",
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


# In the order in which they are told.
_OTHERWISE_RECORDED = {
    "otherwise": "{jobs} with another option under assigned than was handed out",
    "blank": "{jobs} handed out with trial or assigned left blank",
    "other_trial": "{jobs} handed out and recorded under another trial",
    "no_option": "{jobs} with something under assigned that is no option of the trial",
    "not_drawn": "{jobs} with nothing under assigned",
}
_LEFT_OUT = frozenset(("no_option", "not_drawn"))


def _contradicts_draw(contradictions: Mapping[str, int]) -> Note | None:
    """A sheet cannot change what was drawn, and nothing stands in for a draw nobody knows."""

    def told(kinds: Iterable[str], then: str) -> Iterator[str]:
        parts = [
            text.format(jobs=counted(contradictions[kind], "job"))
            for kind, text in _OTHERWISE_RECORDED.items()
            if kind in kinds and kind in contradictions
        ]
        if parts:
            yield f"{listed(parts)}: {then}"

    inside = told(
        _OTHERWISE_RECORDED.keys() - _LEFT_OUT, "each counts for the option that was handed out"
    )
    outside = told(
        _LEFT_OUT,
        "not handed out by name, so nobody knows what was drawn, and left out; look it up on the "
        "printed sheet and mend the job sheet",
    )
    text = "; ".join([*inside, *outside])
    return Note("contradicts_draw", text) if text else None


def _unknown_trials(unknown: Mapping[str, int]) -> Note | None:
    if not unknown:
        return None
    named = listed(f"'{name}' ({counted(jobs, 'job')})" for name, jobs in unknown.items())
    return Note(
        "unknown_trial",
        f"jobs name trials that were never begun: {named}; unless one was handed out for them by "
        "name they count in no trial",
    )


def _early(trial: Trial, counts: TrialCounts) -> Note | None:
    """Nothing can be drawn for a device that has left: a date, a name or the draw is wrong."""
    late = {
        "before_start": f"before it started on {trial.day}",
        "before_draw": "before an option was drawn for them",
    }
    parts = [
        f"{counted(number, 'job')} recorded for this trial {_were(number)} handed over {words}"
        for kind, words in late.items()
        if (number := counts.contradictions.get(kind, 0))
    ]
    if not parts:
        return None
    return Note(
        "before_start",
        f"{listed(parts)}: left out; mend the day if it is wrong, or take the trial's "
        "name off the job sheet",
    )


def _were(number: int) -> str:
    return "was" if number == 1 else "were"


def _corrected(counts: TrialCounts) -> Note | None:
    """No look is rewritten without a word."""
    parts = []
    if counts.corrected:
        parts.append(
            f"the outcome of {counted(counts.corrected, 'job')} was corrected after it had come to "
            "count: at the same place, it counts as its record says now"
        )
    if counts.struck:
        parts.append(
            f"{counted(counts.struck, 'job')} no longer count where they did, as their records "
            "were corrected: their pairs are left out, no other pair changes"
        )
    if not parts:
        return None
    text = "; ".join(parts)
    return Note("corrected_jobs", f"{text}; earlier looks may have shown otherwise")


def _all_handed_out(trial: Trial, rows: Rows) -> Note | None:
    """The end is told by what happened, not by what was handed out."""
    row = rows[-1]
    handed, jobs = (sum(one[key] for one in rows) for key in ("handed_out", "jobs"))
    if row["verdict"] != stats.VERDICTS[GO_ON] or not jobs < trial.max_jobs <= handed:
        return None
    return Note(
        "all_handed_out",
        f"all slots are handed out; {counted(handed - jobs, 'job')} are not recorded yet",
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
