"""Two intervals in one row, one above the other: the raw figure and the one that corrects it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import altair as alt

from fixstats.charts.parts import Record, plot
from fixstats.charts.style import COLOURS, GREY


class Look(NamedTuple):
    """How one of the two is drawn; ``shift``: dots below the middle of the row."""

    shift: float
    colour: str
    width: float
    shape: str


# Raw stands above, thin, grey and hollow; what corrects it below, thick, blue and filled.
APART = 4  # dots from the middle of the row
LOOKS = (
    Look(-APART, GREY, 1.3, "circle"),
    Look(APART, COLOURS[0], 2.4, "diamond"),
)
# Signs at points -> shapes, one scale for both kinds.
SIGNS = {
    "at 0": LOOKS[0].shape,
    "at 1": LOOKS[1].shape,
    "limit": "triangle-left",
    "less": "triangle-left",
    "more": "triangle-right",
}


@dataclass(frozen=True)
class Figure:
    """A figure with its interval; ``limit``: nothing was seen, ``high`` is a one-sided limit."""

    at: float
    low: float
    high: float
    limit: bool = False


@dataclass
class Twins:
    """What is drawn between ``left`` and ``right``; a line that goes on beyond ends in an arrow."""

    left: float
    right: float
    lines: tuple[list[Record], list[Record]] = field(default_factory=lambda: ([], []))
    ends: tuple[list[Record], list[Record]] = field(default_factory=lambda: ([], []))

    @property
    def beyond(self) -> bool:
        """Whether some line goes on beyond the scale."""
        return any(end["sign"] in ("less", "more") for one in self.ends for end in one)

    def add(self, which: int, place: str, figure: Figure, about: str) -> None:
        """A figure in the row at ``place``: raw (0) or corrected (1)."""
        base = {"place": place, "about": about}
        low, high = max(figure.low, self.left), min(figure.high, self.right)
        if low <= high:
            dash = "limit" if figure.limit else "interval"
            self.lines[which].append(base | {"from": low, "to": high, "dash": dash})
        if self.left <= figure.at <= self.right:
            sign = "limit" if figure.limit else f"at {which}"
            self.ends[which].append(base | {"from": figure.at, "sign": sign})
        if figure.low < self.left:
            self.ends[which].append(base | {"from": self.left, "sign": "less"})
        if figure.high > self.right:
            self.ends[which].append(base | {"from": self.right, "sign": "more"})


def twin_layers(twins: Twins, names: Sequence[str], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """The lines and their points; ``names``: what the raw and the corrected ones are called."""
    scale = alt.Scale(domain=list(names), range=[look.colour for look in LOOKS])
    widths = alt.Scale(domain=list(names), range=[look.width for look in LOOKS])
    legend = alt.Legend(symbolType="stroke")
    layers: list[alt.Chart] = []
    for which, look in enumerate(LOOKS):
        kind = {"kind": names[which]}
        lines = (
            plot([line | kind for line in twins.lines[which]])
            .mark_rule(strokeCap="butt", yOffset=look.shift)
            .encode(
                x=x, x2="to:Q", y=y, description="about:N",
                color=alt.Color("kind:N", scale=scale, legend=legend),
                strokeWidth=alt.StrokeWidth("kind:N", scale=widths, legend=legend),
                strokeDash=alt.StrokeDash(
                    "dash:N", legend=None,
                    scale=alt.Scale(domain=["interval", "limit"], range=[[1, 0], [4, 3]]),
                ),
            )
        )  # fmt: skip
        layers += [lines, _points(twins.ends[which], which, x, y)]
    return layers


def _points(ends: Sequence[Record], which: int, x: alt.X, y: alt.Y) -> alt.Chart:
    look = LOOKS[which]
    shapes = alt.Scale(domain=[*SIGNS], range=[*SIGNS.values()])
    hollow = alt.FieldOneOfPredicate(field="sign", oneOf=["at 0", "limit"])
    drawn: alt.Chart = (
        plot(ends)
        .mark_point(size=42, strokeWidth=1.3, opacity=1, yOffset=look.shift, color=look.colour)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("sign:N", legend=None, scale=shapes),
            fill=alt.condition(hollow, alt.value("white"), alt.value(look.colour)),
            description="about:N",
        )
    )
    return drawn
