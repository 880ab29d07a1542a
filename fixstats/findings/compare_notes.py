"""What could mislead in a comparison, each by name, and only where it applies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats.findings.adjusting import Adjustment
from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.compare_figures import Row
from fixstats.findings.compare_plan import ModeSet, Plan, jobs_of
from fixstats.findings.compare_words import Lead, in_hundred, lead_of, spanned
from fixstats.findings.rates_notes import cautions_for
from fixstats.tallies.counts import Period
from fixstats.words import counted, listed

if TYPE_CHECKING:
    import polars as pl

# Common practice, no source, for all four.
UNEQUAL = 0.05
WORTH_OUTSIDE = 0.20
HOLDS = 0.90
MOSTLY = 0.50
# More names than this in one note are not read.
MOST_NAMED = 4


@dataclass(frozen=True)
class Answer:
    """One set of modes: its rows, inside and as handed out, the fit, and the cells behind them."""

    modes: ModeSet
    rows: tuple[Row, ...]
    public: tuple[Mapping[str, Any], ...]
    adjustment: Adjustment
    cells: pl.DataFrame


Found = list[tuple[ModeSet, Row, Mapping[str, Any]]]


def notes_of(plan: Plan, answers: Sequence[Answer], covered: Period) -> tuple[Note, ...]:
    """Notes for a comparison, gravest first; pure."""
    if not covered.jobs:
        return (Note("no_records", "no job is in the records yet: fixstats import FILE"),)
    if not answers:
        return (_nothing(plan), Note("own_records", OWN_RECORDS))
    rows = [
        (answer.modes, row, public)
        for answer in answers
        for row, public in zip(answer.rows, answer.public, strict=True)
    ]
    several = len(plan.sets) > 1
    notes = [
        *_no_fit(answers, several=several),
        *_reversals(rows, plan, several=several),
        *_earlier(plan),
        *_limited(plan),
        *_heterogeneity(rows, plan, several=several),
        *_sparse(rows, plan, several=several),
        *_one_technician(plan),
        *_never_overlapped(plan),
        *_unknown(rows, plan, several=several),
        *_practice(answers[0].cells, plan),
        *_borrowed(rows, several=several),
        *_zero_failures(rows),
        *_hidden_cause(rows, several=several),
        *_many(rows, plan),
        *_adjusted_for(answers, plan),
        *_left_out(plan, covered),
    ]
    return (*notes, Note("own_records", OWN_RECORDS))


def cautions_of(plan: Plan) -> tuple[str, ...]:
    """The usual cautions of the methods named, and of cells where a mode can hurt someone."""
    rows = [{"mode": code, "family": None} for code in plan.codes]
    methods = {method.code: method for method in plan.catalogue.methods}
    named = [methods[option] for option in plan.options if option in methods]
    own = [f"{one.code}: {text}" for one in named for text in one.cautions]
    return (*own, *cautions_for(rows, plan.catalogue))


def _nothing(plan: Plan) -> Note:
    if not plan.options:
        return Note("nothing", f"no job asked about has an option of {plan.choice.name} recorded")
    return Note("one_option", f"every job asked about has {plan.options[0]}: nothing to compare")


def _named(modes: ModeSet, row: Row, *, several: bool) -> str:
    """``heat_plate``, with its model, and its mode where there are several."""
    words = [modes.name] if several else []
    words += [f"on {row.model}"] if row.model else []
    return f"{row.option} ({', '.join(words)})" if words else row.option


def _some(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    more = len(names) - MOST_NAMED
    return listed(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"


def _no_fit(answers: Sequence[Answer], *, several: bool) -> Iterator[Note]:
    for answer in answers:
        problem = answer.adjustment.problem
        if problem:
            what = f"{answer.modes.name}: " if several else ""
            text = f"{what}no adjusted figures ({problem}); the sentences follow the strata"
            yield Note("no_fit", text)


def _reversals(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    for modes, row, public in rows:
        if public["reversal"] == "none":
            continue
        raw = Lead("raw", *(public[f"difference{end}"] for end in ("", "_low", "_high")))
        fair, how = _turned(public, plan)
        sure = "reversal" if public["reversal"] == "sure" else "possible reversal"
        pair = f"{_named(modes, row, several=several)} against {plan.baseline}"
        yield Note(
            "reversal",
            f"{sure}, {pair}: the raw counts say {spanned(raw, plan.unit)}, but the order turns "
            f"round {how}: {spanned(fair, plan.unit)}. The two were used on different jobs: go by "
            "the like-for-like figure, not by the raw one",
        )


def _turned(public: Mapping[str, Any], plan: Plan) -> tuple[Lead, str]:
    """The figure of the other sign, and in words where it holds: the strata where they do it."""
    strata = public["strata_difference"]
    if strata is not None and strata * public["difference"] < 0:
        values = (strata, public["strata_low"], public["strata_high"])
        where = f"within the strata of {listed(plan.strata)}" if plan.strata else "within strata"
        return Lead("strata", *values), where
    values = (public["adjusted_difference"], public["adjusted_low"], public["adjusted_high"])
    return Lead("adjusted", *values), "once adjusted for who did which jobs, and when"


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
            f"{_some(late)}: happens before {plan.choice.place}, so no option of it can be the "
            "cause; a difference here says only that the jobs differ",
        )


def _limited(plan: Plan) -> Iterator[Note]:
    found = [
        f"{code} with {listed(methods, 'or')} only"
        for code in plan.codes
        if (methods := plan.catalogue.modes[code].methods) and set(plan.options) - set(methods)
    ]
    if found and plan.choice.is_step:
        yield Note(
            "limited_mode",
            f"by the catalogue, {_some(found)} can fail that way; the other options are held "
            "against it all the same, with whatever came of their jobs",
        )


def _heterogeneity(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    names = [
        _named(modes, row, several=several)
        for modes, row, public in rows
        if public["homogeneity_p"] is not None and public["homogeneity_p"] < UNEQUAL
    ]
    if names:
        within = listed(plan.strata) if plan.strata else "none"
        yield Note(
            "heterogeneity",
            f"{_some(names)}: the odds ratio seems to differ between strata of {within} (Tarone's "
            f"test, p below {UNEQUAL:g}); one figure for all hides that" + _by_model(plan),
        )


def _by_model(plan: Plan) -> str:
    return "" if plan.ask.by else "; see --by model"


def _sparse(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    lost = [
        f"{_named(modes, row, several=several)} {100 * row.outside:.0f} %"
        for modes, row, public in rows
        if row.outside >= WORTH_OUTSIDE and public["opportunities"]
    ]
    if lost:
        yield Note(
            "sparse_strata",
            "share of the jobs that lie in strata without the other option, and do not count in "
            f"the strata figures: {_some(lost)}",
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
            yield Note(
                "one_technician",
                f"{option}: {by_one[who]:,} of its {counted(jobs, 'job')} are by {name}; what is "
                "the method's and what the hand's can hardly be told apart",
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


def _unknown(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    """Worst cases: all unknown jobs of one side failed, none of the other."""
    for modes, row, public in rows:
        lead = lead_of(public)
        claimed = lead is not None and lead.low * lead.high > 0
        if row.model or not claimed or not (row.counts["unknown"] or row.baseline["unknown"]):
            continue
        (low, high), (base_low, base_high) = _bounds(row.counts), _bounds(row.baseline)
        ends = low - base_high, high - base_low
        if ends[0] <= 0 <= ends[1]:
            unknown = row.counts["unknown"] + row.baseline["unknown"]
            yield Note(
                "unknown_sign",
                f"{_named(modes, row, several=several)}: {counted(unknown, 'outcome')} unknown; at "
                f"worst they would put the raw difference anywhere from {in_hundred(ends[0])} "
                f"fewer to {in_hundred(ends[1])} more in 100 {plan.unit}, so they could turn its "
                "sign",
            )


def _bounds(side: Mapping[str, int]) -> tuple[float, float]:
    units = side["opportunities"] + side["unknown"]
    if not units:
        return 0.0, 1.0
    failed = side["failures"]
    return (failed + side["unknown_failed"]) / units, (failed + side["unknown"]) / units


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
                f"{option}: {number - practised:,} of its {counted(number, 'job')} were done by "
                "people still learning it (fewer than 100 earlier uses); its rate may yet fall"
                + ("" if plan.ask.at == "practised" else "; see --at practised"),
            )


def _borrowed(rows: Found, *, several: bool) -> Iterator[Note]:
    names = [
        _named(modes, row, several=several)
        for modes, row, public in rows
        if row.model
        and public["adjusted_difference"] is not None
        and not (public["opportunities"] and public["baseline_opportunities"])
    ]
    if names:
        yield Note(
            "borrowed",
            f"{_some(names)}: one of the two was never used there; the adjusted figure is borrowed "
            "from the other models",
        )


def _zero_failures(rows: Found) -> Iterator[Note]:
    none = sum(
        not public["failures"] and not public["baseline_failures"]
        for _, row, public in rows
        if row.counts["opportunities"] and row.baseline["opportunities"]
    )
    if none:
        yield Note(
            "zero_failures",
            f"in {counted(none, 'row')} no failure was seen on either side; that is no proof that "
            "both are safe or alike",
        )


def _hidden_cause(rows: Found, *, several: bool) -> Iterator[Note]:
    for modes, row, public in rows:
        needed = public["hidden_cause_needed"]
        if row.model is None and needed is not None and needed > 1:
            yield Note(
                "hidden_cause",
                f"{_named(modes, row, several=several)}: before it came to no difference shown, a "
                f"cause that nobody recorded would have to make failures at least {needed:.1f} "
                "times as likely, and be that many times as common with one option as the other",
            )


def _many(rows: Found, plan: Plan) -> Iterator[Note]:
    number = len(rows)
    chance = (1 - plan.level) * number
    if number > 5:
        yield Note(
            "many_rows",
            f"{number} rows at {100 * plan.level:g} %: of that many intervals about {chance:.1g} "
            "would miss the truth by chance alone; p_corrected allows for it",
        )


def _adjusted_for(answers: Sequence[Answer], plan: Plan) -> Iterator[Note]:
    used = dict.fromkeys(key for answer in answers for key in answer.adjustment.used)
    dropped = {key: why for one in answers for key, why in one.adjustment.dropped.items()}
    if not used and not dropped:
        return
    text = f"adjusted for {listed(used)}" if used else "adjusted for nothing"
    if dropped:
        text += f"; not for {listed(f'{key} ({why})' for key, why in dropped.items())}"
    yield Note("adjusted_for", f"{text}. What nobody recorded cannot be adjusted for")


def _left_out(plan: Plan, covered: Period) -> Iterator[Note]:
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
