"""``fixstats watch``: what has got worse, since when, and which group differs from the shop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fixstats.cli import complete
from fixstats.cli.options import (
    ChartOption,
    FormatOption,
    OutOption,
    ShopOption,
    day,
    split,
)

if TYPE_CHECKING:
    from fixstats.findings.base import Finding

# Done, and an alarm is raised; only where asked for.
ALARM = 4
CHARTS = {
    "p": "month",
    "p_prime": "month, wider limits",
    "g": "jobs between failures",
    "cusum": "sum over jobs",
    "funnel": "against the shop",
    "comebacks": "come-backs",
}


def watch(
    mode: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MODE", autocompletion=complete.modes, help="Only this failure mode; repeat it."
        ),
    ] = None,
    family: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FAMILY",
            autocompletion=complete.families,
            help="Only this family and its modes.",
        ),
    ] = None,
    group: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KIND",
            help="Only groups of this kind: technician, supplier, lot, or such as battery_lot.",
        ),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option(
            metavar="DATE",
            help="First day watched, or month (default: the last 12 months; of shorter records "
            "the later half).",
        ),
    ] = None,
    until: Annotated[
        str | None, typer.Option(metavar="DATE", help="Last day watched, or month.")
    ] = None,
    alarm_exit: Annotated[
        bool,
        typer.Option("--alarm-exit", help="Exit with code 4 where anything is out."),
    ] = False,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """What has got worse and since when; which technician, supplier or lot differs from the shop.

    \b
    Examples:
      fixstats watch
      fixstats watch --since 2026-07 --alarm-exit
      fixstats watch --mode dust_under_glass --chart dust.png
      fixstats watch --group lot --format json
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.watch_plan import WatchAsk
    from fixstats.shop import open_shop

    ask = WatchAsk(
        mode=split(mode),
        family=split(family),
        group=split(group),
        since=day(since, "--since"),
        until=day(until, "--until"),
    )
    finding = open_shop(shop).ask_watch(ask).finding
    emit(finding, watch_text, form=form, out=out, chart=chart)
    return ALARM if alarm_exit and finding.settings["alarms"] else 0


def watch_text(finding: Finding) -> str:
    """What is out in the order in which to look at it, the points behind it, then notes."""
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    alarms = finding.parts["alarms"]
    people = [one for one in alarms if one["group"] == "technician"]
    others = [one for one in alarms if one["group"] != "technician"]
    parts = [_headline(finding)]
    if others:
        parts.append("look at first\n" + _told(others, finding, numbered=True))
    if people:
        parts.append("technicians, by name: no ranking\n" + _told(people, finding, numbered=False))
    points = [row for row in finding.rows if row["alarm"]]
    if points:
        early = {_subject(one) for one in alarms if one["from_start"]}
        parts.append(_table(points, finding.labels, early))
    return "\n\n".join([*parts, footer(finding)])


def _headline(finding: Finding) -> str:
    of = finding.settings
    return (
        f"what is out: jobs of {of['since']} to {of['until']} against {of['baseline_since']} to "
        f"the day before; by first choice, come-back jobs left out"
    )


def _told(alarms: Sequence[Mapping[str, Any]], finding: Finding, *, numbered: bool) -> str:
    from fixstats.cli.text import printable
    from fixstats.findings.watch_words import alarm_words, look_words

    lines = []
    for place, one in enumerate(alarms, 1):
        mark = f"{place}." if numbered else "-"
        caution = "SAFETY: " if one["safety"] else ""
        lines.append(f"{mark:>3} {caution}{printable(alarm_words(one, finding.labels))}")
        lines.append(f"      {printable(look_words(one, finding.labels))}")
    return "\n".join(lines)


def _subject(one: Mapping[str, Any]) -> tuple[Any, ...]:
    """What a point or an alarm is about; groups are watched by two charts."""
    chart = one["chart"] if "chart" in one else one["charts"][0]
    return one["mode"], one["family"], one["group"], one["value_of_group"], one["group"] and chart


def _table(
    points: Sequence[Mapping[str, Any]], labels: Mapping[str, str], early: set[tuple[Any, ...]]
) -> str:
    """The points; ``early``: what was out from the first watched days on."""
    from fixstats.cli import text
    from fixstats.findings.watch_words import group_words

    heads = ["point", "what", "when", "failures", "seen", "expected", "limit"]
    rows = []
    for row in points:
        code = row["mode"] or row["family"]
        name = labels.get(code, code) if code else "any reason"
        if row["group"]:
            name = f"{group_words(row['group'], row['value_of_group'], labels)}, {name}"
        figures = [row["value"], row["centre"], row["upper_limit"]]
        shown = [f"{text.percent(one)} %" for one in figures]
        if row["chart"] == "cusum":
            shown = [f"{one:.1f}" for one in figures]
        if row["chart"] == "g":
            shown = [f"{one:.0f}" for one in (row["value"], row["centre"], row["lower_limit"])]
        since = f"since {row['since']}" if row["since"] else "not dated"
        since = "from the start" if _subject(row) in early else since
        when = since if "/" in row["period"] else row["period"]
        rows.append([CHARTS[row["chart"]], name, when, text.count_words(row), *shown])
    return text.table(heads, rows, [False, False, False, True, True, True, True])
