"""What every finding is: frozen data that charts, reports and the command line only show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fixstats.folder import ShopFolder
from fixstats.tallies.counts import Period

if TYPE_CHECKING:
    import polars as pl

OWN_RECORDS = (
    "These figures describe this shop's own records only; the maker's service instructions, local "
    "rules and licensed practice come first."
)


@dataclass(frozen=True)
class Note:
    """Something a reader must know beside the numbers; ``code`` is stable, ``text`` for people."""

    code: str
    text: str


@dataclass(frozen=True)
class Finding:
    """An answer.

    Attributes
    ----------
    question
        Name of the question, such as ``rates``.
    settings
        Everything that shaped the answer: level, view, dates, catalogue, imports.
    rows
        One mapping a row; every row has the same keys, None where there is no finite value.
    keys
        Names of the row keys that the person grouped by.
    notes, cautions
        What to know when reading; what to take care of at the bench.
    labels
        Code -> label for the codes that occur.
    parts
        Further tables behind the rows, by name, such as the strata of a comparison: for pictures
        and for people who dig; not part of the JSON.
    """

    question: str
    settings: Mapping[str, Any]
    rows: Sequence[Mapping[str, Any]]
    keys: tuple[str, ...] = ()
    notes: tuple[Note, ...] = ()
    cautions: tuple[str, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    parts: Mapping[str, Sequence[Mapping[str, Any]]] = field(default_factory=dict)

    @property
    def frame(self) -> pl.DataFrame:
        """The rows as a Polars frame, columns in the order of the row keys."""
        import polars as pl

        return pl.DataFrame(list(self.rows), infer_schema_length=None)

    def as_json(self) -> dict[str, Any]:
        """``question``, ``settings``, ``rows``, ``notes`` as plain values; cautions are notes."""
        cautions = [Note("caution", text) for text in self.cautions]
        return {
            "question": self.question,
            "settings": dict(self.settings),
            "rows": [dict(row) for row in self.rows],
            "notes": [{"code": one.code, "text": one.text} for one in (*self.notes, *cautions)],
        }


def listing(
    question: str,
    rows: Sequence[Mapping[str, Any]],
    nothing: str = "no rows",
    *,
    settings: Mapping[str, Any] | None = None,
    note: str | None = None,
    notes: Sequence[Note] = (),
) -> Finding:
    """Rows that need no conclusion, in the one form that is shown.

    ``nothing`` is said of none, ``note`` of rows that were cut, ``notes`` of all.
    """
    first = [Note("nothing", nothing)] if not rows else []
    first += [Note("cut", note)] if note else []
    return Finding(question, settings or {}, tuple(rows), notes=(*first, *notes))


def common_settings(folder: ShopFolder, period: Period, **more: Any) -> dict[str, Any]:
    """The settings that every finding states; ``more`` comes first."""
    return {
        **more,
        "as_of": period.as_of.isoformat() if period.as_of else None,
        "catalogue_hash": folder.catalogue.hash,
        "batches": list(period.batches),
        "currency": folder.settings.currency,
    }
