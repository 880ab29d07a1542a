"""How many jobs a trial needs, by four ways of asking; what that takes in weeks and money. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fixstats import stats
from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.compare_plan import Choice, ModeSet
from fixstats.findings.costs import cost_of
from fixstats.findings.safety import UNPROVEN, OptionSafety
from fixstats.folder import FailureMode, Settings
from fixstats.words import counted, listed

KEYS = (
    "choice", "baseline", "option", "mode", "family", "method", "power", "baseline_rate", "rate",
    "difference", "jobs_per_option", "jobs", "jobs_90", "weeks", "weeks_90", "cost", "safety",
    "baseline_safety",
)  # fmt: skip
# How the number of jobs was found; a trial here follows the last one.
FISHER, BOSCHLOO, PRECISION, SEQUENTIAL = "fisher", "boschloo", "precision", "sequential"
# Simulated trials are given up beyond so many pairs.
MOST_PAIRS = 10_000
# Looking more often than after so many pairs would only make the simulation slow.
MOST_PAIRS_A_LOOK = 50


@dataclass(frozen=True)
class Before:
    """What the records say before a trial.

    ``failures`` of ``opportunities``: the main outcome with the baseline; ``pace``: jobs a week
    on which the choice arises; ``failures_by_mode``: of all options; prices: money for one use,
    None where the catalogue has none; ``modes``: the catalogue's; ``returns_by_mode``: come-backs.
    """

    failures: int
    opportunities: int
    pace: float
    failures_by_mode: Mapping[str, int]
    baseline_price: float | None
    option_price: float | None
    baseline_safety: OptionSafety
    option_safety: OptionSafety
    modes: Mapping[str, FailureMode]
    returns_by_mode: Mapping[str, int] = field(default_factory=dict)

    @property
    def rate(self) -> float:
        """How often the baseline failed."""
        return self.failures / self.opportunities

    def tried(self, difference: float) -> float:
        """The rate of the option that the trial must not miss: lower, where there is room."""
        lower = self.rate - difference
        return lower if lower >= 0 else min(self.rate + difference, 1.0)

    def cost_per_failure(self, labour_rate: float) -> float | None:
        """Money for one failure, each mode by its share; None where one has no cost."""
        costs = {code: cost_of(self.modes[code], labour_rate) for code in self.failures_by_mode}
        shares = self.failures_by_mode
        if any(costs[code] is None and number for code, number in shares.items()):
            return None
        seen = sum(shares.values())
        if not seen:
            return None
        return sum((costs[code] or 0.0) * number for code, number in shares.items()) / seen


def plan_rows(
    choice: Choice,
    modes: ModeSet,
    baseline: str,
    option: str,
    worth: float,
    power: float,
    before: Before,
    settings: Settings,
) -> list[dict[str, Any]]:
    """A row for each way of asking; ``jobs`` is both options together, the sequential rule last."""
    rate = before.tried(worth)
    level = settings.confidence_level
    fixed: dict[str, float | None] = {
        test: stats.exact_size(rate, before.rate, test=test, power=power, alpha=1 - level)
        for test in (FISHER, BOSCHLOO)
    }
    fixed[PRECISION] = stats.precision_size(rate, before.rate, worth, confidence_level=level)
    # A look a week: half of the jobs of a week are pairs.
    a_look = min(max(round(before.pace / 2), 1), MOST_PAIRS_A_LOOK)
    found = stats.jobs_to_stop(
        rate, before.rate, worth=worth, pairs_a_look=a_look, most_pairs=MOST_PAIRS
    )
    jobs = {method: None if each is None else 2 * each for method, each in fixed.items()}
    jobs[SEQUENTIAL] = found.median if math.isfinite(found.median) else None
    ninety = found.high if math.isfinite(found.high) else None
    powers: dict[str, float | None] = {FISHER: power, BOSCHLOO: power, SEQUENTIAL: found.shown}

    def weeks(number: float | None) -> float | None:
        return number / before.pace if number is not None and before.pace else None

    rows = []
    for method, number in jobs.items():
        most = ninety if method == SEQUENTIAL else None
        rows.append({
            "choice": choice.name,
            "baseline": baseline,
            "option": option,
            "mode": modes.mode,
            "family": modes.family,
            "method": method,
            "power": powers.get(method),
            "baseline_rate": before.rate,
            "rate": rate,
            "difference": worth,
            "jobs_per_option": None if number is None else int(number / 2),
            "jobs": None if number is None else int(number),
            "jobs_90": None if most is None else int(most),
            "weeks": weeks(number),
            "weeks_90": weeks(most),
            "cost": _cost(number, worth, before, settings),
            "safety": before.option_safety.state,
            "baseline_safety": before.baseline_safety.state,
        })  # fmt: skip
    return rows


def _cost(jobs: float | None, worth: float, before: Before, settings: Settings) -> float | None:
    """What the trial costs if the difference is as planned: failures of the weaker half, and
    dearer material of the option on its half."""
    each = before.cost_per_failure(settings.labour_rate)
    if jobs is None or each is None:
        return None
    dearer = (before.option_price or 0.0) - (before.baseline_price or 0.0)
    return jobs / 2 * (worth * each + max(dearer, 0.0))


def plan_notes(
    rows: Sequence[Mapping[str, Any]],
    before: Before,
    modes: ModeSet,
    worth: float,
    settings: Settings,
    wait: Note,
) -> tuple[Note, ...]:
    """What to know beside the numbers, ``wait`` in its place; pure."""
    found = (
        _unproven(before, settings),
        _seen_after(before, modes),
        _out_of_reach(rows),
        _direction(rows[0], worth),
        _baseline(before, settings),
        _rule(rows[-1]),
        wait,
        _pace(before),
        _money(rows, before, modes),
        Note("own_records", OWN_RECORDS),
    )
    return tuple(note for note in found if note)


def _unproven(before: Before, settings: Settings) -> Note | None:
    unproven = [
        one for one in (before.option_safety, before.baseline_safety) if one.state == UNPROVEN
    ]
    if not unproven:
        return None
    told = [f"{one.option} is unproven in safety ({one.told}; {one.clearing})" for one in unproven]
    return Note(
        "harm_stop",
        f"{'; '.join(told)}: the trial is only run with its harm stop, which watches safety "
        f"failures from the first job and stops at evidence of 100 that the option harms more or "
        f"goes above {100 * settings.safety_limit:g} %",
    )


def _seen_after(before: Before, modes: ModeSet) -> Note | None:
    """A trial looks at the bench only: what shows weeks later would look like no difference."""
    late = {
        code: before.returns_by_mode.get(code, 0)
        for code in modes.codes
        if before.returns_by_mode.get(code, 0) > before.failures_by_mode.get(code, 0)
    }
    if not late:
        return None
    told = listed(
        f"{code} ({counted(returns, 'come-back')}, {before.failures_by_mode.get(code, 0):,} seen "
        "at the bench)"
        for code, returns in late.items()
    )
    return Note(
        "seen_after",
        f"known from come-backs: {told}; a trial here counts only what is seen at the bench, so it "
        "cannot tell the options apart in that (fixstats comebacks does)",
    )


def _out_of_reach(rows: Sequence[Mapping[str, Any]]) -> Note | None:
    missing = [row["method"] for row in rows if row["jobs"] is None]
    if rows[-1]["jobs_90"] is None and SEQUENTIAL not in missing:
        missing.append("sequential (90 %)")
    if not missing:
        return None
    return Note(
        "out_of_reach",
        f"{', '.join(missing)}: more jobs than are worked out (1,000 an option by exact tables, "
        f"{2 * MOST_PAIRS:,} in all by the sequential rule); a larger --difference needs far fewer",
    )


def _direction(row: Mapping[str, Any], worth: float) -> Note | None:
    if row["rate"] < row["baseline_rate"]:
        return None
    return Note(
        "no_room",
        f"the baseline fails less often than the difference of {100 * worth:g} in 100: nothing "
        "can be better by that much, so the jobs are those to show that the option is worse by it",
    )


def _baseline(before: Before, settings: Settings) -> Note:
    found = stats.wilson(
        before.failures, before.opportunities, confidence_level=settings.confidence_level
    )
    return Note(
        "baseline_rate",
        f"the baseline's rate is itself an estimate ({before.failures:,} of "
        f"{before.opportunities:,}, {100 * found.low:.1f} to {100 * found.high:.1f} %); the jobs "
        "needed change with it",
    )


def _rule(row: Mapping[str, Any]) -> Note:
    share = math.floor(100 * row["power"])
    shown = f" {'all' if share == 100 else f'{share} %'} of such simulated trials show it;"
    return Note(
        "sequential_rule",
        "sequential is the rule that trial status follows: look every week, stop when the evidence "
        "is enough; jobs and weeks are the median over simulated trials in which the difference is "
        f"as planned, jobs_90 and weeks_90 what nine of ten need at most;{shown} the price of "
        "looking every week is that it may take more jobs than a trial looked at once; jobs whose "
        "outcome nobody checked, or that have no partner yet, come on top",
    )


def _pace(before: Before) -> Note | None:
    if before.pace:
        return None
    return Note("no_pace", "the choice did not arise in the last year: weeks are not known")


def _money(rows: Sequence[Mapping[str, Any]], before: Before, modes: ModeSet) -> Note:
    if all(row["cost"] is None for row in rows if row["jobs"] is not None):
        return Note(
            "missing_cost",
            f"a failure of {modes.name} has no cost in the catalogue, or none was seen: what the "
            "trial costs is not known",
        )
    prices = (
        ""
        if None not in (before.baseline_price, before.option_price)
        else ("; a price of the options themselves is missing and left out")
    )
    return Note(
        "cost_meaning",
        "cost: the failures that would not happen if the better option were used on all jobs of "
        f"the trial, if the difference is as planned, and dearer material of the option{prices}",
    )
