"""The process in which a person's own SQL runs: locked before it sees the first word of it.

``sandbox`` starts it, sends one line of JSON and reads one back. It ends with its question, with
its time, or when the program that asked is gone, whichever comes first.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import duckdb

from fixstats.engines.cells import read_cells, write_cells
from fixstats.engines.duck import reading
from fixstats.engines.sandbox_rules import check_statement
from fixstats.engines.session import build_session
from fixstats.errors import FixstatsError, QueryError
from fixstats.folder import ShopFolder

# Room beside the engine's own limit: threads, buffers, the answer on its way out. MB.
SLACK = 400
# The largest answer that is handed over: the asking program has to hold it. MB of text.
LARGEST = 64
# The engine stops itself at the limit; the alarm ends what does not listen. Seconds.
GRACE = 0.5
# The engine allows expressions 1,000 deep; as JSON each level takes several.
DEPTH = 10_000
# One value of each kind, so that nothing has to be imported or opened later.
_WARM = (
    "select 1.5::decimal(9, 2), date '2026-01-01', timestamptz '2026-01-01', time '12:00', "
    "interval 1 day, uuid(), 'a'::blob, {'a': 1}, map {'a': 1}, [1], timestamp '2026-01-01'"
)


def start() -> None:
    """Answer the request on standard input, on standard output; the process ends here."""
    request = dict(read_cells(sys.stdin.buffer.readline()))
    sys.setrecursionlimit(DEPTH)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with contextlib.suppress(AttributeError, ValueError):
        # The terminal's Ctrl-C is the asking program's affair; it ends this process.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        reply = _answer(request)
    except FixstatsError as trouble:
        reply = write_cells([type(trouble).__name__, str(trouble)])
    except (MemoryError, duckdb.OutOfMemoryException):
        reply = write_cells(["memory"])
    except duckdb.InterruptException:
        reply = write_cells(["time"])
    except duckdb.Error as trouble:
        reply = write_cells(["sql", str(trouble)])
    sys.stdout.write(reply)
    sys.stdout.flush()
    os._exit(0)


def _end_with_parent() -> None:
    """The asking program holds the other end of standard input as long as it lives."""
    sys.stdin.buffer.read()
    os._exit(1)


def _answer(request: Mapping[str, Any]) -> str:
    folder = ShopFolder(Path(request["folder"]))
    with reading(folder.database) as con:
        build_session(con, folder.catalogue)
        _lock(con, request["seconds"], request["memory_mb"])
        check_statement(con, request["sql"])
        return _run(con, request)


def _lock(con: duckdb.DuckDBPyConnection, seconds: float, memory_mb: int) -> None:
    """Take every right from the connection, then from the process."""
    for setting in (
        "TimeZone = 'UTC'",
        "errors_as_json = true",
        "temp_directory = ''",
        "enable_external_access = false",
        "autoinstall_known_extensions = false",
        "autoload_known_extensions = false",
        "allow_community_extensions = false",
        "python_enable_replacements = false",
        f"memory_limit = '{memory_mb}MB'",
        f"max_execution_time = {max(1, round(seconds * 1000))}",
    ):
        con.execute(f"set {setting}")
    con.execute(_WARM).fetchall()
    con.execute("set lock_configuration = true")
    _lock_process(seconds, memory_mb)


def _lock_process(seconds: float, memory_mb: int) -> None:
    """No new file, socket or byte written, so much memory, so much time: the system holds it.

    Where the system has no such limits (Windows) the engine's own hold, and the asking program's
    clock.
    """
    try:
        import resource
    except ImportError:
        return
    with contextlib.suppress(OSError):  # only Linux tells how much is taken
        taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        room = taken + (memory_mb + SLACK) * 2**20
        resource.setrlimit(resource.RLIMIT_AS, (room, room))
    for limit in (resource.RLIMIT_CORE, resource.RLIMIT_FSIZE, resource.RLIMIT_NOFILE):
        resource.setrlimit(limit, (0, 0))
    signal.setitimer(signal.ITIMER_REAL, seconds + GRACE)


def _run(con: duckdb.DuckDBPyConnection, request: Mapping[str, Any]) -> str:
    limit = request["row_limit"]
    parameters = request["parameters"]
    cursor = con.execute(request["sql"], parameters) if parameters else con.execute(request["sql"])
    columns = [[column[0], str(column[1])] for column in cursor.description or ()]
    try:
        rows = cursor.fetchmany(limit + 1)
    except (ValueError, OverflowError) as trouble:  # years beyond 9999 and the like
        raise QueryError(
            f"a value of the answer cannot be handed over ({trouble}); cast it to varchar"
        ) from trouble
    reply = write_cells(["rows", columns, rows[:limit], len(rows) > limit])
    if len(reply) > LARGEST * 2**20:
        raise QueryError(f"the answer is larger than {LARGEST} MB; select fewer columns or rows")
    return reply
