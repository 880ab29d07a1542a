"""What changed since last month? The rates of two calendar months, each beside the other."""

from __future__ import annotations

import calendar
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from fixstats import stats
from fixstats.errors import UsageError
from fixstats.findings.base import Finding, Note
from fixstats.findings.rates import RatesAsk, rates
from fixstats.folder import ShopFolder
from fixstats.tallies.check_counts import jobs_by_month
from fixstats.tallies.counts import Period

if TYPE_CHECKING:
    import duckdb

# Records that end so many days before a month's end have come to its last week.
_LAST_WEEK = 6
# Figures of one month, by their names in a row of rates.
_FIGURES = ("failures", "opportunities", "unknown", "rate", "low", "high", "at_most")
KEYS = (
    "unit", "mode", "family", *_FIGURES, *(f"before_{name}" for name in _FIGURES),
    "difference", "difference_low", "difference_high", "p_value", "p_corrected", "changed",
)  # fmt: skip


@dataclass(frozen=True)
class Month:
    """A calendar month."""

    year: int
    number: int

    @property
    def name(self) -> str:
        """``2026-09``."""
        return f"{self.year:04}-{self.number:02}"

    @property
    def words(self) -> str:
        """``September 2026``."""
        return f"{calendar.month_name[self.number]} {self.year}"

    @property
    def first(self) -> date:
        """Its first day."""
        return date(self.year, self.number, 1)

    @property
    def last(self) -> date:
        """Its last day."""
        return date(self.year, self.number, calendar.monthrange(self.year, self.number)[1])

    @property
    def before(self) -> Month:
        """The month before."""
        return month_of(self.first - timedelta(days=1))

    def back(self, months: int) -> Month:
        """So many months earlier; at the earliest January of year 1."""
        number = max(12 * self.year + self.number - 1 - months, 12)
        return Month(number // 12, number % 12 + 1)


def month_of(day: date) -> Month:
    """The month of a day."""
    return Month(day.year, day.month)


def month_asked(text: str, covered: Period) -> Month:
    """The month named, or for ``last`` the last one of which the records reach the last week.

    Where the records are younger than that, ``last`` is the month in which they end.

    Raises
    ------
    UsageError
        If it is no month, nothing is recorded yet, or the records do not reach it.
    """
    if not covered.jobs:
        raise UsageError("nothing to report: no job is in the records yet\nfixstats import FILE")
    first, end = month_of(covered.first), month_of(covered.as_of)
    if text == "last":
        reached = (end.last - covered.as_of).days <= _LAST_WEEK
        return end if reached or end == first else end.before
    try:
        year, number = text.split("-")
        if len(year) != 4 or len(number) != 2:
            raise ValueError(text)
        month = month_of(date(int(year), int(number), 1))
    except ValueError as trouble:
        raise UsageError(
            f"--month {text}: no such month; write it like {end.name}, or last"
        ) from trouble
    if not first.name <= month.name <= end.name:
        raise UsageError(
            f"--month {text}: the records go from {first.name} to {end.name}; ask for one of these"
        )
    return month


def changes(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, month: Month, covered: Period
) -> Finding:
    """Every mode and family in this month and the one before; ``con`` is a session with views."""
    families = tuple(code for code, modes in folder.catalogue.families.items() if len(modes) > 1)
    ask = RatesAsk(by=("month",), since=month.before.first, until=month.last)
    modes = rates(con, folder, ask)
    unions = rates(con, folder, replace(ask, family=families)) if families else None
    jobs = {name: jobs_by_month(con).get(name, 0) for name in (month.name, month.before.name)}
    rows = [*(unions.rows if unions else ()), *modes.rows]
    settings = {**modes.settings, "month": month.name, "before": month.before.name}
    return Finding(
        question="month",
        settings={**settings, "jobs": jobs[month.name], "jobs_before": jobs[month.before.name]},
        rows=tuple(conclude(rows, month, modes.settings["confidence_level"])),
        notes=tuple(_notes(month, covered, modes.notes)),
        cautions=modes.cautions,
        labels=modes.labels,
    )


def conclude(
    rows: Sequence[Mapping[str, Any]], month: Month, confidence_level: float
) -> list[dict[str, Any]]:
    """A row for each mode and family with opportunities in either month; pure.

    Differences are this month minus the one before, by Newcombe's method 10; p-values are those of
    Fisher's exact test, corrected over all rows by Benjamini and Hochberg, since of many rows some
    differ by chance. ``changed``: the corrected p-value is below 1 - ``confidence_level``.
    """
    pairs: dict[tuple[Any, Any], dict[str, Mapping[str, Any]]] = {}
    for row in rows:
        pairs.setdefault((row["mode"], row["family"]), {})[row["month"]] = row
    told = [
        _beside(pair.get(month.name), pair.get(month.before.name))
        for pair in pairs.values()
        if any(one["opportunities"] for one in pair.values())
    ]
    both = [row for row in told if row["opportunities"] and row["before_opportunities"]]
    _compare(both, confidence_level)
    return told


def _beside(now: Mapping[str, Any] | None, before: Mapping[str, Any] | None) -> dict[str, Any]:
    one = now or before or {}
    row: dict[str, Any] = {name: one[name] for name in ("unit", "mode", "family")}
    none = dict.fromkeys(_FIGURES) | {"failures": 0, "opportunities": 0, "unknown": 0}
    row |= {name: (now or none)[name] for name in _FIGURES}
    row |= {f"before_{name}": (before or none)[name] for name in _FIGURES}
    return row | dict.fromkeys(KEYS[len(row) : -1]) | {"changed": False}


def _compare(rows: Sequence[dict[str, Any]], confidence_level: float) -> None:
    """Fill in what compares two months; ``rows`` have opportunities in both."""
    if not rows:
        return
    counted = ("failures", "opportunities", "before_failures", "before_opportunities")
    x1, n1, x2, n2 = ([row[name] for row in rows] for name in counted)
    gap = stats.newcombe_difference(x1, n1, x2, n2, confidence_level=confidence_level)
    p_values = stats.fisher(x1, n1, x2, n2)
    corrected = stats.benjamini_hochberg(p_values)
    figures = zip(
        gap.estimate.tolist(), gap.low.tolist(), gap.high.tolist(),
        p_values.tolist(), corrected.tolist(), strict=True,
    )  # fmt: skip
    names = ("difference", "difference_low", "difference_high", "p_value", "p_corrected")
    for row, values in zip(rows, figures, strict=True):
        row.update(zip(names, values, strict=True))
        row["changed"] = row["p_corrected"] < 1 - confidence_level


def _notes(month: Month, covered: Period, notes: Sequence[Note]) -> list[Note]:
    """What the months cover, then what the rates say of themselves."""
    own = []
    if month.before.name < month_of(covered.first).name:
        text = f"nothing was recorded before {month.name}: there is no month to compare it with"
        own.append(Note("no_month_before", text))
    elif covered.first > month.before.first and month_of(covered.first) == month.before:
        text = f"{month.before.name}: partial, the records begin on {covered.first.isoformat()}"
        own.append(Note("partial", text))
    if covered.first > month.first and month_of(covered.first) == month:
        text = f"{month.name}: partial, the records begin on {covered.first.isoformat()}"
        own.append(Note("partial", text))
    return [*own, *notes]
