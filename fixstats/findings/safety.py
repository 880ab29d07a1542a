"""Is an option of a choice safe enough to recommend, or to try? Asked before any money is counted.

Its safety failures are those of the safety modes that can follow from the choice (``modes_at``, as
in the costs), by first choice, pooled over models: a danger is rare, and no model alone has the
jobs to tell it. No filter of a question changes a state: all jobs count that the records hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from fixstats import stats
from fixstats.findings.compare_plan import Choice, modes_at
from fixstats.folder import Catalogue, Settings, ShopFolder
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_option_dangers
from fixstats.words import counted

if TYPE_CHECKING:
    import duckdb

WORSE, UNPROVEN, CLEARED = "worse", "unproven", "cleared"
# From the mildest on.
STATES = (CLEARED, UNPROVEN, WORSE)
# As where bounds of a rate are shown.
OFTEN_UNKNOWN = 0.1
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
) -> dict[str, OptionSafety]:
    """The safety state of each of ``options``, used or not.

    ``settings``: with the limit to judge by; None: that of the folder. The level is always the
    folder's: intervals may be asked for at another, a danger is not cleared by that. ``until``: as
    it was known on that day; there is no first day, for a danger does not grow old.

    Jobs that are themselves come-backs are left out, as in every comparison. Without a safety
    mode at the choice every option is cleared.
    """
    modes = safety_modes(choice, folder.catalogue)
    if not modes:
        return {option: _without_modes(option) for option in options}
    ask = Ask(modes, (choice.name,), where=(("rework", "no"),), until=until, place=choice.place)
    found = {
        option: Dangers(*counts)
        for option, counts in count_option_dangers(con, folder.catalogue, ask).items()
    }
    every = found | {option: Dangers(0, 0) for option in options if option not in found}
    own = folder.settings
    level, limit = own.confidence_level, (settings or own).safety_limit
    states = judge_safety(every, safety_limit=limit, confidence_level=level)
    if limit > own.safety_limit:
        strict = judge_safety(every, safety_limit=own.safety_limit, confidence_level=level)
        states = {option: _beside(one, strict[option]) for option, one in states.items()}
    return {option: states[option] for option in options}


def _beside(asked: OptionSafety, own: OptionSafety) -> OptionSafety:
    graver = STATES.index(own.state) > STATES.index(asked.state)
    return replace(asked, by_own_limit=own.state) if graver else asked


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
        low = max(
            _low(one.failures, one.opportunities, confidence_level),
            _low(one.seen, one.every, confidence_level),
        )
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
