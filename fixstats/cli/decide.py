"""``fixstats decide``: what to make the standard, what to try, what to wait for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

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
from fixstats.errors import UsageError
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    from pathlib import Path

    from fixstats.findings.base import Finding

ChoicesArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="CHOICE",
        help="Steps or PART_grade (default: all with a recorded option); PART_supplier within one "
        "grade.",
        autocompletion=complete.choices,
        show_default=False,
    ),
]
ModelOption = Annotated[
    list[str] | None,
    typer.Option(
        "--model",
        metavar="M",
        help="Only this model (default: all together, then each).",
        autocompletion=complete.models,
    ),
]
LabourRateOption = Annotated[
    float | None, typer.Option(metavar="MONEY", help="What if an hour of work cost this.")
]
PriceOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="PART:GRADE=MONEY",
        help="What if such a piece cost this.",
        autocompletion=complete.prices,
    ),
]
CostOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="MODE=MONEY",
        help="What if such a failure cost this each time, minutes included.",
        autocompletion=complete.modes,
    ),
]
LimitOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME=VALUE",
        help="What if a limit were this: standardise_at, tolerance, safety_limit, worth_knowing, "
        "horizon_months.",
    ),
]
AlongOption = Annotated[
    str | None,
    typer.Option(
        metavar="INPUT",
        help="Draw --chart along this input: labour_rate, PART:GRADE or a failure mode; it shows "
        "where the decision flips.",
        autocompletion=complete.inputs,
    ),
]


def decide(
    choice: ChoicesArgument = None,
    model: ModelOption = None,
    labour_rate: LabourRateOption = None,
    price: PriceOption = None,
    cost: CostOption = None,
    limit: LimitOption = None,
    where: WhereOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    confidence: ConfidenceOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    chart: ChartOption = None,
    along: AlongOption = None,
    shop: ShopOption = None,
) -> int:
    """What to make the house standard, what to try, what to wait for: by expected cost per job.

    Options with too many safety failures are never recommended, whatever they save. --labour-rate,
    --price, --cost and --limit ask "what if" for this call and change nothing.

    \b
    Examples:
      fixstats decide
      fixstats decide opening --chart opening.png
      fixstats decide battery_grade --model "Brask One" --price battery:original=31.50
      fixstats decide opening --labour-rate 90
      fixstats decide opening --chart flips.png --along labour_rate
    """
    from fixstats.cli.decide_text import decide_text
    from fixstats.cli.emit import emit
    from fixstats.findings.decide_plan import DecideAsk
    from fixstats.shop import open_shop

    ask = DecideAsk(
        choices=tuple(dict.fromkeys(choice or ())),
        models=tuple(dict.fromkeys(model or ())),
        where=pairs(where, "--where"),
        since=day(since, "--since"),
        until=day(until, "--until"),
        confidence=confidence,
        labour_rate=labour_rate,
        prices=tuple((*_part_and_grade(name), value) for name, value in _prices(price)),
        costs=_amounts(cost, "--cost", "MODE=MONEY", "tab_snapped=45"),
        limits=_amounts(limit, "--limit", "NAME=VALUE", "tolerance=1"),
    )
    _check_along(along, chart, ask.choices)
    finding = open_shop(shop).ask_decide(ask).finding
    if along is not None:
        finding = _along(finding, along)
    emit(finding, decide_text, form=form, out=out, chart=chart)
    return 0


def _prices(words: list[str] | None) -> tuple[tuple[str, float], ...]:
    return _amounts(words, "--price", "PART:GRADE=MONEY", "battery:original=31.50")


def _part_and_grade(name: str) -> tuple[str, str]:
    part, sign, grade = (word.strip() for word in name.partition(":"))
    if not (part and sign and grade):
        raise UsageError(
            f"--price {name}: write it as PART:GRADE=MONEY, such as battery:original=31.50"
        )
    return part, grade


def _amounts(
    words: list[str] | None, option: str, form: str, example: str
) -> tuple[tuple[str, float], ...]:
    """(name, number) from ``NAME=NUMBER``, each name once."""
    found: dict[str, float] = {}
    for word in words or ():
        name, sign, value = (part.strip() for part in word.partition("="))
        try:
            if not (name and sign):
                raise ValueError(word)
            number = float(value)
        except ValueError:
            raise UsageError(f"{option} {word}: write it as {form}, such as {example}") from None
        if name in found:
            raise UsageError(f"{option} {name} is said twice")
        found[name] = number
    return tuple(found.items())


def _check_along(along: str | None, chart: Path | None, choices: tuple[str, ...]) -> None:
    if along is not None and chart is None:
        raise UsageError(f"--along {along}: is for a picture, add --chart FILE")
    if along is not None and len(choices) != 1:
        raise UsageError(f"--along {along}: draws one choice: fixstats decide CHOICE --along ...")


def _along(finding: Finding, along: str) -> Finding:
    """The finding with the input that its picture goes along, by the name of its part ``lines``."""
    known = {
        name.split(maxsplit=1)[-1]: name
        for name in dict.fromkeys(line["input"] for line in finding.parts["lines"])
    }
    if finding.rows and along not in known:
        raise UsageError(f"--along {along}: no such input here{did_you_mean(along, known)}")
    return replace(finding, settings={**finding.settings, "along": known.get(along, along)})
