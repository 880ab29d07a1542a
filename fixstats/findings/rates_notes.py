"""What a reader must know beside the rates: each note only where it applies."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping, Sequence
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
        _rework(rows, ask, covered),
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
        f"in {counted(len(wide), 'row')} the rates of single technicians lie so far apart that, if "
        f"jobs of one technician are alike, the interval is up to {max(wide):.1f} times as wide "
        "(--cluster technician); with few technicians this is itself a rough estimate",
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
    """A period cut by the end of the records or by the dates asked for is marked (design 6.11)."""
    last = min(covered.as_of, ask.until or covered.as_of)
    cut = [name for name in _periods(last, ask) if _ends(name) != last]
    if ask.since:
        cut += [name for name in _periods(ask.since, ask) if _begins(name) != ask.since]
    shown = {row[key] for row in rows for key in _PERIODS if key in ask.by}
    open_ones = [name for name in dict.fromkeys(cut) if name in shown]
    if not open_ones:
        return None
    since = f" from {ask.since.isoformat()}" if ask.since else ""
    return Note(
        "partial", f"{listed(open_ones)}: partial, the rows go{since} to {last.isoformat()} only"
    )


_PERIODS = ("month", "quarter", "year")


def _periods(day: date, ask: RatesAsk) -> list[str]:
    """The month, quarter and year of a day, as far as they are asked for."""
    quarter = f"{day.year:04d}-Q{(day.month + 2) // 3}"
    names = {"month": f"{day:%Y-%m}", "quarter": quarter, "year": f"{day.year:04d}"}
    return [name for key, name in names.items() if key in ask.by]


def _begins(period: str) -> date:
    year, _, rest = period.partition("-")
    month = 3 * int(rest[1:]) - 2 if rest.startswith("Q") else int(rest or 1)
    return date(int(year), month, 1)


def _ends(period: str) -> date:
    begin = _begins(period)
    months = 12 if len(period) == 4 else 3 if "Q" in period else 1
    month = begin.month + months - 1
    return date(begin.year, month, calendar.monthrange(begin.year, month)[1])


def _not_recorded(rows: Rows, ask: RatesAsk) -> Note | None:
    if not any(row[key] is None for row in rows for key in ask.by if key != "pair"):
        return None
    return Note(
        "not_recorded",
        "an empty key, (not recorded) in tables, stands for jobs where that was not written down; "
        "'-' means not done or not fitted",
    )


def _rework(rows: Rows, ask: RatesAsk, covered: Period) -> Note | None:
    """Come-back jobs count here, and harder ones they may be; comparisons leave them out."""
    plain = {*_PERIODS, "model", "technician", "branch", "repair", "outcome", "rework"}
    if not covered.rework or not rows or plain.issuperset(ask.by):
        return None
    if any(key == "rework" for key, _ in ask.where):
        return None
    return Note(
        "rework",
        f"{counted(covered.rework, 'job')} in the records are themselves come-backs and count "
        "here; leave them out with --where rework=no",
    )


def picked_by_result(
    where: Iterable[tuple[str, str]], steps: Iterable[str], catalogue: Catalogue
) -> Note | None:
    """Jobs picked by how they went; ``steps``: where the failures asked about can happen."""
    order = {step.code: step.order for step in catalogue.steps}
    first = min(order[step] for step in steps)
    late = {"outcome", *(f"{code}_another_try" for code, at in order.items() if at >= first)}
    keys = [key for key in dict.fromkeys(key for key, _ in where) if key in late]
    if not keys:
        return None
    return Note(
        "picked_by_result",
        f"jobs were picked by how they went ({', '.join(keys)}), known only after the failure "
        "could happen: who failed is let in or kept out by it, and what seems to matter may be "
        "nothing but the picking; ask without it",
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
