"""Which option the brief names at each choice, how sure that is, and why in one line; pure.

A house standard holds until the records are sure that another option is better, or its safety
failures rule it out. What is not shown to be safe is never named for being cheaper.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from fixstats.findings.safety import CLEARED, WORSE
from fixstats.findings.standards import holding
from fixstats.findings.verdicts import (
    EQUAL_ENOUGH,
    LEAN,
    ONLY_ONE,
    STANDARDISE,
    TRIAL,
    UNPROVEN,
)
from fixstats.folder import Catalogue, fold
from fixstats.folder.catalogue import Standard
from fixstats.tallies.trials import Trial
from fixstats.words import counted

HOUSE, BETTER, EQUAL = "house standard", "better here", "no difference worth having"
OPEN, ALONE, NOTHING = "not settled", "only one used", "nothing recorded"
RUNNING = "trial running"
# How an option is meant: every word that a row can have.
WORDS = (HOUSE, BETTER, EQUAL, OPEN, ALONE, NOTHING, RUNNING)

Row = Mapping[str, Any]
Name = Callable[[str], str]


@dataclass(frozen=True)
class Pick:
    """The option named at a choice.

    ``option``: None where none can be named; ``word``: one of ``WORDS``; ``standard``: it is the
    house standard; ``verdict``, ``scope``, ``p_best``, ``jobs``, ``borrowed``: of the row of
    ``decide`` it rests on, None without one; ``safety``: its state.
    """

    option: str | None
    word: str
    standard: bool
    why: str
    verdict: str | None = None
    scope: str | None = None
    p_best: float | None = None
    jobs: int | None = None
    borrowed: float | None = None
    safety: str | None = None
    trial: str | None = None


def drawn(trial: Trial, name: Name) -> Pick:
    """Where a trial runs lots decide: whoever follows a brief instead would spoil it."""
    options = f"{name(trial.baseline)} or {name(trial.option)}"
    why = f"lots decide between {options}: fixstats trial next {trial.trial}"
    return Pick(None, RUNNING, False, why, trial=trial.trial)


def in_trial(trial: Trial, otherwise: Pick, options: Sequence[Row], name: Name) -> Pick:
    """What a running trial leaves of a pick: lots, unless one of its options is ruled out.

    ``options``: rows of the part ``options`` of ``decide``; the records can rule one out before
    the trial's own harm stop, which looks at its own jobs only.
    """
    both = {fold(trial.baseline), fold(trial.option)}
    out = {
        row["option"]
        for row in options
        if row["choice"] == trial.choice and row["safety"] == WORSE and fold(row["option"]) in both
    }
    if not out:
        return drawn(trial, name)
    told = " and ".join(name(one) for one in sorted(out))
    why = f"draw no more for the trial {trial.trial}: {told} ruled out by safety failures"
    return replace(otherwise, why=f"{why}; {otherwise.why}")


def standard_of(choice: str, model: str, catalogue: Catalogue, day: date) -> Standard | None:
    """The house standard that holds on that day: for the model, else for all."""
    held = {
        fold(one.model or ""): one
        for one in holding(catalogue, day, to_come=False)
        if one.choice == choice
    }
    return held.get(fold(model)) or held.get("")


def pick(
    choice: str,
    model: str,
    decided: Sequence[Row],
    options: Sequence[Row],
    standard: Standard | None,
    *,
    name: Name,
    currency: str,
) -> Pick:
    """The option to use at ``choice``.

    ``decided``, ``options``: rows of ``decide`` and of its part ``options``; of the model where
    there is one, else of all models.
    """
    rows = [row for row in decided if row["choice"] == choice]
    row = next((one for one in rows if one["model"] == model), None)
    row = row or next((one for one in rows if one["model"] is None), None)
    if row is None:
        if standard is None:
            return Pick(None, NOTHING, False, "no record says which was used")
        why = f"adopted on {standard.since}; no recorded job tells it from another option"
        return Pick(standard.option, HOUSE, True, why)
    own = [one for one in options if one["choice"] == choice and one["model"] == row["model"]]
    safety = {one["option"]: one["safety"] for one in sorted(own, key=_cost)}
    told = _Told(row, safety, standard, name, currency)
    option, word, why = _of_standard(told) or _of_verdict(told)
    return Pick(
        option,
        word,
        standard is not None and option == standard.option,
        why,
        row["verdict"],
        row["scope"],
        row["p_best"] if option == row["option"] else None,
        row["jobs"],
        row["borrowed"],
        safety.get(option, row["safety"]) if option else None,
    )


def _cost(option: Row) -> float:
    return float(option["cost_per_job"])


@dataclass(frozen=True)
class _Told:
    """A row of ``decide`` with what is needed to put it in words.

    ``safety``: states of the options, the cheapest first.
    """

    row: Row
    safety: Mapping[str, str]
    standard: Standard | None
    name: Name
    currency: str

    @property
    def sure_enough(self) -> bool:
        """Whether the leader may take the place of another.

        Not where draws alone decide that, nor a grade: only the shop's cost of it is known.
        """
        row = self.row
        return row["verdict"] == STANDARDISE and not row["borderline"] and not self.cost_alone

    @property
    def cost_alone(self) -> bool:
        """Customers pay for a grade, too, and nobody recorded what they would."""
        return bool(self.row["choice"].endswith("_grade"))

    def money(self, value: float) -> str:
        return f"{value:,.2f} {self.currency}"

    @property
    def sure(self) -> str:
        """``saves 1.20 EUR a job against X (-0.30 to 2.70), 88 % sure``."""
        row = self.row
        if row["saving_per_job"] is None or row["runner_up"] is None:
            return ""
        low, high = f"{row['saving_low']:,.2f}", f"{row['saving_high']:,.2f}"
        alone = "; by the shop's cost alone" if self.cost_alone else ""
        return (
            f"saves {self.money(row['saving_per_job'])} a job ({low} to {high}) against "
            f"{self.name(row['runner_up'])}, {_sure(row['p_best'])} sure to be the cheapest"
            f"{self.elsewhere}{alone}"
        )

    @property
    def second(self) -> str:
        """What is said of the runner-up where it costs about the same."""
        known = "" if self.row["runner_up_safety"] == CLEARED else ", its safety is not shown"
        return f"{self.name(self.row['runner_up'])} would cost about the same{known}"

    @property
    def elsewhere(self) -> str:
        """Where the figures are not those of the model asked about."""
        if self.row["model"] is None:
            return " over all models"
        return "; known from other models only" if self.row["borrowed"] == 1 else ""


def _sure(p_best: float) -> str:
    """A probability in whole per cent; draws can't tell one beyond 99 from certainty."""
    return "over 99 %" if p_best > 0.99 else f"{100 * p_best:.0f} %"


_Chosen = tuple[str | None, str, str]


def _of_standard(told: _Told) -> _Chosen | None:
    """What a house standard leads to; None without one, or where it may not be used."""
    standard, row = told.standard, told.row
    if standard is None or told.safety.get(standard.option) == WORSE:
        return None
    leader = row["option"]
    if told.sure_enough and leader != standard.option:
        return leader, BETTER, f"{told.sure}; the house standard is {told.name(standard.option)}"
    more = _agreed(told) if leader == standard.option else _another(told)
    if leader != standard.option and told.safety.get(standard.option) == UNPROVEN:
        more = f"; its safety is not shown yet{more}"
    return standard.option, HOUSE, f"since {standard.since}{more}"


def _another(told: _Told) -> str:
    """What to know of an option that leads beside a house standard that stays."""
    row, less = told.row, told.row["saving_vs_current"]
    if row["option"] is None:
        return ""
    other = told.name(row["option"])
    if row["verdict"] == UNPROVEN:
        return f"; {other} may cost less, its safety is not shown"
    if less is None:
        return f"; no recorded job tells it from {other}"
    if row["verdict"] == EQUAL_ENOUGH or less <= 0:
        return f"; {other} costs about the same"
    open_ = "by the shop's cost alone" if told.cost_alone else "not settled"
    return f"; {other} looks {told.money(less)} a job cheaper, {_sure(row['p_best'])} sure: {open_}"


def _agreed(told: _Told) -> str:
    """How the records stand to a house standard that leads."""
    verdict = told.row["verdict"]
    if verdict == ONLY_ONE:
        return "; nothing recorded to compare it with"
    if verdict == EQUAL_ENOUGH:
        return f"; {told.second}"
    if verdict == UNPROVEN:
        return "; its safety is not shown yet"
    return f"; {told.sure}" if told.sure else ""


def _of_verdict(told: _Told) -> _Chosen:
    """What the records alone lead to."""
    row, standard = told.row, told.standard
    leader, verdict = row["option"], row["verdict"]
    before = ""
    if standard is not None:
        before = f"the house standard {told.name(standard.option)} is ruled out by its safety "
        before += "failures; "
    if leader is None:
        return None, OPEN, f"{before}every option is ruled out by safety failures: ask first"
    if verdict == UNPROVEN:
        return _unproven(told, before)
    word = BETTER if before or told.sure_enough else _WORDS.get(verdict, OPEN)
    return leader, word, before + _why(told)


_WORDS = {EQUAL_ENOUGH: EQUAL, ONLY_ONE: ALONE}


def _unproven(told: _Told, before: str) -> _Chosen:
    """The one in use if it is cleared, else the cheapest that is.

    Where no option is cleared, the one in use unless it is ruled out: none is named for its price.
    """
    row = told.row
    leader, current = row["option"], row["current"]
    cleared = [option for option, state in told.safety.items() if state == CLEARED]
    needed = ""
    if row["jobs_needed"]:
        needed = f"; {counted(row['jobs_needed'], 'job')} without a safety failure would show it"
    if cleared:
        option, in_use = (current, "in use; ") if current in cleared else (cleared[0], "")
        why = f"{in_use}{told.name(leader)} may cost less, its safety is not shown{needed}"
        return option, OPEN, before + why
    if current != leader and told.safety.get(current) == UNPROVEN:
        why = f"in use; neither its safety nor that of {told.name(leader)} is shown"
        return current, OPEN, before + why
    return leader, OPEN, f"{before}its safety is not shown yet{needed}"


def _why(told: _Told) -> str:
    row = told.row
    if row["verdict"] == ONLY_ONE:
        return "nothing recorded to compare it with"
    if row["verdict"] == EQUAL_ENOUGH:
        return told.second
    if row["verdict"] == STANDARDISE:
        return f"{told.sure}, but on the border" if row["borderline"] else told.sure
    open_ = {TRIAL: "a trial would pay", LEAN: "little is lost if wrong: keep counting"}
    return f"{told.sure}; {open_.get(row['verdict'], 'too little recorded')}"
