"""Findings' rows in the order and grouping in which a picture shows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from fixstats.charts import TIMES
from fixstats.charts.names import Level, level_label, levels, mode_label, natural, subjects
from fixstats.charts.words import Row
from fixstats.findings.base import Finding

# More rows than this make a picture nobody reads; the groups with most opportunities are kept.
MOST_ROWS = 120


@dataclass(frozen=True)
class Group:
    """Rows that stand together; a heading for each level but the innermost, outermost first."""

    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    names: tuple[str, ...]


def groups(finding: Finding, steps: Sequence[Level] = ()) -> list[Group]:
    """Rows under headings: all levels but the innermost are the heading.

    ``steps``: the levels, outermost first; those of the finding, where none are given.

    Headings and rows go by name, modes as listed in the finding. Where there is one level only,
    the highest rate comes first, unless names have an order of their own (bands, years).
    """
    rows = finding.rows
    steps = steps or levels(finding)
    *outer, inner = steps
    modes = subjects(finding)

    def place(level: Level, row: Row) -> Any:
        if level == ("mode",):
            return modes.index(mode_label(row, finding.labels))
        return natural(level, row, finding.labels)

    by_rate = not outer and not _has_order(inner, rows)

    def order(row: Row) -> Any:
        if by_rate:
            rate = -1.0 if row["rate"] is None else row["rate"]
            return (-rate, -row["opportunities"], place(inner, row))
        return [place(level, row) for level in steps]

    def headings(row: Row) -> tuple[str, ...]:
        return tuple(level_label(level, row, finding.labels) for level in outer)

    ordered = sorted(rows, key=order)
    found = []
    for above, members in groupby(ordered, key=headings):
        together = tuple(members)
        names = tuple(_name(inner, row, finding) for row in together)
        found.append(Group(above, together, names))
    return found


def _name(level: Level, row: Row, finding: Finding) -> str:
    """What a row is called; the title names the innermost key, so its absence is said shortly."""
    if len(level) == 1 and level != ("mode",) and row[level[0]] is None:
        return "not recorded"
    return level_label(level, row, finding.labels)


def _has_order(level: Level, rows: Sequence[Row]) -> bool:
    return level[0] in TIMES or any(str(row[level[0]])[:1] in ("<", ">") for row in rows)


def kept(shown: Sequence[Group], most: int = MOST_ROWS) -> list[Group]:
    """The groups with the most opportunities that fit in ``most`` rows together, in their order.

    Groups stay whole: leaving out some of the rows that are compared would mislead. Only where
    the first does not fit is it cut to its rows with the most opportunities.
    """
    sizes = [sum(row["opportunities"] for row in group.rows) for group in shown]
    found: list[int] = []
    room = most
    for place in sorted(range(len(shown)), key=lambda place: -sizes[place]):
        if len(shown[place].rows) <= room:
            found.append(place)
            room -= len(shown[place].rows)
        elif not found:
            return [_cut(shown[place], most)]
    return [shown[place] for place in sorted(found)]


def _cut(group: Group, most: int) -> Group:
    sizes = [row["opportunities"] for row in group.rows]
    largest = sorted(sorted(range(len(sizes)), key=lambda place: -sizes[place])[:most])
    rows = tuple(group.rows[place] for place in largest)
    return Group(group.headings, rows, tuple(group.names[place] for place in largest))
