"""``fixstats practice``: how failures and minutes fall as technicians get used to a method."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fixstats.cli import complete
from fixstats.cli.options import (
    ChartOption,
    ConfidenceOption,
    FormatOption,
    IncludeReworkOption,
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

StepArgument = Annotated[
    str,
    typer.Argument(
        metavar="STEP",
        help="A step of the catalogue, such as opening.",
        autocompletion=complete.steps,
    ),
]
ModeOption = Annotated[
    str | None,
    typer.Option(
        metavar="MODE", help="What a failure is: this mode.", autocompletion=complete.modes
    ),
]
FamilyOption = Annotated[
    str | None,
    typer.Option(
        metavar="FAMILY",
        help="Any mode of this family.",
        autocompletion=complete.families,
    ),
]
AnyOption = Annotated[
    list[str] | None,
    typer.Option(
        "--any",
        metavar="MODE",
        autocompletion=complete.modes_and_families,
        help="Any of these modes or families (default: any mode of the step).",
    ),
]
MethodOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="METHOD",
        help="Only this method of the step.",
        autocompletion=complete.methods,
    ),
]


def practice(
    step: StepArgument,
    mode: ModeOption = None,
    family: FamilyOption = None,
    any_: AnyOption = None,
    method: MethodOption = None,
    where: WhereOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    confidence: ConfidenceOption = None,
    include_rework: IncludeReworkOption = False,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """How failures and minutes fall as a method is used, when it is practised, what learning costs.

    \b
    Examples:
      fixstats practice battery_release --chart practice.png
      fixstats practice battery_release --mode flex_cut --method thread_cut
      fixstats practice opening --family display_damage --where "model=Quillon Q5"
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.practice import PracticeAsk
    from fixstats.shop import open_shop

    ask = PracticeAsk(
        step=step,
        mode=mode,
        family=family,
        any=split(any_),
        method=split(method),
        where=pairs(where, "--where"),
        since=day(since, "--since"),
        until=day(until, "--until"),
        confidence=confidence,
        include_rework=include_rework,
    )
    finding = open_shop(shop).ask_practice(ask).finding
    emit(finding, practice_text, form=form, out=out, chart=chart)
    return 0


def practice_text(finding: Finding) -> str:
    """Sentences for each method, then the bands as a table, then notes."""
    from fixstats.cli import text
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    said = ["\n  ".join(one["sentences"]) for one in finding.parts["methods"]]
    top = text.scale_top(finding.rows)
    plain = not text.can_draw()
    heads = [
        "method", "earlier uses", "technicians", "failed (interval)", "failures", "curve",
        "minutes (interval)", f"0 to {text.percent(top)} %",
    ]  # fmt: skip
    rows = [
        [
            row["method"],
            row["band"],
            str(row["technicians"]),
            text.rate_words(row),
            text.count_words(row),
            f"{text.percent(row['fitted'])} %" if row["fitted"] else "",
            _minutes(row),
            text.interval_bar(row, top, plain=plain),
        ]
        for row in finding.rows
    ]
    right = [False, False, True, False, True, True, False, False]
    body = text.table(heads, rows, right)
    return "\n".join([_headline(finding), "", *said, "", body, "", footer(finding)])


def _minutes(row: Mapping[str, Any]) -> str:
    """``7.6 (7.2 to 8.1)``: the median with its interval."""
    if row["minutes"] is None:
        return ""
    if row["minutes_low"] is None:
        return f"{row['minutes']:.1f}"
    return f"{row['minutes']:.1f} ({row['minutes_low']:.1f} to {row['minutes_high']:.1f})"


def _headline(finding: Finding) -> str:
    """What is counted, at which step, level and period."""
    from fixstats.cli.text import asked_words

    settings, labels = finding.settings, finding.labels
    modes = settings["modes"]
    what = labels.get(modes[0], modes[0]) if len(modes) == 1 else f"any of {len(modes)} modes"
    family = finding.rows[0]["family"]
    if len(modes) > 1 and family:
        what = f"any of {family}"
    step = labels.get(settings["step"], settings["step"])
    level = f"{100 * settings['confidence_level']:g} % intervals"
    asked = asked_words(settings)
    return f"practice at {step}: {what}, by first choice, out of jobs, {level}, {asked}"
