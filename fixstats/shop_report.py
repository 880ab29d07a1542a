"""The monthly report of a shop: asks every question that it tells, over one view of the records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from fixstats.findings.base import Finding
from fixstats.folder import ShopFolder
from fixstats.shop_open import OpenShop

if TYPE_CHECKING:
    import duckdb

    from fixstats.findings.month import Month
    from fixstats.report.blocks import Page
    from fixstats.report.material import Material
    from fixstats.tallies.counts import Period


class MonthlyReport(OpenShop):
    """Mixed into ``Shop``."""

    def report(self, month: str = "last") -> Page:
        """The report of a month, to be written by ``fixstats.report.files.write_report``.

        Parameters
        ----------
        month : ``YYYY-MM``, or ``last`` for the last one of which the records reach the last week.

        Raises
        ------
        fixstats.errors.FixstatsError
            If the month lies outside the records, or they cannot be read just now.
        """
        from fixstats.findings.month import month_asked
        from fixstats.report.files import reports_of, verdicts_written
        from fixstats.report.monthly import monthly
        from fixstats.tallies.counts import period

        batches = self.batches().finding
        with self.session() as con:
            covered = period(con)
            asked = month_asked(month, covered)
            before = verdicts_written(reports_of(self.folder) / asked.before.name)
            material = gather(con, self.folder, asked, covered, batches, before)
        return monthly(material)


def gather(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    month: Month,
    covered: Period,
    batches: Finding,
    verdicts_before: Mapping[str, tuple[str, str | None]] | None,
) -> Material:
    """Every finding as known at the month's end; ``con`` is a session with all views."""
    from fixstats.findings.check import check
    from fixstats.findings.comebacks import comebacks
    from fixstats.findings.comebacks_plan import ComebacksAsk
    from fixstats.findings.costs import costs
    from fixstats.findings.decide import decide
    from fixstats.findings.decide_plan import DecideAsk
    from fixstats.findings.month import changes
    from fixstats.findings.rates import RatesAsk, rates
    from fixstats.findings.standards import StandardsAsk, standards
    from fixstats.findings.trial import trial_list, trial_status
    from fixstats.findings.watch import watch
    from fixstats.findings.watch_plan import WatchAsk
    from fixstats.report.material import MONTHS_RANKED, Material

    until = min(month.last, covered.as_of)
    trials = trial_list(con, folder)
    returns = ComebacksAsk(until=until, as_of=until)
    since = month.back(MONTHS_RANKED - 1).first
    return Material(
        folder=folder,
        month=month,
        covered=covered,
        changed=changes(con, folder, month, covered),
        decided=decide(con, folder, DecideAsk(until=until)),
        verdicts_before=verdicts_before,
        standards=standards(con, folder, StandardsAsk(until=until)),
        costs=costs(rates(con, folder, RatesAsk(since=since, until=until)), folder),
        costs_of_month=costs(rates(con, folder, RatesAsk(since=month.first, until=until)), folder),
        compared=compared(con, folder, until),
        comebacks=comebacks(con, folder, returns),
        comebacks_by_model=comebacks(con, folder, replace(returns, by=("model",))),
        watched=watch(con, folder, WatchAsk(until=until)),
        trials=trials,
        trial_states=tuple(trial_status(con, folder, row["trial"]) for row in trials.rows),
        checked=check(con, folder),
        batches=batches,
    )


def compared(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, until: date
) -> tuple[Finding, ...]:
    """A comparison for every choice at which two options were used and something can fail."""
    from fixstats.findings.compare import compare
    from fixstats.findings.compare_plan import PART_CHOICES, CompareAsk, can_occur, find_choice

    catalogue = folder.catalogue
    parts = [f"{part}_{field}" for field in PART_CHOICES for part in catalogue.part_codes]
    choices = [find_choice(name, catalogue) for name in (*catalogue.step_codes, *parts)]
    asked = [
        choice.name
        for choice in choices
        if any(can_occur(mode, choice) for mode in catalogue.failure_modes)
    ]
    found = (compare(con, folder, CompareAsk(name, until=until)) for name in asked)
    return tuple(one for one in found if one.rows)
