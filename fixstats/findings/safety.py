"""Is an option of a choice safe enough to recommend, or to try? Asked before any money is counted.

Its safety failures are those of the safety modes that can follow from the choice (``modes_at``, as
in the costs), by first choice, pooled over models: a danger is rare, and seldom has one model
alone the jobs to tell it. Where it has, the option is ruled out there. No filter of a question
changes a state: all jobs count that the records hold.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from fixstats import stats
from fixstats.findings.compare_plan import Choice, modes_at
from fixstats.folder import Catalogue, Settings, ShopFolder, fold
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_option_dangers
from fixstats.tallies.values import known_names
from fixstats.words import counted

if TYPE_CHECKING:
    import duckdb

WORSE, UNPROVEN, CLEARED = "worse", "unproven", "cleared"
# From the mildest on.
STATES = (CLEARED, UNPROVEN, WORSE)
# As where bounds of a rate are shown.
OFTEN_UNKNOWN = 0.1
# One job in few is above any limit, and each model is looked at after every job: a single failure
# on a model that an option is new to would rule it out there far too easily.
FEWEST_ON_MODEL = 2
# Nothing is cleared by fewer jobs than this search looks at.
_MOST_JOBS = 10**9


class Dangers(NamedTuple):
    """Jobs of one option, each counted once.

    ``failures`` of ``opportunities``: clean observations, everything that applied was checked.
    ``unknown``: jobs beside these of which not all is known; on ``unknown_failed`` of them a safety
    failure was seen all the same. ``returned``: devices that came back for one, where the job says
    nothing of it.
    """

    failures: int
    opportunities: int
    unknown: int = 0
    unknown_failed: int = 0
    returned: int = 0

    @property
    def seen(self) -> int:
        """Jobs with a safety failure, on the bench or after it."""
        return self.failures + self.unknown_failed + self.returned

    @property
    def known(self) -> int:
        """Jobs of which it is known whether one was seen."""
        return max(self.opportunities + self.unknown_failed, self.seen)

    @property
    def every(self) -> int:
        """All jobs, as if those unknown had gone well."""
        return max(self.opportunities + self.unknown, self.known)


@dataclass(frozen=True)
class OptionSafety:
    """The state of one option and the counts behind it.

    Attributes
    ----------
    state
        ``worse``: never recommended, never put into a trial. ``unproven``: its true rate may be
        above the limit. ``cleared``.
    failures, opportunities
        Jobs with a safety failure, out of those of which that is known.
    low, high
        Exact one-sided limits of the rate; 0 and 1 without opportunities.
    p_more
        Exact one-sided p-value, not corrected, that it fails more often than the most used option;
        None for that option itself, and where either has no opportunities.
    jobs_needed
        Jobs without a safety failure that would still be needed to clear it; 0 for a cleared one,
        None for one that is worse.
    unknown
        Jobs beside the opportunities: not checked for everything, or grades not known.
    returned
        How many of the failures are come-backs.
    by_own_limit
        The state by the shop's own limit, where that is graver than by the limit asked with.
    on_model
        The one model that the counts are of, where the option is ruled out there only.
    """

    option: str
    state: str
    failures: int
    opportunities: int
    low: float
    high: float
    p_more: float | None
    jobs_needed: int | None
    unknown: int = 0
    returned: int = 0
    by_own_limit: str | None = None
    on_model: str | None = None

    @property
    def told(self) -> str:
        """``5 of 108 jobs with a safety failure``, or what is known where that is little."""
        return told_of(self.failures, self.opportunities, self.unknown, self.returned)

    @property
    def clearing(self) -> str:
        """What would clear it; '' where nothing is needed, or nothing would."""
        if not self.jobs_needed:
            return ""
        return f"{counted(self.jobs_needed, 'further job')} without a safety failure would clear it"


def told_of(
    failures: int,
    opportunities: int,
    unknown: int,
    returned: int = 0,
    *,
    failure: str = "a safety failure",
) -> str:
    """Safety failures in words; ``8 of 8`` would mislead where nobody looked on most jobs."""
    back = f", {returned:,} of them come-backs" if returned else ""
    if unknown <= OFTEN_UNKNOWN * (unknown + opportunities):
        return f"{failures:,} of {counted(opportunities, 'job')} with {failure}{back}"
    return (
        f"{counted(failures, 'job')} with {failure}{back}, {opportunities - failures:,} "
        f"known to be without, {unknown:,} that tell nothing: not checked for all that can hurt "
        "someone, or of unknown grades"
    )


def safety_modes(choice: Choice, catalogue: Catalogue) -> tuple[str, ...]:
    """Codes of the safety modes that can follow from the choice."""
    return tuple(code for code in modes_at(choice, catalogue) if catalogue.modes[code].safety)


def safety_of(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    choice: Choice,
    options: Sequence[str],
    settings: Settings | None = None,
    until: date | None = None,
    model: str | None = None,
) -> dict[str, OptionSafety]:
    """The safety state of each of ``options``, used or not; ``model``: on that one, by any name."""
    states = safety_states(con, folder, choice, options, settings, until)
    if model is None:
        return states[None]
    known = known_names(con, "model").get(fold(model), model)
    own = (one for name, one in states.items() if name and fold(name) == fold(known))
    return states[None] | next(own, {})


def safety_states(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    choice: Choice,
    options: Sequence[str],
    settings: Settings | None = None,
    until: date | None = None,
    within: Sequence[tuple[str, str]] = (),
) -> dict[str | None, dict[str, OptionSafety]]:
    """The state of each of ``options``, used or not (under None), and by model those worse there.

    ``settings``: with the limit to judge by; None: that of the folder. The level is always the
    folder's: intervals may be asked for at another, a danger is not cleared by that. ``until``: as
    it was known on that day; there is no first day, for a danger does not grow old. ``within``:
    conditions that belong to what an option is, as a supplier's grade: the graver of the states
    with and without them holds.

    Jobs that are themselves come-backs are left out, as in every comparison. Without a safety
    mode at the choice every option is cleared.
    """
    modes = safety_modes(choice, folder.catalogue)
    if not modes:
        return {None: {option: _without_modes(option) for option in options}}
    where = (("rework", "no"), *within)
    ask = Ask(modes, (choice.name,), where=where, until=until, place=choice.place)
    cells = count_option_dangers(con, folder.catalogue, ask)
    found: dict[str | None, dict[str, OptionSafety]] = {}
    found[None] = _pooled(cells, options, settings or folder.settings, folder.settings)
    for option, model, state in _on_models(cells, folder.settings):
        if option in options and found[None][option].state != WORSE:
            found.setdefault(model, {})[option] = state
    if within:
        wide = safety_states(con, folder, choice, options, settings, until)
        found[None] = {
            option: max(wide[None][option], one, key=lambda state: STATES.index(state.state))
            for option, one in found[None].items()
        }
        for name, states in wide.items():
            if name is not None:
                found[name] = states | found.get(name, {})
    return found


def worse_of(states: Mapping[str | None, Mapping[str, OptionSafety]]) -> list[OptionSafety]:
    """Those ruled out, at all or on one model, from ``safety_states``: by model, in its order."""
    found = (
        one
        for model in sorted(states, key=lambda name: name or "")
        for one in states[model].values()
    )
    return [one for one in found if one.state == WORSE]


def _pooled(
    cells: Mapping[tuple[str, str], Sequence[int]],
    options: Sequence[str],
    settings: Settings,
    own: Settings,
) -> dict[str, OptionSafety]:
    """States over all models, by the limit asked with, beside those by the shop's own."""
    sums: dict[str, list[int]] = {}
    for (option, _), counts in cells.items():
        before = sums.get(option, [0] * len(counts))
        sums[option] = [a + b for a, b in zip(before, counts, strict=True)]
    used = sorted(sums, key=lambda option: (-sums[option][0], option))
    every = {option: Dangers(*sums[option][1:]) for option in used}
    every |= {option: Dangers(0, 0) for option in options if option not in every}
    level, limit = own.confidence_level, settings.safety_limit
    states = judge_safety(every, safety_limit=limit, confidence_level=level)
    if limit > own.safety_limit:
        strict = judge_safety(every, safety_limit=own.safety_limit, confidence_level=level)
        states = {option: _beside(one, strict[option]) for option, one in states.items()}
    return {option: states[option] for option in options}


def _beside(asked: OptionSafety, own: OptionSafety) -> OptionSafety:
    graver = STATES.index(own.state) > STATES.index(asked.state)
    return replace(asked, by_own_limit=own.state) if graver else asked


def _on_models(
    cells: Mapping[tuple[str, str], Sequence[int]], own: Settings
) -> Iterator[tuple[str, str, OptionSafety]]:
    """Options that are above the shop's own limit on one model, its error shared by all models.

    By the shop's limit whatever was asked with; Bonferroni, for the models of an option. Not by
    fewer than ``FEWEST_ON_MODEL`` failures.
    """
    models = Counter(option for option, _ in cells)
    for (option, model), (_, *counts) in cells.items():
        dangers = Dangers(*counts)
        level = 1 - (1 - own.confidence_level) / models[option]
        enough = dangers.seen >= FEWEST_ON_MODEL
        if enough and _least(dangers, level) > own.safety_limit:
            limits = {"safety_limit": own.safety_limit, "confidence_level": level}
            state = judge_safety({option: dangers}, **limits)[option]
            yield option, model, replace(state, on_model=model)


def judge_safety(
    counts: Mapping[str, Sequence[int]], *, safety_limit: float, confidence_level: float
) -> dict[str, OptionSafety]:
    """States from the counts of each option (as ``Dangers``), the most used one first; pure.

    ``worse``: the exact lower limit of the rate is above ``safety_limit``, or that of the
    difference to the most used option is above 0, which is to say that Fisher's one-sided test
    rejects that it fails no more often, its error shared by all options so compared (Holm):
    without that, one in thirteen simulated choices of three equally safe options lost one. Limits
    of two options are never compared with each other: that would punish the less used one. Source
    of the limits: Clopper and Pearson 1934, Biometrika 26:404-413, all of the error on one side.

    No danger seen is left out because another was not looked for. The upper limit takes the jobs of
    which nothing is known as if they were not there; the lower one is that of clean observations
    or, if that is higher, the one as if all of those jobs had gone well. Come-backs count in both,
    not in the comparison: how long devices were followed differs.
    """
    dangers = {option: Dangers(*one) for option, one in counts.items()}
    more = _more_than_first(dangers)
    corrected = stats.holm(list(more.values())) if more else ()
    shown = {
        option
        for option, p_value in zip(more, corrected, strict=True)
        if p_value < 1 - confidence_level
    }
    states = {}
    for option, one in dangers.items():
        low = _least(one, confidence_level)
        high = _high(one.seen, one.known, confidence_level)
        state = UNPROVEN if high > safety_limit else CLEARED
        if low > safety_limit or option in shown:
            state = WORSE
        needed = None
        if state != WORSE:
            needed = _needed(one.seen, one.known, safety_limit, confidence_level)
        states[option] = OptionSafety(
            option, state, one.seen, one.known, low, high, more.get(option), needed,
            one.every - one.known, one.returned,
        )  # fmt: skip
    return states


def _more_than_first(counts: Mapping[str, Dangers]) -> dict[str, float]:
    """p-values, each for itself, that an option fails more often than the first, by Fisher.

    Of clean observations; or of what was seen, the jobs not known as if they had gone well with
    the option and as if they were not there with the first.
    """
    first, *others = counts.values()
    names = list(counts)[1:]
    found = {}
    for name, one in zip(names, others, strict=True):
        p_values = []
        if first.opportunities and one.opportunities:
            p_values.append(_p_more(one[:2], first[:2]))
        if one.unknown_failed:
            seen = one.failures + one.unknown_failed, one.opportunities + one.unknown
            of_first = (first.failures + first.unknown_failed,
                        first.opportunities + first.unknown_failed)  # fmt: skip
            if of_first[1]:
                p_values.append(_p_more(seen, of_first))
        if p_values:
            found[name] = min(p_values)
    return found


def _p_more(one: Sequence[int], other: Sequence[int]) -> float:
    return float(stats.fisher(*one, *other, alternative="more"))


def nothing_to_clear(state: str, opportunities: int) -> bool:
    """Whether an option is cleared only because no safety mode can follow from its choice."""
    return state == CLEARED and not opportunities


def state_words(state: str, opportunities: int) -> str:
    """The state of an option in a table."""
    return "nothing to clear" if nothing_to_clear(state, opportunities) else state


def _without_modes(option: str) -> OptionSafety:
    return OptionSafety(option, CLEARED, 0, 0, 0.0, 1.0, None, 0)


def _least(one: Dangers, level: float) -> float:
    """Lower limit of the rate: of clean observations, or of all as if the rest had gone well."""
    if not one.seen:
        return 0.0
    return max(_low(one.failures, one.opportunities, level), _low(one.seen, one.every, level))


def _low(failures: int, opportunities: int, level: float) -> float:
    if not opportunities:
        return 0.0
    return float(stats.lower_limit(failures, opportunities, confidence_level=level))


def _high(failures: int, opportunities: int, level: float) -> float:
    if not opportunities:
        return 1.0
    return float(
        stats.upper_limit(failures, opportunities, confidence_level=level, method="clopper-pearson")
    )


def _needed(failures: int, opportunities: int, limit: float, level: float) -> int:
    """The fewest further jobs, none of them with a failure, that bring the upper limit down."""
    low, high = -1, 1
    while _high(failures, opportunities + high, level) > limit and high < _MOST_JOBS:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        above = _high(failures, opportunities + middle, level) > limit
        low, high = (middle, high) if above else (low, middle)
    return high
