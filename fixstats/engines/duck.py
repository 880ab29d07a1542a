"""Opens the database of a shop: for one question, for one writing command, to write it anew."""

from __future__ import annotations

import glob
import re
import shutil
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from fixstats.errors import StoreError
from fixstats.resources import statement

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import duckdb

# Raised by one whenever queries/schema.sql changes; a migration is queries/migrations/N.sql.
VERSION = 3
# Another command mostly holds the file for a moment: seconds to wait for it, and between tries.
PATIENCE = 5.0
PAUSE = 0.05
# Jobs up to which a report takes this much memory for the database in each of its two processes.
SPARING, SPARING_MB = 1_200_000, 700


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
                f"{database}: was written by an older fixstats\nfixstats import FILE brings it up "
                "to date, after putting a copy aside; with --check it stores no row of FILE"
            )
        yield con
    except RuntimeError as trouble:
        if _interrupted(trouble):
            raise KeyboardInterrupt from trouble
        raise
    finally:
        con.close()


def give_memory_back(con: duckdb.DuckDBPyConnection) -> None:
    """Return freed memory to the system at once: for long work, or beside another process.

    Else the database keeps what a large statement took: of a million jobs half a gigabyte. Of
    records up to ``SPARING`` jobs it also does with less than it would take, for a twentieth more
    time; more jobs need what they need.
    """
    con.execute("set allocator_background_threads = true")
    ((jobs,),) = con.execute(
        statement("records/count").replace("/*table*/", "records.jobs")
    ).fetchall()
    if jobs <= SPARING:
        con.execute(f"set memory_limit = '{SPARING_MB}MB'")


@contextmanager
def writing(database: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """The one connection that writes: all of it or nothing, checkpointed when it closes.

    Raises
    ------
    StoreError
        If the file is held by another process, cannot be written, or the disk is full; also if
        everything is stored but the log beside the database could not be folded in.
    KeyboardInterrupt
        With words on what became of the records. Ctrl-C waits while they are being committed.
    """
    import duckdb

    con = _connect(database, read_only=False)
    stored = False
    try:
        _bring_up_to_date(con, database)
        con.execute("begin")
        with _stoppable(con) as stoppable:
            yield stoppable
        with _interruption_waits():
            con.execute("commit")
            stored = True
            con.execute("checkpoint")
    except (duckdb.Error, RuntimeError, KeyboardInterrupt) as trouble:
        told = _told(database, trouble, stored=stored)
        if told is trouble:
            raise
        raise told from trouble
    finally:
        con.close()


def renew(database: Path) -> None:
    """Copy what the database holds into a fresh file and put that in its place, in one move.

    DuckDB only marks the blocks of removed rows as free: what they held stays in the file until
    something else is stored there. Whatever stops this leaves the whole old file or the whole new
    one. The lock of a writer is held to the end, so nothing is stored in between and lost.

    Raises
    ------
    StoreError
        With the reason, if the copy cannot be made or put in place (a full disk; a system that
        lets no open file be replaced); the database is as before.
    """
    import duckdb

    database = database.resolve()
    fresh = database.with_suffix(".renewed")
    leavings = (fresh, fresh.with_name(f"{fresh.name}.wal"))
    try:
        _remove(leavings)  # what a killed command left would be read as part of the new file
        con = _connect(database, read_only=False)
        try:
            quoted = str(fresh).replace("'", "''")
            con.execute(f"attach '{quoted}' as fresh")
            con.execute(f'copy from database "{database.stem}" to fresh')
            con.execute("checkpoint fresh")
            con.execute("detach fresh")
            shutil.copymode(database, fresh)
            fresh.replace(database)
        finally:
            con.close()
    except (duckdb.Error, OSError) as trouble:
        raise StoreError(str(trouble).splitlines()[0]) from trouble
    except RuntimeError as trouble:
        if _interrupted(trouble):
            raise KeyboardInterrupt from trouble
        raise
    finally:
        _remove(leavings)


def copies_aside(database: Path) -> list[Path]:
    """The copies of older layouts, each put aside before the database was brought up to date."""
    return sorted(database.parent.glob(f"{glob.escape(database.stem)}.layout[0-9]*.duckdb"))


def _remove(paths: tuple[Path, ...]) -> None:
    for path in paths:
        path.unlink(missing_ok=True)


class _Stoppable:
    """A connection whose statements run beside the main thread, so that this hears of Ctrl-C.

    DuckDB itself listens now and then, at times not for seconds; it heeds an interruption from
    outside within milliseconds.
    """

    def __init__(self, con: duckdb.DuckDBPyConnection, worker: Executor) -> None:
        self._con, self._worker = con, worker

    def execute(self, *words: Any) -> duckdb.DuckDBPyConnection:
        """As the connection's own."""
        running = self._worker.submit(self._con.execute, *words)
        try:
            return running.result()
        except KeyboardInterrupt:
            self._con.interrupt()
            raise

    def __getattr__(self, name: str) -> Any:
        return getattr(self._con, name)


@contextmanager
def _stoppable(con: duckdb.DuckDBPyConnection) -> Iterator[duckdb.DuckDBPyConnection]:
    """The connection, with Ctrl-C heeded at once; what runs then has ended when the block ends."""
    if threading.current_thread() is not threading.main_thread():
        yield con
        return
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(1) as worker:
        yield cast("duckdb.DuckDBPyConnection", _Stoppable(con, worker))


@contextmanager
def _interruption_waits() -> Iterator[None]:
    """Ctrl-C is delivered at the end of the block only (signals reach the main thread alone)."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    waiting: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: waiting.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL if before is None else before)
    if waiting:
        signal.raise_signal(signal.SIGINT)


def _interrupted(trouble: BaseException) -> bool:
    """True for Ctrl-C, also as DuckDB tells of it."""
    import duckdb

    return (
        isinstance(trouble, KeyboardInterrupt | duckdb.InterruptException)
        or str(trouble) == "Query interrupted"
    )


def _told(database: Path, trouble: BaseException, *, stored: bool) -> BaseException:
    """The trouble of a writing command as a person should hear it; itself where it is a fault."""
    import duckdb

    if _interrupted(trouble):
        return KeyboardInterrupt("the records are stored" if stored else "nothing was changed")
    if stored and isinstance(trouble, duckdb.Error):
        return StoreError(
            f"{database}: the records are stored, but not yet folded into this file "
            f"({str(trouble).splitlines()[0]})\n"
            "the next writing command does that; till then keep the .wal file beside it"
        )
    if isinstance(trouble, duckdb.OutOfMemoryException):
        return StoreError(
            f"{database}: not enough memory or temporary disk; nothing was changed\n"
            "close other programs or import the files one by one"
        )
    if isinstance(trouble, duckdb.IOException):
        return StoreError(_io_words(database, str(trouble)))
    return trouble


def _connect(database: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    import duckdb

    end = time.monotonic() + PATIENCE
    while True:
        try:
            con = duckdb.connect(str(database), read_only=read_only)
            _no_progress_bar(con)
            return con
        except (duckdb.Error, OSError) as trouble:
            message = str(trouble)
            if not _HELD.search(_pathless(database, message)) or time.monotonic() >= end:
                raise StoreError(_io_words(database, message)) from trouble
        time.sleep(PAUSE)


def _no_progress_bar(con: duckdb.DuckDBPyConnection) -> None:
    """Else a long statement draws on standard output, into whatever is piped."""
    import duckdb

    # A notebook without widgets has none, and refuses even to be told so.
    with suppress(duckdb.InvalidInputException):
        con.execute("set enable_progress_bar = false")


# What DuckDB and the systems under it say.
_HELD = re.compile("conflicting lock is held|used by another process", re.IGNORECASE)
_FORBIDDEN = re.compile("permission denied|access is denied|read-only", re.IGNORECASE)
_FULL = re.compile("no space left|quota exceeded|not enough space|file too large", re.IGNORECASE)
_DAMAGED = re.compile("not a valid|version number|serializ|corrupt", re.IGNORECASE)


def _pathless(database: Path, message: str) -> str:
    """The message without the names of files, which may hold any word."""
    for path in (str(database.absolute()), str(database)):
        message = message.replace(path, "")
    return re.sub(r'"[^"]*"', "", message)


def _io_words(database: Path, message: str) -> str:
    """One or two lines for what the database said when it could not be opened or written."""
    said = _pathless(database, message)
    if _HELD.search(said):
        holder = re.search(r"PID (\d+)", said)
        who = f"process {holder[1]}" if holder else "another process"
        return (
            f"{database}: is in use by {who}\n"
            "wait until that command has ended (or close the program that holds it) and try again"
        )
    if _FORBIDDEN.search(said):
        return (
            f"{database}: cannot be written here (read-only folder); reading still works\n"
            "copy the shop folder to a place where you may write"
        )
    if _FULL.search(said):
        return (
            f"{database}: the disk (or what you may use of it) is full; nothing was changed\n"
            "make room and try again"
        )
    if _DAMAGED.search(said):
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
