"""``fixstats report``: one month told to the owner, as a page to read, to print and to keep."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fixstats.cli.options import ShopOption


def report(
    month: Annotated[
        str,
        typer.Option(
            metavar="YYYY-MM|last",
            help="The month; last: the last one of which the records reach the last week.",
        ),
    ] = "last",
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Where to write (default: reports/YYYY-MM of the shop)."
        ),
    ] = None,
    shop: ShopOption = None,
) -> int:
    """Write the report of a month: report.html, report.md, and every number in a folder csv.

    \b
    Examples:
      fixstats report
      fixstats report --month 2026-08
      fixstats report --month last --out /tmp/for-the-owner
    """
    from fixstats.cli.text import printable
    from fixstats.report.files import check_room, reports_of, write_report
    from fixstats.shop import open_shop

    opened = open_shop(shop)
    check_room(out or reports_of(opened.folder))
    page = opened.report(month)
    folder = out or reports_of(opened.folder) / page.name
    written = write_report(page, folder)
    print(f"{printable(page.title)}\n")
    for path in written[:2]:
        print(_near(path))
    print(f"{_near(folder / 'csv')}: {len(written) - 2} tables")
    return 0


def _near(path: Path) -> Path:
    """The path as seen from here, where it lies below."""
    here = Path.cwd()
    path = path.resolve()
    return path.relative_to(here) if path.is_relative_to(here) else path
