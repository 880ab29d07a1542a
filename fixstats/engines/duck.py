"""Opens the database of a shop: for one question, or for one writing command."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.errors import StoreError
from fixstats.resources import statement

if TYPE_CHECKING:
    import duckdb

# Raised by one whenever queries/schema.sql changes; a migration is queries/migrations/N.sql.
VERSION = 1


@contextmanager
def reading(database: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """A connection that can only read, for the length of one question.

    A shop without a database yet reads as an empty one.

    Raises
    ------
    StoreError
        If the file is held by a writer, is no database, or is from a newer fixstats.
    """
    import duckdb

    if database.is_file():
        con = _connect(database, read_only=True)
    else:
        con = duckdb.connect(":memory:")
        con.execute(statement("schema"))
        con.execute(statement("macros/wilson"))
    try:
        version = _version(con, database)
        if version < VERSION:
            raise StoreError(
                f"{database}: was written by an older fixstats; a writing command brings it up "
                "to date\n(fixstats import FILE, for one), after putting a copy aside"
            )
        yield con
    finally:
        con.close()


@contextmanager
def writing(database: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """The one connection that writes: all of it or nothing, checkpointed when it closes.

    Raises
    ------
    StoreError
        If the file is held by another process, cannot be written, or the disk is full.
    """
    import duckdb

    con = _connect(database, read_only=False)
    try:
        _bring_up_to_date(con, database)
        con.execute("begin")
        yield con
        con.execute("commit")
        con.execute("checkpoint")
    except duckdb.IOException as trouble:
        raise StoreError(_io_words(database, str(trouble))) from trouble
    except duckdb.OutOfMemoryException as trouble:
        raise StoreError(
            f"{database}: not enough memory or temporary disk; nothing was changed\n"
            "close other programs or import the files one by one"
        ) from trouble
    finally:
        con.close()


def _connect(database: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    import duckdb

    try:
        con = duckdb.connect(str(database), read_only=read_only)
        # else a long statement draws on standard output, into whatever is piped
        con.execute("set enable_progress_bar = false")
        return con
    except (duckdb.Error, OSError) as trouble:
        raise StoreError(_io_words(database, str(trouble))) from trouble


def _io_words(database: Path, message: str) -> str:
    """One or two lines for what the database said when it could not be opened or written."""
    holder = re.search(r"PID (\d+)", message)
    if "lock" in message:
        who = f"by process {holder[1]}" if holder else "by another process"
        return (
            f"{database}: is being written {who}\n"
            "wait until that command has ended (or close the program that holds it) and try again"
        )
    if re.search("permission denied|read-only", message, re.IGNORECASE):
        return (
            f"{database}: cannot be written here (read-only folder); reading still works\n"
            "copy the shop folder to a place where you may write"
        )
    if re.search("no space left|disk", message, re.IGNORECASE):
        return f"{database}: the disk is full; nothing was changed\nmake room and try again"
    if re.search("not a valid|version number|serializ|corrupt", message, re.IGNORECASE):
        return (
            f"{database}: is no database that this fixstats can read\n"
            "it is damaged or from a newer version: update fixstats, or put a copy back"
        )
    return f"{database}: cannot be opened ({message.splitlines()[0]})"


def _version(con: duckdb.DuckDBPyConnection, database: Path) -> int:
    """The version of the database's layout; 0 where it has none yet."""
    import duckdb

    try:
        rows = con.execute("select value from records.meta where key = 'version'").fetchall()
    except duckdb.CatalogException:
        return 0
    version = int(rows[0][0]) if rows else VERSION
    if version > VERSION:
        raise StoreError(
            f"{database}: was written by a newer fixstats (layout {version}, this one knows "
            f"{VERSION})\nupdate fixstats; nothing was changed"
        )
    return version


def _bring_up_to_date(con: duckdb.DuckDBPyConnection, database: Path) -> None:
    """Lay out a new database, or bring an older one up to date after a copy aside."""
    version = _version(con, database)
    if version == VERSION:
        return
    if version:
        con.execute("checkpoint")
        aside = database.with_suffix(f".layout{version}.duckdb")
        aside.write_bytes(database.read_bytes())
    con.execute("begin")
    try:
        for number in range(version or VERSION, VERSION):
            con.execute(statement(f"migrations/{number + 1}"))
        con.execute(statement("schema"))
        con.execute(statement("macros/wilson"))
        con.execute("delete from records.meta where key = 'version'")
        con.execute("insert into records.meta values ('version', $1)", [str(VERSION)])
        con.execute("commit")
    except Exception:
        con.execute("rollback")
        raise
