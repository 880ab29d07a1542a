"""The lines of a picture from top to bottom: rows under headings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from fixstats.charts.layout import Group
from fixstats.charts.names import wrapped
from fixstats.charts.parts import NAME_WIDTH
from fixstats.charts.words import Row


@dataclass
class Sheet:
    """The lines from top to bottom: their texts, which are rows, which are headings how deep."""

    names: list[list[str]] = field(default_factory=list)
    rows: list[tuple[str, str, Row]] = field(default_factory=list)  # place, name, row
    heads: dict[str, int] = field(default_factory=dict)

    def write(self, name: str) -> str:
        """Add a line; returns its place."""
        self.names.append(wrapped(name, NAME_WIDTH))
        return str(len(self.names) - 1)


def lay_out(shown: Sequence[Group]) -> Sheet:
    """A line for every row, and one for every heading that differs from the one before."""
    sheet = Sheet()
    before: tuple[str, ...] = ()
    for group in shown:
        for depth, heading in enumerate(group.headings):
            if group.headings[: depth + 1] != before[: depth + 1]:
                sheet.heads[sheet.write(heading)] = depth
        before = group.headings
        for row, name in zip(group.rows, group.names, strict=True):
            sheet.rows.append((sheet.write(name), name, row))
    return sheet
