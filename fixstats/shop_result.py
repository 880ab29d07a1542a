"""What every question of a shop gives back, and how words for one or several values are taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats.findings.base import Finding, Note

if TYPE_CHECKING:
    import polars as pl

    from fixstats.charts import Picture

Words = str | Sequence[str]


@dataclass(frozen=True)
class Result:
    """An answer with everything that shaped it.

    ``finding`` is the frozen data; ``rows``, ``settings``, ``notes`` and ``cautions`` are its
    parts, ``frame`` the rows as a Polars frame, ``chart()`` the picture that goes with it.
    """

    finding: Finding

    @property
    def rows(self) -> Sequence[Mapping[str, Any]]:
        """One mapping a row, figures unrounded, None where there is no finite value."""
        return self.finding.rows

    @property
    def frame(self) -> pl.DataFrame:
        """The rows as a Polars frame."""
        return self.finding.frame

    @property
    def settings(self) -> Mapping[str, Any]:
        """Level, view, dates, catalogue and imports behind the answer."""
        return self.finding.settings

    @property
    def notes(self) -> tuple[Note, ...]:
        """What a reader must know beside the numbers."""
        return self.finding.notes

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to take care of at the bench."""
        return self.finding.cautions

    def chart(self) -> Picture:
        """The picture that goes with this answer, as an Altair chart."""
        from fixstats.charts import chart

        return chart(self.finding)


def words_of(words: Words) -> tuple[str, ...]:
    """One word or several, as a tuple."""
    return (words,) if isinstance(words, str) else tuple(words)


def pairs_of(where: Mapping[str, Words] | None) -> tuple[tuple[str, str], ...]:
    """(key, value) of every value asked for."""
    return tuple((key, word) for key, words in (where or {}).items() for word in words_of(words))
