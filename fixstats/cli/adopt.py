"""``fixstats adopt``: records a house standard; without words, how those recorded are doing."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fixstats.cli import complete
from fixstats.cli.options import (
    ChartOption,
    ConfidenceOption,
    FormatOption,
    OutOption,
    ShopOption,
    day,
)
from fixstats.errors import UsageError

if TYPE_CHECKING:
    from fixstats.findings.base import Finding
    from fixstats.shop import Shop
    from fixstats.shop_standards import Adoption


def adopt(
    choice: Annotated[
        str | None,
        typer.Argument(
            metavar="CHOICE",
            help="A step, PART_grade or PART_supplier.",
            autocompletion=complete.choices,
            show_default=False,
        ),
    ] = None,
    option: Annotated[
        str | None,
        typer.Argument(
            metavar="OPTION",
            help="The method, grade or supplier adopted.",
            autocompletion=complete.options,
            show_default=False,
        ),
    ] = None,
    model: Annotated[
        str | None,
        typer.Option(
            metavar="M", help="Only for this model (default: all).", autocompletion=complete.models
        ),
    ] = None,
    since: Annotated[
        str | None, typer.Option(metavar="DATE", help="From this day on (default: today).")
    ] = None,
    new: Annotated[
        bool, typer.Option("--new", help="The model is new to the records, no slip.")
    ] = False,
    confidence: ConfidenceOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """Record the house standard of a choice; or show how well standards are followed.

    With an option it adds one entry to the end of catalogue.toml, and nothing else in that file
    changes. Without one it tells of each standard how often it was the first choice since, and
    what failed there before and since. --format, --out, --chart and --confidence are for that.

    \b
    Examples:
      fixstats adopt opening heat_plate
      fixstats adopt calibration service_console --model "Norvane 22" --since 2026-10-01
      fixstats adopt
      fixstats adopt opening --format json
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.standards import StandardsAsk
    from fixstats.shop import open_shop

    showing = {"--format": form, "--out": out, "--chart": chart, "--confidence": confidence}
    writing = {"--model": model, "--since": since, "--new": new or None}
    _refuse_mixed(showing if option else writing, option)
    opened = open_shop(shop)
    if choice and option:
        begin = day(since, "--since") or _today(opened)
        done = opened.adopt(choice, option, since=begin, model=model, new_names=new)
        print(adopted_text(done))
        for line in _warnings(done, opened):
            print(line, file=sys.stderr)
        return 0
    ask = StandardsAsk((choice,) if choice else (), confidence=confidence)
    finding = opened.ask_standards(ask).finding
    emit(finding, standards_text, form=form, out=out, chart=chart)
    return 0


def _refuse_mixed(others: Mapping[str, Any], option: str | None) -> None:
    """Recording and showing have options of their own."""
    said = next((name for name, value in others.items() if value is not None), None)
    if said and option:
        raise UsageError(f"{said} is for showing standards: leave out {option}, or {said}")
    if said:
        raise UsageError(f"{said} is for recording one: fixstats adopt CHOICE OPTION {said} ...")


def _today(shop: Shop) -> date:
    from zoneinfo import ZoneInfo

    return datetime.now(ZoneInfo(shop.folder.settings.time_zone)).date()


def adopted_text(done: Adoption) -> str:
    """What was recorded, what it takes the place of, and where it stands."""
    from fixstats.cli.text import printable

    adopted, standard = done.adopted, done.adopted.standard
    where = f"on {standard.model}" if standard.model else "on all models without one of their own"
    before = adopted.before
    took = "nothing was adopted before"
    if before is not None:
        general = " for all models" if standard.model and before.model is None else ""
        took = f"before: {before.option}{general}, since {before.since}"
    lines = [
        f"adopted {standard.option} for {standard.choice} {where}, from {standard.since}; {took}"
    ]
    if adopted.until is not None:
        lines.append(f"until {adopted.until.since}: then {adopted.until.option} is adopted already")
    lines.append(f"recorded at the end of {adopted.where}; all else in it is as it was")
    return "\n".join(printable(line) for line in lines)


def _warnings(done: Adoption, shop: Shop) -> list[str]:
    """Safety that is not shown, and the usual cautions of the method."""
    from fixstats.findings.safety import UNPROVEN
    from fixstats.words import listed

    safety, standard = done.safety, done.adopted.standard
    lines = []
    if safety.state == UNPROVEN:
        lines.append(
            f"warning: the safety of {safety.option} is not shown: {safety.told}, "
            f"at most {100 * safety.high:.1f} % is all that says; {safety.clearing}"
        )
    if done.ruled_out_on:
        lines.append(
            f"warning: on {listed(done.ruled_out_on)} {standard.option} is ruled out by safety "
            f"failures: fixstats adopt {standard.choice} OPTION --model MODEL names another there"
        )
    lines += [
        f"caution: {method.code}: {text}"
        for method in shop.folder.catalogue.methods
        if (method.step, method.code) == (standard.choice, standard.option)
        for text in method.cautions
    ]
    return lines


def standards_text(finding: Finding) -> str:
    """A sentence for each standard, then the figures, then what could mislead."""
    from fixstats.cli import text
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    sentences = [text.printable(one["text"]) for one in finding.parts["sentences"]]
    level = f"{100 * finding.settings['confidence_level']:g} % intervals"
    until = finding.settings["until"] or finding.settings["as_of"]
    head = f"house standards by first choice, {level}, up to {until}"
    heads = [
        "choice", "model", "option", "since", "followed", "share",
        "failed before", "failed since", "change in 100",
    ]  # fmt: skip
    rows = [
        [
            row["choice"],
            str(row["model"] or "all"),
            row["option"],
            row["since"],
            f"{row['followed']:,} of {row['jobs_since']:,}",
            _share(row),
            _failed(row, "before"),
            _failed(row, "after"),
            _change(row),
        ]
        for row in finding.rows
    ]
    table = text.table(heads, rows, [False] * 4 + [True] * 5)
    return "\n".join([*sentences, "", head, "", table, "", footer(finding)]).rstrip()


def _share(row: Mapping[str, Any]) -> str:
    from fixstats.cli.text import EMPTY, percent

    if row["share"] is None:
        return EMPTY
    shown = [percent(row[name]) for name in ("share", "share_low", "share_high")]
    return f"{shown[0]} % ({shown[1]} to {shown[2]})"


def _failed(row: Mapping[str, Any], side: str) -> str:
    return f"{row[f'failures_{side}']:,} of {row[f'opportunities_{side}']:,}"


def _change(row: Mapping[str, Any]) -> str:
    from fixstats.cli.text import EMPTY

    if row["difference"] is None:
        return EMPTY
    shown = [
        f"{100 * row[name]:+.1f}" for name in ("difference", "difference_low", "difference_high")
    ]
    return f"{shown[0]} ({shown[1]} to {shown[2]})"
