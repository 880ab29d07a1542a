"""The monthly report of a shop: asks every question that it tells, over one view of the records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
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
        from fixstats.engines.duck import give_memory_back
        from fixstats.findings.month import month_asked
        from fixstats.report.files import reports_of, verdicts_written
        from fixstats.report.monthly import monthly
        from fixstats.tallies.counts import period

        batches = self.batches().finding
        with self.session() as con:
            give_memory_back(con)
            covered = period(con)
            asked = month_asked(month, covered)
            before = verdicts_written(reports_of(self.folder) / asked.before.name)
            material = gather(con, self.folder, asked, covered, batches, before)
        # What waits in the inbox is told where the records are doubted.
        return monthly(replace(material, checked=self._result(material.checked).finding))


def gather(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    month: Month,
    covered: Period,
    batches: Finding,
    verdicts_before: Mapping[str, tuple[str, str | None]] | None,
) -> Material:
    """Every finding as known at the month's end; ``con`` is a session with all views."""
    from fixstats.findings.comebacks import comebacks
    from fixstats.findings.comebacks_plan import ComebacksAsk
    from fixstats.findings.costs import costs
    from fixstats.findings.decide import decide
    from fixstats.findings.decide_plan import DecideAsk
    from fixstats.findings.month import changes
    from fixstats.findings.rates import RatesAsk, rates
    from fixstats.findings.standards import StandardsAsk, standards
    from fixstats.findings.trial import trial_list, trial_status
    from fixstats.report.material import MONTHS_RANKED, Material
    from fixstats.shop_report_aside import asked_aside

    until = min(month.last, covered.as_of)
    trials = trial_list(con, folder)
    returns = ComebacksAsk(until=until, as_of=until)
    since = month.back(MONTHS_RANKED - 1).first
    with asked_aside(con, folder, until) as wait:
        changed = changes(con, folder, month, covered)
        decided = decide(con, folder, DecideAsk(until=until))
        adopted = standards(con, folder, StandardsAsk(until=until))
        ranked, of_month = (
            costs(rates(con, folder, RatesAsk(since=first, until=until)), folder)
            for first in (since, month.first)
        )
        returned, by_model = (
            comebacks(con, folder, replace(returns, by=keys)) for keys in ((), ("model",))
        )
        states = tuple(trial_status(con, folder, row["trial"]) for row in trials.rows)
        aside = wait()
    return Material(
        folder=folder,
        month=month,
        covered=covered,
        changed=changed,
        decided=decided,
        verdicts_before=verdicts_before,
        standards=adopted,
        costs=ranked,
        costs_of_month=of_month,
        compared=aside.compared,
        comebacks=returned,
        comebacks_by_model=by_model,
        watched=aside.watched,
        trials=trials,
        trial_states=states,
        checked=aside.checked,
        batches=batches,
    )
