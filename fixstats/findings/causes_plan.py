"""Which conditions of a failure mode are looked at, and what each is adjusted for.

Conditions stand in the order of the job. A condition is adjusted for those strictly before it: what
comes after may be its result, and adjusting for it would hide part of what it does. Those at the
same place are not adjusted for one another.

0   intake factors, come-back or not, quarter
1   how many kinds of part were fitted together
2   whether grades are mixed
3.. steps in their order, and at each: practice (the mode's steps), factors recorded at that step,
    another try needed (steps before the mode's first)
last  factors that come about during the job, nobody says when: taken as just before the mode

A factor recorded at a step (``at``) is left out where every step of the mode comes earlier: it can
be no cause of what was over by then.

All are adjusted for model, technician and quarter, which are fixed from the start. Practice with a
method is adjusted for that method too, else it would stand for the newest one; and mixed grades,
where a part fails, for the grade of that part, else they would stand for the cheap ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fixstats.folder import Catalogue, FailureMode
from fixstats.tallies.condition_cells import LevelCounts

if TYPE_CHECKING:
    from fixstats.findings.causes_fit import LevelFit

BASE = ("model", "technician", "quarter")
NOT_DONE = "-"
# Why a condition is not adjusted for a key.
FEW, ONE, SAME = "too few failures", "one value only", "told by the others"
# Where these are the values, no is the reference, whichever is more common.
FLAG_VALUES = frozenset({"yes", "no"})


@dataclass(frozen=True)
class Condition:
    """One condition: its key, its place in the job, and choices it is adjusted for besides.

    ``doubtful``: it may have come about after the failure.
    """

    key: str
    place: int
    beside: tuple[str, ...] = ()
    doubtful: bool = False


@dataclass(frozen=True)
class Looked:
    """A condition with its counts and its fit.

    ``counts``: level -> units; ``missing``, ``not_done``: units where it was not recorded, or its
    step not done. ``levels``: those set against each other, the reference first; empty where there
    are not two. ``fits``: level -> figures; ``adjusted_for``, ``left_out`` (key -> why) and
    ``lumped`` (key -> levels taken together) say how; ``read``: failures and others that the fit
    read.
    """

    condition: Condition
    counts: Mapping[str, LevelCounts]
    missing: int
    not_done: int
    levels: tuple[str, ...]
    adjusters: tuple[str, ...]
    fits: Mapping[str, LevelFit] = field(default_factory=dict)
    converged: bool = True
    adjusted_for: tuple[str, ...] = ()
    left_out: Mapping[str, str] = field(default_factory=dict)
    lumped: Mapping[str, int] = field(default_factory=dict)
    read: tuple[float, float] = (0.0, 0.0)

    @property
    def failures(self) -> int:
        """Failures at the levels set against each other."""
        return sum(self.counts[level].failures for level in self.levels)

    @property
    def opportunities(self) -> int:
        """Opportunities at those levels."""
        return sum(self.counts[level].opportunities for level in self.levels)


@dataclass(frozen=True)
class Pair:
    """Two levels that each go with the failure, and what they do together.

    ``odds_ratio``: by how much the odds with both exceed their odds ratios multiplied.
    """

    levels: tuple[tuple[str, str], tuple[str, str]]
    failures: int
    opportunities: int
    odds_ratio: float
    p_value: float
    p_corrected: float = float("nan")


def conditions_of(modes: Sequence[FailureMode], catalogue: Catalogue) -> tuple[Condition, ...]:
    """Conditions of these modes in the order of the job.

    For modes of parts and of mixed parts the records do not say which steps came first: no step's
    second try is looked at.
    """
    places = _places(catalogue)
    own = {step for mode in modes for step in mode.steps}
    first = min((places[step] for step in own), default=0)
    parts = [mode.part for mode in modes if mode.part]
    grades = catalogue.part_codes if "any" in parts else tuple(dict.fromkeys(parts))
    found = [
        *(Condition(one.code, 0) for one in catalogue.factors if one.when == "intake"),
        *_during(modes, catalogue),
        Condition("rework", 0),
        Condition("quarter", 0),
        Condition("parts_together", 1),
        Condition("grades_mixed", 2, tuple(f"{part}_grade" for part in grades)),
        *(Condition(f"{code}_another_try", at + 2) for code, at in places.items() if at < first),
        *(Condition(f"{code}_practice", places[code], (code,)) for code in places if code in own),
    ]
    return tuple(sorted(found, key=lambda one: one.place))


def _places(catalogue: Catalogue) -> dict[str, int]:
    """Where each step begins; two places after it are what is recorded there, and how it went."""
    orders = sorted({step.order for step in catalogue.steps})
    return {step.code: 3 + 3 * orders.index(step.order) for step in catalogue.steps}


def _during(modes: Sequence[FailureMode], catalogue: Catalogue) -> Iterator[Condition]:
    """Factors recorded during the job, but those of a step after every step of the modes."""
    places = _places(catalogue)
    own = [places[step] for mode in modes for step in mode.steps]
    # Of modes of parts the records do not say when they happened.
    timed = all(mode.steps for mode in modes)
    last = max(places.values(), default=0) + 3
    for one in catalogue.factors:
        if one.when != "during":
            continue
        at = places[one.at] if one.at else last
        if one.at and timed and max(own) < at:
            continue
        doubtful = not one.at or not timed or min(own) < at
        yield Condition(one.code, at + 1, doubtful=doubtful)


def adjusters_of(condition: Condition, conditions: Sequence[Condition]) -> tuple[str, ...]:
    """Keys that a condition is adjusted for, in the order in which they enter: choices first."""
    before = (one.key for one in conditions if one.place < condition.place)
    keys = dict.fromkeys((*condition.beside, *BASE, *before))
    return tuple(key for key in keys if key != condition.key)


def labels_of(conditions: Sequence[Condition], catalogue: Catalogue) -> dict[str, str]:
    """What people read for each condition's key."""
    found = {
        "rework": "Job is a come-back",
        "quarter": "Quarter",
        "parts_together": "Kinds of part fitted together",
        "grades_mixed": "Grades of different origin",
    }
    for step in catalogue.steps:
        found[f"{step.code}_another_try"] = f"{step.label}: another try needed"
        found[f"{step.code}_practice"] = f"{step.label}: earlier uses of the method"
    return {one.key: found.get(one.key, catalogue.label(one.key)) for one in conditions}


def reference_of(jobs: Sequence[tuple[str, int]]) -> str:
    """The level that others are set against, of (level, opportunities): no, or the most common."""
    if {level for level, _ in jobs} <= FLAG_VALUES:
        return "no"
    return max(jobs, key=lambda one: one[1])[0]
