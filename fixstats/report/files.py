"""A page as files: HTML, Markdown, and a folder of CSV."""

from __future__ import annotations

import os
from pathlib import Path

from fixstats.errors import FixstatsError
from fixstats.folder import ShopFolder
from fixstats.report.blocks import Page
from fixstats.report.markdown import markdown_page
from fixstats.report.page import html_page
from fixstats.spreadsheet import csv_text, plain


def reports_of(folder: ShopFolder) -> Path:
    """Where the monthly reports of a shop lie, each in a folder named by its month."""
    return folder.path / "reports"


def verdicts_written(folder: Path) -> dict[str, tuple[str, str | None]] | None:
    """Choice -> verdict and option over all models, as written in ``folder``; None: no report."""
    import csv

    try:
        with (folder / "csv" / "decide.csv").open(encoding="utf-8", newline="") as file:
            return {
                row["choice"]: (row["verdict"], plain(row["option"]) or None)
                for row in csv.DictReader(file)
                if row["scope"] == "all"
            }
    except (OSError, KeyError, ValueError, csv.Error):
        return None


def write_report(page: Page, folder: Path) -> list[Path]:
    """Write ``report.html``, ``report.md`` and ``csv/NAME.csv`` into ``folder``; their paths.

    Files of an earlier report of the same name are replaced.

    Raises
    ------
    FixstatsError
        If a file cannot be written.
    """
    texts = {
        folder / "report.html": html_page(page),
        folder / "report.md": markdown_page(page),
        **{folder / "csv" / f"{name}.csv": csv_text(rows) for name, rows in page.tables.items()},
    }
    for path, text in texts.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        except OSError as trouble:
            raise FixstatsError(f"{path}: cannot be written ({trouble.strerror})") from trouble
    return list(texts)


def check_room(folder: Path) -> None:
    """Before the work begins, so that nobody waits for a report in vain; makes nothing.

    Raises
    ------
    FixstatsError
        If the folder cannot be made, or nothing can be written into it.
    """
    nearest = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    if not (nearest.is_dir() and os.access(nearest, os.W_OK)):
        raise FixstatsError(
            f"{folder}: cannot be written ({nearest} is no folder that can be written to)"
        )
