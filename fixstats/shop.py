"""The Python entry: ``fixstats.open("folder")`` gives a Shop whose methods answer questions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fixstats.findings.base import listing
from fixstats.folder import find_folder
from fixstats.shop_bench import BenchWork
from fixstats.shop_brief import BenchBrief
from fixstats.shop_decide import Decisions
from fixstats.shop_report import MonthlyReport
from fixstats.shop_result import Result, Words, words_of
from fixstats.shop_standards import Standards
from fixstats.shop_time import TimeQuestions

if TYPE_CHECKING:
    import polars as pl

    from fixstats.findings.causes import CausesAsk
    from fixstats.findings.compare_plan import CompareAsk
    from fixstats.findings.practice import PracticeAsk
    from fixstats.findings.rates import RatesAsk


@dataclass(frozen=True)
class Shop(TimeQuestions, Decisions, BenchWork, Standards, BenchBrief, MonthlyReport):
    """One workshop, open for questions; every question reads the records as they stand then."""

    def rates(
        self,
        *,
        mode: Words = (),
        family: Words = (),
        any: Words = (),  # noqa: A002 - the word of the command line
        by: Words = (),
        where: Mapping[str, Words] | None = None,
        since: date | None = None,
        until: date | None = None,
        view: str = "first",
        interval: str = "wilson",
        confidence: float | None = None,
        cluster: str | None = None,
        min_opportunities: int = 0,
        sort: str | None = None,
        pool: bool = False,
    ) -> Result:
        """How often failure modes happen, out of their opportunities, with intervals.

        Parameters
        ----------
        mode, family, any : codes: a row for each mode; a row for the union of each family over
            the job; one row for the union of all of these.
        by : keys to group by, such as ``["model", "opening"]``.
        where : key -> value or values; values of one key are alternatives.
        since, until : first and last day of hand-over.
        view : ``first`` (by first choice) or ``attempted``.
        interval : a name of ``fixstats.stats.INTERVALS``; confidence : its two-sided level.
        cluster : ``technician`` widens intervals for jobs of one technician being alike.
        min_opportunities : leave out rows with fewer; sort : a row key.
        pool : also ``pooled_rate``, ``pooled_low``, ``pooled_high`` and ``borrowed`` (0 to 1),
            across the models within each combination of the other keys.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, does not fit together, or cannot be read just now.
        """
        from fixstats.findings.rates import RatesAsk

        pairs = [(key, word) for key, words in (where or {}).items() for word in words_of(words)]
        ask = RatesAsk(
            mode=words_of(mode),
            family=words_of(family),
            any=words_of(any),
            by=words_of(by),
            where=tuple(pairs),
            since=since,
            until=until,
            view=view,
            interval=interval,
            confidence=confidence,
            cluster=cluster,
            min_opportunities=min_opportunities,
            sort=sort,
            pool=pool,
        )
        return self.ask_rates(ask)

    def ask_rates(self, ask: RatesAsk) -> Result:
        """``rates`` with the question put as one object."""
        from fixstats.findings.rates import rates
        from fixstats.tallies.counts import statements_for

        statements = statements_for(ask.by, ask.where, ask.view)
        with self.session(digging=False, statements=statements) as con:
            return self._result(rates(con, self.folder, ask))

    def practice(
        self,
        step: str,
        *,
        mode: str | None = None,
        family: str | None = None,
        any: Words = (),  # noqa: A002 - the word of the command line
        method: Words = (),
        where: Mapping[str, Words] | None = None,
        since: date | None = None,
        until: date | None = None,
        confidence: float | None = None,
        include_rework: bool = False,
    ) -> Result:
        """Failure rate and minutes of a step by the technician's earlier uses of its method.

        Parameters
        ----------
        step : a step of the catalogue.
        mode, family, any : what counts as a failure; default: any mode that can occur at the step.
        method : only these methods.
        where, since, until, confidence : as for ``rates``.
        include_rework : count jobs that are themselves come-backs.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, does not fit together, or cannot be read just now.
        """
        from fixstats.findings.practice import PracticeAsk

        pairs = [(key, word) for key, words in (where or {}).items() for word in words_of(words)]
        ask = PracticeAsk(
            step=step,
            mode=mode,
            family=family,
            any=words_of(any),
            method=words_of(method),
            where=tuple(pairs),
            since=since,
            until=until,
            confidence=confidence,
            include_rework=include_rework,
        )
        return self.ask_practice(ask)

    def ask_practice(self, ask: PracticeAsk) -> Result:
        """``practice`` with the question put as one object."""
        from fixstats.findings.practice import practice

        with self.session(digging=False) as con:
            return self._result(practice(con, self.folder, ask))

    def compare(
        self,
        choice: str,
        *,
        mode: Words = (),
        family: Words = (),
        any: Words = (),  # noqa: A002 - the word of the command line
        by: Words = (),
        baseline: str | None = None,
        adjust: Words | None = None,
        strata: Words | None = None,
        at: str = "now",
        include_rework: bool = False,
        where: Mapping[str, Words] | None = None,
        since: date | None = None,
        until: date | None = None,
        confidence: float | None = None,
    ) -> Result:
        """Options of a choice against a baseline: raw, within strata, and adjusted.

        Parameters
        ----------
        choice : a step, ``<part>_grade`` or ``<part>_supplier``.
        mode, family, any : codes: rows for each mode, for the union of each family, for the union
            of all of these; without any, for the union of all that can occur at the choice.
        by : ``"model"`` for rows of each model beside those of all jobs.
        baseline : an option; else the house standard, else the most used.
        adjust : keys to adjust for, ``"none"`` for no fit; strata : keys of the strata.
        at : ``now``, or ``practised`` with all technicians practised.
        include_rework : count jobs that are themselves come-backs.
        where, since, until, confidence : as for ``rates``.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, does not fit together, or cannot be read just now.
        """
        from fixstats.findings.compare_plan import CompareAsk

        pairs = [(key, word) for key, words in (where or {}).items() for word in words_of(words)]
        ask = CompareAsk(
            choice=choice,
            mode=words_of(mode),
            family=words_of(family),
            any=words_of(any),
            by=words_of(by),
            baseline=baseline,
            adjust=None if adjust is None else words_of(adjust),
            strata=None if strata is None else words_of(strata),
            at=at,
            include_rework=include_rework,
            where=tuple(pairs),
            since=since,
            until=until,
            confidence=confidence,
        )
        return self.ask_compare(ask)

    def ask_compare(self, ask: CompareAsk) -> Result:
        """``compare`` with the question put as one object."""
        from fixstats.findings.compare import compare

        with self.session(digging=False) as con:
            return self._result(compare(con, self.folder, ask))

    def causes(
        self,
        mode: str,
        *,
        where: Mapping[str, Words] | None = None,
        since: date | None = None,
        until: date | None = None,
        confidence: float | None = None,
        min_opportunities: int = 10,
    ) -> Result:
        """Recorded conditions that go with a failure mode, each adjusted for what came before it.

        Parameters
        ----------
        mode : a failure mode, or a family for any of its modes.
        where, since, until, confidence : as for ``rates``.
        min_opportunities : leave out values of a condition with fewer.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, does not fit together, or cannot be read just now.
        """
        from fixstats.findings.causes import CausesAsk

        pairs = [(key, word) for key, words in (where or {}).items() for word in words_of(words)]
        ask = CausesAsk(mode, tuple(pairs), since, until, confidence, min_opportunities)
        return self.ask_causes(ask)

    def ask_causes(self, ask: CausesAsk) -> Result:
        """``causes`` with the question put as one object."""
        from fixstats.findings.causes import causes

        with self.session(digging=False) as con:
            return self._result(causes(con, self.folder, ask))

    def costs(self, *, since: date | None = None, until: date | None = None) -> Result:
        """Failure modes ranked by what they cost over the period."""
        from fixstats.findings.costs import costs

        return Result(costs(self.rates(since=since, until=until).finding, self.folder))

    def check(self) -> Result:
        """What the records cannot support, most important first."""
        from fixstats.findings.check import check

        with self.session() as con:
            return self._result(check(con, self.folder))

    def sql(self, query: str, *, rows: int = 10_000) -> pl.DataFrame:
        """The answer of one SELECT of yours over the shop's views, as a Polars frame.

        ``rows``: most rows to return; a warning says where there were more.

        Raises
        ------
        fixstats.errors.QueryError
            If it is anything else than one SELECT, is wrong, or goes over its limits.
        """
        from fixstats.engines.sandbox import run_sql

        result = run_sql(self.folder, query, row_limit=rows)
        if result.note:
            import warnings

            warnings.warn(result.note, stacklevel=2)
        return result.frame

    def query(self, name: str, **values: Any) -> pl.DataFrame:
        """One of the questions in ``queries/questions``, as a Polars frame.

        ``values``: parameters of the question by name; those left out keep their default.

        Raises
        ------
        fixstats.errors.UsageError
            If the question or a parameter is unknown, or a value does not fit.
        """
        from fixstats.tallies.questions import run_question

        return run_question(self.folder, name, {key: str(v) for key, v in values.items()}).frame

    def heldback(self) -> Result:
        """Rows that were held back, a row for each fault: file, row, job, column, value, reason."""
        from fixstats.records.heldback import heldback

        rows = [
            {"batch": held.batch, "file": held.file, "row": held.row, "job": held.job}
            | {"column": fault.column, "value": fault.value, "reason": fault.reason}
            for held in heldback(self.folder)
            for fault in held.faults
        ]
        return Result(listing("heldback", rows, "no row is held back"))


def open_shop(path: Path | str | None = None) -> Shop:
    """Open a shop folder; its settings and catalogue are checked at once."""
    folder = find_folder(path)
    _ = folder.settings, folder.catalogue
    return Shop(folder)
