"""From figures to a verdict on one choice: rules in a fixed order, each its own function; pure.

Options whose safety state is `worse` are gone before the first rule. A cost is never a reason to
take a risk: the first rule asks whether the leader is cleared, before any money is looked at.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from fixstats.findings.safety import CLEARED, WORSE, OptionSafety
from fixstats.tallies.decide import LEFT_OUT
from fixstats.words import counted, listed, sure_percent

UNPROVEN, ONLY_ONE, EQUAL_ENOUGH = "unproven", "only_one", "equal_enough"
STANDARDISE, TRIAL, LEAN, WAIT = "standardise", "trial", "lean", "wait"
# In the order in which they are asked for.
VERDICTS = (UNPROVEN, ONLY_ONE, EQUAL_ENOUGH, STANDARDISE, TRIAL, LEAN, WAIT)


@dataclass(frozen=True)
class Candidate:
    """An option that might be recommended.

    `cost`: expected money per job; `p_best`: probability of being the cheapest; `regret`: expected
    money per job lost by choosing it. Both among the options that are not worse. `safety`: its
    state; `jobs_to_clear`: event-free jobs that would still clear it, None where it is worse;
    `danger`: all that is known of its safety, for words.
    """

    option: str
    cost: float
    p_best: float
    regret: float
    safety: str
    jobs_to_clear: int | None = 0
    danger: OptionSafety | None = None


@dataclass(frozen=True)
class MissingCost:
    """A failure mode without a cost.

    `unsure_from`: money per failure from which on the leader would not be sure enough any more;
    infinite where no cost does that. `up_to`: what one may cost.
    """

    mode: str
    unsure_from: float
    up_to: float = math.inf

    @property
    def matters(self) -> bool:
        """A cost that is possible makes the leader unsure."""
        return math.isfinite(self.unsure_from) and self.unsure_from <= self.up_to


@dataclass(frozen=True)
class Figures:
    """All that a verdict rests on, for one choice in one scope.

    `candidates`: every option seen, in the order in which a tie is broken. `earlier`: the option
    that reached `standardise_at` on the records without the last `LEFT_OUT` jobs, None if none.
    `trial_net`: money over the horizon that the best trial brings beyond its cost, None where no
    trial is possible; `trial_jobs`, `trial_rival`: its jobs of both options, and the other option.
    `jobs_to_know`: jobs more of each until the expected regret is within the tolerance, infinite
    where none are enough. `together`: of those `missing`, none of which matters alone, some that
    do together, each at its `up_to`.
    """

    candidates: Sequence[Candidate]
    standardise_at: float
    tolerance: float
    earlier: str | None = None
    trial_net: float | None = None
    trial_jobs: int = 0
    trial_rival: str | None = None
    jobs_to_know: float = math.inf
    missing: Sequence[MissingCost] = ()
    together: Sequence[MissingCost] = ()
    money: Callable[[float], str] = field(default="{:.2f}".format)
    name: Callable[[str], str] = field(default=str)

    @property
    def ranked(self) -> list[Candidate]:
        """Those that are not worse, cheapest first; a tie keeps the order given."""
        kept = [one for one in self.candidates if one.safety != WORSE]
        return sorted(kept, key=lambda one: one.cost)


@dataclass(frozen=True)
class Verdict:
    """`option`: the leader, whatever the verdict; None where every option is worse.

    `jobs_needed`: jobs that would change an `unproven`, `trial` or `wait`; None for the others,
    or where no number would. `reason`: why, and what would change it. `borderline`: the verdict
    hangs on the chance in the draws.
    """

    verdict: str
    option: str | None
    runner_up: str | None
    jobs_needed: int | None
    reason: str
    borderline: bool = False


def judge(figures: Figures) -> Verdict:
    """The first rule that has something to say."""
    ranked = figures.ranked
    if not ranked:
        reason = "no option may be recommended: the safety failures of each are too many"
        return Verdict(UNPROVEN, None, None, None, reason)
    found = next(verdict for rule in RULES if (verdict := rule(figures, ranked)) is not None)
    reason = "; ".join([*_by_this_limit_only(figures), found.reason, *_not_counted(figures)])
    return replace(found, reason=reason)


def with_borderline(verdict: Verdict, others: Sequence[Verdict]) -> Verdict:
    """Mark it where any of `others`, from draws that differ by chance alone, says another thing."""
    said = {(one.verdict, one.option) for one in others}
    return replace(verdict, borderline=bool(said - {(verdict.verdict, verdict.option)}))


def wrong_share(p_best: Sequence[float]) -> float | None:
    """Expected share of wrong `standardise` rows, from the `p_best` of each; None without any."""
    return sum(1 - one for one in p_best) / len(p_best) if p_best else None


# ---------------------------------------------------------------- the rules, in their order


def unproven(figures: Figures, ranked: Sequence[Candidate]) -> Verdict | None:
    """The leader is not cleared, whatever it would save."""
    leader = ranked[0]
    if leader.safety == CLEARED:
        return None
    more = leader.jobs_to_clear
    reason = f"the safety of {figures.name(leader.option)} is not shown"
    if leader.danger is not None:
        reason += f": {leader.danger.told}; {leader.danger.clearing}"
    elif more is not None:
        reason += f": {counted(more, 'further job')} without a safety failure would clear it"
    return _verdict(UNPROVEN, ranked, reason, more)


def only_one(figures: Figures, ranked: Sequence[Candidate]) -> Verdict | None:
    """Nothing to compare with."""
    if len(ranked) > 1:
        return None
    gone = [figures.name(one.option) for one in figures.candidates if one.safety == WORSE]
    reason = "nothing to compare it with"
    if gone:
        reason = f"{listed(gone)} ruled out by safety failures; nothing else to compare it with"
    return _verdict(ONLY_ONE, ranked, reason)


def equal_enough(figures: Figures, ranked: Sequence[Candidate]) -> Verdict | None:
    """Choosing either of the two best loses no more than the tolerance."""
    leader, second = ranked[:2]
    if max(leader.regret, second.regret) > figures.tolerance:
        return None
    reason = (
        f"choosing {figures.name(leader.option)} or {figures.name(second.option)} is expected to "
        f"lose at most {figures.money(max(leader.regret, second.regret))} a job, within the "
        f"tolerance of {figures.money(figures.tolerance)}"
    )
    if second.safety != CLEARED:
        reason += f"; the safety of {figures.name(second.option)} is not shown"
    return _verdict(EQUAL_ENOUGH, ranked, reason)


def standardise(figures: Figures, ranked: Sequence[Candidate]) -> Verdict | None:
    """Sure enough now, before the last jobs too, and whatever a cost that is missing may be."""
    leader = ranked[0]
    if leader.p_best < figures.standardise_at or held_up(figures, leader):
        return None
    return _verdict(
        STANDARDISE,
        ranked,
        f"{sure_percent(leader.p_best)}% sure to be the cheapest, and above "
        f"{100 * figures.standardise_at:g}% without the last {LEFT_OUT} jobs, too; below that it "
        "would not be",
    )


def held_up(figures: Figures, leader: Candidate) -> str:
    """What keeps a leader that is sure enough from becoming the standard; '' if nothing does."""
    told = [
        f"{figures.name(one.mode)} from {figures.money(one.unsure_from)} each on"
        for one in figures.missing
        if one.matters
    ]
    if told:
        return f"with a cost of {listed(told, 'or of')} it would not be: set it"
    if figures.together:
        told = [
            f"{figures.name(one.mode)} ({figures.money(one.up_to)})" for one in figures.together
        ]
        return (
            f"with the costs of {listed(told)} together, each as dear as it may be, it would not "
            "be: set them"
        )
    if figures.earlier != leader.option:
        return f"without the last {LEFT_OUT} jobs it was not: see whether it stays so"
    return ""


def trial(figures: Figures, ranked: Sequence[Candidate]) -> Verdict | None:
    """To know more is worth more than it costs to find out."""
    if figures.trial_net is None or figures.trial_net <= 0:
        return None
    rival = next((one for one in ranked if one.option == figures.trial_rival), ranked[1])
    reason = (
        f"a trial against {figures.name(rival.option)} over {counted(figures.trial_jobs, 'job')} "
        f"is expected to bring {figures.money(figures.trial_net)} more than it costs"
    )
    if rival.safety != CLEARED:
        reason += f"; the safety of {figures.name(rival.option)} is not shown: with the harm stop"
    return _verdict(TRIAL, ranked, _unsure(figures, ranked[0], reason), figures.trial_jobs)


def lean(figures: Figures, ranked: Sequence[Candidate]) -> Verdict | None:
    """Not sure, but little is lost if it is wrong."""
    leader = ranked[0]
    if leader.regret > figures.tolerance:
        return None
    reason = (
        f"it is expected to lose {figures.money(leader.regret)} a job "
        f"against always choosing right, within the tolerance of {figures.money(figures.tolerance)}"
    )
    return _verdict(LEAN, ranked, _unsure(figures, leader, reason))


def wait(figures: Figures, ranked: Sequence[Candidate]) -> Verdict:
    """Too little recorded to say, and too few jobs to come for a trial."""
    leader = ranked[0]
    reason = (
        f"too little recorded: choosing {figures.name(leader.option)} is expected to lose "
        f"{figures.money(leader.regret)} a job against always choosing right"
    )
    more = math.ceil(figures.jobs_to_know) if math.isfinite(figures.jobs_to_know) else None
    if more:
        reason += f"; about {counted(more, 'job')} more of each option would do"
    return _verdict(WAIT, ranked, _unsure(figures, leader, reason), more)


RULES: Sequence[Callable[[Figures, Sequence[Candidate]], Verdict | None]] = (
    unproven, only_one, equal_enough, standardise, trial, lean, wait,
)  # fmt: skip


# ---------------------------------------------------------------- words


def _verdict(
    verdict: str, ranked: Sequence[Candidate], reason: str, jobs_needed: int | None = None
) -> Verdict:
    second = ranked[1].option if len(ranked) > 1 else None
    return Verdict(verdict, ranked[0].option, second, jobs_needed, reason)


def _unsure(figures: Figures, leader: Candidate, reason: str) -> str:
    """Beside the reason for a lesser verdict: why it is no standard yet."""
    why = held_up(figures, leader)
    sure = f"{sure_percent(leader.p_best, figures.standardise_at)}% sure to be the cheapest"
    if leader.p_best < figures.standardise_at:
        return f"{reason}; {sure}, {100 * figures.standardise_at:g}% would make it the standard"
    return f"{reason}; {sure}, but {why}"


def _by_this_limit_only(figures: Figures) -> list[str]:
    """Options that only a milder limit than the shop's lets through."""
    told = [
        f"{figures.name(one.option)} is {one.danger.by_own_limit}"
        for one in figures.candidates
        if one.danger is not None and one.danger.by_own_limit
    ]
    return [f"BY THE SHOP'S OWN safety_limit {listed(told)}: not to be acted on"] if told else []


def _not_counted(figures: Figures) -> list[str]:
    """Modes whose cost is missing: not counted, which is not the same as free."""
    names = [
        figures.name(one.mode)
        + (
            f" (from {figures.money(one.unsure_from)} each on it would matter)"
            if math.isfinite(one.unsure_from) and not one.matters
            else ""
        )
        for one in figures.missing
    ]
    return [f"not counted, for want of a cost: {listed(names)}"] if names else []
