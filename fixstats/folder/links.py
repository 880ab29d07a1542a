"""Checks what the entries of a catalogue say of each other, and builds the Catalogue."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from fixstats.errors import FolderError
from fixstats.folder.catalogue import (
    Alias,
    Catalogue,
    Factor,
    FailureMode,
    Grade,
    Method,
    Part,
    Price,
    Repair,
    Standard,
    Step,
)
from fixstats.folder.entries import (
    FIXED_COLUMNS,
    PART_COLUMNS,
    RESERVED,
    check_entries,
    refuse,
    title,
)
from fixstats.folder.settings import read_toml
from fixstats.words import did_you_mean

CODED = ("step", "method", "part", "grade", "repair", "factor", "failure_mode")
# Families that reports rely on; a catalogue must have at least one mode of each.
FAMILIES = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")

Entries = Mapping[str, list[dict[str, Any]]]
Refuse = Callable[[str, str, str], None]


class _Links:
    """One pass over the entries; every method checks one rule and raises at the first fault."""

    def __init__(self, entries: Entries, where: Path) -> None:
        self.entries = entries
        self.where = where
        self.codes = {kind: [entry["code"] for entry in entries[kind]] for kind in CODED}
        self.step_of = {entry["code"]: entry["step"] for entry in entries["method"]}

    def known(self, kind: str, name: str, key: str, used: Iterable[str], of: str) -> None:
        """Every code in ``used`` is a code of the kind ``of``."""
        for code in used:
            if code not in self.codes[of]:
                near = did_you_mean(code, self.codes[of])
                refuse(self.where, name, key, f"unknown {of} '{code}'{near}", f"codes of a {of}")

    def each(self, kind: str) -> Iterable[tuple[str, dict[str, Any]]]:
        for position, entry in enumerate(self.entries[kind], 1):
            yield title(kind, entry, position), entry

    def unique_codes(self) -> None:
        """One code, one meaning: across all kinds and against the columns of a job sheet."""
        derived = {f"{part}_{column}" for part in self.codes["part"] for column in PART_COLUMNS}
        derived |= {f"{step}_minutes" for step in self.codes["step"]}
        taken = dict.fromkeys(FIXED_COLUMNS, "a fixed column")
        taken |= dict.fromkeys(RESERVED, "a word of the results")
        taken |= dict.fromkeys(derived, "a column of the job sheet")
        for kind in CODED:
            for name, entry in self.each(kind):
                code = entry["code"]
                if code in taken:
                    fault = f"'{code}' is already {taken[code]}"
                    refuse(self.where, name, "code", fault, "a code used nowhere else")
                taken[code] = f"the code of a {kind.replace('_', ' ')}"
        for name, entry in self.each("failure_mode"):
            if entry["family"] in taken:
                fault = f"'{entry['family']}' is already {taken[entry['family']]}"
                refuse(self.where, name, "family", fault, "a code used nowhere else")

    def families(self) -> None:
        present = {entry["family"] for entry in self.entries["failure_mode"]}
        for family in FAMILIES:
            if family not in present:
                fault = f"no failure mode of the family '{family}'"
                allowed = f"at least one mode of each of {', '.join(FAMILIES)}"
                refuse(self.where, "failure_mode", "family", fault, allowed)

    def simple_links(self) -> None:
        for name, entry in self.each("method"):
            self.known("method", name, "step", [entry["step"]], "step")
        for name, entry in self.each("repair"):
            for key in ("steps", "parts", "factors"):
                self.known("repair", name, key, entry.get(key, []), key[:-1])
        for name, entry in self.each("price"):
            self.known("price", name, "part", [entry["part"]], "part")
            self.known("price", name, "grade", [entry["grade"]], "grade")

    def factors(self) -> None:
        """Values belong to categories, bands to numbers, a step to what is recorded on the way."""
        for name, entry in self.each("factor"):
            kind = entry["kind"]
            if kind == "category" and not entry.get("values"):
                refuse(self.where, name, "values", "is missing", "a list of texts for a category")
            if kind != "category" and "values" in entry:
                refuse(self.where, name, "values", f"does not go with a {kind}", "categories only")
            words = [fold(word) for word in entry.get("values", [])]
            if len(set(words)) < len(words):
                fault = "names a value twice (case and spaces do not count)"
                refuse(self.where, name, "values", fault, "each value once")
            if kind != "number" and "bands" in entry:
                refuse(self.where, name, "bands", f"does not go with a {kind}", "numbers only")
            if "at" in entry and entry.get("when") != "during":
                fault = "is the step of a factor recorded during the job"
                refuse(self.where, name, "at", fault, 'at beside when = "during" only')
            self.known("factor", name, "at", [entry["at"]] if "at" in entry else [], "step")

    def failure_modes(self) -> None:
        for name, entry in self.each("failure_mode"):
            kinds = [key for key in ("steps", "part", "mixed") if key in entry]
            if len(kinds) != 1:
                found = " and ".join(kinds) or "none of them"
                refuse(self.where, name, "steps/part/mixed", f"has {found}", "exactly one of them")
            self._mode_at_steps(name, entry)
            self._mode_of_parts(name, entry)

    def _mode_at_steps(self, name: str, entry: Mapping[str, Any]) -> None:
        steps = entry.get("steps", [])
        self.known("failure_mode", name, "steps", steps, "step")
        self.known("failure_mode", name, "methods", entry.get("methods", []), "method")
        for method in entry.get("methods", []):
            if self.step_of[method] not in steps:
                fault = f"'{method}' is a method of step '{self.step_of[method]}'"
                refuse(self.where, name, "methods", fault, "methods of the mode's own steps")

    def _mode_of_parts(self, name: str, entry: Mapping[str, Any]) -> None:
        part = entry.get("part")
        self.known("failure_mode", name, "part", [part] if part and part != "any" else [], "part")
        self.known("failure_mode", name, "mixed", entry.get("mixed", []), "part")
        self.known("failure_mode", name, "grades", entry.get("grades", []), "grade")
        if "grades" in entry and part is None:
            refuse(self.where, name, "grades", "needs part", "grades beside part only")

    def once_a_day(self, kind: str, keys: tuple[str, ...]) -> None:
        """One day brings one price, one standard: with two, nobody could say which holds."""
        taken: set[tuple[Any, ...]] = set()
        for name, entry in self.each(kind):
            words = (entry[key] for key in (*keys, "since"))
            place = (*words, fold(entry.get("model", "")))
            if place in taken:
                fault = f"{entry['since']} has another {kind} for the same {' and '.join(keys)}"
                refuse(self.where, name, "since", fault, f"one {kind} a day")
            taken.add(place)

    def standards(self) -> None:
        """A standard's option must be one that its choice has."""
        choices = {step: self.methods_of(step) for step in self.codes["step"]}
        choices |= {f"{part}_grade": self.codes["grade"] for part in self.codes["part"]}
        suppliers = {f"{part}_supplier" for part in self.codes["part"]}
        for name, entry in self.each("standard"):
            choice, option = entry["choice"], entry["option"]
            if choice in suppliers:
                continue
            if choice not in choices:
                near = did_you_mean(choice, [*choices, *suppliers])
                fault, allowed = (
                    f"unknown choice '{choice}'{near}",
                    "a step, PART_grade, PART_supplier",
                )
                refuse(self.where, name, "choice", fault, allowed)
            if option not in choices[choice]:
                near = did_you_mean(option, choices[choice])
                refuse(
                    self.where, name, "option", f"unknown option '{option}'{near}",
                    ", ".join(choices[choice]),
                )  # fmt: skip

    def methods_of(self, step: str) -> list[str]:
        return [method for method, owner in self.step_of.items() if owner == step]

    def aliases(self) -> None:
        """One spelling means one name, and a name that others are shown under is no spelling."""
        taken: dict[tuple[str, str], str] = {}
        for name, entry in self.each("alias"):
            for word in entry["also"]:
                spelling = entry["kind"], fold(word)
                if spelling in taken:
                    fault = f"'{word}' is already another spelling of '{taken[spelling]}'"
                    refuse(self.where, name, "also", fault, "each spelling once, whatever its case")
                taken[spelling] = entry["is"]
        for name, entry in self.each("alias"):
            other = taken.get((entry["kind"], fold(entry["is"])), entry["is"])
            if fold(other) != fold(entry["is"]):
                fault = f"'{entry['is']}' is itself another spelling of '{other}'"
                refuse(self.where, name, "is", fault, f'is = "{other}"')


def fold(word: str) -> str:
    """How open lists compare names: case and runs of spaces do not count.

    Lower case as in SQL (fold_name), where ß stays ß: both sides of a comparison must agree.
    """
    return " ".join(word.split()).lower()


def _tuples(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}


def build_catalogue(raw: Mapping[str, Any], where: Path, content: bytes = b"") -> Catalogue:
    """A Catalogue from parsed TOML; raises FolderError at the first fault."""
    entries = check_entries(raw, where)
    links = _Links(entries, where)
    links.unique_codes()
    links.simple_links()
    links.factors()
    links.failure_modes()
    links.families()
    links.standards()
    links.once_a_day("price", ("part", "grade"))
    links.once_a_day("standard", ("choice",))
    links.aliases()
    unrecorded = raw.get("unrecorded_grade")
    if unrecorded is not None and unrecorded not in links.codes["grade"]:
        near = did_you_mean(str(unrecorded), links.codes["grade"])
        fault = f"unknown grade {unrecorded!r}{near}"
        refuse(where, "top of the file", "unrecorded_grade", fault, "the code of a grade")
    rows = {kind: [_tuples(entry) for entry in found] for kind, found in entries.items()}
    return Catalogue(
        where=where,
        hash=sha256(content).hexdigest()[:12],
        steps=tuple(Step(**row) for row in rows["step"]),
        methods=tuple(Method(**row) for row in rows["method"]),
        parts=tuple(Part(**row) for row in rows["part"]),
        grades=tuple(Grade(**{"origin": row["code"], **row}) for row in rows["grade"]),
        repairs=tuple(Repair(**row) for row in rows["repair"]),
        factors=tuple(Factor(**row) for row in rows["factor"]),
        failure_modes=tuple(FailureMode(**row) for row in rows["failure_mode"]),
        prices=tuple(Price(**row) for row in rows["price"]),
        standards=tuple(Standard(**row) for row in rows["standard"]),
        aliases=tuple(Alias(row["kind"], row["is"], row["also"]) for row in rows["alias"]),
        unrecorded_grade=unrecorded,
        labels={row["code"]: row["label"] for kind in CODED for row in rows[kind]},
    )


def read_catalogue(path: Path) -> Catalogue:
    """The catalogue of a shop folder, read and checked."""
    try:
        content = path.read_bytes()
    except OSError as trouble:
        raise FolderError(f"{path}: cannot be read ({trouble.strerror})") from trouble
    return build_catalogue(read_toml(path), path, content)
