"""``fixstats comebacks``: how many devices come back because of the repair, and of which."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fixstats.cli import complete
from fixstats.cli.options import (
    ChartOption,
    ConfidenceOption,
    FormatOption,
    OutOption,
    ShopOption,
    SinceOption,
    UntilOption,
    WhereOption,
    day,
    pairs,
    split,
)

if TYPE_CHECKING:
    from fixstats.findings.base import Finding


def comebacks(
    by: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY",
            autocompletion=complete.keys,
            help="Group by model, opening, battery_grade, month, ...; a part's is the one fitted "
            "last.",
        ),
    ] = None,
    reason: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MODE",
            autocompletion=complete.modes,
            help="Only come-backs with this failure mode, or any (default).",
        ),
    ] = None,
    days: Annotated[
        int | None,
        typer.Option(metavar="N", help="Days of follow-up (default: the warranty)."),
    ] = None,
    as_of: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="As it was known on that day."),
    ] = None,
    where: WhereOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    adjust: Annotated[
        bool,
        typer.Option("--adjust", help="Also compare the options of --by over the same jobs."),
    ] = False,
    curve: Annotated[
        bool,
        typer.Option("--curve", help="A row for each day on which the share rises."),
    ] = False,
    include_rework: Annotated[
        bool, typer.Option("--include-rework", help="Follow come-backs in their turn, too.")
    ] = False,
    confidence: ConfidenceOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """How many devices come back because of the repair, of which repairs, and what that costs.

    \b
    Examples:
      fixstats comebacks --by battery_grade --chart comebacks.png
      fixstats comebacks --reason drains_fast --by battery_lot --days 60
      fixstats comebacks --by battery_grade,model --adjust
      fixstats comebacks --where "repair=battery_swap" --curve --as-of 2026-06-30
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.comebacks_plan import ComebacksAsk
    from fixstats.shop import open_shop

    ask = ComebacksAsk(
        by=split(by),
        reason=split(reason),
        days=days,
        as_of=day(as_of, "--as-of"),
        adjust=adjust,
        curve=curve,
        include_rework=include_rework,
        where=pairs(where, "--where"),
        since=day(since, "--since"),
        until=day(until, "--until"),
        confidence=confidence,
    )
    finding = open_shop(shop).ask_comebacks(ask).finding
    emit(finding, comebacks_text, form=form, out=out, chart=chart)
    return 0


def comebacks_text(finding: Finding) -> str:
    """Sentences first, then the rows as a table with the interval drawn, then notes."""
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    said = [one["text"] for one in finding.parts["sentences"]]
    said += [note.text for note in finding.notes if note.code == "adjusted"]
    parts = [_headline(finding), "\n".join(said), _table(finding)]
    adjusted = [row for row in finding.parts["adjusted"] if row["scope"] == "model"]
    if adjusted and "model" in finding.settings["by"]:
        parts.append(f"like for like, over the same jobs of each model\n\n{_like(adjusted)}")
    rest = tuple(note for note in finding.notes if note.code != "adjusted")
    return "\n\n".join([*parts, footer(replace(finding, notes=rest))])


def _table(finding: Finding) -> str:
    from fixstats.cli import text

    steps, tested = finding.settings["curve"], any(r["p_value"] is not None for r in finding.rows)
    costs = {_head(row, finding.keys): row for row in finding.parts["costs"]}
    priced = not steps and any(row["cost_per_100"] for row in costs.values())
    top = max((row["high"] for row in finding.rows if row["high"] is not None), default=0.0)
    names = [*finding.keys, *(["day"] if steps else [])]
    heads = [*names, "came back (interval)", "returns", "followed on"]
    right = [False] * len(finding.keys) + [True] * steps + [False, True, True]
    heads[-1] = "followed on" if steps else f"on day {finding.settings['days']}"
    if tested and not steps:
        heads, right = [*heads, "p", "corrected"], [*right, True, True]
    if priced:
        heads, right = [*heads, f"{finding.settings['currency']} per 100 jobs"], [*right, False]
    if top:
        heads, right = [*heads, f"0 to {text.percent(top)} %"], [*right, False]
    plain = not text.can_draw()
    rows = []
    for row in finding.rows:
        cells = [_name(row[key]) for key in finding.keys] + [str(row["days"])] * steps
        cells += [_rate(row), f"{row['returns']:,} of {row['jobs']:,}", f"{row['n_at_risk']:,}"]
        cells += [_p(row["p_value"]), _p(row["p_corrected"])] if tested and not steps else []
        cells += [_cost(costs[_head(row, finding.keys)])] if priced else []
        drawn = {**row, "failures": 1, "at_most": None}  # an interval is drawn for none, too
        rows.append([*cells, *([text.interval_bar(drawn, top, plain=plain)] if top else [])])
    return text.table(heads, rows, right)


def _head(row: Mapping[str, Any], keys: Sequence[str]) -> tuple[Any, ...]:
    return tuple(row[key] for key in keys)


def _name(value: Any) -> str:
    return "(not recorded)" if value is None else str(value)


def _rate(row: Mapping[str, Any]) -> str:
    from fixstats.cli.text import percent

    if row["rate"] is None:
        return "too few followed"
    if not row["rate"]:
        return f"none so far, up to {percent(row['high'])} %"
    ends = f"({percent(row['low'])} to {percent(row['high'])})"
    return f"{percent(row['rate'])} % {ends}"


def _p(value: float | None) -> str:
    if value is None:
        return ""
    return "<0.001" if value < 0.001 else f"{value:.3f}"


def _cost(row: Mapping[str, Any]) -> str:
    if row["cost_per_100"] is None:
        return ""
    if row["cost_low"] is None:
        return "not known" if row["without_cost"] else "nothing so far"
    ends = f"({row['cost_low']:,.0f} to {row['cost_high']:,.0f})"
    return f"{row['cost_per_100']:,.0f} {ends}"


def _like(rows: Sequence[Mapping[str, Any]]) -> str:
    """Options of each model over that model's jobs."""
    from fixstats.cli import text

    several = len({row["reason"] for row in rows}) > 1
    heads = [*(["reason"] if several else []), "model", "option", "came back (interval)", "jobs"]
    heads += ["against the most used", "borrowed"]
    right = [False] * (len(heads) - 3) + [True, False, True]
    ordered = sorted(rows, key=lambda row: (row["reason"], row["model"] is None, row["model"]))
    cells = [
        [
            *([row["reason"]] if several else []),
            _name(row["model"]),
            _name(row["option"]),
            _rate(row),
            f"{row['jobs']:,}",
            _difference(row),
            f"{100 * row['borrowed']:.0f} %",
        ]
        for row in ordered
    ]
    return text.table(heads, cells, right)


def _difference(row: Mapping[str, Any]) -> str:
    if not (row["difference"] or row["difference_low"]):
        return "(is the most used)"
    points = [100 * row[f"difference{end}"] for end in ("", "_low", "_high")]
    return "{:+.1f} ({:+.1f} to {:+.1f}) in 100".format(*points)


def _headline(finding: Finding) -> str:
    """What is counted, of which jobs, level and period."""
    settings = finding.settings
    reasons = [finding.labels.get(one, one) for one in settings["reason"]]
    why = "because of the repair"
    if settings["reason"] != ["any"]:
        why = f"by reason ({', '.join(reasons)})"
    level = f"{100 * settings['confidence_level']:g} % intervals"
    since, until, as_of = (settings[name] for name in ("since", "until", "as_of"))
    end = f"up to {until or as_of}"
    period = f"from {since} {end}" if since else end
    known = f", returns known up to {as_of}" if until and until != as_of else ""
    where = f"; {', '.join(settings['where'])}" if settings["where"] else ""
    return (
        f"come-backs {why} within {settings['days']} days of hand-over: completed jobs {period}"
        f"{known}, {level}{where}"
    )
