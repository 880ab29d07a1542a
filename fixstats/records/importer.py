"""Imports job sheets: all good rows of all files in one transaction, or none."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.engines.session import catalogue_tables
from fixstats.errors import UsageError
from fixstats.folder import Catalogue, ShopFolder
from fixstats.records.coverage import declared_covers
from fixstats.records.inbox import writing_shop
from fixstats.records.intake import Request, new_codes_in, take_in
from fixstats.records.mapping import read_mapping
from fixstats.records.newcodes import NewCode, with_codes, write_catalogue
from fixstats.records.reports import ImportReport, SheetReport

if TYPE_CHECKING:
    import duckdb

__all__ = ["ImportReport", "SheetReport", "import_sheets"]


class _OnlyChecked(Exception):  # noqa: N818 - no error: it carries the report past the commit
    def __init__(self, report: ImportReport) -> None:
        self.report = report


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
    """Take job sheets in, each as a batch of its own; wrong rows are held back, never dropped.

    Parameters
    ----------
    mapping
        A mapping file; without one, columns must have our names and values our codes.
    covers
        Which failure modes the bench looked for: ``all``, ``seen``, or codes and families.
    update
        The files hold ``job`` and some columns; only those change, and only where filled.
    add_codes
        Unknown codes go into the catalogue instead of holding their rows back.
    check
        Do everything but keep nothing.
    progress
        Called with a word whenever a new part of the work begins.

    Raises
    ------
    SheetError
        If any file cannot be read as a job sheet; nothing was changed.
    StoreError
        If the database cannot be written; nothing was changed.
    """
    if covers is not None:
        declared_covers(covers, folder.catalogue)
    read = read_mapping(mapping, folder.catalogue)
    tell = progress or (lambda stage: None)
    kind = "update" if update else "sheet"
    with tempfile.TemporaryDirectory() as name:
        requests = [
            Request(
                path, path.name, read, covers, kind, Path(name), folder.settings.time_zone, tell
            )
            for path in files
        ]
        try:
            return _import(folder, requests, add_codes=add_codes, check=check)
        except _OnlyChecked as done:
            return done.report


def _import(
    folder: ShopFolder, requests: Sequence[Request], *, add_codes: bool, check: bool
) -> ImportReport:
    catalogue, text, before = folder.catalogue, None, ""
    codes: list[NewCode] = []
    try:
        with writing_shop(folder, keep_inbox=check) as (con, taken):
            # while this one writes, nobody adopts a standard
            before = catalogue.where.read_text(encoding="utf-8")
            if add_codes:
                codes = _unknown_codes(con, requests, catalogue)
            if codes:
                catalogue, text = with_codes(catalogue, codes)
                catalogue_tables(con, catalogue)
            sheets = (*taken, *(take_in(con, request, catalogue) for request in requests))
            report = ImportReport(sheets, tuple(new.code for new in codes), checked=check)
            if check:
                raise _OnlyChecked(_unnumbered(report))
            if text is not None:
                write_catalogue(catalogue.where, text)
    except BaseException:
        # the records and the catalogue change together or not at all
        if text is not None and catalogue.where.read_text(encoding="utf-8") != before:
            write_catalogue(catalogue.where, before)
        raise
    # the folder's catalogue was read before codes were added
    folder.__dict__.pop("catalogue", None)
    return report


def _unknown_codes(
    con: duckdb.DuckDBPyConnection, requests: Sequence[Request], catalogue: Catalogue
) -> list[NewCode]:
    found: dict[tuple[str, str], NewCode] = {}
    for request in requests:
        for new in new_codes_in(con, request, catalogue):
            same = found.setdefault((new.entry, new.code), new)
            if same.step != new.step:
                raise UsageError(
                    f"'{new.code}' stands under the steps {same.step} and {new.step}: a method "
                    "belongs to one step; nothing was changed"
                )
    return list(found.values())


def _unnumbered(report: ImportReport) -> ImportReport:
    """A check stores nothing, so no file has a batch number."""
    return replace(report, sheets=tuple(replace(sheet, batch=None) for sheet in report.sheets))
