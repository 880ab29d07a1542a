"""What results can be grouped and filtered by, in the one spelling used everywhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

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


@dataclass(frozen=True)
class Key:
    """One key: ``name`` as the person wrote it, what it stands for (kind, code, field)."""

    name: str
    kind: str
    code: str
    field: str = ""

    @property
    def join(self) -> str:
        """The join that brings the key to a job, '' where jobs carry it themselves."""
        sources = {
            "step": ("first_choices", "plan", "step"),
            "part": ("first_pieces", "entry", "part"),
            "factor": ("factors", "entry", "factor"),
        }
        if self.kind not in sources:
            return ""
        view, link, column = sources[self.kind]
        alias = self.alias
        return (
            f"left join {view} as {alias} "
            f"on {alias}.{link} = j.{link} and {alias}.{column} = '{self.code}'"
        )

    @property
    def alias(self) -> str:
        """Name of the joined view."""
        return f'"of_{self.name}"'

    @property
    def of_job(self) -> str:
        """The column for a job: '-' where the step was not done or no such part was fitted."""
        if self.kind == "job":
            return f'j."{self.code}" as "{self.name}"'
        if self.kind == "factor":
            return f'{self.alias}.band as "{self.name}"'
        link, field = ("plan", "method") if self.kind == "step" else ("entry", self.field)
        return (
            f"case when {self.alias}.{link} is null then '-' else {self.alias}.{field} end "
            f'as "{self.name}"'
        )

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


def known_keys(catalogue: Catalogue) -> list[str]:
    """Every key that results can be grouped or filtered by."""
    parts = [f"{part}_{field}" for part in catalogue.part_codes for field in PART_FIELDS]
    factors = [factor.code for factor in catalogue.factors]
    return [*JOB_KEYS, *catalogue.step_codes, *parts, *factors]


def resolve(name: str, catalogue: Catalogue, modes: Iterable[FailureMode]) -> Key:
    """The key that a person named.

    Raises
    ------
    UsageError
        If no key has that name, or a short form could mean several things here.
    """
    if name in ("method", *PART_FIELDS):
        return _short_form(name, catalogue, list(modes))
    if name in JOB_KEYS:
        return Key(name, "job", name)
    if name in catalogue.step_codes:
        return Key(name, "step", name)
    for part in catalogue.part_codes:
        for field in PART_FIELDS:
            if name == f"{part}_{field}":
                return Key(name, "part", part, field)
    if name in {factor.code for factor in catalogue.factors}:
        return Key(name, "factor", name)
    raise UsageError(
        f"unknown key '{name}'{did_you_mean(name, known_keys(catalogue))}\n"
        "keys: model, technician, branch, repair, month, quarter, year, rework, a step, "
        "PART_grade, PART_supplier, PART_lot, a factor"
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
