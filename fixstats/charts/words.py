"""Figures and settings as people read them in titles, subtitles and beside rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.base import Finding
from fixstats.words import counted

Row = Mapping[str, Any]

INTERVALS = {
    "wilson": "Wilson",
    "wilson-cc": "Wilson, continuity-corrected",
    "jeffreys": "Jeffreys",
    "clopper-pearson": "Clopper-Pearson",
    "mid-p": "mid-P",
    "agresti-coull": "Agresti-Coull",
}
UNITS = {
    "job": "jobs",
    "attempt": "attempts",
    "piece": "pieces",
    "pair": "pairs of parts, which overlap",
}
VIEWS = {
    "first": "by first choice",
    "attempted": "as attempted (later tries follow a failed one)",
}


# A row of fewer opportunities gives no figure of a title: one failure moves its rate by over 5 %.
TELLING = 20

# Keeps a figure and its unit on one line.
NO_BREAK = "\u00a0"


def bare(fraction: float) -> str:
    """A fraction as a percentage without its sign: ``3.1``; more digits below a tenth of one."""
    value = 100 * fraction
    if value == 0:
        return "0"
    return f"{value:.1f}" if value >= 0.1 else f"{value:.1g}"


def percent(fraction: float) -> str:
    """``3.1 %``."""
    return f"{bare(fraction)}{NO_BREAK}%"


def rate_words(row: Row) -> str:
    """``3.1 % (1.4 to 6.6), 6 of 193``; without a failure, the upper limit."""
    if row["rate"] is None:
        return "no opportunity"
    if row["at_most"] is not None:
        return f"none seen (at most {percent(row['at_most'])}), {count_words(row)}"
    return f"{percent(row['rate'])} ({bare(row['low'])} to {bare(row['high'])}), {count_words(row)}"


def count_words(row: Row) -> str:
    """``6 of 193``."""
    return f"{row['failures']:,} of {row['opportunities']:,}"


def money(value: float, currency: str) -> str:
    """``1,234 EUR``."""
    return f"{value:,.0f}{NO_BREAK}{currency}"


def level_words(finding: Finding) -> str:
    """``95 %``."""
    return f"{100 * finding.settings['confidence_level']:g}{NO_BREAK}%"


def interval_words(finding: Finding) -> str:
    """``95 % interval (Wilson)``, saying if it was widened."""
    name = INTERVALS.get(finding.settings["interval"], finding.settings["interval"])
    widened = ", technicians as clusters" if finding.settings.get("cluster") else ""
    return f"{level_words(finding)} interval ({name}{widened})"


def totals(finding: Finding) -> str:
    """How many failures of how many opportunities stand behind the rows.

    Added up only where no unit can stand in two rows: one mode, no pairs.
    """
    rows = finding.rows
    units = " or ".join(dict.fromkeys(UNITS[row["unit"]] for row in rows))
    modes = {(row["mode"], row["family"]) for row in rows}
    if len(modes) == 1 and rows[0]["unit"] != "pair":
        failures = sum(row["failures"] for row in rows)
        total = counted(sum(row["opportunities"] for row in rows), "opportunity", "opportunities")
        return f"n: {counted(failures, 'failure')} of {total} ({units})"
    sizes = [row["opportunities"] for row in rows]
    between = f"{min(sizes):,}" if min(sizes) == max(sizes) else f"{min(sizes):,} to {max(sizes):,}"
    return f"n: {between} opportunities a row ({units})"


def period_words(settings: Mapping[str, Any]) -> str:
    """Which days the jobs were finished on."""
    until = settings.get("until") or settings.get("as_of")
    since = settings.get("since")
    if since and until:
        return f"jobs finished {since} to {until}"
    if since:
        return f"jobs finished since {since}"
    return f"all jobs finished up to {until}" if until else "all jobs"


def subtitle(finding: Finding, *more: str) -> list[str]:
    """Lines under a title: n, view, interval and its confidence, period, what was left out."""
    return subtitle_of([totals(finding), view_words(finding)], finding, *more)


def view_words(finding: Finding) -> str:
    """Which attempts count."""
    return VIEWS.get(finding.settings["view"], str(finding.settings["view"]))


def subtitle_of(first: Sequence[str], finding: Finding, *more: str) -> list[str]:
    """The lines of a subtitle with ``first`` as the first; empty parts are left out."""
    settings = finding.settings
    where = settings.get("where") or ()
    fewest = settings.get("min_opportunities") or 0
    last = (
        f"only {', '.join(where)}" if where else "",
        f"only rows of {fewest:,} opportunities or more" if fewest else "",
        *more,
        _clusters(finding),
    )
    lines = (first, (interval_words(finding), period_words(settings)), last)
    return ["; ".join(filter(None, parts)) for parts in lines if any(parts)]


def _clusters(finding: Finding) -> str:
    """A hint where the rates of single technicians lie so far apart that a note says it."""
    hinted = any(note.code == "clustered" for note in finding.notes)
    return "technicians differ, which may widen the intervals" if hinted else ""


def overlapping(rows: Sequence[Row], low: str = "low", high: str = "high") -> bool:
    """Whether the intervals of all rows share a point (so each overlaps each)."""
    known = [row for row in rows if row[low] is not None]
    return not known or max(row[low] for row in known) <= min(row[high] for row in known)


def greatest(rows: Sequence[Row], figure: str) -> Row | None:
    """The row with the greatest figure; None where no row has one."""
    known = [row for row in rows if row[figure] is not None]
    return max(known, key=lambda row: row[figure]) if known else None


def named(row: Row, keys: Sequence[str]) -> bool:
    """Whether every key was recorded and fits: neither empty nor ``-``."""
    return all(row[key] not in (None, "-") for key in keys)


def telling(rows: Sequence[Row], keys: Sequence[str]) -> list[Row]:
    """The rows whose rates a title may give; all with a rate, where none of these has a failure.

    The highest and lowest of many rates are those of the smallest rows, and of left-over rows such
    as 'not recorded': a title that names them tells of chance.
    """
    known = [row for row in rows if row["rate"] is not None]
    large = [row for row in known if row["opportunities"] >= TELLING and named(row, keys)]
    return large if any(row["failures"] for row in large) else known


def range_words(rows: Sequence[Row], keys: Sequence[str]) -> str:
    """Of which rows the range in the title is; empty where it is of all."""
    if len(telling(rows, keys)) == sum(row["rate"] is not None for row in rows):
        return ""
    return f"rates in the title: rows of {TELLING} opportunities or more with all keys recorded"


def span_words(rows: Sequence[Row], keys: Sequence[str]) -> str:
    """``1.2 % (3 of 250) to 7.9 % (15 of 190)``: lowest and highest rate, each with its counts.

    Of the rows that are ``telling``. A lowest rate of zero is not said: no failure seen is not a
    rate of zero.
    """
    known = telling(rows, keys)
    low, high = (end(known, key=lambda row: row["rate"]) for end in (min, max))
    top = f"{percent(high['rate'])} ({count_words(high)})"
    if low is high:
        return top
    if not low["failures"]:
        return f"up to {top}"
    return f"{percent(low['rate'])} ({count_words(low)}) to {top}"


def share_words(some: int, of: int, noun: str) -> str:
    """``3 of 4 models``, ``all 4 models``, ``both models``, ``none of 4 models``."""
    if some == of == 2:
        return f"both {noun}s"
    if some == of > 1:
        return f"all {of} {noun}s"
    return f"{some or 'none'} of {counted(of, noun)}"
