"""What could mislead in how the options of a choice were used, before any failure is looked at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from fixstats.findings.base import Note
from fixstats.findings.compare_plan import (
    Plan,
    jobs_of,
    may_follow,
    picked_by,
    standards_of,
)
from fixstats.tallies.counts import Period
from fixstats.words import counted, listed

if TYPE_CHECKING:
    import polars as pl

# Common practice, no source, for both.
HOLDS = 0.90
MOSTLY = 0.50
# More names than this in one note are not read.
MOST_NAMED = 4


def use_notes(plan: Plan, cells: pl.DataFrame) -> Iterator[Note]:
    """Notes on modes that the choice cannot cause, on who used what when, and on practice; pure.

    ``cells``: counts by the choice and the keys adjusted for.
    """
    yield from _earlier(plan)
    yield from _limited(plan)
    yield from _may_follow(plan)
    yield from _one_technician(plan)
    yield from _nobody(plan)
    yield from _never_overlapped(plan)
    yield from _practice(cells, plan)


def picked_notes(plan: Plan) -> Iterator[Note]:
    """Jobs picked by what came after the choice can turn the answer round; pure."""
    found = picked_by(plan.ask.where, plan.choice, plan.catalogue)
    if found:
        yield Note(
            "picked",
            f"the jobs were picked by how they went, after the choice of {plan.choice.name} "
            f"({'; '.join(found)}): that alone can make options look alike, or turn them round; "
            "leave it out of --where to compare them",
        )


def standard_notes(plan: Plan, covered: Period) -> Iterator[Note]:
    """Models of which another option is the house standard; pure."""
    if not plan.ask.by or plan.ask.baseline is not None:
        return
    day = min(covered.as_of, plan.ask.until or covered.as_of)
    own = {
        model: option
        for model, option in standards_of(plan.choice, plan.catalogue, day).items()
        if model is not None and option != plan.baseline
    }
    if own:
        names = [f"{model} ({option})" for model, option in sorted(own.items())]
        yield Note(
            "own_standard",
            f"a house standard of their own: {some_named(names)}; here all are held against "
            f"{plan.baseline}, see --where model=NAME",
        )


def left_out_notes(plan: Plan, covered: Period) -> Iterator[Note]:
    """Notes on jobs that are not counted; pure."""
    blank = jobs_of(plan.uses, None)
    if blank:
        yield Note(
            "not_recorded",
            f"{counted(blank, 'job')} left out: {plan.choice.name} was not recorded",
        )
    if covered.rework and ("rework", "no") in plan.where:
        yield Note(
            "rework",
            f"{counted(covered.rework, 'job')} in the records that are themselves come-backs are "
            "left out; --include-rework counts them",
        )


def some_named(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    more = len(names) - MOST_NAMED
    return listed(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"


def _earlier(plan: Plan) -> Iterator[Note]:
    """A failure at an earlier step cannot be the work of the choice."""
    if not plan.choice.is_step:
        return
    order = {step.code: step.order for step in plan.catalogue.steps}
    late = [
        code
        for code in plan.codes
        if (steps := plan.catalogue.modes[code].steps)
        and all(order[step] < order[plan.choice.place] for step in steps)
    ]
    if late:
        yield Note(
            "earlier_mode",
            f"{some_named(late)}: happens before {plan.choice.place}, so no option of it can be "
            "the cause; a difference here says only that the jobs differ",
        )


def _limited(plan: Plan) -> Iterator[Note]:
    found = [
        f"{code} ({listed(methods, 'or')})"
        for code in plan.codes
        if (methods := plan.catalogue.modes[code].methods) and set(plan.options) - set(methods)
    ]
    if found and plan.choice.is_step:
        yield Note(
            "limited_mode",
            f"by the catalogue only some methods can fail so: {some_named(found)}; the others are "
            "held against them all the same, since choosing them avoids it",
        )


def _may_follow(plan: Plan) -> Iterator[Note]:
    found = may_follow([*plan.strata, *plan.adjust], plan.choice, plan.catalogue)
    if found:
        yield Note(
            "may_follow",
            f"{listed(dict.fromkeys(found))} may follow from the choice of {plan.choice.name}: a "
            "part that a method breaks is replaced; adjusting for that hides what the method does",
        )


def _nobody(plan: Plan) -> Iterator[Note]:
    """Jobs without a technician are taken together, whoever did them."""
    if "technician" not in (*plan.strata, *plan.adjust):
        return
    here = [use for use in plan.uses if use.option in plan.options]
    blank = sum(use.jobs for use in here if use.technician is None)
    if blank:
        jobs = sum(use.jobs for use in here)
        yield Note(
            "no_technician",
            f"technician not recorded on {blank:,} of {counted(jobs, 'job')}; they count as one "
            "person",
        )


def _one_technician(plan: Plan) -> Iterator[Note]:
    everyone = {use.technician for use in plan.uses if use.option in plan.options}
    if len(everyone) < 2:
        return
    for option in plan.options:
        jobs = jobs_of(plan.uses, option)
        by_one: dict[str | None, int] = {}
        for use in plan.uses:
            if use.option == option:
                by_one[use.technician] = by_one.get(use.technician, 0) + use.jobs
        who = max(by_one, key=lambda one: by_one[one])
        if by_one[who] >= HOLDS * jobs:
            name = who if who is not None else "somebody not recorded"
            part = f"{by_one[who]:,} of its {jobs:,} jobs are" if jobs > 1 else "its only job is"
            yield Note(
                "one_technician",
                f"{option}: {part} by {name}; what is the method's and what the hand's can hardly "
                "be told apart",
            )


def _never_overlapped(plan: Plan) -> Iterator[Note]:
    days = {
        option: (
            min(use.first for use in plan.uses if use.option == option),
            max(use.last for use in plan.uses if use.option == option),
        )
        for option in plan.options
    }
    first, last = days[plan.baseline]
    for option in plan.options:
        begins, ends = days[option]
        if option != plan.baseline and (begins > last or ends < first):
            yield Note(
                "never_overlapped",
                f"{option} ({begins} to {ends}) and {plan.baseline} ({first} to {last}) were never "
                "in use at the same time: whatever else changed meanwhile is in the difference",
            )


def _practice(cells: pl.DataFrame, plan: Plan) -> Iterator[Note]:
    import polars as pl

    if not plan.practice:
        return
    jobs = pl.col("opportunities")
    done = jobs.filter(pl.col(plan.practice) == "practised").sum()
    counted_up = cells.group_by(plan.choice.name).agg(jobs.sum().alias("jobs"), done.alias("done"))
    for option, number, practised in counted_up.sort(plan.choice.name).iter_rows():
        if number and practised < MOSTLY * number:
            yield Note(
                "practice_not_reached",
                f"{option}: {number - practised:,} of its {counted(number, 'job')} were done with "
                "fewer than 100 earlier uses, the limit used here (fixstats practice "
                f"{plan.choice.place} looks closer); its rate may yet fall"
                + ("" if plan.ask.at == "practised" else "; see --at practised"),
            )
