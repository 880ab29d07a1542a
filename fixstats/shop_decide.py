"""Decisions of a shop: what to standardise, what to try, what to wait for."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from fixstats.shop_open import OpenShop
from fixstats.shop_result import Result, Words, pairs_of, words_of

if TYPE_CHECKING:
    from fixstats.findings.decide_plan import DecideAsk


class Decisions(OpenShop):
    """Mixed into ``Shop``."""

    def decide(
        self,
        choice: Words = (),
        *,
        model: Words = (),
        labour_rate: float | None = None,
        prices: Mapping[tuple[str, str], float] | None = None,
        costs: Mapping[str, float] | None = None,
        limits: Mapping[str, float] | None = None,
        where: Mapping[str, Words] | None = None,
        since: date | None = None,
        until: date | None = None,
        confidence: float | None = None,
    ) -> Result:
        """Which option of each choice to standardise, to try, or to wait for.

        Parameters
        ----------
        choice : steps or ``<part>_grade``; default: all of which an option was recorded.
            ``<part>_supplier`` needs one grade of that part in ``where``.
        model : device models; default: a row for all together and one for each.
        labour_rate, prices, costs, limits : what if, for this call only: money per hour;
            (part, grade) -> money; failure mode -> money each time; name of a setting -> value.
        where, since, until, confidence : as for ``rates``.

        Raises
        ------
        fixstats.errors.FixstatsError
            If something is unknown, makes no sense, or cannot be read just now.
        """
        from fixstats.findings.decide_plan import DecideAsk

        ask = DecideAsk(
            choices=words_of(choice),
            models=words_of(model),
            labour_rate=labour_rate,
            prices=tuple((*key, money) for key, money in (prices or {}).items()),
            costs=tuple((costs or {}).items()),
            limits=tuple((limits or {}).items()),
            where=pairs_of(where),
            since=since,
            until=until,
            confidence=confidence,
        )
        return self.ask_decide(ask)

    def ask_decide(self, ask: DecideAsk) -> Result:
        """``decide`` with the question put as one object."""
        from fixstats.findings.decide import decide
        from fixstats.tallies.decide import statements_for

        with self.session(digging=False, statements=statements_for(ask.where)) as con:
            return self._result(decide(con, self.folder, ask))
