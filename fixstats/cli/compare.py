"""``fixstats compare``: which option of a choice fails less, like for like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fixstats.cli.options import (
    AnyOption,
    ChartOption,
    ChoiceArgument,
    ConfidenceOption,
    FamiliesOption,
    FormatOption,
    IncludeReworkOption,
    ModesOption,
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

ByOption = Annotated[
    list[str] | None,
    typer.Option(metavar="model", help="Rows for each model, and for all."),
]
BaselineOption = Annotated[
    str | None,
    typer.Option(metavar="OPTION", help="Held against (default: house standard, most used)."),
]
AdjustOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KEY|none",
        help="Adjust for these (default: model, technician, intake factors, practice, time).",
    ),
]
StrataOption = Annotated[
    list[str] | None,
    typer.Option(metavar="KEY", help="Keys of the strata (default: model, technician)."),
]
AtOption = Annotated[
    str,
    typer.Option(
        metavar="now|practised",
        help="Technicians as practised as they have become, or all practised.",
    ),
]


def compare(
    choice: ChoiceArgument,
    mode: ModesOption = None,
    family: FamiliesOption = None,
    any_: AnyOption = None,
    by: ByOption = None,
    baseline: BaselineOption = None,
    adjust: AdjustOption = None,
    strata: StrataOption = None,
    at: AtOption = "now",
    include_rework: IncludeReworkOption = False,
    where: WhereOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    confidence: ConfidenceOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """Which option of a choice fails less, like for like, by how much, and how sure that is.

    A failure is any mode that can occur at the choice, unless --mode, --family or --any names it.

    \b
    Examples:
      fixstats compare opening
      fixstats compare calibration --mode calibration_refused --by model
      fixstats compare battery_grade --mode dead_on_arrival --baseline original
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.compare_plan import CompareAsk
    from fixstats.shop import open_shop

    ask = CompareAsk(
        choice=choice,
        mode=split(mode),
        family=split(family),
        any=split(any_),
        by=split(by),
        baseline=baseline,
        adjust=split(adjust) if adjust else None,
        strata=split(strata) if strata else None,
        at=at,
        include_rework=include_rework,
        where=pairs(where, "--where"),
        since=day(since, "--since"),
        until=day(until, "--until"),
        confidence=confidence,
    )
    finding = open_shop(shop).ask_compare(ask).finding
    emit(finding, compare_text, form=form, out=out, chart=chart)
    return 0


def compare_text(finding: Finding) -> str:
    """A sentence for each row, then the figures, then what could mislead."""
    from fixstats.cli import text
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    sentences = [text.printable(told) for told in _told(finding)]
    names = [*(("mode",) if _several(finding) else ()), *finding.keys, "option"]
    heads = [*names, "failed", "baseline", "raw", "p (corrected)", "within strata", "adjusted"]
    rows = [
        [
            *(_name(row, name) for name in names),
            _failed(row, ""),
            _failed(row, "baseline_"),
            _span(row, ("difference", "difference_low", "difference_high")),
            _p_values(row),
            _span(row, ("strata_difference", "strata_low", "strata_high")),
            _span(row, ("adjusted_difference", "adjusted_low", "adjusted_high")),
        ]
        for row in finding.rows
    ]
    table = text.table(heads, rows, [False] * len(names) + [True] * 6)
    return "\n".join([*sentences, "", _headline(finding), "", table, "", footer(finding)]).rstrip()


def _told(finding: Finding) -> list[str]:
    """A sentence for each row; one for all models that never had one of the two, where several.

    Where no model has had both, the sentence over all says so for each.
    """
    alone: dict[tuple[Any, ...], list[str]] = {}
    rows = [row for row in finding.parts["sentences"] if row["met"] or not row["model"]]
    for row in rows:
        if row["unused"] and row["model"]:
            alone.setdefault(_pair(row), []).append(row["model"])
    told = []
    for row in rows:
        models = alone.get(_pair(row), []) if row["unused"] and row["model"] else []
        if len(models) < 2:
            told.append(row["sentence"])
        elif row["model"] == models[0]:
            told.append(_never_used(row, models, finding))
    return told


def _pair(row: Mapping[str, Any]) -> tuple[Any, ...]:
    return row["mode"], row["family"], row["option"], row["unused"]


def _never_used(row: Mapping[str, Any], models: Sequence[str], finding: Finding) -> str:
    from fixstats.findings.compare_use_notes import some_named
    from fixstats.words import listed

    mode = f"{_name(row, 'mode')}, " if _several(finding) else ""
    end = "" if finding.settings["adjusted_for"] else "; no figure there"
    return (
        f"{mode}on {some_named(models)}: {row['option']} against {finding.settings['baseline']}: "
        f"{listed(row['unused'])} never used there"
        + (end or "; the table has what the other models suggest")
    )


def _several(finding: Finding) -> bool:
    return len({(row["mode"], row["family"]) for row in finding.rows}) > 1


def _name(row: Mapping[str, Any], name: str) -> str:
    if name == "mode" and row["mode"] is None:
        return f"any of {row['family'] or 'these'}"
    return str(row[name] or "all")


def _failed(row: Mapping[str, Any], side: str) -> str:
    """``12 of 1,697 (0.71 %)``."""
    from fixstats.cli.text import percent

    failed, jobs = row[f"{side}failures"], row[f"{side}opportunities"]
    share = f" ({percent(failed / jobs)} %)" if jobs else ""
    return f"{failed:,} of {jobs:,}{share}"


def _span(row: Mapping[str, Any], names: tuple[str, str, str]) -> str:
    """``-6.4 (-7.9 to -5.0)``: a difference and its interval, in a hundred."""
    from fixstats.cli.text import EMPTY

    values = [row[name] for name in names]
    if None in values:
        return EMPTY
    words = [_signed(value) for value in values]
    return f"{words[0]} ({words[1]} to {words[2]})"


def _signed(difference: float) -> str:
    """``+1.2``: in a hundred; never a false zero."""
    if 0 < abs(difference) < 0.00005:
        return "+<0.01" if difference > 0 else "-<0.01"
    return f"{100 * difference:+.{2 if abs(difference) < 0.01 else 1}f}" if difference else "0"


def _p_values(row: Mapping[str, Any]) -> str:
    """``0.012 (0.024)``: plain, and corrected for several tests."""
    from fixstats.cli.text import EMPTY

    values = (row["p_value"], row["p_corrected"])
    failed, jobs = (row[n] + row[f"baseline_{n}"] for n in ("failures", "opportunities"))
    # Nothing failed, or everything: a p-value of 0.5 would be one of nothing.
    if None in values or failed in (0, jobs):
        return EMPTY
    plain, corrected = ("<0.001" if value < 0.001 else f"{value:.3f}" for value in values)
    return f"{plain} ({corrected})"


def _headline(finding: Finding) -> str:
    """What the table is: choice, baseline, modes, level, period."""
    settings = finding.settings
    row = finding.rows[0]
    union = row["family"] or f"{len(settings['modes'])} failure modes"
    what = finding.labels.get(row["mode"], row["mode"]) or f"any of {union}"
    what = "several failure modes" if _several(finding) else what
    level = f"{100 * settings['confidence_level']:g} % intervals"
    since, until = settings["since"], settings["until"] or settings["as_of"]
    period = f"{since} to {until}" if since else f"up to {until}"
    where = f"; {', '.join(settings['where'])}" if settings["where"] else ""
    at = ""
    if f"{settings['choice']}_practice" in settings["adjusted_for"]:
        practised = settings["at"] == "practised"
        at = "; all practised" if practised else "; everybody as practised as they have become"
    return (
        f"{settings['choice']}: {what}, by first choice, against {settings['baseline']} "
        f"({settings['baseline_because']}); differences in 100 {settings['unit']}, {level}, "
        f"{period}{at}{where}"
    )
