"""Makes a new shop with all that one needs on the first day."""

from __future__ import annotations

from pathlib import Path

from fixstats.engines.duck import writing
from fixstats.folder import DEFAULT_CATALOGUE, Settings, make_folder
from fixstats.records.blank_sheet import write_job_sheet
from fixstats.records.tick_sheet import write_tick_sheet


def new_shop(path: Path, settings: Settings, catalogue: Path = DEFAULT_CATALOGUE) -> list[str]:
    """Make the shop folder with an empty database and sheets to fill; the names of what is new.

    Raises
    ------
    FolderError
        If ``path`` already holds a shop, or cannot be written.
    """
    folder = make_folder(path, settings, catalogue)
    with writing(folder.database):
        pass
    write_job_sheet(folder.catalogue, path / "job_sheet.xlsx")
    write_tick_sheet(folder.catalogue, path / "tick_sheet.html")
    return ["shop.toml", "catalogue.toml", "shop.duckdb", "job_sheet.xlsx", "tick_sheet.html"]
