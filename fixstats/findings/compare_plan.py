"""What a comparison compares: its choice, options, modes and keys, checked before any counting."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from fixstats.errors import UsageError
from fixstats.folder import Catalogue, FailureMode, fold
from fixstats.tallies.ask import check_modes
from fixstats.tallies.choices import Use
from fixstats.tallies.keys import Key, resolve
from fixstats.words import counted, did_you_mean

STRATA = ("model", "technician")
NO_ADJUSTING = ("none",)
# The share of an option moved by this much in some quarter: the choice shifted over time. Generous:
# adjusting for a quarter too many costs little, one too few lets time pass for an effect.
SHIFTED = 0.10
TELLING_QUARTER = 20
# As in the view `practice`.
SETTLED_DAYS = 90


@dataclass(frozen=True)
class CompareAsk:
    """What a person asks of a comparison; every field has the option's name.

    ``choice``: a step, ``<part>_grade`` or ``<part>_supplier``. ``mode``: a set of rows for each;
    ``family``: one for the union of each family over the job; ``any``: one for all of these.
    Without any, one union of all modes that can occur at that choice. ``by``: ``model`` or nothing.
    ``adjust``: keys to adjust for; None means the usual ones, ``none`` no fit. ``strata``: keys of
    the strata; None means model and technician. ``at``: ``now``, everybody as practised as they
    have become by the last of these jobs, or ``practised``, everybody practised.
    """

    choice: str
    mode: tuple[str, ...] = ()
    family: tuple[str, ...] = ()
    any: tuple[str, ...] = ()
    by: tuple[str, ...] = ()
    baseline: str | None = None
    adjust: tuple[str, ...] | None = None
    strata: tuple[str, ...] | None = None
    at: str = "now"
    include_rework: bool = False
    where: tuple[tuple[str, str], ...] = ()
    since: date | None = None
    until: date | None = None
    confidence: float | None = None


@dataclass(frozen=True)
class Choice:
    """A step, or the grade or supplier of a part; ``place`` is the code of the step or part."""

    name: str
    place: str
    is_step: bool


@dataclass(frozen=True)
class ModeSet:
    """The modes behind one set of rows: ``mode`` for a single one, else a union over the job."""

    codes: tuple[str, ...]
    mode: str | None
    family: str | None

    @property
    def name(self) -> str:
        """How words and tables call it."""
        return self.mode or (f"any of {self.family}" if self.family else "any failure")


@dataclass(frozen=True)
class Plan:
    """A question with everything settled that is settled before failures are counted.

    ``options``: seen on the jobs asked about, most used first; ``because``: why the baseline is
    the baseline; ``adjust``, ``strata``: keys; ``practice``: the key among them that holds it;
    ``dropped``: why a usual key is not among them; ``where``: filters, come-backs left out among
    them; ``uses``: how the choice was used; ``worth``: the difference worth knowing.
    """

    ask: CompareAsk
    choice: Choice
    sets: tuple[ModeSet, ...]
    options: tuple[str, ...]
    baseline: str
    because: str
    adjust: tuple[str, ...]
    strata: tuple[str, ...]
    practice: str | None
    dropped: Mapping[str, str]
    where: tuple[tuple[str, str], ...]
    uses: Sequence[Use]
    catalogue: Catalogue
    worth: float

    @property
    def level(self) -> float:
        """The two-sided level of all intervals."""
        return self.ask.confidence or 0.0

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of all modes that are asked about."""
        return tuple(dict.fromkeys(code for one in self.sets for code in one.codes))

    def dangers_of(self, one: ModeSet) -> tuple[str, ...]:
        """Modes of a union that can hurt someone, beside some that cannot; else none."""
        found = tuple(code for code in one.codes if self.catalogue.modes[code].safety)
        return found if one.mode is None and len(found) < len(one.codes) else ()

    @property
    def unit(self) -> str:
        """What a hundred is a hundred of; the first piece stands for all pieces of that part."""
        single = [self.catalogue.modes[one.mode] for one in self.sets if one.mode]
        return "pieces" if single and all(mode.part for mode in single) else "jobs"


def check_ask(ask: CompareAsk) -> None:
    """Refuse what no record could change.

    Raises
    ------
    UsageError
        If options do not fit together or have no such value.
    """
    if sum(map(bool, (ask.mode, ask.family, ask.any))) > 1:
        raise UsageError("--mode, --family and --any ask for different rows: use one of them")
    if ask.by not in ((), ("model",)):
        raise UsageError(f"--by {','.join(ask.by)}: a comparison goes by model, or over all jobs")
    if ask.at not in ("now", "practised"):
        raise UsageError(f"--at {ask.at}: say now or practised")
    if not (ask.confidence and 0.5 < ask.confidence < 1):
        raise UsageError(
            f"--confidence {ask.confidence:g}: must lie between 0.5 and 1, such as 0.95"
            if ask.confidence is not None
            else "--confidence: must lie between 0.5 and 1, such as 0.95"
        )


def find_choice(name: str, catalogue: Catalogue) -> Choice:
    """The choice of that name.

    Raises
    ------
    UsageError
        If it is no step, grade or supplier; the nearest one is named.
    """
    if name in catalogue.step_codes:
        return Choice(name, name, is_step=True)
    parts = {f"{part}_{field}": part for part in catalogue.part_codes for field in PART_CHOICES}
    if name in parts:
        return Choice(name, parts[name], is_step=False)
    near = did_you_mean(name, [*catalogue.step_codes, *parts])
    raise UsageError(
        f"'{name}' is no choice{near}\na choice is a step, PART_grade or PART_supplier; "
        f"steps: {', '.join(catalogue.step_codes)}"
    )


PART_CHOICES = ("grade", "supplier")


def mode_sets(choice: Choice, ask: CompareAsk, catalogue: Catalogue) -> tuple[ModeSet, ...]:
    """The sets of modes asked for.

    Raises
    ------
    UsageError
        If a mode or family is unknown, or none can occur at the choice and none was named.
    """
    if ask.mode:
        return tuple(
            ModeSet((mode.code,), mode.code, mode.family)
            for mode in check_modes(dict.fromkeys(ask.mode), catalogue)
        )
    return tuple(_unions(choice, ask, catalogue))


def _unions(choice: Choice, ask: CompareAsk, catalogue: Catalogue) -> Iterator[ModeSet]:
    for name in ask.family:
        if name not in catalogue.families:
            near = did_you_mean(name, catalogue.families)
            raise UsageError(f"unknown family '{name}'{near}")
        yield ModeSet(catalogue.families[name], None, name)
    if ask.family:
        return
    codes = [mode for name in ask.any for mode in catalogue.families.get(name, (name,))]
    codes = codes or [m.code for m in catalogue.failure_modes if can_occur(m, choice)]
    if not codes:
        raise UsageError(
            f"no failure mode of the catalogue belongs to {choice.place}: name one with --mode"
        )
    families = {mode.family for mode in check_modes(codes, catalogue)}
    one = families.pop() if len(families) == 1 else None
    yield ModeSet(tuple(dict.fromkeys(codes)), None, one)


def can_occur(mode: FailureMode, choice: Choice) -> bool:
    """True where the mode belongs to the step or part of the choice."""
    if choice.is_step:
        return choice.place in mode.steps
    return mode.part in (choice.place, "any")


def modes_at(choice: Choice, catalogue: Catalogue) -> tuple[str, ...]:
    """Codes of the modes that can follow from the choice: at its step or part, or of mixed parts.

    Which grades meet in a device follows from the grade, and from nothing else chosen here.
    """
    mixing = choice.place if choice.name.endswith("_grade") and not choice.is_step else ""
    modes = catalogue.failure_modes
    return tuple(mode.code for mode in modes if can_occur(mode, choice) or mixing in mode.mixed)


# ---------------------------------------------------------------- what may be adjusted for


def check_keys(keys: Sequence[str], option: str, choice: Choice, catalogue: Catalogue) -> None:
    """Only what was fixed before the choice may be adjusted for, or make strata.

    Raises
    ------
    UsageError
        For a key that is unknown, or came about at the choice or after it.
    """
    for name in keys:
        try:
            key = resolve(name, catalogue, ())
        except UsageError as error:
            raise UsageError(f"{option} {name}: {error}") from None
        why = _too_late(key, choice, catalogue)
        if why:
            raise UsageError(
                f"{option} {name}: {why}; only what was fixed before the choice of {choice.name} "
                "can make the comparison fair"
            )


def picked_by(where: Sequence[tuple[str, str]], choice: Choice, catalogue: Catalogue) -> list[str]:
    """Why jobs filtered so are picked by how they went: ``key: why``, for each such key.

    What was drawn to be the choice was fixed before it, so it may pick jobs.
    """
    found = {}
    for name in dict.fromkeys(name for name, _ in where):
        key = resolve(name, catalogue, ())
        if name not in (choice.name, "assigned"):
            found[name] = _too_late(key, choice, catalogue)
    return [f"{name}: {why}" for name, why in found.items() if why]


def may_follow(keys: Sequence[str], choice: Choice, catalogue: Catalogue) -> list[str]:
    """Keys that tell of parts which a job may have needed because of the method chosen."""
    if not choice.is_step:
        return []
    repairs = [repair for repair in catalogue.repairs if choice.place in repair.steps]
    found = []
    for name in keys:
        key = resolve(name, catalogue, ())
        own = key.kind == "part" and all(key.code in repair.parts for repair in repairs)
        if key.kind in ("parts_together", "grades_mixed") or (key.kind == "part" and not own):
            found.append(name)
    return found


def _too_late(key: Key, choice: Choice, catalogue: Catalogue) -> str:
    """Why a key was not fixed before the choice; '' where it was."""
    if key.name == choice.name:
        return "it is the choice itself"
    if key.kind in ("step", "practice", "another_try"):
        return _late_step(key, choice, catalogue)
    if not choice.is_step and key.kind in ("part", "grades_mixed"):
        own = f"it comes with the {key.code} chosen" if key.code == choice.place else ""
        return "it follows from the grade" if key.kind == "grades_mixed" else own
    during = {one.code for one in catalogue.factors if one.when == "during"}
    if key.kind == "factor" and key.code in during:
        return "it is measured during the job"
    return _JOB_KEYS.get(key.code, "") if key.kind == "job" else ""


_JOB_KEYS = {
    "outcome": "it is known at the end of the job",
    "assigned": "it was drawn to be the choice",
}


def _late_step(key: Key, choice: Choice, catalogue: Catalogue) -> str:
    """Parts are ordered before the bench work begins: every step comes after their choice."""
    if not choice.is_step:
        return f"{key.code} comes after the part was chosen"
    order = {step.code: step.order for step in catalogue.steps}
    if key.code == choice.place and key.kind == "practice":
        return ""
    if key.code == choice.place:
        return f"it is known only after {choice.place} was tried"
    return "" if order[key.code] < order[choice.place] else f"{key.code} does not come earlier"


def learning(uses: Sequence[Use], first_day: date) -> bool:
    """True where somebody began with an option after the first 90 days of the records.

    Whoever used it before began before the records did and counts as practised; ``uses`` are
    those of all jobs, as in the view ``practice``.
    """
    began: dict[tuple[str, str], date] = {}
    for use in uses:
        if use.option not in (None, "-") and use.technician is not None:
            key = (str(use.option), use.technician)
            began[key] = min(use.first, began.get(key, use.first))
    return any(day >= first_day + timedelta(days=SETTLED_DAYS) for day in began.values())


def practice_key(choice: Choice) -> str:
    """The key that says how often the technician had tried the method before."""
    return f"{choice.place}_practice"


def shifted(uses: Sequence[Use], options: Sequence[str]) -> bool:
    """True where the share of some option in some quarter is far from its share in all."""
    quarters: dict[tuple[int, int], dict[str, int]] = {}
    for use in uses:
        if use.option is not None and use.option in options:
            shares = quarters.setdefault((use.year, use.quarter), {})
            shares[use.option] = shares.get(use.option, 0) + use.jobs
    of_all = {option: jobs_of(uses, option) for option in options}
    every = sum(of_all.values())
    return any(
        abs(shares.get(option, 0) / sum(shares.values()) - of_all[option] / every) >= SHIFTED
        for shares in quarters.values()
        if sum(shares.values()) >= TELLING_QUARTER
        for option in options
    )


# ---------------------------------------------------------------- options and baseline


def jobs_of(uses: Sequence[Use], option: str | None) -> int:
    """Jobs with that option."""
    return sum(use.jobs for use in uses if use.option == option)


def options_of(uses: Sequence[Use]) -> tuple[str, ...]:
    """Options seen, most used first."""
    seen = {use.option for use in uses if use.option not in (None, "-")}
    return tuple(sorted(map(str, seen), key=lambda option: (-jobs_of(uses, option), option)))


def find_baseline(
    choice: Choice, ask: CompareAsk, uses: Sequence[Use], catalogue: Catalogue, as_of: date
) -> tuple[str, str]:
    """The option all others are held against, and why it is that one.

    Raises
    ------
    UsageError
        If the one asked for was never used.
    """
    options = options_of(uses)
    if ask.baseline is not None:
        known = {fold(option): option for option in options}
        if fold(ask.baseline) not in known:
            near = did_you_mean(ask.baseline, options)
            raise UsageError(
                f"--baseline {ask.baseline}: no job asked about has it at {choice.name}{near}"
            )
        return known[fold(ask.baseline)], "asked for"
    model = _only_model(ask)
    standards = standards_of(choice, catalogue, min(as_of, ask.until or as_of))
    standard, of = standards.get(None), ""
    if model is not None and model in standards:
        standard, of = standards[model], f" on {model}"
    if standard in options:
        return str(standard), f"the house standard{of}"
    most = f"the most used, {counted(jobs_of(uses, options[0]), 'job')}"
    missing = f"{most}; the house standard {standard}{of} is not in them"
    return options[0], missing if standard else most


def _only_model(ask: CompareAsk) -> str | None:
    """The one model that the jobs are filtered by."""
    models = {value for key, value in ask.where if key == "model"}
    return models.pop() if len(models) == 1 else None


def standards_of(choice: Choice, catalogue: Catalogue, day: date) -> dict[str | None, str]:
    """What the workshop adopted, latest first: for a model, or for all (None)."""
    valid = [one for one in catalogue.standards if one.choice == choice.name and one.since <= day]
    return {one.model: one.option for one in sorted(valid, key=lambda one: one.since)}
