"""Runs a person's own SELECT on the shop's database, in a process of its own that can do no harm.

The engine's own limits leak: a single call over a huge list runs and grows past them. So the SQL
runs in a child process (``sandbox_child``) which gives up every right before it reads the SQL, and
which the system ends at its limits. Only JSON comes back.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats import errors
from fixstats.engines.cells import read_cells, write_cells
from fixstats.engines.sandbox_rules import sql_words
from fixstats.errors import QueryError, UsageError
from fixstats.folder import ShopFolder

if TYPE_CHECKING:
    import polars as pl

ROW_LIMIT = 10_000
SECONDS = 30.0
MEMORY_MB = 2_000
# For the child to start and to end itself, before it is ended from here. Seconds.
_PATIENCE = 20.0
# The child gets the search path of this process, so that every kind of installation works, and
# reads neither the user's Python settings nor the folder it starts in.
_START = (
    "import sys, json; line = sys.stdin.buffer.readline(); sys.path[:] = json.loads(line); "
    "from fixstats.engines.sandbox_child import start; start()"
)
# Beyond any use; what is larger does not fit the engine's own numbers.
_MOST = 1_000_000_000
# Exit codes of the child: SIGALRM is its own clock, SIGSEGV a fault of the engine.
_ALARM, _FAULT = -14, -11


@dataclass(frozen=True)
class SqlResult:
    """What a SELECT gave.

    Attributes
    ----------
    columns, types
        Names (one that comes again gets ``_2``, ``_3``, ...), and types as the engine names them.
    rows
        Tuples of Python values; None for null; integers of any size are ``int``.
    cut
        True if there were more than ``row_limit`` rows; the rest was left out.
    row_limit
        Most rows that were let through.
    """

    columns: tuple[str, ...]
    types: tuple[str, ...]
    rows: list[tuple[Any, ...]]
    cut: bool
    row_limit: int

    @property
    def note(self) -> str | None:
        """What to tell a reader where rows were left out, else None."""
        if not self.cut:
            return None
        return f"cut after {self.row_limit:,} rows; there are more"

    @property
    def frame(self) -> pl.DataFrame:
        """The rows as a Polars frame."""
        from fixstats.engines.frames import frame_of

        return frame_of(self.columns, self.types, self.rows)


def run_sql(
    folder: ShopFolder,
    sql: str,
    *,
    row_limit: int = ROW_LIMIT,
    seconds: float = SECONDS,
    memory_mb: int = MEMORY_MB,
    parameters: Mapping[str, object] | None = None,
) -> SqlResult:
    """Run one SELECT on the shop's tables and views, read-only and locked in.

    Parameters
    ----------
    folder
        The shop; views and catalogue tables are those of every session.
    sql
        Exactly one SELECT (or FROM, VALUES, DESCRIBE, SUMMARIZE, SHOW TABLES).
    row_limit
        Most rows that come back; ``cut`` tells whether there were more.
    seconds, memory_mb
        Time and memory of the SQL; what needs more is ended. Memory is held hard on Linux only,
        elsewhere as well as the engine can.
    parameters
        Values of ``$name`` in the SQL.

    Raises
    ------
    UsageError
        If a limit is not above 0, or beyond use.
    QueryError
        If the SQL is not one SELECT, reaches beyond the tables, is wrong, or goes over a limit.
    FolderError, StoreError
        If the shop folder is wrong or its database cannot be read just now.
    """
    if not all(0 < limit <= _MOST for limit in (row_limit, seconds, memory_mb)):
        raise UsageError(
            "limits of rows, seconds and memory must be above 0, at most 1,000,000,000"
        )
    if "\0" in sql or sql != sql.encode(errors="ignore").decode():
        raise QueryError("the SQL holds characters that are no text; write it anew")
    request = {
        "folder": str(folder.path.resolve()),
        "sql": sql,
        "row_limit": row_limit,
        "seconds": seconds,
        "memory_mb": memory_mb,
        "parameters": dict(parameters or {}),
    }
    kind, *told = _ask_child(request, seconds)
    if kind == "rows":
        columns, rows, cut = told
        names, types = zip(*columns, strict=True)
        return SqlResult(_once(names), types, [tuple(row) for row in rows], cut, row_limit)
    raise _trouble(kind, told, sql, request)


def _once(columns: Sequence[str]) -> tuple[str, ...]:
    names: list[str] = []
    for column in columns:
        name, number = column, 2
        while name in names:
            name, number = f"{column}_{number}", number + 1
        names.append(name)
    return tuple(names)


def _trouble(kind: str, told: list[str], sql: str, request: Mapping[str, Any]) -> Exception:
    """The error for what the child told, or for how it ended."""
    less = "\nnarrow it with a where, count instead of listing, or raise the limit"
    if kind == "time":
        return QueryError(f"stopped after {request['seconds']:g} seconds, the time limit{less}")
    if kind == "memory":
        memory = f"{request['memory_mb']:,} MB"
        return QueryError(f"stopped: it needs more than {memory}, the memory limit{less}")
    if kind == "fault":
        return QueryError("the engine broke off over this SELECT; write it in steps, with CTEs")
    if kind == "sql":
        return QueryError(sql_words(sql, told[0]))
    error: Exception = getattr(errors, kind)(told[0])
    return error


def _ask_child(request: Mapping[str, Any], seconds: float) -> list[Any]:
    """The child's answer, or what its end tells: time or memory."""
    child = subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", _START],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    # Standard input stays open: its end tells the child that nobody waits any more.
    line, child.stdin = child.stdin, None
    try:
        if line is not None:
            line.write(f"{json.dumps(sys.path)}\n{write_cells(list(request.items()))}\n".encode())
            line.flush()
        text, fault = child.communicate(timeout=seconds + _PATIENCE)
    except subprocess.TimeoutExpired:
        return ["time"]
    finally:
        child.kill()
        child.wait()
        if line is not None:
            line.close()
    if child.returncode == 0:
        answer: list[Any] = read_cells(text)
        return answer
    if child.returncode > 0:
        raise RuntimeError(f"the process of the query failed: {fault.decode(errors='replace')}")
    # Whatever else ends it is memory that it did not get.
    ends = {_ALARM: "time", _FAULT: "fault"}
    return [ends.get(child.returncode, "memory")]
