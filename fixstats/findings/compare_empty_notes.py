"""Why figures of a comparison are empty or say little, for each reason that occurs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fixstats.findings.base import Note
from fixstats.words import counted

Rows = Sequence[Mapping[str, Any]]


def empty_notes(rows: Rows) -> Iterator[Note]:
    """Notes on rows without failures, and on figures that have no value; pure."""
    yield from _zero_failures(rows)
    yield from _no_value(rows)
    yield from _no_strata(rows)


def _zero_failures(rows: Rows) -> Iterator[Note]:
    none = sum(
        not public["failures"] and not public["baseline_failures"]
        for public in rows
        if public["opportunities"] and public["baseline_opportunities"]
    )
    if none:
        yield Note(
            "zero_failures",
            f"in {counted(none, 'row')} no failure was seen on either side; that is no proof that "
            "both are safe or alike",
        )


def _no_value(rows: Rows) -> Iterator[Note]:
    """Why a figure is empty, for each reason that occurs."""
    filled = [row for row in rows if row["difference"] is not None]
    if len(filled) < len(rows):
        yield Note(
            "no_opportunities",
            f"in {counted(len(rows) - len(filled), 'row')} one of the two has no job where a "
            "failure could have been seen: no raw figures",
        )
    endless = sum(row["ratio"] is None or row["ratio_high"] is None for row in filled)
    if endless:
        never = "the baseline never failed: the ratio has no value"
        yield Note("no_ratio", f"in {counted(endless, 'row')} {never}")


def _no_strata(rows: Rows) -> Iterator[Note]:
    """Why a figure over strata is empty: the first reason that holds, for each row."""
    found = {"alone": 0, "untold": 0, "unequal": 0}
    for row in rows:
        if row["difference"] is None:
            continue
        if not row["strata"]:
            found["alone"] += 1
        elif row["strata_p"] is None:
            found["untold"] += 1
        elif row["homogeneity_p"] is None:
            found["unequal"] += 1
    for code, number in found.items():
        if number:
            yield Note("no_strata", f"in {counted(number, 'row')} {NO_STRATA[code]}")


NO_STRATA = {
    "alone": "no stratum has both options: no figure over strata",
    "untold": "no stratum with both options has jobs that failed and jobs that did not: no test "
    "over strata",
    "unequal": "strata cannot be held against each other: there is one that tells, or one of the "
    "two never failed, or always did",
}
