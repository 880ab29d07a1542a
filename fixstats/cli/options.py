"""Options that several commands share, and how their words are read."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from fixstats.cli import complete
from fixstats.errors import UsageError
from fixstats.words import did_you_mean

FORMATS = ("table", "json", "csv", "markdown")

ShopOption = Annotated[
    Path | None,
    typer.Option("--shop", metavar="PATH", help="Shop folder; else FIXSTATS_SHOP, else upwards."),
]
FormatOption = Annotated[
    str | None,
    typer.Option("--format", metavar="|".join(FORMATS), help="How to print (default: table)."),
]
OutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="FILE", help="Write to FILE instead; .parquet for Parquet."),
]
ChartOption = Annotated[
    Path | None,
    typer.Option("--chart", metavar="FILE", help="Also draw it: .svg, .png, .pdf or .html."),
]

ModesOption = Annotated[
    list[str] | None,
    typer.Option(
        "--mode",
        metavar="MODE",
        autocompletion=complete.modes,
        help="Rows for this failure mode.",
    ),
]
FamiliesOption = Annotated[
    list[str] | None,
    typer.Option(
        "--family",
        metavar="FAMILY",
        autocompletion=complete.families,
        help="Rows for any mode of the family, a union over the job.",
    ),
]
AnyOption = Annotated[
    list[str] | None,
    typer.Option(
        "--any",
        metavar="MODE",
        autocompletion=complete.modes_and_families,
        help="Rows for any of these modes or families, a union over the job.",
    ),
]
WhereOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KEY=VALUE",
        autocompletion=complete.pairs,
        help="Only these; a KEY again: or. KEY= : not recorded.",
    ),
]
ChoiceArgument = Annotated[
    str,
    typer.Argument(
        metavar="CHOICE",
        help="A step, PART_grade or PART_supplier.",
        autocompletion=complete.choices,
        show_default=False,
    ),
]
IncludeReworkOption = Annotated[
    bool, typer.Option("--include-rework", help="Count jobs that are come-backs, too.")
]
SinceOption = Annotated[str | None, typer.Option(metavar="DATE", help="First day, or month.")]
UntilOption = Annotated[str | None, typer.Option(metavar="DATE", help="Last day, or month.")]
ConfidenceOption = Annotated[
    float | None, typer.Option(metavar="LEVEL", help="Two-sided level, such as 0.95.")
]


def day(text: str | None, option: str) -> date | None:
    """A date from ``2026-03-01``, ``2026-03`` or ``2026`` (its first or last day by the option)."""
    if text is None:
        return None
    import calendar
    import re

    match = re.fullmatch(r"(\d{4})(?:-(\d{2}))?(?:-(\d{2}))?", text)
    try:
        if match is None:
            raise ValueError(text)
        last = option == "--until"
        year, month = int(match[1]), int(match[2] or (12 if last else 1))
        length = calendar.monthrange(year, month)[1]
        return date(year, month, int(match[3] or (length if last else 1)))
    except ValueError as trouble:
        raise UsageError(f"{option} {text}: no such date; write it like 2026-03-31") from trouble


def pairs(words: list[str] | None, option: str) -> tuple[tuple[str, str], ...]:
    """(key, value) from ``KEY=VALUE``; an empty value means not recorded."""
    found = []
    for word in words or []:
        key, sign, value = word.partition("=")
        if not sign or not key.strip():
            raise UsageError(f"{option} {word}: write it as KEY=VALUE, such as model=NAME")
        found.append((key.strip(), value.strip()))
    return tuple(found)


def split(words: list[str] | None) -> tuple[str, ...]:
    """Words given as ``--by a --by b`` or ``--by a,b``, in order, without repeats."""
    parts = [part.strip() for word in words or [] for part in word.split(",")]
    return tuple(dict.fromkeys(part for part in parts if part))


def check_format(name: str | None, more: Iterable[str] = ()) -> str | None:
    """The format's name; UsageError with the nearest one if it is unknown."""
    known = {*FORMATS, *more}
    if name is not None and name not in known:
        raise UsageError(f"unknown format '{name}'{did_you_mean(name, known)}")
    return name
