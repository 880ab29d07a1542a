"""Imports that were, taking one back, and forgetting a job."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fixstats.engines.duck import copies_aside, reading, renew
from fixstats.engines.versions import ENTRY_TABLES
from fixstats.errors import StoreError, UsageError
from fixstats.folder import ShopFolder
from fixstats.records.inbox import writing_shop
from fixstats.records.storing import to_past
from fixstats.records.templates import fill, one_number
from fixstats.words import counted, listed

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection


@dataclass(frozen=True)
class Batch:
    """One import; ``waiting``: rows of it that are still held back."""

    batch: int
    file: str
    taken_in: datetime
    kind: str
    covers: str
    mapping: str | None
    rows_read: int
    added: int
    changed: int
    unchanged: int
    repeated: int
    held_back: int
    undone: bool
    waiting: int


@dataclass(frozen=True)
class Undone:
    """What taking back an import did: jobs taken out, earlier versions that returned."""

    batch: int
    file: str
    removed: int
    returned: int


@dataclass(frozen=True)
class Forgotten:
    """What forgetting a job removed: versions of it, its held-back rows, and names it alone used.

    ``remains``: why its bytes may remain in the database file; "" where that was written anew.
    ``copies``: names of the copies of older layouts that went with it; ``kept_copies``: of those
    that could not be removed, with the reason.
    """

    job: str
    versions: int
    held_back: int
    names: int
    remains: str
    copies: tuple[str, ...]
    kept_copies: tuple[str, ...]


def batches(folder: ShopFolder) -> list[Batch]:
    """Every import, in order."""
    with reading(folder.database) as con:
        return [Batch(*row) for row in con.execute(fill("batches")).fetchall()]


def undo(folder: ShopFolder, batch: int) -> Undone:
    """Take an import back: earlier versions of its jobs return, its held-back rows vanish.

    Raises
    ------
    UsageError
        If there is no such import, it is taken back already, or a later one changed its jobs.
    """
    with writing_shop(folder) as (con, _):
        rows = con.execute(fill("batch_of"), {"batch": batch}).fetchall()
        if not rows or rows[0][1]:
            why = "was taken back already" if rows else "is not there"
            raise UsageError(f"import {batch} {why}; the list: fixstats batches")
        later = con.execute(fill("touched_later"), {"batch": batch}).fetchall()
        if later:
            after, jobs, example = later[0]
            raise UsageError(
                f"import {batch}: import {after} changed {counted(jobs, 'job')} of it later "
                f"({example}, for one); nothing was changed\n"
                f"take import {after} back first: fixstats batches --undo {after}"
            )
        removed, returned = _take_back(con, batch)
    return Undone(batch, rows[0][0], removed, returned)


def _take_back(con: Connection, batch: int) -> tuple[int, int]:
    con.execute(fill("leaving_undone"), {"batch": batch})
    removed = one_number(con, "count", table="leaving")
    to_past(con, batch)
    con.execute(fill("leaving_returned"), {"batch": batch})
    returned = one_number(con, "count", table="leaving")
    for table in ENTRY_TABLES:
        columns = "* exclude (replaced_by)" if table == "jobs" else "*"
        con.execute(fill("restore", table=table, columns=columns))
        con.execute(fill("delete_leaving", place="past", table=table))
    con.execute("delete from records.heldback where batch = $1", [batch])
    con.execute("update records.heldback set cleared_by = null where cleared_by = $1", [batch])
    con.execute("update records.batches set undone = true where batch = $1", [batch])
    return removed, returned


def forget(folder: ShopFolder, job: str, branch: str | None = None) -> Forgotten:
    """Remove a job with all its versions, held-back rows and names of its own, for good.

    The database is then written anew, so that its file keeps no bytes of the job. Copies of older
    layouts, put aside before the database was brought up to date, may hold the job too: they go
    whole, as nothing reads them any more.

    Raises
    ------
    UsageError
        If no record has this job, or several branches have one of this number.
    KeyboardInterrupt
        With words on what became of the job.
    """
    with writing_shop(folder) as (con, _):
        con.execute(fill("macros"))
        con.execute(fill("versions"), {"job": job, "branch": branch})
        found = con.execute(fill("branches_leaving")).fetchall()
        if len(found) > 1:
            names = listed([str(name) for (name,) in found if name], "or")
            raise UsageError(f"job '{job}' is in several branches: name one of {names}")
        held = one_number(con, "forget_held", {"job": job, "branch": branch})
        versions = one_number(con, "count", table="leaving")
        if not versions and not held:
            raise UsageError(f"no record has the job '{job}'; nothing was changed")
        for table in ENTRY_TABLES:
            for place in ("records", "past"):
                con.execute(fill("delete_leaving", place=place, table=table))
        for table in ("assignments", "exclusions"):
            con.execute(fill("forget_drawn", table=table), {"job": job})
        unused = one_number(con, "unused_names")
    removed, kept = _copies_removed(folder)
    return Forgotten(job, versions, held, unused, _renewed(folder), removed, kept)


def _copies_removed(folder: ShopFolder) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Remove the copies of older layouts; their names, and those of the others with the reason."""
    removed, kept = [], []
    for path in copies_aside(folder.database):
        try:
            path.unlink()
            removed.append(path.name)
        except OSError as trouble:
            kept.append(f"{path.name} ({trouble.strerror})")
    return tuple(removed), tuple(kept)


def _renewed(folder: ShopFolder) -> str:
    """Write the database anew; why that could not be done, or "" where it was."""
    try:
        renew(folder.database)
    except StoreError as trouble:
        return str(trouble)
    except KeyboardInterrupt as stop:
        raise KeyboardInterrupt(
            "the job is forgotten, but its bytes may remain in the database file until later "
            "records overwrite them, or the next job is forgotten"
        ) from stop
    return ""
