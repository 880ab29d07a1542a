"""The words that cells of a job sheet may hold, as rows for people and for drop-downs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fixstats.folder import Catalogue, FailureMode
from fixstats.records.columns import OUTCOMES
from fixstats.words import listed

RULES = (
    ("(blank)", "not recorded; a step outside the repair: not done; failures: none seen"),
    ("-", "step: not done; grade: no such part fitted; failures: none seen"),
    ("first > second", "tried again with another method, or a second piece fitted"),
    ("mode; mode", "several failure modes, repairs or unchecked modes in one cell"),
    ("mode@2", "the mode happened at the second try, or to the second piece"),
    ("mode@step", "at this step, where the mode could happen at several; mode@step.2: second try"),
)


@dataclass(frozen=True)
class WordRow:
    """One word: the column it is for, itself, what it means, and the drop-downs that offer it."""

    column: str
    code: str
    label: str
    belongs: str
    lists: tuple[str, ...]


def word_rows(catalogue: Catalogue) -> list[WordRow]:
    """Every word; the words of one drop-down stand together, so that it is a run of rows."""
    return [*_plain(catalogue), *_steps(catalogue), *_modes(catalogue)]


def _plain(catalogue: Catalogue) -> Iterator[WordRow]:
    for repair in catalogue.repairs:
        steps = ", ".join(repair.steps)
        yield WordRow("repair", repair.code, repair.label, steps, ("repair",))
    for outcome in OUTCOMES:
        yield WordRow("outcome", outcome, outcome.replace("_", " "), "", ("outcome",))
    for word in ("yes", "no"):
        yield WordRow("flags, PART_fitted", word, word, "", ("flag", "fitted"))
    for factor in catalogue.factors:
        for value in factor.values:
            yield WordRow(factor.code, value, value, factor.label, (f"category {factor.code}",))
    for grade in catalogue.grades:
        yield WordRow("PART_grade", grade.code, grade.label, grade.origin, ("grade",))
    if catalogue.grades:
        yield WordRow("PART_grade", "-", "no such part fitted", "", ("grade",))


def _steps(catalogue: Catalogue) -> Iterator[WordRow]:
    labels = {method.code: method.label for method in catalogue.methods}
    for step in catalogue.step_codes:
        for method in catalogue.methods_of(step):
            yield WordRow(step, method, labels[method], catalogue.label(step), (f"step {step}",))
        yield WordRow(step, "-", "not done", catalogue.label(step), (f"step {step}",))


def _modes(catalogue: Catalogue) -> Iterator[WordRow]:
    """Failure modes between what only ``unchecked`` and what only ``return_reason`` takes."""
    yield WordRow("unchecked", "all", "nobody looked for anything", "", ("unchecked",))
    for family, codes in catalogue.families.items():
        label = f"all of {family.replace('_', ' ')}"
        yield WordRow("unchecked", family, label, ", ".join(codes), ("unchecked",))
    lists = ("failures", "preexisting", "unchecked", "return_reason")
    for mode in catalogue.failure_modes:
        yield WordRow("failures, unchecked, ...", mode.code, mode.label, where(mode), lists)
    label = "came back for another reason"
    yield WordRow("return_reason", "unrelated", label, "", ("return_reason",))


def where(mode: FailureMode) -> str:
    """Where a mode may happen, in words."""
    if mode.steps:
        ways = f" ({listed(mode.methods, 'or')} only)" if mode.methods else ""
        return f"{listed(mode.steps, 'or')}{ways}"
    if mode.mixed:
        return f"{listed(mode.mixed)} of different origin"
    return "any part" if mode.part == "any" else f"{mode.part}"
