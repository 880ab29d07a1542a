"""A question about decisions: what is asked, and refused before anything is counted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from fixstats.errors import UsageError
from fixstats.findings.compare_plan import PART_CHOICES, Choice, find_choice
from fixstats.folder import Catalogue, ShopFolder
from fixstats.folder.settings import RULES, Settings
from fixstats.words import did_you_mean

# Settings that a limit changes for one call.
LIMITS = ("standardise_at", "tolerance", "safety_limit", "worth_knowing", "horizon_months")


@dataclass(frozen=True)
class DecideAsk:
    """What a person asks of decisions; every field has the option's name.

    ``choices``: steps, ``<part>_grade``, or ``<part>_supplier`` where ``where`` names one grade of
    it; none means all of which an option was ever recorded. ``models``: only these; none means a
    row for all models together, then one for each. What if, for this call only: ``labour_rate``
    per hour; ``prices``: (part, grade, money); ``costs``: (failure mode, money each time);
    ``limits``: (name of a setting, value).
    """

    choices: tuple[str, ...] = ()
    models: tuple[str, ...] = ()
    where: tuple[tuple[str, str], ...] = ()
    since: date | None = None
    until: date | None = None
    confidence: float | None = None
    labour_rate: float | None = None
    prices: tuple[tuple[str, str, float], ...] = ()
    costs: tuple[tuple[str, float], ...] = ()
    limits: tuple[tuple[str, float], ...] = ()


def settled(ask: DecideAsk, folder: ShopFolder) -> Settings:
    """The shop's settings with what the question changes for this call.

    Raises
    ------
    UsageError
        If a code or limit is unknown, or a value makes no sense.
    """
    _check_codes(ask, folder.catalogue)
    changes: dict[str, float | int] = {}
    for name, value in ask.limits:
        if name not in LIMITS:
            known = f"; known: {', '.join(LIMITS)}"
            raise UsageError(f"--limit {name}: no such limit{did_you_mean(name, LIMITS) or known}")
        changes[name] = _allowed(f"--limit {name}", name, value)
    if ask.labour_rate is not None:
        changes["labour_rate"] = _allowed("--labour-rate", "labour_rate", ask.labour_rate)
    if ask.confidence is not None:
        changes["confidence_level"] = _allowed("--confidence", "confidence_level", ask.confidence)
    return replace(folder.settings, **changes)  # type: ignore[arg-type]


def _allowed(option: str, setting: str, value: float) -> float | int:
    test, allowed = RULES[setting]
    number = int(value) if setting == "horizon_months" and value == int(value) else value
    if not test(number):
        raise UsageError(f"{option} {value:g}: is not allowed; allowed: {allowed}")
    return number


def _check_codes(ask: DecideAsk, catalogue: Catalogue) -> None:
    grades = [grade.code for grade in catalogue.grades]
    for part, grade, money in ask.prices:
        option = f"--price {part}:{grade}"
        for word, known, noun in ((part, catalogue.part_codes, "part"), (grade, grades, "grade")):
            if word not in known:
                raise UsageError(f"{option}: unknown {noun} '{word}'{did_you_mean(word, known)}")
        _allowed(option, "tolerance", money)
    for mode, money in ask.costs:
        if mode not in catalogue.modes:
            near = did_you_mean(mode, catalogue.modes)
            raise UsageError(f"--cost {mode}: unknown failure mode{near}")
        _allowed(f"--cost {mode}", "tolerance", money)


def choices_of(ask: DecideAsk, catalogue: Catalogue) -> list[Choice]:
    """The choices asked about; all of them: steps in bench order, then grades, then suppliers.

    A supplier is weighed within one grade only, as the conditions say: each sells grades of its
    own, and their prices and failures would be laid at its door.

    Raises
    ------
    UsageError
        If one is no choice, or a supplier whose grade is left open.
    """
    every = all_choices(catalogue)
    fixed = within_one_grade(ask)
    for name in ask.choices:
        part = find_choice(name, catalogue).place
        if name.endswith("_supplier") and part not in fixed:
            raise UsageError(
                f"{name}: suppliers sell different grades, and what a grade costs is not theirs\n"
                f"hold one grade fixed: --where {part}_grade=GRADE"
            )
    open_ones = {f"{part}_supplier" for part in catalogue.part_codes if part not in fixed}
    wanted = dict.fromkeys(ask.choices) or [name for name in every if name not in open_ones]
    found = [find_choice(name, catalogue) for name in wanted]
    return sorted(found, key=lambda one: every.index(one.name))


def within_one_grade(ask: DecideAsk) -> set[str]:
    """Parts of which the conditions let one grade through."""
    grades = [key.removesuffix("_grade") for key, _ in ask.where if key.endswith("_grade")]
    return {part for part in grades if grades.count(part) == 1}


def all_choices(catalogue: Catalogue) -> tuple[str, ...]:
    """Names of all choices, steps in bench order, then grades, then suppliers."""
    parts = [f"{part}_{field}" for field in PART_CHOICES for part in catalogue.part_codes]
    return (*catalogue.step_codes, *parts)


def standard_on(standards: Mapping[str | None, str], model: str | None) -> str | None:
    """The house standard of a model: its own, else that of all."""
    return standards.get(model, standards.get(None))


def changed_words(ask: DecideAsk) -> list[str]:
    """What the question changes, as on the command line."""
    words = [] if ask.labour_rate is None else [f"labour_rate={ask.labour_rate:g}"]
    words += [f"price {part}:{grade}={money:g}" for part, grade, money in ask.prices]
    words += [f"cost {mode}={money:g}" for mode, money in ask.costs]
    return words + [f"{name}={value:g}" for name, value in ask.limits]
