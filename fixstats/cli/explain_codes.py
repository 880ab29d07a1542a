"""What the codes of a catalogue and the columns of the shipped questions mean, for ``explain``."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from fixstats.folder import Catalogue, FailureMode, find_folder
from fixstats.words import listed

# What comes behind the code of a part or a step in the name of a column or key.
OF_PARTS = ("grade", "supplier", "lot", "cost", "fitted")
OF_STEPS = ("minutes", "practice", "another_try")


def of_catalogue(word: str, shop: Path | None) -> Iterator[dict[str, Any]]:
    """Entries of the catalogue with this code or label, its families, and names made of codes."""
    catalogue = _catalogue(shop)
    code = word.casefold().replace(" ", "_")
    for kind, entry in catalogue.entries():
        if word.casefold() in (entry.code, entry.label.casefold()) or entry.code == code:
            meaning = f"{entry.label}. {_SAYS[kind](entry, catalogue)}"
            yield _row(entry.code, f"catalogue: {_NAMES[kind]}", meaning.strip())
    if code in catalogue.families:
        names = listed(catalogue.label(mode) for mode in catalogue.families[code])
        yield _row(code, "catalogue: family of failure modes", f"Any of: {names}.")
    yield from _made_of_codes(code, catalogue)


def of_questions(word: str) -> Iterator[dict[str, Any]]:
    """Columns and parameters of that name in ``fixstats query``, as the headers say."""
    from fixstats.tallies.questions import all_questions

    name = word.casefold().replace(" ", "_")
    for question in all_questions().values():
        where = f"fixstats query {question.name}"
        for column in question.columns:
            if column.name == name:
                yield _row(name, f"{where}, {column.unit}", column.meaning)
        for one in question.parameters:
            if one.name == name:
                yield _row(name, f"{where} --set {name}={one.default}", one.meaning)


def of_commands(word: str) -> Iterator[dict[str, Any]]:
    """The command of that name."""
    from fixstats.cli.app import app

    for info in app.registered_commands:
        name = info.name or getattr(info.callback, "__name__", "")
        if name == word.casefold():
            first = str(info.callback.__doc__).split("\n\n", 1)[0]
            yield _row(name, f"command: fixstats {name} --help", " ".join(first.split()))


def _catalogue(shop: Path | None) -> Catalogue:
    """That of the shop; without one, the catalogue that every new shop gets."""
    from fixstats.errors import FolderError
    from fixstats.folder.links import read_catalogue
    from fixstats.folder.shopfolder import DEFAULT_CATALOGUE

    try:
        return find_folder(shop).catalogue
    except FolderError:
        if shop is not None:
            raise
        return read_catalogue(DEFAULT_CATALOGUE)


def _row(term: str, theme: str, meaning: str) -> dict[str, Any]:
    return {"term": term, "also": [], "theme": theme, "meaning": meaning, "source": None}


def _made_of_codes(code: str, catalogue: Catalogue) -> Iterator[dict[str, Any]]:
    """``battery_grade``, ``opening_practice``: what the tail means, of that part or step."""
    from fixstats.glossary import find

    for kind, codes, tails in (
        ("part", catalogue.part_codes, OF_PARTS),
        ("step", catalogue.step_codes, OF_STEPS),
    ):
        for owner in codes:
            tail = code.removeprefix(f"{owner}_")
            entry = find(TAILS.get(tail, tail)) if tail in tails and tail != code else None
            if entry:
                of = f"Of the {kind} {owner} ({catalogue.label(owner)}). "
                yield _row(code, f"column or key of a {kind}", of + entry.text)


TAILS = {"cost": "part cost", "fitted": "part fitted", "minutes": "step minutes"}


def _of_mode(mode: FailureMode, catalogue: Catalogue) -> str:
    """Where it can happen, what it costs, whether it can hurt someone."""
    places = [catalogue.label(one) for one in mode.steps]
    if places:
        where = f"Can happen at: {listed(places, 'or')}"
        where += f" with {listed(map(catalogue.label, mode.methods), 'or')}" if mode.methods else ""
    elif mode.mixed:
        where = f"A conflict of grades of: {listed(map(catalogue.label, mode.mixed))}"
    else:
        part = "any part" if mode.part == "any" else catalogue.label(mode.part or "")
        where = f"A failure of: {part}"
    costs = [
        f"{value:g} {unit}"
        for value, unit in ((mode.cost_minutes, "minutes"), (mode.cost_money, "money"))
        if value is not None
    ]
    cost = f"Costs {listed(costs)} each time" if costs else "Its cost is missing, which is not free"
    danger = ["Can hurt someone: a safety mode"] if mode.safety else []
    family = f"Family {mode.family}, severity {mode.severity} of 5"
    return ". ".join([where, family, cost, *danger, *_stops(mode)]) + "."


def _stops(entry: Any) -> list[str]:
    return [text.rstrip(".") for text in entry.cautions]


def _of_repair(repair: Any, catalogue: Catalogue) -> str:
    parts = [
        f"{name}: {', '.join(map(catalogue.label, codes))}."
        for name, codes in (("Steps", repair.steps), ("Parts", repair.parts))
        if codes
    ]
    return " ".join(parts)


def _of_factor(factor: Any, _: Catalogue) -> str:
    known = ", ".join(factor.values) or ", ".join(f"{edge:g}" for edge in factor.bands)
    values = f"; values or band edges: {known}" if known else ""
    when = "at intake" if factor.when == "intake" else "during the job"
    return f"A {factor.kind}, recorded {when}{values}."


_NAMES = {
    "steps": "step",
    "methods": "method",
    "parts": "part",
    "grades": "grade",
    "repairs": "repair",
    "factors": "factor",
    "failure_modes": "failure mode",
}
_SAYS: Mapping[str, Callable[[Any, Catalogue], str]] = {
    "steps": lambda step, catalogue: (
        f"Methods: {', '.join(map(catalogue.label, catalogue.methods_of(step.code)))}."
    ),
    "methods": lambda method, catalogue: (
        ". ".join([f"A method of: {catalogue.label(method.step)}", *_stops(method)]) + "."
    ),
    "parts": lambda part, _: "",
    "grades": lambda grade, _: f"Conflicts only with grades of another origin than {grade.origin}.",
    "repairs": _of_repair,
    "factors": _of_factor,
    "failure_modes": _of_mode,
}
