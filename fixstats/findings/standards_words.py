"""House standards in words: a sentence each, and what could mislead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.rates_notes import cautions_for
from fixstats.findings.safety import OptionSafety, safety_modes
from fixstats.folder import Catalogue
from fixstats.words import counted, listed

if TYPE_CHECKING:
    from fixstats.findings.standards import Held

# With fewer jobs on either side no sentence says fewer or more. Common practice, no source.
FEW = 30
# So much of the jobs not recorded, or with a failure not looked for, is said.
MANY = 0.10


def sentence(held: Held) -> str:
    """How well it is followed, and what failed before it and since."""
    row = held.row
    where = f" on {row['model']}" if row["model"] else ""
    head = f"{row['choice']}{where}: {row['option']}, house standard from {row['since']}"
    if row["jobs_since"] == 0:
        return f"{head}: no job with a recorded {row['choice']} since then, so nothing to tell yet"
    return f"{head}, is {_followed(held)}; {_failures(held)}"


def _followed(held: Held) -> str:
    row = held.row
    low, high = (f"{100 * row[name]:.0f}" for name in ("share_low", "share_high"))
    told = (
        f"the first choice on {row['followed']:,} of {counted(row['jobs_since'], 'job')} since "
        f"({100 * row['share']:.0f} %, {low} to {high})"
    )
    if held.jobs_before:
        told += f", {100 * held.used_before / held.jobs_before:.0f} % in the time before"
    return told


def _failures(held: Held) -> str:
    """Fewer or more only where the interval says so, and enough jobs are behind it."""
    row = held.row
    before, after = (
        f"{row[f'failures_{side}']:,} of {row[f'opportunities_{side}']:,}"
        for side in ("before", "after")
    )
    if row["difference"] is None:
        return f"failures there: {after} since, and nothing before to hold that against"
    counts = f"any failure there on {before} jobs before, {after} since"
    if few(held):
        return f"{counts}: too few jobs to tell a change"
    change = 100 * row["difference"]
    low, high = 100 * row["difference_low"], 100 * row["difference_high"]
    if low <= 0 <= high:
        return (
            f"{counts}: that may be chance ({_side(low)} to {_side(high)} in 100 are both possible)"
        )
    word = "fewer" if change < 0 else "more"
    ends = sorted((abs(low), abs(high)))
    return (
        f"{counts}: {abs(change):.1f} in 100 {word} ({ends[0]:.1f} to {ends[1]:.1f}), "
        "with whatever else changed"
    )


def _side(change: float) -> str:
    return f"{abs(change):.1f} {'fewer' if change < 0 else 'more'}"


def few(held: Held) -> bool:
    """Too few jobs before or since to tell a change."""
    return bool(min(held.row["opportunities_before"], held.row["opportunities_after"]) < FEW)


def name_of(held: Held) -> str:
    """``opening (Brask One)``."""
    model = held.standard.model
    return f"{held.choice.name} ({model})" if model else held.choice.name


def notes_of(
    held: Sequence[Held], worse: Sequence[OptionSafety], choices: Sequence[str]
) -> tuple[Note, ...]:
    """What to know beside the rows; pure. ``worse``: options that may not be recommended now."""
    if not held:
        about = f" of {listed(choices)}" if choices else ""
        return (
            Note(
                "nothing",
                f"no house standard{about} is recorded: fixstats adopt CHOICE OPTION records one",
            ),
        )
    return (*_worse_notes(worse), *_notes(held))


def _worse_notes(worse: Sequence[OptionSafety]) -> Iterator[Note]:
    if worse:
        told = [f"{one.option} ({one.told})" for one in worse]
        yield Note(
            "worse",
            f"the records since say that a house standard is worse in safety: {listed(told)}; "
            "whatever it saves, take it off the bench and adopt another",
        )


def _notes(held: Sequence[Held]) -> Iterator[Note]:
    if any(one.row["difference"] is not None for one in held):
        yield Note(
            "before_after",
            "before against since is not like for like: models, technicians, practice and parts "
            "changed too, and a standard is often adopted after a bad time, which ends by itself; "
            "fixstats compare CHOICE holds the options against each other over the same jobs",
        )
    coming = [name_of(one) for one in held if one.row["jobs_since"] == 0]
    if coming:
        yield Note(
            "no_jobs_since",
            f"no share: no job is recorded since the standard of {listed(coming)} holds",
        )
    alone = [one for one in held if one.row["jobs_since"] and one.row["difference"] is None]
    if alone:
        yield Note(
            "no_before",
            f"no difference for {listed(map(name_of, alone))}: no job of the time before, or none "
            "since, where all failures that can occur were looked for",
        )
    thin = [name_of(one) for one in held if one.row["difference"] is not None and few(one)]
    if thin:
        yield Note(
            "few_jobs",
            f"fewer than {FEW} jobs before or since: {listed(thin)}; the interval is given, a "
            "change cannot be told",
        )
    yield from _time_notes(held)
    yield from _count_notes(held)
    yield Note("own_records", OWN_RECORDS)


def _time_notes(held: Sequence[Held]) -> Iterator[Note]:
    cut = [f"{name_of(one)} (from {one.first})" for one in held if one.cut and one.first]
    if cut:
        yield Note(
            "short_before",
            f"the time before is shorter than the time since, where the records begin: "
            f"{listed(cut)}",
        )
    general = {one.choice.name for one in held if one.holds and one.standard.model is None}
    own = [
        name_of(one)
        for one in held
        if one.holds and one.standard.model and one.choice.name in general
    ]
    if own:
        yield Note(
            "own_standard",
            f"rows of all models leave out those with a standard of their own: {listed(own)}",
        )


def _count_notes(held: Sequence[Held]) -> Iterator[Note]:
    blank = [
        f"{one.blank:,} of {name_of(one)}"
        for one in held
        if one.blank > MANY * (one.blank + one.row["jobs_since"])
    ]
    if blank:
        yield Note(
            "not_recorded",
            f"the share leaves out jobs since at which the choice was not recorded: "
            f"{listed(blank)}",
        )
    unknown = [
        f"{one.unknown:,} of {name_of(one)}"
        for one in held
        if one.unknown
        > MANY * (one.unknown + one.row["opportunities_before"] + one.row["opportunities_after"])
    ]
    if unknown:
        yield Note(
            "unknown",
            "failures leave out jobs on which something that can occur there was not looked for: "
            f"{listed(unknown)}",
        )


def cautions_of(held: Sequence[Held], catalogue: Catalogue) -> tuple[str, ...]:
    """The usual cautions of the methods named, and of cells where a mode can hurt someone."""
    named = {one.standard.option for one in held if one.choice.is_step}
    own = [
        f"{method.code}: {text}"
        for method in catalogue.methods
        if method.code in named
        for text in method.cautions
    ]
    codes = dict.fromkeys(code for one in held for code in safety_modes(one.choice, catalogue))
    rows = [{"mode": code, "family": None} for code in codes]
    return (*dict.fromkeys(own), *cautions_for(rows, catalogue))
