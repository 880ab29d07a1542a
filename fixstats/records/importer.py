"""Imports job sheets: all good rows of all files in one transaction, or none."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

from fixstats.engines.duck import writing
from fixstats.engines.session import catalogue_tables
from fixstats.folder import ShopFolder
from fixstats.records.intake import Request, take_in
from fixstats.records.mapping import read_mapping
from fixstats.records.reports import ImportReport, SheetReport

__all__ = ["ImportReport", "SheetReport", "import_sheets"]


def import_sheets(
    folder: ShopFolder,
    files: Sequence[Path],
    *,
    mapping: Path | None = None,
    covers: str | None = None,
    update: bool = False,
    add_codes: bool = False,
    check: bool = False,
    progress: Callable[[str], None] | None = None,
) -> ImportReport:
    """Take the files in, each as a batch of its own; wrong rows are held back."""
    tell = progress or (lambda stage: None)
    read = read_mapping(mapping, folder.catalogue)
    with tempfile.TemporaryDirectory() as scratch, writing(folder.database) as con:
        catalogue_tables(con, folder.catalogue)
        sheets = [
            take_in(
                con,
                Request(path, path.name, read, covers, "update" if update else "sheet",
                        Path(scratch), tell),
                folder.catalogue,
            )
            for path in files
        ]  # fmt: skip
    return ImportReport(tuple(sheets))
