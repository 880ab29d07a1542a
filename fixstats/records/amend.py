"""Corrects one job of the records; the version before it is kept."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.errors import UsageError
from fixstats.folder import ShopFolder
from fixstats.records.bench import Fault, check_columns, faults_text, stored_cells
from fixstats.records.columns import REQUIRED, sheet_columns
from fixstats.records.inbox import writing_shop
from fixstats.records.intake import Request, take_in
from fixstats.records.mapping import Formats
from fixstats.records.mapping import Mapping as SheetMapping
from fixstats.records.templates import fill
from fixstats.words import did_you_mean, listed

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

LABEL = "amended"


@dataclass(frozen=True)
class Amended:
    """What was corrected: column -> cell before and after, "" for blank; ``batch``: its number."""

    job: str
    branch: str | None
    changes: Mapping[str, tuple[str, str]]
    batch: int | None


def amend(
    folder: ShopFolder, job: str, cells: Mapping[str, str], branch: str | None = None
) -> Amended:
    """Correct these cells of a job, "" for not recorded; all others stay, and so does the list of
    failure modes that the bench looked for.

    Raises
    ------
    UsageError
        If there is no such job, several branches have it, the number or branch itself is to change,
        or an import would hold the corrected job back; nothing is changed.
    StoreError
        If the database cannot be written.
    """
    check_columns(folder.catalogue, cells)
    for name in ("job", "branch"):
        if name in cells:
            raise UsageError(
                f"a job keeps its {'number' if name == 'job' else 'branch'}\n"
                f"if that was the slip: fixstats forget {job}, then add it anew"
            )
    with writing_shop(folder) as (con, _):
        con.execute(fill("macros"))
        before = _standing(con, folder, job, branch)
        after = {name: cell for name, cell in {**before, **cells}.items() if cell}
        batch = _take(con, folder, after)
        now = _standing(con, folder, job, before.get("branch"))
    names = [name for name in sheet_columns(folder.catalogue) if before.get(name) != now.get(name)]
    changes = {name: (before.get(name, ""), now.get(name, "")) for name in names}
    return Amended(job, before.get("branch"), changes, batch)


def _standing(con: Connection, folder: ShopFolder, job: str, branch: str | None) -> dict[str, str]:
    """The cells of the job as it stands, by column of a job sheet."""
    con.execute(fill("standing"), {"job": job, "branch": branch})
    found = con.execute("select branch from wanted").fetchall()
    if len(found) > 1:
        names = listed([str(name or "(none)") for (name,) in found], "or")
        raise UsageError(f"job '{job}' is in several branches: name one, --branch {names}")
    if not found:
        jobs = [known for (known,) in con.execute("select job from records.jobs").fetchall()]
        near = did_you_mean(job, jobs)
        raise UsageError(f"nothing was changed: no record has the job '{job}'{near}")
    known = sheet_columns(folder.catalogue)
    row = stored_cells(con, folder.catalogue)[0]
    return {name: cell for name, cell in row.items() if name in known}


def _take(con: Connection, folder: ShopFolder, row: Mapping[str, str]) -> int | None:
    """Take the whole corrected row in as an import of its own."""
    # Notes that a mapping let in stay; nobody can add any here.
    mapping = SheetMapping(
        formats=Formats(dates="YYYY-MM-DD", decimal=".", thousands=""), keep_notes=True
    )
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "amended.jsonl"
        whole = dict.fromkeys((*REQUIRED, "branch")) | dict(row)
        path.write_text(json.dumps(whole, ensure_ascii=False) + "\n", encoding="utf-8")
        zone = folder.settings.time_zone
        request = Request(path, LABEL, mapping, "all", "amend", Path(scratch), zone)
        report = take_in(con, request, folder.catalogue)
    if report.held_back:
        raise UsageError(faults_text([Fault(name, why) for _, name, _, why in report.preview]))
    return report.batch
