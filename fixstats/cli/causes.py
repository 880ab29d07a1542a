"""``fixstats causes``: which recorded conditions go with a failure mode."""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
)

if TYPE_CHECKING:
    from fixstats.findings.base import Finding


def causes(
    mode: Annotated[
        str,
        typer.Argument(
            metavar="MODE",
            help="A failure mode, or a family: any of its modes.",
            autocompletion=complete.modes_and_families,
        ),
    ],
    where: WhereOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    confidence: ConfidenceOption = None,
    min_opportunities: Annotated[
        int, typer.Option(metavar="N", help="Leave out values with fewer opportunities.")
    ] = 10,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """Which recorded conditions go with a failure mode, like for like, and how strongly.

    Looks at every factor, parts fitted together, mixed grades, come-backs, practice, steps that
    needed another try, and the quarter. What goes with a failure need not bring it about.

    \b
    Examples:
      fixstats causes calibration_refused --chart causes.svg
      fixstats causes mixed_part_conflicts --where model="Quillon Q5" --since 2026
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.causes import CausesAsk
    from fixstats.shop import open_shop

    ask = CausesAsk(
        mode=mode,
        where=pairs(where, "--where"),
        since=day(since, "--since"),
        until=day(until, "--until"),
        confidence=confidence,
        min_opportunities=min_opportunities,
    )
    finding = open_shop(shop).ask_causes(ask).finding
    emit(finding, causes_text, form=form, out=out, chart=chart)
    return 0


def causes_text(finding: Finding) -> str:
    """A sentence for each condition that goes with the failure, then all rows, then notes."""
    from fixstats.cli import text
    from fixstats.cli.emit import footer

    if all(row["odds_ratio"] is None for row in finding.rows):
        return footer(finding)
    level = f"{100 * finding.settings['confidence_level']:g} %"
    heads = [
        "condition", "value", "failed", "against", "failed", f"odds ratio ({level})",
        "more in 100", "share due, %", "p corrected",
    ]  # fmt: skip
    rows = [_cells(row) for row in finding.rows]
    body = text.table(heads, rows, [False, False, True, False, True, True, True, True, True])
    said = [f"- {one['text']}" for one in finding.parts["sentences"]]
    return "\n".join([_headline(finding), "", *said, "", body, "", footer(finding)]).rstrip()


def _headline(finding: Finding) -> str:
    from fixstats.cli.text import asked_words, count_words, percent

    settings, (total,) = finding.settings, finding.parts["total"]
    what = finding.labels.get(settings["mode"], settings["mode"])
    if finding.rows[0]["mode"] is None:
        what = f"any of {what}"
    rate = percent(total["failures"] / total["opportunities"])
    return (
        f"{what}: {count_words(total)} {settings['unit']}s ({rate} %), by first choice, "
        f"{asked_words(settings)}"
    )


def _cells(row: Mapping[str, Any]) -> list[str]:
    from fixstats.cli.text import EMPTY, count_words
    from fixstats.findings.causes_words import percent, ratio

    def spread(name: str, ends: str, words: Callable[[float], str]) -> str:
        return f"{words(row[name])} ({words(row[f'{ends}_low'])} to {words(row[f'{ends}_high'])})"

    reference = {name: row[f"reference_{name}"] for name in ("failures", "opportunities")}
    names = [row["condition"], row["level"], count_words(row), row["reference"]]
    if row["odds_ratio"] is None:
        return [*names, count_words(reference), *[EMPTY] * 4]
    return [
        *names,
        count_words(reference),
        spread("odds_ratio", "odds", ratio),
        spread("risk_difference", "risk", percent),
        spread("share_due", "share", percent),
        _p_value(row["p_corrected"]),
    ]


def _p_value(value: float) -> str:
    return "<0.001" if value < 0.001 else f"{value:.3f}" if value < 0.995 else "1"
