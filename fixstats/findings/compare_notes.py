"""What could mislead in a comparison, each by name, and only where it applies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats.findings.adjusting import Adjustment
from fixstats.findings.adjusting_columns import ONE_VALUE
from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.compare_beside import Beside
from fixstats.findings.compare_empty_notes import empty_notes
from fixstats.findings.compare_figures import Row
from fixstats.findings.compare_plan import STRATA, ModeSet, Plan
from fixstats.findings.compare_use_notes import (
    left_out_notes,
    picked_notes,
    some_named,
    standard_notes,
    use_notes,
)
from fixstats.findings.compare_words import Lead, in_hundred, lead_of, pointed, verdict
from fixstats.findings.rates_notes import cautions_for
from fixstats.tallies.counts import Period
from fixstats.words import counted, listed

if TYPE_CHECKING:
    import polars as pl

# Common practice, no source, for all three. Strict: in many small strata Tarone's test finds a p
# below 0.05 in 7 to 9 of 100 sets of equal odds ratios.
UNEQUAL = 0.01
WORTH_OUTSIDE = 0.20
# With fewer failures a test of equal odds ratios is not to be trusted.
TELLING = 20


@dataclass(frozen=True)
class Answer:
    """One set of modes: its rows, inside and as handed out, the fit, and the cells behind them.

    ``beside``: what the sentence of each row has to know besides.
    """

    modes: ModeSet
    rows: tuple[Row, ...]
    public: tuple[Mapping[str, Any], ...]
    adjustment: Adjustment
    cells: pl.DataFrame
    beside: tuple[Beside, ...]


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
        *picked_notes(plan),
        *_dangers(plan),
        *_no_fit(answers, several=several),
        *_never_met(answers, plan, several=several),
        *_reversals(rows, plan, several=several),
        *_heterogeneity(rows, plan, several=several),
        *_sparse(rows, several=several),
        *use_notes(plan, answers[0].cells),
        *standard_notes(plan, covered),
        *_unknown(answers, plan, several=several),
        *_borrowed(rows, several=several),
        *empty_notes([public for _, _, public in rows]),
        *_hidden_cause(rows, several=several),
        *_many(rows, plan),
        *_modes(plan),
        *_adjusted_for(answers, plan),
        *left_out_notes(plan, covered),
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


def _dangers(plan: Plan) -> Iterator[Note]:
    """A union counts a snapped tab and a pierced cell alike; nobody may choose by that alone."""
    for one in plan.sets:
        safety = plan.dangers_of(one)
        if safety:
            yield Note(
                "dangers",
                f"{one.name} counts dangers and nuisances alike: look at {listed(safety)} apart "
                f"before you choose (--mode {','.join(safety)})",
            )


def _never_met(answers: Sequence[Answer], plan: Plan, *, several: bool) -> Iterator[Note]:
    names = [
        _named(answer.modes, row, several=several)
        for answer in answers
        for row, beside in zip(answer.rows, answer.beside, strict=True)
        if row.model is None and not beside.met
    ]
    if names:
        yield Note(
            "never_met",
            f"{some_named(names)} against {plan.baseline}: no model has had both, so model and "
            "option cannot be told apart; go by none of the figures",
        )


def _no_fit(answers: Sequence[Answer], *, several: bool) -> Iterator[Note]:
    for answer in answers:
        problem = answer.adjustment.problem
        if problem:
            what = f"{answer.modes.name}: " if several else ""
            text = f"{what}no adjusted figures ({problem}); the sentences follow the strata"
            yield Note("no_fit", text)


def _reversals(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    weak = []
    for modes, row, public in rows:
        if public["reversal"] == "none":
            continue
        if public["reversal"] == "possible" and row.model:
            weak.append(_named(modes, row, several=several))
            continue
        raw = Lead("raw", *(public[f"difference{end}"] for end in ("", "_low", "_high")))
        sure = "reversal" if public["reversal"] == "sure" else "possible reversal"
        pair = f"{_named(modes, row, several=several)} against {plan.baseline}"
        said = f"{sure}, {pair}: the raw counts say {pointed(raw, plan.unit)}, "
        yield Note("reversal", said + _turned(public, plan))
    if weak:
        yield Note(
            "possible_reversal",
            f"{some_named(weak)}: the raw figure and a like-for-like one (adjusted, or within "
            "strata) point different ways, neither surely; on so few jobs the adjusted figure "
            "leans on the other models",
        )


def _turned(public: Mapping[str, Any], plan: Plan) -> str:
    """What the figures of the other sign say: within the strata where they do it, and the fit.

    Where the fit, which leads, has the sign of the raw counts, nothing says which to believe.
    """
    strata, fit = (
        Lead(kind, *(public[f"{kind}_{end}"] for end in ("difference", "low", "high")))
        for kind in ("strata", "adjusted")
    )
    raw, lead = public["difference"], lead_of(public)
    within = f"within the strata of {listed(plan.strata)}" if plan.strata else "within strata"
    if lead is not None and lead.kind == "adjusted" and fit.difference * raw >= 0:
        return (
            f"{within} it is {pointed(strata, plan.unit)}, adjusted {pointed(fit, plan.unit)}: "
            "the two like-for-like figures disagree, go by neither"
        )
    turned, how = fit, "once adjusted for who did which jobs, and when"
    if strata.difference is not None and strata.difference * raw < 0:
        turned, how = strata, within
    return (
        f"but the order turns round {how}: {pointed(turned, plan.unit)}. The two were used on "
        "different jobs: go by the like-for-like figure, not by the raw one"
    )


def _heterogeneity(rows: Found, plan: Plan, *, several: bool) -> Iterator[Note]:
    names = [
        _named(modes, row, several=several) + (" over all" if plan.ask.by and not row.model else "")
        for modes, row, public in rows
        if public["homogeneity_p"] is not None
        and public["homogeneity_p"] < UNEQUAL
        and public["failures"] + public["baseline_failures"] >= TELLING
    ]
    if names:
        where = f"in all strata of {listed(plan.strata)}"
        if plan.strata == STRATA:
            where = "on all models and with all technicians"
        yield Note(
            "heterogeneity",
            f"{some_named(names)}: the difference may not be the same {where} (Tarone's test, p "
            f"below {UNEQUAL:g})" + ("" if plan.ask.by else "; look at --by model"),
        )


def _sparse(rows: Found, *, several: bool) -> Iterator[Note]:
    """Strata that one of the two is missing from have no weight: say how many, and of how much."""
    heavy, light = [], []
    for modes, row, public in rows:
        if not (row.one_sided and public["opportunities"] and public["baseline_opportunities"]):
            continue
        strata = row.one_sided + int(public["strata"])
        number = f"{row.one_sided:,} of {counted(strata, 'stratum', 'strata')}"
        name = _named(modes, row, several=several)
        if row.outside >= WORTH_OUTSIDE:
            heavy.append(f"{name} {100 * row.outside:.0f} % ({number})")
        elif row.model is None:
            light.append(f"{name} {number}")
    if heavy:
        yield Note(
            "sparse_strata",
            "so many jobs of the two have no like to be compared with within strata, and are not "
            f"in that column: {some_named(heavy)}",
        )
    if light:
        yield Note(
            "one_sided_strata",
            f"strata with jobs of only one of the two, not in that column: {some_named(light)}",
        )


def _unknown(answers: Sequence[Answer], plan: Plan, *, several: bool) -> Iterator[Note]:
    """Worst cases: all unknown jobs of one side failed, none of the other."""
    models = []
    for answer in answers:
        for row, public, beside in zip(answer.rows, answer.public, answer.beside, strict=True):
            unknown = row.counts["unknown"] + row.baseline["unknown"]
            if not unknown or verdict(public, beside) not in ("less", "more"):
                continue
            (low, high), (base_low, base_high) = _bounds(row.counts), _bounds(row.baseline)
            ends = low - base_high, high - base_low
            if not ends[0] <= 0 <= ends[1]:
                continue
            name = _named(answer.modes, row, several=several)
            if row.model:
                models.append(name)
                continue
            yield Note(
                "unknown_sign",
                f"{name}: {counted(unknown, 'outcome')} unknown; at worst they would put the raw "
                f"difference anywhere from {in_hundred(ends[0])} fewer to {in_hundred(ends[1])} "
                f"more in 100 {plan.unit}, so they could turn its sign",
            )
    if models:
        yield Note(
            "unknown_sign_models",
            f"{some_named(models)}: unknown outcomes could turn the sign of the raw difference",
        )


def _bounds(side: Mapping[str, int]) -> tuple[float, float]:
    units = side["opportunities"] + side["unknown"]
    if not units:
        return 0.0, 1.0
    failed = side["failures"]
    return (failed + side["unknown_failed"]) / units, (failed + side["unknown"]) / units


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
            f"{some_named(names)}: one of the two was never used there; the adjusted figure is "
            "borrowed from the other models",
        )


def _hidden_cause(rows: Found, *, several: bool) -> Iterator[Note]:
    needed = [
        f"{_named(modes, row, several=several)} {public['hidden_cause_needed']:.1f}"
        for modes, row, public in rows
        if row.model is None and (public["hidden_cause_needed"] or 0) > 1
    ]
    if needed:
        times = "so many" if len(needed) > 1 else needed[0].rsplit(" ", 1)[1]
        yield Note(
            "hidden_cause",
            f"{some_named(needed)}: something nobody recorded, that makes failures {times} times "
            f"as likely and is {times} times as common with one option, could explain "
            f"{'the' if len(needed) > 1 else 'its'} difference away; the nearer to 1, the easier",
        )


def _many(rows: Found, plan: Plan) -> Iterator[Note]:
    number = len(rows)
    missed = (1 - plan.level) * number
    about = f"{missed:.1f}" if missed < 1 else f"{missed:.0f}"
    if number > 5:
        noun = "interval" if about == "1" else "intervals"
        within = "within one mode" if len(plan.sets) > 1 else "over options and models"
        yield Note(
            "many_rows",
            f"{number} rows: about {about} {noun} would miss the truth by chance alone. p "
            f"(corrected) is of the raw counts, {within}; the sentences are not corrected",
        )


def _modes(plan: Plan) -> Iterator[Note]:
    for one in plan.sets:
        if one.mode is None:
            yield Note("modes", f"{one.name} here: {listed(one.codes)}")


def _adjusted_for(answers: Sequence[Answer], plan: Plan) -> Iterator[Note]:
    used = dict.fromkeys(key for answer in answers for key in answer.adjustment.used)
    dropped = dropped_keys(plan, answers)
    if not used:
        return
    text = f"adjusted for {listed(used)}"
    reasons = dict.fromkeys(dropped.values())
    groups = [
        f"{listed(key for key, one in dropped.items() if one == why)} ({why})" for why in reasons
    ]
    text += f"; not for {'; '.join(groups)}" if groups else ""
    yield Note("adjusted_for", f"{text}. What nobody recorded cannot be adjusted for")


def dropped_keys(plan: Plan, answers: Sequence[Answer]) -> dict[str, str]:
    """Keys that were not adjusted for after all -> why."""
    found = {key: why for one in answers for key, why in one.adjustment.dropped.items()}
    for key, why in found.items():
        blank = [answer.cells[key].null_count() == answer.cells.height for answer in answers]
        if why == ONE_VALUE and all(blank):
            found[key] = "not recorded"
    return {**plan.dropped, **found}
