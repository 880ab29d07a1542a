"""The bench brief of a shop: one page before the job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fixstats.shop_open import OpenShop
from fixstats.shop_result import Result

if TYPE_CHECKING:
    pass


class BenchBrief(OpenShop):
    """Mixed into ``Shop``."""

    def brief(self, *, model: str, repair: str) -> Result:
        """What to know before one repair on one model: a row for each step, then each part.

        A row has ``place``, ``kind`` (step or part), ``label``, ``choice``, the ``option`` named
        (``option_label``, ``word`` for how it is meant, ``standard``, ``why``), what ``decide``
        says of it (``verdict``, ``scope``, ``p_best``, ``jobs``, ``borrowed``, ``safety``), a
        running ``trial``, ``cautions``, and up to three likeliest ``failures``. Each of these has
        ``mode``, ``rate`` with ``low`` and ``high`` (fractions, partially pooled over the models),
        ``one_in``, ``at_most`` where none was seen, the counts of this model and of all, and
        ``borrowed``, the share of the rate that the other models bring. ``finding.parts`` holds
        the rest of the page: ``minutes``, ``ready``, ``stop_first``, ``intake``, ``customer`` and
        ``allowance``; every row has its words as ``text``.

        Parameters
        ----------
        model : a device model; of one never seen everything is borrowed from the others.
        repair : a repair of the catalogue, by its code or label.

        Raises
        ------
        fixstats.errors.FixstatsError
            If the repair is unknown, the model has no name, or the records cannot be read just now.
        """
        from fixstats.findings.brief import brief

        with self.session() as con:  # how a trial stands needs every view
            return self._result(brief(con, self.folder, model, repair))
