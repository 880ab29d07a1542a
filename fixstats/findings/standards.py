"""How well is each house standard followed, and what failed before it and since?

Of every choice and model what holds at the end of the records, and what begins later. The
standard of all models is about those without one of their own. Before and since are told by all
jobs at the choice, whatever was used on them: what adopting it went with, not what the option does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from fixstats import stats
from fixstats.errors import UsageError
from fixstats.findings.base import Finding, common_settings
from fixstats.findings.compare_plan import (
    PART_CHOICES,
    Choice,
    can_occur,
    find_choice,
)
from fixstats.findings.safety import WORSE, OptionSafety, safety_of
from fixstats.findings.standards_words import cautions_of, notes_of, sentence
from fixstats.folder import Catalogue, ShopFolder, fold
from fixstats.folder.catalogue import Standard
from fixstats.tallies.ask import Ask
from fixstats.tallies.choices import jobs_by
from fixstats.tallies.counts import Period, count_union, period
from fixstats.tallies.values import NOT_DONE, known_names

if TYPE_CHECKING:
    import duckdb

# Every row has these keys, in this order; None where there is no finite value.
KEYS = (
    "choice", "scope", "model", "option", "since", "jobs_since", "followed",
    "share", "share_low", "share_high",
    "failures_before", "opportunities_before", "failures_after", "opportunities_after",
    "difference", "difference_low", "difference_high",
)  # fmt: skip
NO_REWORK = (("rework", "no"),)


@dataclass(frozen=True)
class StandardsAsk:
    """What a person asks of house standards; every field has the option's name.

    ``choices``: only these. ``until``: as it was on that day; default: the end of the records, and
    what begins later is told, too.
    """

    choices: tuple[str, ...] = ()
    until: date | None = None
    confidence: float | None = None


@dataclass(frozen=True)
class Held:
    """A standard and what the records say of it; ``row`` has the keys of ``KEYS``.

    ``holds``: false of one that is to come.
    ``used_before``, ``jobs_before``: first choices of the option, of all recorded, in the time
    before. ``first``: the first day of that time, None where nothing was recorded then.
    ``blank``: jobs since at which the choice was not recorded; ``unknown``: jobs of both times
    left out of the failures because something was not looked for.
    """

    standard: Standard
    choice: Choice
    row: Mapping[str, Any]
    holds: bool = True
    used_before: int = 0
    jobs_before: int = 0
    first: date | None = None
    cut: bool = False
    blank: int = 0
    unknown: int = 0


@dataclass(frozen=True)
class _Span:
    """Days of one standard: since it holds, and as many before, as far as records reach."""

    before: tuple[date, date] | None
    after: tuple[date, date] | None
    cut: bool


def standards(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: StandardsAsk) -> Finding:
    """A row for each house standard that holds, or is to come.

    ``con`` is a session with the catalogue and views of ``folder``. Jobs that are themselves
    come-backs are left out, as in every comparison.

    Raises
    ------
    UsageError
        If a choice is unknown, or the level makes no sense.
    """
    level = folder.settings.confidence_level if ask.confidence is None else ask.confidence
    if not 0.5 < level < 1:
        raise UsageError(f"--confidence {level:g}: must lie between 0.5 and 1, such as 0.95")
    catalogue = folder.catalogue
    for name in ask.choices:
        find_choice(name, catalogue)
    covered = period(con)
    day = min(filter(None, (covered.as_of, ask.until)), default=None)
    wanted = [
        one for one in holding(catalogue, day, to_come=ask.until is None)
        if not ask.choices or one.choice in ask.choices
    ]  # fmt: skip
    counting = _Counting(con, catalogue)
    shown = known_names(con, "model")
    held = [_held(counting, one, wanted, shown, covered, day, level) for one in wanted]
    held.sort(key=lambda one: _place(one, catalogue))
    return Finding(
        question="standards",
        settings=common_settings(
            folder,
            covered,
            confidence_level=level,
            view="first",
            since=None,
            until=ask.until.isoformat() if ask.until else None,
            choices=list(ask.choices),
            where=["rework=no"],
        ),
        rows=tuple(one.row for one in held),
        keys=("choice", "model"),
        notes=notes_of(held, _worse(con, folder, held), ask.choices),
        cautions=cautions_of(held, catalogue),
        labels=catalogue.labels,
        parts={
            "sentences": tuple(
                {name: one.row[name] for name in ("choice", "model", "option")}
                | {"text": sentence(one)}
                for one in held
            )
        },
    )


def safety_among_used(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    choice: Choice,
    options: Sequence[str],
    model: str | None = None,
) -> list[OptionSafety]:
    """The safety states of options, on that model if one is named."""
    states = safety_of(con, folder, choice, options, model=model)
    return [states[option] for option in options]


def _worse(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, held: Sequence[Held]
) -> list[OptionSafety]:
    """Options of standards that may not be recommended any more."""
    options: dict[tuple[Choice, str | None], dict[str, None]] = {}
    for one in held:
        place = one.choice, one.standard.model
        options.setdefault(place, {})[one.standard.option] = None
    states = [
        state
        for (choice, model), names in options.items()
        for state in safety_among_used(con, folder, choice, tuple(names), model)
    ]
    return list(dict.fromkeys(one for one in states if one.state == WORSE))


def holding(catalogue: Catalogue, day: date | None, *, to_come: bool) -> list[Standard]:
    """Of every choice and model the standard that holds on a day, and those that begin later."""
    latest: dict[tuple[str, str], Standard] = {}
    later = []
    for one in sorted(catalogue.standards, key=lambda one: one.since):
        if day is None or one.since > day:
            later.append(one)
        else:
            latest[one.choice, fold(one.model or "")] = one
    return [*latest.values(), *(later if to_come else ())]


def _place(held: Held, catalogue: Catalogue) -> tuple[object, ...]:
    """Bench order: steps, then grades, then suppliers; all models first, then by jobs."""
    choice = held.choice
    order = [*catalogue.step_codes]
    order += [f"{part}_{field}" for field in PART_CHOICES for part in catalogue.part_codes]
    model, jobs = held.standard.model, held.row["jobs_since"]
    return order.index(choice.name), model is not None, -jobs, model or "", held.standard.since


def _held(
    counting: _Counting,
    standard: Standard,
    every: Sequence[Standard],
    shown: Mapping[str, str],
    covered: Period,
    day: date | None,
    level: float,
) -> Held:
    choice = find_choice(standard.choice, counting.catalogue)
    span = _span(standard, covered, day)
    own = {
        fold(shown.get(fold(one.model), one.model))
        for one in every
        if one.model and one.choice == standard.choice and (day is None or one.since <= day)
    }
    model = fold(shown.get(fold(standard.model), standard.model)) if standard.model else None
    about = _About(choice, fold(standard.option), model, frozenset(own))
    jobs, followed, blank = counting.used(about, span.after)
    jobs_before, used_before, _ = counting.used(about, span.before)
    failures, opportunities, unknown = counting.failed(about, span.after)
    failures_before, opportunities_before, unknown_before = counting.failed(about, span.before)
    counts = {
        "jobs_since": jobs, "followed": followed,
        "failures_before": failures_before, "opportunities_before": opportunities_before,
        "failures_after": failures, "opportunities_after": opportunities,
    }  # fmt: skip
    return Held(
        standard,
        choice,
        conclude(standard, counts, level),
        span.after is not None,
        used_before,
        jobs_before,
        span.before[0] if span.before else None,
        span.cut,
        blank,
        unknown + unknown_before,
    )


def conclude(standard: Standard, counts: Mapping[str, int], level: float) -> dict[str, Any]:
    """The row of one standard from its counts; pure.

    Wilson's interval of the share, Newcombe's method 10 of the difference, after less before.
    """
    row: dict[str, Any] = dict.fromkeys(KEYS)
    row |= {"choice": standard.choice, "scope": "model" if standard.model else "all"}
    row |= {"model": standard.model, "option": standard.option}
    row |= {"since": standard.since.isoformat(), **counts}
    if counts["jobs_since"]:
        share = stats.wilson(counts["followed"], counts["jobs_since"], confidence_level=level)
        row["share"] = counts["followed"] / counts["jobs_since"]
        row |= {"share_low": float(share.low), "share_high": float(share.high)}
    after = counts["failures_after"], counts["opportunities_after"]
    before = counts["failures_before"], counts["opportunities_before"]
    if after[1] and before[1]:
        found = stats.newcombe_difference(*after, *before, confidence_level=level)
        row["difference"] = float(found.estimate)
        row |= {"difference_low": float(found.low), "difference_high": float(found.high)}
    return row


def _span(standard: Standard, covered: Period, day: date | None) -> _Span:
    if day is None or standard.since > day:
        return _Span(None, None, cut=False)
    length = day - standard.since + timedelta(days=1)
    start, end = standard.since - length, standard.since - timedelta(days=1)
    cut = covered.first is not None and start < covered.first
    start = max(start, covered.first) if cut else start
    return _Span((start, end) if start <= end else None, (standard.since, day), cut)


@dataclass(frozen=True)
class _About:
    """What one standard is about, names folded.

    ``model``: its own one; None for all but those in ``own``, which have one of their own.
    """

    choice: Choice
    option: str
    model: str | None
    own: frozenset[str]

    def kept(
        self, columns: Mapping[str, Sequence[Any]], names: Sequence[str]
    ) -> list[tuple[str | None, tuple[int, ...]]]:
        """(option, counts) of each option and model that it is about, where the choice was made."""
        rows = zip(
            columns[self.choice.name],
            (fold(model or "") for model in columns["model"]),
            zip(*(map(int, columns[name]) for name in names), strict=True),
            strict=True,
        )
        return [
            (option, counts)
            for option, model, counts in rows
            if option != NOT_DONE
            and (model not in self.own if self.model is None else model == self.model)
        ]


@dataclass(frozen=True)
class _Counting:
    """Counts by option and model; those of the same choice and days are counted once."""

    con: duckdb.DuckDBPyConnection
    catalogue: Catalogue
    counted: dict[Ask, Mapping[str, Sequence[Any]]] = field(default_factory=dict)

    def used(self, about: _About, days: tuple[date, date] | None) -> tuple[int, int, int]:
        """Jobs with a recorded option, those with this one, those where it was not recorded."""
        if days is None:
            return 0, 0, 0
        found = about.kept(self._columns(about.choice, (), days), ("jobs",))
        told = [(option, jobs) for option, (jobs,) in found if option is not None]
        return (
            sum(jobs for _, jobs in told),
            sum(jobs for option, jobs in told if fold(option) == about.option),
            sum(jobs for option, (jobs,) in found if option is None),
        )

    def failed(self, about: _About, days: tuple[date, date] | None) -> tuple[int, int, int]:
        """Failures, opportunities, unknown: of any mode that can occur at the choice."""
        modes = tuple(m.code for m in self.catalogue.failure_modes if can_occur(m, about.choice))
        if days is None or not modes:
            return 0, 0, 0
        columns = self._columns(about.choice, modes, days)
        found = about.kept(columns, ("failures", "opportunities", "unknown"))
        failures, opportunities, unknown = (sum(row[n] for _, row in found) for n in range(3))
        return failures, opportunities, unknown

    def _columns(
        self, choice: Choice, modes: tuple[str, ...], days: tuple[date, date]
    ) -> Mapping[str, Sequence[Any]]:
        ask = Ask(modes, (choice.name, "model"), "first", NO_REWORK, *days, place=choice.place)
        if ask not in self.counted:
            self.counted[ask] = (
                count_union(self.con, self.catalogue, ask).columns
                if modes
                else jobs_by(self.con, self.catalogue, ask)
            )
        return self.counted[ask]
