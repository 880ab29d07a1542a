"""What a reader must know beside the rates: each note only where it applies."""

from __future__ import annotations

import calendar
from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.folder import Catalogue
from fixstats.tallies.counts import Period
from fixstats.words import counted, listed

if TYPE_CHECKING:
    from fixstats.findings.rates import RatesAsk

# More than a tenth of the units unknown: the rate alone could mislead (design 6.6).
WORTH_BOUNDS = 0.10
# An interval a quarter wider once technicians are seen to differ: worth saying.
WORTH_CLUSTERING = 1.25

Rows = Sequence[Mapping[str, Any]]


def notes_for(rows: Rows, left_out: int, ask: RatesAsk, covered: Period) -> tuple[Note, ...]:
    """Notes for the rows kept; ``left_out`` rows had too few opportunities; pure."""
    if not covered.jobs:
        return (Note("no_records", "no job is in the records yet: fixstats import FILE"),)
    found = (
        _nothing(rows, left_out, ask),
        _left_out(left_out, ask),
        _no_opportunities(rows),
        _zero_failures(rows, ask),
        _unknown(rows),
        _clustering(rows, ask),
        _later_tries(ask),
        _overlap(ask),
        _partial(rows, ask, covered),
        _not_recorded(rows, ask),
        Note("own_records", OWN_RECORDS),
    )
    return tuple(note for note in found if note)


def _nothing(rows: Rows, left_out: int, ask: RatesAsk) -> Note | None:
    if rows or left_out:
        return None
    return Note("nothing", "no job in the records was an opportunity for what was asked")


def _left_out(left_out: int, ask: RatesAsk) -> Note | None:
    if not left_out:
        return None
    rows = counted(left_out, "row")
    text = (
        f"{rows} with fewer than {counted(ask.min_opportunities, 'opportunity', 'opportunities')}"
    )
    return Note("few_opportunities", f"{text} left out")


def _no_opportunities(rows: Rows) -> Note | None:
    if all(row["opportunities"] for row in rows):
        return None
    return Note(
        "no_opportunities",
        "rate, low and high are empty where no opportunity is known: nobody looked, or a grade is "
        "missing",
    )


def _zero_failures(rows: Rows, ask: RatesAsk) -> Note | None:
    if all(row["failures"] for row in rows if row["opportunities"]):
        return None
    level = f"{100 * (ask.confidence or 0):g} %"
    return Note(
        "zero_failures",
        f"no failure seen does not mean none: at_most is the exact one-sided {level} upper limit; "
        "one_in is empty there",
    )


def worth_bounds(row: Mapping[str, Any]) -> bool:
    """True where more than a tenth of a row's units are unknown."""
    units = row["opportunities"] + row["unknown"]
    return bool(row["unknown"] > WORTH_BOUNDS * units)


def _unknown(rows: Rows) -> Note | None:
    many = [row for row in rows if worth_bounds(row)]
    if not many:
        return None
    return Note(
        "unknown_share",
        f"in {counted(len(many), 'row')} more than a tenth of the units are unknown (unchecked, "
        "not covered by the sheet, or not attributable); the rate leaves them out, the bounds say "
        "how far they could move it",
    )


def _clustering(rows: Rows, ask: RatesAsk) -> Note | None:
    if ask.cluster:
        unsure = sum(row["_design_effect"] is None for row in rows)
        if not unsure:
            return None
        return Note(
            "cluster_unknown",
            f"in {counted(unsure, 'row')} the effect of technicians cannot be estimated (one "
            "technician, no failure, or failures only); those intervals are not widened",
        )
    wide = [row["_wider"] for row in rows if (row["_wider"] or 0) >= WORTH_CLUSTERING]
    if not wide or "technician" in ask.by:
        return None
    return Note(
        "clustered",
        f"technicians differ: in {counted(len(wide), 'row')} the interval would be up to "
        f"{max(wide):.1f} times as wide if jobs of one technician count as alike "
        "(--cluster technician)",
    )


def _later_tries(ask: RatesAsk) -> Note | None:
    if ask.view != "attempted":
        return None
    return Note(
        "later_tries",
        "as attempted: later tries follow a failed one, so a method used as a rescue looks worse "
        "than it is; compare methods by first choice",
    )


def _overlap(ask: RatesAsk) -> Note | None:
    if "pair" not in ask.by:
        return None
    return Note(
        "overlap",
        "rows overlap: a job with three parts has up to three pairs, and its conflict counts for "
        "each pair that differs",
    )


def _partial(rows: Rows, ask: RatesAsk, covered: Period) -> Note | None:
    """A month not over by the last date in the records is marked (design 6.11)."""
    as_of = covered.as_of
    last_day = calendar.monthrange(as_of.year, as_of.month)[1]
    ends = {
        "month": (f"{as_of:%Y-%m}", as_of.day == last_day),
        "quarter": (
            f"{as_of.year}-Q{(as_of.month + 2) // 3}",
            as_of.day == last_day and as_of.month % 3 == 0,
        ),
        "year": (f"{as_of.year}", as_of == date(as_of.year, 12, 31)),
    }
    open_ones = [
        value
        for key, (value, over) in ends.items()
        if key in ask.by and not over and any(row[key] == value for row in rows)
    ]
    if not open_ones:
        return None
    return Note(
        "partial", f"{listed(open_ones)} is not over: the records end on {as_of.isoformat()}"
    )


def _not_recorded(rows: Rows, ask: RatesAsk) -> Note | None:
    if not any(row[key] is None for row in rows for key in ask.by if key != "pair"):
        return None
    return Note(
        "not_recorded",
        "an empty key, (not recorded) in tables, stands for jobs where that was not written down; "
        "'-' means not done or not fitted",
    )


def cautions_for(rows: Rows, catalogue: Catalogue) -> tuple[str, ...]:
    """The usual cautions where a safety mode is among the rows."""
    shown = {row["mode"] for row in rows}
    families = {row["family"] for row in rows if row["mode"] is None}
    if not any(
        mode.safety and (mode.code in shown or mode.family in families)
        for mode in catalogue.failure_modes
    ):
        return ()
    return (
        "A swollen, hot, bent or pierced cell: stop first. Follow the maker's service instructions "
        "and local rules for damaged lithium cells.",
    )
