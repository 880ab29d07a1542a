"""What a monthly report is made from: findings, gathered by whoever can ask the shop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fixstats.findings.base import Finding
from fixstats.findings.month import Month, month_of
from fixstats.folder import ShopFolder
from fixstats.tallies.counts import Period

# The time over which costs are ranked: a single month is too short to rank anything.
MONTHS_RANKED = 12


@dataclass(frozen=True)
class Material:
    """Findings as known at the end of a month.

    Attributes
    ----------
    folder, month, covered
        The shop, the month told, what the records cover.
    changed
        The month beside the one before (``month``).
    decided
        Verdicts on the records up to the end of the month.
    verdicts_before
        Choice -> verdict and option over all models, as the report of the month before has them;
        None where there is none.
    standards
        House standards in force.
    costs, costs_of_month
        Failure modes by cost, over `MONTHS_RANKED` months and in this month.
    compared
        One comparison for every choice with two options or more.
    comebacks, comebacks_by_model
        Returns known by the end of the month.
    watched
        Alarms up to the end of the month.
    trials, trial_states
        Every trial, and how each stands at the end of the records.
    checked, batches
        What the records lack, and the imports behind them, both as they are now.
    """

    folder: ShopFolder
    month: Month
    covered: Period
    changed: Finding
    decided: Finding
    verdicts_before: Mapping[str, tuple[str, str | None]] | None
    standards: Finding
    costs: Finding
    costs_of_month: Finding
    compared: Sequence[Finding]
    comebacks: Finding
    comebacks_by_model: Finding
    watched: Finding
    trials: Finding
    trial_states: Sequence[Finding]
    checked: Finding
    batches: Finding

    @property
    def currency(self) -> str:
        """The shop's currency, ISO 4217."""
        return self.folder.settings.currency

    @property
    def level(self) -> str:
        """The shop's confidence level: ``95 %``."""
        return f"{100 * self.folder.settings.confidence_level:g}\u00a0%"

    @property
    def partial(self) -> bool:
        """Whether the records cover only a part of the month."""
        return bool(self.covered.as_of < self.month.last or self.covered.first > self.month.first)

    @property
    def later(self) -> bool:
        """Whether the records go on after the month."""
        return month_of(self.covered.as_of) != self.month

    def label(self, code: str) -> str:
        """What people read for a code."""
        return self.folder.catalogue.label(code)
