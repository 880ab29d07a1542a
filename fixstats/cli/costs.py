"""``fixstats costs``: which failure modes cost most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fixstats.cli.options import (
    ChartOption,
    FormatOption,
    OutOption,
    ShopOption,
    SinceOption,
    UntilOption,
    day,
)

if TYPE_CHECKING:
    from fixstats.findings.base import Finding


def costs(
    since: SinceOption = None,
    until: UntilOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """Failure modes ranked by what they cost: failures times minutes and money of the catalogue.

    \b
    Examples:
      fixstats costs --since 2026-01 --chart costs.png
    """
    from fixstats.cli.emit import emit
    from fixstats.shop import open_shop

    found = open_shop(shop).costs(since=day(since, "--since"), until=day(until, "--until"))
    emit(found.finding, costs_text, form=form, out=out, chart=chart)
    return 0


def costs_text(finding: Finding) -> str:
    """The ranking as a table for people."""
    from fixstats.cli import text
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    currency = finding.settings["currency"]
    rows = [
        [
            row["mode"],
            _money(row["money"]),
            f"{_money(row['money_low'])} to {_money(row['money_high'])}",
            _money(row["cost_per_failure"]),
            text.count_words(row),
        ]
        for row in finding.rows
        if row["opportunities"]
    ]
    heads = ["mode", f"cost {currency}", "interval of the rate", "a failure", "failures"]
    body = text.table(heads, rows, [False, True, True, True, True])
    since, until = finding.settings["since"], finding.settings["until"]
    period = f"{since or 'from the first job'} to {until or finding.settings['as_of']}"
    head = f"cost of failure modes by first choice, catalogue costs, {period}"
    return f"{head}\n\n{body}\n\n{footer(finding)}"


def _money(value: float | None) -> str:
    return "missing" if value is None else f"{value:,.0f}"
