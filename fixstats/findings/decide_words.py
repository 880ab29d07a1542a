"""What a decision comes to in plain words; pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from fixstats.findings.base import Note
from fixstats.findings.verdicts import (
    EQUAL_ENOUGH,
    LEAN,
    LEFT_OUT,
    ONLY_ONE,
    STANDARDISE,
    TRIAL,
    UNPROVEN,
    WAIT,
    wrong_share,
)
from fixstats.words import counted, listed

Row = Mapping[str, Any]
Name = Callable[[str], str]
MOST_NAMED = 6


def sentence(row: Row, name: Name, money: Callable[[float], str]) -> str:
    """What to do about one row, and why."""
    where = f" on {row['model']}" if row["model"] else ""
    text = f"{_begin(row, name, where)}: {row['reason']}"
    if row["saving_per_job"] is not None and row["verdict"] in (STANDARDISE, LEAN, TRIAL):
        text += (
            f"; {money(row['saving_per_job'])} a job cheaper than {name(row['runner_up'])} "
            f"({money(row['saving_low'])} to {money(row['saving_high'])})"
        )
    if row["borrowed"] == 1:
        text += f"; never used there: what is known of {name(row['option'])} is from other models"
    return text


def _begin(row: Row, name: Name, where: str) -> str:
    label = name(row["choice"])
    if row["option"] is None:
        return f"{label}{where}: recommend none"
    option, other = name(row["option"]), name(row["runner_up"]) if row["runner_up"] else ""
    keep = row["current"] == row["option"]
    words = {
        UNPROVEN: f"hold back {option}",
        ONLY_ONE: f"{option} is all there is",
        EQUAL_ENOUGH: f"{option} or {other}, either will do",
        STANDARDISE: f"keep {option}" if keep else f"make {option} the house standard",
        TRIAL: f"run a trial, {option} leads",
        LEAN: f"use {option} and keep counting",
        WAIT: f"too early, {option} leads",
    }
    return f"{label}{where}: {words[row['verdict']]}"


def notes_of(
    rows: Sequence[Row], missing: Sequence[str], changed: Sequence[str], name: Name
) -> Iterator[Note]:
    """What to know beside the rows."""
    sure = [row["p_best"] for row in rows if row["verdict"] == STANDARDISE]
    share = wrong_share(sure)
    if share is not None:
        yield Note(
            "wrong_share",
            f"of {counted(len(sure), 'row')} that say standardise, {share:.1%} are expected to be "
            "wrong: another option would be cheaper there",
        )
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
            "cost_minutes or cost_money in the catalogue, or try --cost MODE=MONEY",
        )
    lent = [_titled(row, name) for row in rows if row["scope"] == "model" and row["borrowed"] == 1]
    if lent:
        yield Note(
            "borrowed",
            f"the option that leads was never used on that model, so that its figures are those "
            f"of the other models: {some(lent)}",
        )
    if changed:
        yield Note("what_if", f"what if: {listed(changed)}; nothing of it is stored")
    if rows:
        yield Note(
            "counted_how",
            "money per job: what the first try or first piece uses, minutes of jobs without a "
            "costed failure at the labour rate, and the chance of each failure and come-back times "
            "its cost; like for like over the same jobs, models partially pooled; jobs that are "
            f"themselves come-backs are left out; jobs: those of the row's option; sure means: as "
            f"sure without the last {LEFT_OUT} jobs of each model",
        )


def _titled(row: Row, name: Name) -> str:
    return f"{name(row['choice'])}{' on ' + row['model'] if row['model'] else ''}"


def some(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    more = len(names) - MOST_NAMED
    return listed(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"
