"""What every question of a shop rests on: its folder, a session on its records, a result."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fixstats.engines.duck import reading
from fixstats.engines.session import build_session
from fixstats.findings.base import Finding, Note, listing
from fixstats.folder import ShopFolder
from fixstats.shop_result import Result
from fixstats.words import counted

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class OpenShop:
    """A shop folder whose records can be read; the questions of ``Shop`` are built on it."""

    folder: ShopFolder

    @contextmanager
    def session(
        self, *, digging: bool = True, statements: Iterable[str] | None = None
    ) -> Iterator[duckdb.DuckDBPyConnection]:
        """A read-only DuckDB connection with the catalogue and all views, for one question.

        ``digging=False`` leaves out the views that only a person's own SQL reads; ``statements``
        also those that none of them reads.
        """
        with reading(self.folder.database) as con:
            build_session(con, self.folder.catalogue, digging=digging, statements=statements)
            yield con

    def batches(self) -> Result:
        """Imports in order: file, when, what became of its rows, what it covered."""
        from fixstats.records.batches import batches

        rows = [vars(batch) | {"taken_in": str(batch.taken_in)} for batch in batches(self.folder)]
        hidden = ("mapping",)
        shown = [{k: v for k, v in row.items() if k not in hidden} for row in rows]
        return Result(listing("batches", shown, "nothing was imported yet: fixstats import FILE"))

    def _result(self, finding: Finding) -> Result:
        """The finding, with a word on jobs that wait in the inbox."""
        jobs = len(self.folder.waiting)
        if jobs:
            text = f"{counted(jobs, 'job')} in the inbox: the next writing command takes them in"
            finding = replace(finding, notes=(*finding.notes, Note("inbox_waiting", text)))
        return Result(finding)
