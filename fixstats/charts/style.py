"""One look for all pictures: font, colours, shapes, titles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import altair as alt

from fixstats.charts.names import wrapped
from fixstats.findings.base import Finding

if TYPE_CHECKING:
    from fixstats.charts import Picture

# The converter measures text in its own font and a browser paints another: unless both use this
# one, labels are cut off. Verdana is the nearest in width where DejaVu Sans is not installed.
FONT = "DejaVu Sans, Verdana, sans-serif"

# Okabe & Ito (2008), "Color Universal Design": told apart with any colour vision. Without their
# yellow, too pale for thin lines on white. A shape goes with each, so colour is never alone.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
SHAPES = ("circle", "square", "diamond", "triangle-up", "cross", "triangle-down")
INK, GREY, FAINT = "#222222", "#595959", "#E3E3E3"

TITLE_WIDTH, SUBTITLE_WIDTH = 66, 96  # characters that fit the narrowest picture


def finished(picture: Picture, title: str, subtitle: Sequence[str], description: str) -> Picture:
    """The picture with its words and the theme; ``description`` is the text alternative."""
    lines = [line for part in subtitle for line in wrapped(part, SUBTITLE_WIDTH, most=3)]
    heading = alt.TitleParams(
        text=wrapped(title, TITLE_WIDTH, most=4), subtitle=lines, anchor="start", frame="bounds"
    )
    styled: Picture = (
        picture.properties(title=heading, description=description, background="white", padding=12)
        .configure(font=FONT)
        .configure_view(stroke=None)
        .configure_title(
            fontSize=15,
            subtitleFontSize=11,
            subtitleColor=GREY,
            color=INK,
            offset=14,
            subtitlePadding=6,
            subtitleLineHeight=15,
            lineHeight=19,
            fontWeight="bold",
        )
        .configure_axis(
            labelFontSize=11,
            titleFontSize=11,
            labelColor=INK,
            titleColor=GREY,
            titleFontWeight="normal",
            gridColor=FAINT,
            domainColor=GREY,
            tickColor=GREY,
            labelLimit=0,
            titleLimit=0,
        )
        .configure_legend(
            labelFontSize=11,
            labelLimit=0,
            labelColor=INK,
            titleColor=GREY,
            orient="bottom",
            direction="vertical",
            title=None,
            symbolStrokeColor=INK,
            symbolSize=260,
            offset=10,
        )
    )
    return styled


def nothing(finding: Finding) -> Picture:
    """A picture of a finding without rows: it says so, and why."""
    reasons = [note for note in finding.notes if note.code != "own_records"]
    why = reasons[0].text if reasons else "nothing in the records fits what was asked"
    why = why[:1].upper() + why[1:]
    lines = wrapped(why, 70, most=4)
    words = alt.Chart(alt.InlineData(values=[{"words": lines}])).mark_text(
        align="left", baseline="top", fontSize=13, color=INK, lineHeight=18
    )
    picture = alt.layer(words.encode(text="words:N", x=alt.value(0), y=alt.value(0))).properties(
        width=520, height=20 * len(lines)
    )
    settings = finding.settings
    asked = [f"{name}: {settings[name]}" for name in ("view", "since", "until") if settings[name]]
    if settings.get("where"):
        asked.append(f"only {', '.join(settings['where'])}")
    title = f"No rows to draw: {plain_question(finding)}"
    return finished(picture, title, ["; ".join(asked)] if asked else [], f"{title}. {why}.")


def plain_question(finding: Finding) -> str:
    """The question as a title names it."""
    by = finding.settings.get("by") or ()
    return f"{finding.question} by {', '.join(by)}" if by else finding.question


def percent_axis(**more: Any) -> alt.Axis:
    """An axis of fractions that reads in percent."""
    label = "format(100 * datum.value, '~g') + ' %'"
    return alt.Axis(labelExpr=label, **more)
