"""``fixstats rates``: how often each failure mode happens, with its uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fixstats.cli.options import (
    AnyOption,
    ChartOption,
    ConfidenceOption,
    FamiliesOption,
    FormatOption,
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
    typer.Option(metavar="KEY", help="Group by model, opening, battery_grade, month, pair, ..."),
]
ViewOption = Annotated[
    str, typer.Option(metavar="first|attempted", help="By first choice, or every attempt.")
]
IntervalOption = Annotated[
    str,
    typer.Option(
        metavar="NAME",
        help="wilson, wilson-cc, jeffreys, clopper-pearson, mid-p or agresti-coull.",
    ),
]
ClusterOption = Annotated[
    str | None,
    typer.Option(metavar="technician", help="Widen: jobs of one technician are alike."),
]
MinOpportunitiesOption = Annotated[
    int, typer.Option(metavar="N", help="Leave out rows with fewer opportunities.")
]
SortOption = Annotated[
    str | None, typer.Option(metavar="COLUMN", help="Sort by a column, figures falling.")
]
PoolOption = Annotated[
    bool, typer.Option("--pool", help="Also rates that borrow across models; needs --by model.")
]


def rates(
    mode: ModesOption = None,
    family: FamiliesOption = None,
    any_: AnyOption = None,
    by: ByOption = None,
    where: WhereOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    view: ViewOption = "first",
    interval: IntervalOption = "wilson",
    confidence: ConfidenceOption = None,
    cluster: ClusterOption = None,
    min_opportunities: MinOpportunitiesOption = 0,
    sort: SortOption = None,
    pool: PoolOption = False,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    shop: ShopOption = None,
) -> int:
    """How often each failure mode happens, out of its opportunities, and how sure that is.

    \b
    Examples:
      fixstats rates --family display_damage --by model,opening
      fixstats rates --mode calibration_refused --by charge --chart charge.png
      fixstats rates --by month --any broken_tabs --since 2026-01
      fixstats rates --mode tab_snapped --by model,battery_release --pool
    """
    from fixstats.cli.emit import emit
    from fixstats.findings.rates import RatesAsk
    from fixstats.shop import open_shop

    ask = RatesAsk(
        mode=split(mode),
        family=split(family),
        any=split(any_),
        by=split(by),
        where=pairs(where, "--where"),
        since=day(since, "--since"),
        until=day(until, "--until"),
        view=view,
        interval=interval,
        confidence=confidence,
        cluster=cluster,
        min_opportunities=min_opportunities,
        sort=sort,
        pool=pool,
    )
    finding = open_shop(shop).ask_rates(ask).finding
    emit(finding, rates_text, form=form, out=out, chart=chart)
    return 0


def rates_text(finding: Finding) -> str:
    """The rates as a table for people: words, counts, and the interval drawn."""
    from fixstats.cli import text
    from fixstats.cli.emit import footer
    from fixstats.findings.rates_notes import worth_bounds

    if not finding.rows:
        return footer(finding)
    top = text.scale_top(finding.rows)
    plain = not text.can_draw()
    bounds = any(note.code == "unknown_share" for note in finding.notes)
    names = [*(() if _all_same(finding) else ("mode",)), *finding.keys]
    pool = finding.settings["pool"]
    pooled = ["pooled (interval)", "borrowed"] if pool else []
    heads = [*names, "failed (interval)", *pooled, "failures", "natural"]
    right = [False] * (len(names) + 1) + [False, True][: len(pooled)] + [True, False]
    if bounds:
        heads, right = [*heads, "bounds"], [*right, False]
    heads, right = [*heads, f"0 to {text.percent(top)} %"], [*right, False]
    rows = []
    for row in finding.rows:
        cells = [_name(row, name) for name in names]
        cells += [text.rate_words(row), *(_pooled(row) if pool else ())]
        cells += [text.count_words(row), text.one_in_words(row)]
        cells += [text.bounds_words(row) if worth_bounds(row) else ""] if bounds else []
        rows.append([*cells, text.interval_bar(row, top, plain=plain)])
    body = text.table(heads, rows, right)
    return "\n".join([_headline(finding), "", body, "", footer(finding)]).rstrip()


def _pooled(row: Mapping[str, Any]) -> tuple[str, str]:
    """The rate with what was borrowed from other models, and how much that was."""
    from fixstats.cli.text import percent

    if row["pooled_rate"] is None:
        return "not pooled", ""
    ends = f"{percent(row['pooled_low'])} to {percent(row['pooled_high'])}"
    return f"{percent(row['pooled_rate'])} % ({ends})", f"{100 * row['borrowed']:.0f} %"


def _all_same(finding: Finding) -> bool:
    """True where all rows are of one mode, or of one union."""
    return (
        len({(row["mode"], row["family"] if not row["mode"] else "") for row in finding.rows}) == 1
    )


def _name(row: Mapping[str, Any], name: str) -> str:
    if name == "mode" and row["mode"] is None:
        return f"any of {row['family'] or 'these'}"
    value = row[name]
    return "(not recorded)" if value is None else str(value)


def _headline(finding: Finding) -> str:
    """What the table is: the modes if they are all the same, view, level, period."""
    from fixstats.cli.text import asked_words

    row, settings = finding.rows[0], finding.settings
    what = "failure rates"
    if _all_same(finding):
        label = finding.labels.get(row["mode"], row["mode"])
        what = label if row["mode"] else _name(row, "mode")
    view = {"first": "by first choice", "attempted": "as attempted"}[settings["view"]]
    units = " and ".join(sorted({f"{one['unit']}s" for one in finding.rows}))
    name = settings["interval"].replace("-", " ").capitalize()
    level = f"{100 * settings['confidence_level']:g} % {name} intervals"
    level += " (posterior ones of pooled rates)" if settings["pool"] else ""
    return f"{what}: {view}, out of {units}, {level}, {asked_words(settings)}"
