"""What results can be grouped and filtered by, in the one spelling used everywhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from fixstats.errors import UsageError
from fixstats.folder import Catalogue, FailureMode
from fixstats.words import did_you_mean, listed

JOB_KEYS = (
    "model", "technician", "branch", "repair", "month", "quarter", "year", "outcome", "rework",
    "trial", "assigned",
)  # fmt: skip
PART_FIELDS = ("grade", "supplier", "lot")
OPEN_KEYS = ("model", "technician", "branch")
PAIR = "pair"
PAIR_KEYS = ("part_a", "grade_a", "part_b", "grade_b")


class Source(NamedTuple):
    """Where a key that jobs do not carry themselves comes from.

    ``view`` is joined to jobs by ``link`` and, where it has several rows a job, by the column
    ``place``; ``value`` is its column, ``absent`` what stands for no row (None: null).
    """

    view: str
    link: str
    place: str
    value: str
    absent: str | None = None


# kind of key -> its source; the value of a part is the field that the key names.
SOURCES = {
    "step": Source("first_choices", "plan", "step", "method", "-"),
    "part": Source("first_pieces", "entry", "part", "", "-"),
    "factor": Source("factors", "entry", "factor", "band"),
    "practice": Source("practice", "entry", "step", "band", "-"),
    "another_try": Source("another_tries", "entry", "step", "another", "-"),
    "parts_together": Source("parts_together", "entry", "", "together", "none"),
    "grades_mixed": Source("grades_mixed", "entry", "", "mixed"),
}
# Worked out from the records: keys of a step, after its code, and keys of a job.
STEP_FIELDS = ("practice", "another_try")
DERIVED = ("parts_together", "grades_mixed")


@dataclass(frozen=True)
class Key:
    """One key: ``name`` as the person wrote it, what it stands for (kind, code, field).

    ``handed_over``: of a part, the piece in the device at hand-over is meant, not the first one.
    """

    name: str
    kind: str
    code: str
    field: str = ""
    handed_over: bool = False

    @property
    def join(self) -> str:
        """The join that brings the key to a job, '' where jobs carry it themselves."""
        if self.kind not in SOURCES:
            return ""
        view, link, place = SOURCES[self.kind][:3]
        if self.handed_over and self.kind == "part":
            view = "last_pieces"
        only = f" and {self.alias}.{place} = '{self.code}'" if place else ""
        return f"left join {view} as {self.alias} on {self.alias}.{link} = j.{link}{only}"

    @property
    def alias(self) -> str:
        """Name of the joined view."""
        return f'"of_{self.name}"'

    @property
    def of_plan(self) -> str:
        """The column of a step where jobs are joined to their plan: '-' where it was not done."""
        return f'case when p.plan is null then \'-\' else p."{self.name}" end as "{self.name}"'

    @property
    def of_job(self) -> str:
        """The column for a job: '-' where the step was not done or no such part was fitted."""
        if self.kind == "job":
            return f'j."{self.code}" as "{self.name}"'
        source = SOURCES[self.kind]
        value = f"{self.alias}.{source.value or self.field}"
        if source.absent:
            missing = f"{self.alias}.{source.link} is null"
            value = f"case when {missing} then '{source.absent}' else {value} end"
        return f'{value} as "{self.name}"'

    @property
    def of_attempt(self) -> str:
        """The column for an attempt or piece: its own where the key names its place."""
        if self.kind in ("step", "part"):
            own = self.field if self.field in ("supplier", "lot") else "option"
            return (
                f"case when u.place = '{self.code}' then u.{own} else j.\"{self.name}\" end "
                f'as "{self.name}"'
            )
        return f'j."{self.name}"'


def keys_of(catalogue: Catalogue) -> dict[str, Key]:
    """Every key that results can be grouped or filtered by, by its name."""
    parts = [(part, field) for part in catalogue.part_codes for field in PART_FIELDS]
    steps = [(step, field) for step in catalogue.step_codes for field in STEP_FIELDS]
    keys = [
        *(Key(name, "job", name) for name in JOB_KEYS),
        *(Key(step, "step", step) for step in catalogue.step_codes),
        *(Key(f"{part}_{field}", "part", part, field) for part, field in parts),
        *(Key(factor.code, "factor", factor.code) for factor in catalogue.factors),
        *(Key(name, name, name) for name in DERIVED),
        *(Key(f"{step}_{field}", field, step) for step, field in steps),
    ]
    return {key.name: key for key in reversed(keys)}  # what the catalogue names goes first


def known_keys(catalogue: Catalogue) -> list[str]:
    """Names of all keys, what stands on every job first."""
    return [*reversed(keys_of(catalogue))]


def resolve(name: str, catalogue: Catalogue, modes: Iterable[FailureMode]) -> Key:
    """The key that a person named.

    Raises
    ------
    UsageError
        If no key has that name, or a short form could mean several things here.
    """
    if name in ("method", *PART_FIELDS):
        return _short_form(name, catalogue, list(modes))
    known = keys_of(catalogue)
    if name in known:
        return known[name]
    raise UsageError(
        f"unknown key '{name}'{did_you_mean(name, [*known])}\n"
        "keys: model, technician, branch, repair, month, quarter, year, rework, a step, "
        "PART_grade, PART_supplier, PART_lot, a factor, parts_together, grades_mixed, "
        "STEP_practice, STEP_another_try"
    )


def _short_form(name: str, catalogue: Catalogue, modes: list[FailureMode]) -> Key:
    """``method``, ``grade``, ... where all modes asked for have the one step or part."""
    step = name == "method"
    choices: set[str] = set()
    for mode in modes:
        part = catalogue.part_codes if mode.part == "any" else filter(None, (mode.part,))
        choices.update(mode.steps if step else part)
        choices.update(("",) if step and not mode.steps else ())
    places = sorted(choices - {""})
    if len(places) != 1 or "" in choices:
        full = [place if step else f"{place}_{name}" for place in places]
        full = full or list(catalogue.step_codes if step else catalogue.part_codes)
        raise UsageError(f"'{name}' could mean several things here: say {listed(full, 'or')}")
    return Key(name, "step" if step else "part", places[0], "" if step else name)
