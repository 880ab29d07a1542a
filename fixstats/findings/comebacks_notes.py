"""What must be known beside come-backs: each note only where it applies; pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.comebacks_figures import ANY, FEW, Followed, Test, too_many
from fixstats.findings.comebacks_words import MOST_SAID, about, p_words, value_words
from fixstats.tallies.counts import Period
from fixstats.tallies.followups import NOT_STATED, UNRELATED
from fixstats.words import counted, listed

Rows = Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Told:
    """What notes are made of. ``left_out``: jobs without the step or part asked about."""

    settings: Mapping[str, Any]
    labels: Mapping[str, str]
    followed: Followed
    rows: Rows
    tests: Mapping[str, Test | None]
    overall: Rows
    costs: Rows
    covered: Period
    left_out: int
    asked_as_of: date | None
    part_keys: tuple[str, ...]


def notes_for(told: Told) -> tuple[Note, ...]:
    """Notes that apply, what could mislead first."""
    if not told.covered.jobs:
        return (Note("no_records", "no job is in the records yet: fixstats import FILE"),)
    if not told.followed.groups:
        text = "no completed job in the records fits what was asked"
        return (Note("nothing", text), *_as_of(told), Note("own_records", OWN_RECORDS))
    return (
        *_tests(told), *_few(told), *_censored(told), *_as_of(told), *_no_returns(told),
        *_beyond(told), *_zero(told), *_not_stated(told), *_competing(told), *_many_tests(told),
        *_raw(told), *_handed_over(told), *_left_out(told), *_not_recorded(told), *_rework(told),
        *_costs(told),
        Note("elsewhere", "only returns to this workshop are known; devices that went elsewhere "
                          "or were never brought back are not, so the true share may be higher"),
        Note("own_records", OWN_RECORDS),
    )  # fmt: skip


def _tests(told: Told) -> list[Note]:
    return [
        _tested(test, reason, told) if test else _not_tested(reason, told)
        for reason, test in told.tests.items()
    ]


def _tested(test: Test, reason: str, told: Told) -> Note:
    differ = test.p_value < 1 - told.settings["confidence_level"]
    verdict = (
        "they differ by more than chance"
        if differ
        else "differences like these are usual by chance; that is no proof that the groups are "
        "alike"
    )
    return Note(
        "test",
        f"{test.name} of {len(told.followed.groups)} groups, come back "
        f"{about(reason, told.labels)}: chi-squared {test.statistic:.2f} on "
        f"{counted(test.degrees, 'degree')} of freedom, {p_words(test.p_value)}: {verdict}",
    )


def _not_tested(reason: str, told: Told) -> Note:
    """Why p_value and p_corrected are empty."""
    groups = len(told.followed.groups)
    if groups < 2:
        why = "there is no second group to compare with (--by)"
    elif too_many(told.followed, reason):
        why = f"{groups:,} groups are too many for it; ask about fewer, such as with --where"
    elif not told.followed.returns(reason).any():
        why = f"nobody came back {about(reason, told.labels)}"
    else:
        why = "there is no day on which one group could have differed from another"
    return Note("not_tested", f"not tested, p_value is empty: {why}")


def _few(told: Told) -> list[Note]:
    some = sum(row["rate"] is None for row in told.rows)
    if not some:
        return []
    return [
        Note(
            "few_at_risk",
            f"in {counted(some, 'row')} fewer than {FEW} jobs were still followed on that day: "
            "rate, low and high are empty",
        )
    ]


def _censored(told: Told) -> list[Note]:
    table, days = told.followed.table, told.settings["days"]
    short = int(table.n_censored[:, table.day < days].sum())
    if not short:
        return []
    total = int(told.followed.jobs.sum())
    return [
        Note(
            "censored",
            f"{short:,} of {counted(total, 'job')} have not been followed for {days} days yet "
            "(each branch up to the end of its own records): they count for the days they were "
            "followed, so the latest months are not flattered",
        )
    ]


def _as_of(told: Told) -> list[Note]:
    if told.asked_as_of is None or told.covered.as_of is None:
        return []
    if told.asked_as_of > told.covered.as_of:
        return [
            Note(
                "as_of",
                f"--as-of {told.asked_as_of} lies beyond the records: follow-up ends with them, on "
                f"{told.covered.as_of}",
            )
        ]
    return [
        Note(
            "as_of",
            f"as it was known on {told.asked_as_of}: later jobs are left out, and later returns "
            "have not happened yet",
        )
    ]


def _no_returns(told: Told) -> list[Note]:
    if told.followed.table.n_events.any():
        return []
    return [
        Note(
            "no_returns",
            "no return of any of these jobs is recorded, not even an unrelated one: if this shop "
            "does not write returns down, these figures say nothing",
        )
    ]


def _beyond(told: Told) -> list[Note]:
    days, warranty = told.settings["days"], told.settings["warranty_days"]
    if days <= warranty:
        return []
    return [
        Note(
            "beyond_warranty",
            f"beyond the warranty of {warranty} days returns go under-reported: who has to pay may "
            "not come back, so the share up to that many days is likely too low",
        )
    ]


def _zero(told: Told) -> list[Note]:
    if all(row["returns"] or row["rate"] is None for row in told.rows):
        return []
    return [
        Note(
            "zero_returns",
            "no come-back seen does not mean none: high is the upper end of the interval",
        )
    ]


def _not_stated(told: Told) -> list[Note]:
    number = _returned(told, NOT_STATED)
    if not number:
        return []
    return [
        Note(
            "reason_not_stated",
            f"of {counted(number, 'return')} nobody wrote down why: they count as come-backs "
            "because of the repair, and for no single reason",
        )
    ]


def _returned(told: Told, reason: str) -> int:
    if reason not in told.followed.reasons:
        return 0
    place = told.followed.reasons.index(reason)
    return int(told.followed.table.n_events[place].sum())


def _competing(told: Told) -> list[Note]:
    number = _returned(told, UNRELATED)
    if not number:
        return []
    return [
        Note(
            "unrelated",
            f"{counted(number, 'unrelated return')}: no come-back, but the end of that job's "
            "follow-up (a competing event); of several returns of a job the first one counts",
        )
    ]


def _many_tests(told: Told) -> list[Note]:
    tests = sum(row["p_value"] is not None for row in told.rows)
    if len(told.followed.groups) == 2:
        tests //= 2  # both are one and the same
    if tests < 2:
        return []
    return [
        Note(
            "many_tests",
            "p_value: that group against all others together; p_corrected allows for all tests of "
            "this answer (Holm)",
        )
    ]


def _raw(told: Told) -> list[Note]:
    if told.settings["adjust"] or not told.settings["by"]:
        return []
    return [
        Note(
            "not_adjusted",
            "groups may have had different devices and hands: a difference here is not yet one "
            "between options (--adjust compares over the same jobs)",
        )
    ]


def _handed_over(told: Told) -> list[Note]:
    if not told.part_keys:
        return []
    verb = "is that" if len(told.part_keys) == 1 else "are those"
    return [
        Note(
            "handed_over",
            f"{listed(told.part_keys)} {verb} of the piece in the device at hand-over, the last "
            "one fitted",
        )
    ]


def _left_out(told: Told) -> list[Note]:
    if not told.left_out:
        return []
    return [
        Note(
            "not_done",
            f"{counted(told.left_out, 'job')} left out, where no such part was fitted or the step "
            "was not done",
        )
    ]


def _not_recorded(told: Told) -> list[Note]:
    if not any(value is None for group in told.followed.groups for value in group):
        return []
    return [
        Note(
            "not_recorded",
            "an empty key, (not recorded) in tables, stands for jobs where that was not written "
            "down",
        )
    ]


def _rework(told: Told) -> list[Note]:
    named = any(one.startswith("rework=") for one in told.settings["where"])
    if told.settings["include_rework"] or named or not told.covered.rework:
        return []
    return [
        Note(
            "rework",
            f"{counted(told.covered.rework, 'job')} in the records are themselves come-backs: they "
            "end the follow-up of the job before, and are not followed in their turn "
            "(--include-rework)",
        )
    ]


def _costs(told: Told) -> list[Note]:
    known = [row for row in told.costs if row["cost_per_100"] is not None]
    everything = [row for row in told.overall if row["cost_per_100"] is not None]
    if not everything:
        return []
    currency, days, keys = (told.settings[name] for name in ("currency", "days", "by"))
    text = (
        f"cost of come-backs within {days} days: catalogue minutes at the labour rate and "
        f"catalogue money of the reason, taken as known; {currency} per 100 jobs: "
    )
    text += "; ".join(_cost(row, (), told.labels) for row in everything)
    if keys and len(known) <= MOST_SAID:
        text += "".join(f"; {_cost(row, keys, told.labels)}" for row in known)
    notes = [Note("cost", text)]
    missing = sum(row["without_cost"] for row in told.overall)
    if missing:
        notes.append(
            Note(
                "missing_cost",
                f"{counted(missing, 'come-back')} whose reason has no cost in the catalogue, or "
                "was not written down: missing there, not free, so the true cost is higher",
            )
        )
    return notes


def _cost(row: Mapping[str, Any], keys: Sequence[str], labels: Mapping[str, str]) -> str:
    names = [value_words(row[key], labels) for key in keys]
    names += [value_words(row["reason"], labels)] if row["reason"] != ANY else []
    cost, low, high = (row[name] for name in ("cost_per_100", "cost_low", "cost_high"))
    begin = f"{', '.join(names)} " if names else ""
    if low is None:
        what = "none of a known cost" if row["without_cost"] else "nothing"
        return f"{begin}{what} seen so far, no upper limit"
    return f"{begin}{cost:,.0f} ({low:,.0f} to {high:,.0f})"
