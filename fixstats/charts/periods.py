"""Months, quarters and years as the keys write them: which there are, which was not over."""

from __future__ import annotations

from collections.abc import Sequence

from fixstats.findings.base import Finding

# Periods of a year and what stands between year and number.
_PER_YEAR = {"month": (12, "-"), "quarter": (4, "-Q"), "year": (1, "")}


def filled(found: Sequence[str], time: str) -> list[str]:
    """Every period from the first to the last, also those without a row."""
    per_year, between = _PER_YEAR[time]
    if not found:
        return []

    def number(text: str) -> int:
        year, _, part = text.partition(between) if between else (text, "", "1")
        return int(year) * per_year + int(part) - 1

    def text(number: int) -> str:
        year, part = divmod(number, per_year)
        wide = {"month": f"{part + 1:02d}", "quarter": f"{part + 1}", "year": ""}[time]
        return f"{year}{between}{wide}"

    return [text(one) for one in range(number(min(found)), number(max(found)) + 1)]


def unfinished(finding: Finding, time: str) -> str | None:
    """The period that the note ``partial`` speaks of: the one in which the records end."""
    as_of = finding.settings.get("as_of")
    if not as_of or all(note.code != "partial" for note in finding.notes):
        return None
    year, month = as_of[:4], int(as_of[5:7])
    period = {"month": as_of[:7], "quarter": f"{year}-Q{(month + 2) // 3}", "year": year}[time]
    # The month may be open where the quarter is over, and the other way round.
    text = " ".join(note.text for note in finding.notes if note.code == "partial")
    return period if period in text.split(":")[0] else None
