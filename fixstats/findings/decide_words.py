"""What a decision comes to in plain words; pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.compare_plan import PART_CHOICES, find_choice, picked_by
from fixstats.findings.decide_plan import DecideAsk
from fixstats.findings.rates_notes import cautions_for
from fixstats.findings.safety import CLEARED, OptionSafety
from fixstats.findings.verdicts import (
    EQUAL_ENOUGH,
    LEAN,
    ONLY_ONE,
    STANDARDISE,
    TRIAL,
    UNPROVEN,
    WAIT,
    wrong_share,
)
from fixstats.findings.weighing import MAY_COST
from fixstats.folder import Catalogue
from fixstats.tallies.decide import LEFT_OUT
from fixstats.words import counted, listed

Row = Mapping[str, Any]
Name = Callable[[str], str]
MOST_NAMED = 6
# With fewer jobs of a model its sentence says that other models stand behind it. No source.
FEW_JOBS = 20
# Equal enough in money, where the safety of only one is shown.
_NOT_BOTH = "not both"


def sentence(row: Row, name: Name, money: Callable[[float], str]) -> str:
    """What to do about one row, and why."""
    where = f" on {row['model']}" if row["model"] else ""
    edge = " (borderline)" if row["borderline"] else ""
    text = f"{_begin(row, name, where)}{edge}: {row['reason']}"
    if row["saving_per_job"] is not None and row["verdict"] in (STANDARDISE, LEAN, TRIAL):
        text += (
            f"; {money(row['saving_per_job'])} a job cheaper than {name(row['runner_up'])} "
            f"({money(row['saving_low'])} to {money(row['saving_high'])})"
        )
    if row["borrowed"] == 1:
        text += f"; never used there: what is known of {name(row['option'])} is from other models"
    elif row["model"] and row["jobs"] is not None and row["jobs"] < FEW_JOBS:
        text += f"; {counted(row['jobs'], 'job')} with it there, other models speak for most of it"
    return text


def choice_name(choice: str, name: Name) -> str:
    """``Opening the device``, ``Battery grade``."""
    for field in PART_CHOICES:
        if choice.endswith(f"_{field}"):
            return f"{name(choice.removesuffix(f'_{field}'))} {field}"
    return name(choice)


def _begin(row: Row, name: Name, where: str) -> str:
    label = choice_name(row["choice"], name)
    if row["option"] is None:
        return f"{label}{where}: recommend none"
    option, other = name(row["option"]), name(row["runner_up"]) if row["runner_up"] else ""
    keep = row["current"] == row["option"]
    # customers pay for a grade, too, and nobody recorded what they would
    alone = ", by the shop's cost alone" if row["choice"].endswith("_grade") else ""
    words = {
        UNPROVEN: f"hold back {option}",
        ONLY_ONE: f"{option} is all there is",
        EQUAL_ENOUGH: f"{option} or {other}, either will do",
        _NOT_BOTH: f"{option} costs about as much as {other}",
        STANDARDISE: (f"keep {option}" if keep else f"make {option} the house standard") + alone,
        TRIAL: f"run a trial, {option} leads",
        LEAN: f"use {option} and keep counting",
        WAIT: f"wait, {option} leads",
    }
    verdict = row["verdict"]
    if verdict == EQUAL_ENOUGH and row["runner_up_safety"] != CLEARED:
        verdict = _NOT_BOTH
    return f"{label}{where}: {words[verdict]}"


def notes_of(
    rows: Sequence[Row],
    options: Sequence[Row],
    worse: Sequence[tuple[str, OptionSafety]],
    missing: Sequence[str],
    changed: Sequence[str],
    name: Name,
    *,
    every: bool = False,
) -> Iterator[Note]:
    """What to know beside the rows; ``every``: no choice was named.

    ``options``: the table behind them; ``worse``: choice and option of those ruled out.
    """
    yield from _worse(worse, name)
    yield from _wrong(rows)
    edge = [_titled(row, name) for row in rows if row["borderline"]]
    if edge:
        yield Note(
            "borderline",
            f"borderline, chance in the calculation alone may turn the verdict: {some(edge)}",
        )
    if missing:
        yield Note(
            "missing_cost",
            f"not counted, for want of a cost: {some([name(one) for one in missing])}; set "
            "cost_minutes, cost_money or a price in the catalogue, or try --cost MODE=MONEY or "
            "--price PART:GRADE=MONEY; no option becomes the standard that would not be sure "
            f"enough if one of them, or several together, cost up to {MAY_COST:g} times the "
            "dearest failure or part that has a cost (come-backs: up to that) each",
        )
    lent = [_titled(row, name) for row in rows if row["scope"] == "model" and row["borrowed"] == 1]
    if lent:
        yield Note(
            "borrowed",
            f"the option that leads was never used on that model, so that its figures are those "
            f"of the other models: {some(lent)}",
        )
    yield from _left_out(options, name)
    yield from _left_empty(rows)
    if every:
        yield Note(
            "suppliers",
            "suppliers are weighed within one grade only, since each sells grades of its own: "
            "fixstats decide PART_supplier --where PART_grade=GRADE",
        )
    if changed:
        yield Note("what_if", f"what if: {listed(changed)}; nothing of it is stored")
    if rows:
        yield Note(
            "counted_how",
            "money per job: what the first try or first piece uses, minutes of jobs without a "
            "costed failure at the labour rate (of the step where they are recorded, else of the "
            "job without the steps that have their own: there only the difference tells), and the "
            "chance of each failure and come-back times "
            "its cost; like for like over the same jobs, everybody practised with every option, "
            "models partially pooled; jobs that are "
            "themselves come-backs are left out; jobs: those of the row's option; standardise also "
            f"asks to be sure enough without the last {LEFT_OUT} jobs of each model",
        )
        yield Note("own_records", OWN_RECORDS)


def _wrong(rows: Sequence[Row]) -> Iterator[Note]:
    """How many rows are expected to be wrong; those over all models and of single ones apart."""
    sure = [row for row in rows if row["verdict"] == STANDARDISE]
    share = wrong_share([row["p_best"] for row in sure])
    if share is None:
        return
    kinds = [
        (of, [row["p_best"] for row in sure if row["scope"] == scope])
        for of, scope in (("over all models", "all"), ("of single models", "model"))
    ]
    apart = ""
    if all(chances for _, chances in kinds):
        told = [f"{len(chances)} {of}, {_share(wrong_share(chances))}" for of, chances in kinds]
        apart = f" ({listed(told)}; they rest on the same jobs)"
    yield Note(
        "wrong_share",
        f"of {counted(len(sure), 'row')} that say standardise, {_share(share)} are expected to be "
        f"wrong: another option would be cheaper there{apart}",
    )


def _share(share: float | None) -> str:
    return "<0.1%" if share is None or share < 0.0005 else f"{share:.1%}"


def picked_notes(ask: DecideAsk, choices: Sequence[str], catalogue: Catalogue) -> Iterator[Note]:
    """Jobs picked by what came after a choice can turn its answer round."""
    found: dict[str, list[str]] = {}
    for name in choices:
        choice = find_choice(name, catalogue)
        # the grade within which suppliers are weighed was settled before
        where = [one for one in ask.where if one[0] != f"{choice.place}_grade"]
        for why in picked_by(where, choice, catalogue):
            found.setdefault(why, []).append(name)
    if found:
        told = [f"{why} ({some(names)})" for why, names in found.items()]
        yield Note(
            "picked",
            f"the jobs were picked by how they went, after the choice: {'; '.join(told)}; that "
            "alone can make options look alike, or turn them round; leave it out of --where",
        )


def _left_out(options: Sequence[Row], name: Name) -> Iterator[Note]:
    """What the money of a job does not hold."""
    choices = list(dict.fromkeys(one["choice"] for one in options))
    untimed = {one["choice"] for one in options if one["minutes"] is None}
    steps = [
        choice_name(one, name)
        for one in choices
        if one in untimed and not one.endswith(tuple(f"_{field}" for field in PART_CHOICES))
    ]
    if steps:
        yield Note(
            "same_minutes",
            f"minutes are left out, as if all options took the same: {some(steps)}; "
            "STEP_minutes in the job sheet records them",
        )
    parts = [one for one in choices if one.endswith(tuple(f"_{field}" for field in PART_CHOICES))]
    if parts:
        yield Note(
            "cost_only",
            f"{some([choice_name(one, name) for one in parts])}: only what a piece costs the shop, "
            "with failures and come-backs within the warranty; what customers pay for it, and how "
            "it looks and lasts after that, is not in it",
        )


# row key -> why it may have no value, where the verdict has one
EMPTY = {
    "option": "option where every one is ruled out",
    "saving_per_job": "savings where there is nothing to compare with",
    "saving_vs_current": "saving_vs_current where nothing else was in use",
    "jobs_needed": "jobs_needed where no number of jobs alone would change the verdict",
}


def _left_empty(rows: Sequence[Row]) -> Iterator[Note]:
    """Why some figures are not given."""
    found = [why for key, why in EMPTY.items() if any(row[key] is None for row in rows)]
    if found:
        yield Note("left_empty", f"not given: {'; '.join(found)}")


def cautions_of(rows: Sequence[Row], modes: Sequence[str], catalogue: Catalogue) -> tuple[str, ...]:
    """The usual cautions of the methods named, and of cells where a mode can hurt someone."""
    named = {(row["choice"], row[key]) for row in rows for key in ("option", "current")}
    own = [
        f"{method.code}: {text}"
        for method in catalogue.methods
        if (method.step, method.code) in named
        for text in method.cautions
    ]
    cells = cautions_for([{"mode": one, "family": None} for one in modes], catalogue)
    return (*dict.fromkeys(own), *cells)


def _worse(worse: Sequence[tuple[str, OptionSafety]], name: Name) -> Iterator[Note]:
    """Options ruled out: of no use at all, or not on the one model where they are dangerous."""
    everywhere, there = [], []
    for choice, one in worse:
        told = f"{name(one.option)} ({choice_name(choice, name)}"
        if one.on_model is None:
            everywhere.append(f"{told}, {one.told})")
        else:
            where = f"on {one.on_model}"
            there.append(f"{told} {where}, {one.told}): do not use it {where}")
    begin = "ruled out, whatever it would save"
    if everywhere:
        yield Note("worse", f"{begin}: {some(everywhere)}; take it off the bench")
    if there:
        yield Note("worse", f"{begin}: {some(there)}")


def _titled(row: Row, name: Name) -> str:
    return f"{choice_name(row['choice'], name)}{' on ' + row['model'] if row['model'] else ''}"


def some(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    more = len(names) - MOST_NAMED
    return listed(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"
