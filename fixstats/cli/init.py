"""``fixstats init``: a new shop folder."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer


def init(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the shop will be.")],
    name: Annotated[str | None, typer.Option(metavar="TEXT", help="Name of the workshop.")] = None,
    currency: Annotated[
        str | None, typer.Option(metavar="CODE", help="ISO 4217, such as EUR.")
    ] = None,
    labour_rate: Annotated[
        float | None, typer.Option(metavar="MONEY", help="Labour, money per hour.")
    ] = None,
    time_zone: Annotated[
        str | None, typer.Option(metavar="ZONE", help="IANA zone, such as Europe/Lisbon.")
    ] = None,
) -> int:
    """Make a shop folder: settings, catalogue, a blank job sheet and a tick sheet to print.

    What is not given as an option is asked for.

    \b
    Examples:
      fixstats init myshop
      fixstats init myshop --name "My Shop" --currency EUR --labour-rate 60 --time-zone UTC
    """
    from fixstats.folder.settings import check_settings
    from fixstats.records.newshop import new_shop

    given = {
        "name": _answer(name, "Name of the workshop", folder.resolve().name),
        "currency": _answer(currency, "Currency (ISO 4217)", "EUR"),
        "labour_rate": _answer(labour_rate, "Labour, money per hour", 60.0),
        "time_zone": _answer(time_zone, "Time zone (IANA)", "UTC"),
    }
    settings = check_settings({"format": 1, **given}, folder / "shop.toml")
    made = new_shop(folder, settings)
    print(f"made {folder}: {', '.join(made)}")
    print("next: fill job_sheet.xlsx or keep your own sheet, then")
    print(f"  fixstats import SHEET --shop {folder}")
    return 0


def _answer(given: Any, question: str, default: Any) -> Any:
    """What was given, else what the person answers, else (nobody there) the default."""
    if given is not None:
        return given
    return typer.prompt(question, default=default) if sys.stdin.isatty() else default
