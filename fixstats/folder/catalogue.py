"""The catalogue: the workshop's own list of steps, methods, parts, failure modes and the rest.

Reading is in two moves: ``entries.py`` checks each entry by itself against the table of keys,
``links.py`` checks what the entries say of each other. This file holds the result.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Step:
    """A part of a job at which methods can differ; ``order`` is the order at the bench."""

    code: str
    label: str
    order: int


@dataclass(frozen=True)
class Method:
    """One way of doing a step; ``consumables`` is money per use."""

    step: str
    code: str
    label: str
    consumables: float = 0.0
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    """A kind of part."""

    code: str
    label: str


@dataclass(frozen=True)
class Grade:
    """What sort a part is; grades of one ``origin`` do not conflict."""

    code: str
    label: str
    origin: str


@dataclass(frozen=True)
class Repair:
    """What a customer asks for, with the steps, parts and factors that belong to it."""

    code: str
    label: str
    steps: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    factors: tuple[str, ...] = ()


@dataclass(frozen=True)
class Factor:
    """Something else recorded about a job; ``bands`` are the inner edges of a number.

    ``at``: of what comes about during the job, the step at whose beginning it is recorded.
    """

    code: str
    label: str
    kind: str
    values: tuple[str, ...] = ()
    bands: tuple[float, ...] = ()
    when: str = "intake"
    at: str | None = None


@dataclass(frozen=True)
class FailureMode:
    """A way in which a step or a part fails; exactly one of steps, part, mixed is filled."""

    code: str
    label: str
    family: str
    severity: int
    cost_minutes: float | None = None
    cost_money: float | None = None
    safety: bool = False
    steps: tuple[str, ...] = ()
    methods: tuple[str, ...] = ()
    part: str | None = None
    grades: tuple[str, ...] = ()
    mixed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Price:
    """What a piece of this grade costs since a day, for one model or for all (None)."""

    part: str
    grade: str
    money: float
    since: date
    model: str | None = None


@dataclass(frozen=True)
class Standard:
    """What the workshop adopted for a choice since a day, for one model or for all (None)."""

    choice: str
    option: str
    since: date
    model: str | None = None


@dataclass(frozen=True)
class Alias:
    """Other spellings (``also``) of one name (``name``) of an open list."""

    kind: str
    name: str
    also: tuple[str, ...]


@dataclass(frozen=True)
class Catalogue:
    """Everything in ``catalogue.toml``, checked; ``where`` is its file, ``hash`` its content."""

    where: Path
    hash: str
    steps: tuple[Step, ...] = ()
    methods: tuple[Method, ...] = ()
    parts: tuple[Part, ...] = ()
    grades: tuple[Grade, ...] = ()
    repairs: tuple[Repair, ...] = ()
    factors: tuple[Factor, ...] = ()
    failure_modes: tuple[FailureMode, ...] = ()
    prices: tuple[Price, ...] = ()
    standards: tuple[Standard, ...] = ()
    aliases: tuple[Alias, ...] = ()
    unrecorded_grade: str | None = None
    labels: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def step_codes(self) -> tuple[str, ...]:
        """Codes of the steps in bench order."""
        return tuple(step.code for step in sorted(self.steps, key=lambda step: step.order))

    @cached_property
    def part_codes(self) -> tuple[str, ...]:
        """Codes of the parts as listed."""
        return tuple(part.code for part in self.parts)

    @cached_property
    def modes(self) -> Mapping[str, FailureMode]:
        """Failure modes by code."""
        return {mode.code: mode for mode in self.failure_modes}

    @cached_property
    def families(self) -> Mapping[str, tuple[str, ...]]:
        """Codes of the modes of each family, families as first met."""
        found: dict[str, list[str]] = {}
        for mode in self.failure_modes:
            found.setdefault(mode.family, []).append(mode.code)
        return {family: tuple(codes) for family, codes in found.items()}

    def methods_of(self, step: str) -> tuple[str, ...]:
        """Codes of the methods of a step."""
        return tuple(method.code for method in self.methods if method.step == step)

    def label(self, code: str) -> str:
        """The label people read for a code; the code itself where there is none."""
        return self.labels.get(code, code)

    def entries(self) -> Iterator[tuple[str, Any]]:
        """Every entry that has a code, with its kind."""
        kinds = ("steps", "methods", "parts", "grades", "repairs", "factors", "failure_modes")
        for kind in kinds:
            for entry in getattr(self, kind):
                yield kind, entry
