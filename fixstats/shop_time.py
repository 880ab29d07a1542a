"""Questions of a shop about time: what comes back later."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from fixstats.shop_open import OpenShop
from fixstats.shop_result import Result, Words, pairs_of, words_of

if TYPE_CHECKING:
    from fixstats.findings.comebacks_plan import ComebacksAsk
    from fixstats.findings.watch_plan import WatchAsk


class TimeQuestions(OpenShop):
    """Mixed into ``Shop``."""

    def comebacks(
        self,
        *,
        by: Words = (),
        reason: Words = (),
        days: int | None = None,
        as_of: date | None = None,
        adjust: bool = False,
        curve: bool = False,
        include_rework: bool = False,
        where: Mapping[str, Words] | None = None,
        since: date | None = None,
        until: date | None = None,
        confidence: float | None = None,
    ) -> Result:
        """How many devices come back because of the repair, with censoring.

        Parameters
        ----------
        by : keys to group by; grade, supplier and lot are those of the piece in the device at
            hand-over, methods go by first choice.
        reason : failure modes, a row each; ``any`` (the default) for any but unrelated returns.
        days : follow-up after hand-over; default: the warranty.
        as_of : the day up to which returns are known; default: the end of the records.
        adjust : also rates of the options of the one key in ``by`` over the same jobs, in
            ``finding.parts["adjusted"]``.
        curve : a row for each day on which the share rises, instead of the last day only.
        include_rework : follow jobs that are themselves come-backs, too.
        where, since, until, confidence : as for ``rates``.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, does not fit together, or cannot be read just now.
        """
        from fixstats.findings.comebacks_plan import ComebacksAsk

        ask = ComebacksAsk(
            by=words_of(by),
            reason=words_of(reason),
            days=days,
            as_of=as_of,
            adjust=adjust,
            curve=curve,
            include_rework=include_rework,
            where=pairs_of(where),
            since=since,
            until=until,
            confidence=confidence,
        )
        return self.ask_comebacks(ask)

    def ask_comebacks(self, ask: ComebacksAsk) -> Result:
        """``comebacks`` with the question put as one object."""
        from fixstats.findings.comebacks import comebacks
        from fixstats.tallies.followups import statements_for

        statements = statements_for(ask.by, ask.where)
        with self.session(digging=False, statements=statements) as con:
            return self._result(comebacks(con, self.folder, ask))

    def watch(
        self,
        *,
        mode: Words = (),
        family: Words = (),
        group: Words = (),
        since: date | None = None,
        until: date | None = None,
    ) -> Result:
        """What is out: modes and families over time, technicians, suppliers and lots.

        Parameters
        ----------
        mode, family : only these (a family: itself and its modes).
        group : only these kinds of group: ``technician``, ``supplier``, ``lot``, ``battery_lot``.
        since, until : first and last day watched; default: the last 12 months, or the later half
            of shorter records. The 12 months before are the baseline.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, does not fit together, or cannot be read just now.
        """
        from fixstats.findings.watch_plan import WatchAsk

        ask = WatchAsk(words_of(mode), words_of(family), words_of(group), since, until)
        return self.ask_watch(ask)

    def ask_watch(self, ask: WatchAsk) -> Result:
        """``watch`` with the question put as one object."""
        from fixstats.findings.watch import watch

        with self.session(digging=False) as con:
            return self._result(watch(con, self.folder, ask))
