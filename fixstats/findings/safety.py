"""Is an option of a choice safe enough to recommend, or to try? Asked before any money is counted.

Its safety failures are those of the safety modes that can occur at the choice, by first choice,
pooled over models: a danger is rare, and no model alone has the jobs to tell it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fixstats import stats
from fixstats.findings.compare_plan import Choice, can_occur
from fixstats.folder import Catalogue, Settings, ShopFolder
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_union

if TYPE_CHECKING:
    import duckdb

WORSE, UNPROVEN, CLEARED = "worse", "unproven", "cleared"
# Nothing is cleared by fewer jobs than this search looks at.
_MOST_JOBS = 10**9


@dataclass(frozen=True)
class OptionSafety:
    """The state of one option and the counts behind it.

    Attributes
    ----------
    state
        ``worse``: never recommended, never put into a trial. ``unproven``: its true rate may be
        above the limit. ``cleared``.
    failures, opportunities
        Jobs with a safety failure, out of those where all that applied were checked.
    low, high
        Exact one-sided limits of the rate; 0 and 1 without opportunities.
    p_more
        Exact one-sided p-value, not corrected, that it fails more often than the most used option;
        None for that option itself, and where either has no opportunities.
    jobs_needed
        Jobs without a safety failure that would still be needed to clear it; 0 for a cleared one,
        None for one that is worse.
    """

    option: str
    state: str
    failures: int
    opportunities: int
    low: float
    high: float
    p_more: float | None
    jobs_needed: int | None


def safety_modes(choice: Choice, catalogue: Catalogue) -> tuple[str, ...]:
    """Codes of the safety modes that can occur at the choice."""
    modes = catalogue.failure_modes
    return tuple(mode.code for mode in modes if mode.safety and can_occur(mode, choice))


def safety_of(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    choice: Choice,
    options: Sequence[str],
    settings: Settings | None = None,
    until: date | None = None,
) -> dict[str, OptionSafety]:
    """The safety state of each option; ``options``: most used first, never used ones last.

    ``settings``: with the limits to judge by; None: those of the folder. ``until``: as it was known
    on that day; there is no first day, for a danger does not grow old.

    Jobs that are themselves come-backs are left out, as in every comparison. Without a safety
    mode at the choice every option is cleared.
    """
    modes = safety_modes(choice, folder.catalogue)
    counts: dict[str, tuple[int, int]] = {}
    if modes:
        where = (("rework", "no"),)
        ask = Ask(modes, (choice.name,), where=where, until=until, place=choice.place)
        found = count_union(con, folder.catalogue, ask).columns
        counts = {
            option: (failures, opportunities)
            for option, failures, opportunities in zip(
                found[choice.name], found["failures"], found["opportunities"], strict=True
            )
        }
    else:
        return {option: _without_modes(option) for option in options}
    settings = settings or folder.settings
    return judge_safety(
        {option: counts.get(option, (0, 0)) for option in options},
        safety_limit=settings.safety_limit,
        confidence_level=settings.confidence_level,
    )


def judge_safety(
    counts: Mapping[str, tuple[int, int]], *, safety_limit: float, confidence_level: float
) -> dict[str, OptionSafety]:
    """States from (failures, opportunities) of each option, the most used one first; pure.

    ``worse``: the exact lower limit of the rate is above ``safety_limit``, or that of the
    difference to the most used option is above 0, which is to say that Fisher's one-sided test
    rejects that it fails no more often, its error shared by all options so compared (Holm):
    without that, one in thirteen simulated choices of three equally safe options lost one. Limits
    of two options are never compared with each other: that would punish the less used one. Source
    of the limits: Clopper and Pearson 1934, Biometrika 26:404-413, all of the error on one side.
    """
    more = _more_than_first(counts)
    corrected = stats.holm(list(more.values())) if more else ()
    shown = {
        option
        for option, p_value in zip(more, corrected, strict=True)
        if p_value < 1 - confidence_level
    }
    states = {}
    for option, (failures, opportunities) in counts.items():
        low, high = _limits(failures, opportunities, confidence_level)
        state = UNPROVEN if high > safety_limit else CLEARED
        if low > safety_limit or option in shown:
            state = WORSE
        needed = None
        if state != WORSE:
            needed = _needed(failures, opportunities, safety_limit, confidence_level)
        states[option] = OptionSafety(
            option, state, failures, opportunities, low, high, more.get(option), needed
        )
    return states


def _more_than_first(counts: Mapping[str, tuple[int, int]]) -> dict[str, float]:
    """p-values, each for itself, that an option fails more often than the first, by Fisher."""
    first, *others = counts
    if not counts[first][1]:
        return {}
    return {
        option: float(stats.fisher(*counts[option], *counts[first], alternative="more"))
        for option in others
        if counts[option][1]
    }


def _without_modes(option: str) -> OptionSafety:
    return OptionSafety(option, CLEARED, 0, 0, 0.0, 1.0, None, 0)


def _limits(failures: int, opportunities: int, level: float) -> tuple[float, float]:
    if not opportunities:
        return 0.0, 1.0
    low = stats.lower_limit(failures, opportunities, confidence_level=level)
    return float(low), _high(failures, opportunities, level)


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
