"""What the bench entered: one small file a job, taken in by the next writing command.

Entering needs no database, so the bench and whoever reads never block each other.
"""

from __future__ import annotations

import json
import os
import tempfile
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.engines.duck import writing
from fixstats.engines.session import catalogue_tables
from fixstats.errors import StoreError
from fixstats.folder import ShopFolder
from fixstats.records.columns import REQUIRED
from fixstats.records.intake import Request, take_in
from fixstats.records.mapping import Formats
from fixstats.records.mapping import Mapping as SheetMapping
from fixstats.records.reports import SheetReport
from fixstats.resources import statement

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

_ENDING = ".jsonl"
# What could not even be read is put aside under this ending, never thrown away.
_UNREADABLE = ".unreadable"


def leave_entry(folder: ShopFolder, row: Mapping[str, object]) -> Path:
    """Leave one job, columns as in a job sheet, for the next writing command; whole or not at all.

    Raises
    ------
    StoreError
        If the inbox cannot be written.
    """
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    target = folder.inbox / f"{stamp}-{uuid.uuid4().hex[:8]}{_ENDING}"
    part = target.with_suffix(".part")
    try:
        folder.inbox.mkdir(exist_ok=True)
        with part.open("w", encoding="utf-8") as file:
            file.write(json.dumps(row, ensure_ascii=False, default=str) + "\n")
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as trouble:
        raise StoreError(
            f"{folder.inbox}: cannot be written ({trouble.strerror}); the entry was not kept"
        ) from trouble
    return target


def _rounds(paths: list[Path]) -> tuple[list[list[str]], list[Path]]:
    """Lines to take in together, each job once a round so that a later one replaces; bad files."""
    rounds: list[list[str]] = []
    met: dict[str, int] = {}
    bad = []
    for path in paths:
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
            rows = [json.loads(line) for line in lines if line.strip()]
            keys = [json.dumps([row.get("job"), row.get("branch")]) for row in rows]
        except (ValueError, AttributeError):
            bad.append(path)
            continue
        for key, row in zip(keys, rows, strict=True):
            place = met.get(key, -1) + 1
            met[key] = place
            while len(rounds) <= place:
                rounds.append([])
            whole = dict.fromkeys(REQUIRED) | row
            rounds[place].append(json.dumps(whole, ensure_ascii=False))
    return rounds, bad


def _take_round(
    con: Connection, folder: ShopFolder, lines: list[str], scratch: Path
) -> SheetReport:
    path = scratch / "inbox.jsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    mapping = SheetMapping(formats=Formats(dates="YYYY-MM-DD", decimal=".", thousands=""))
    zone = folder.settings.time_zone
    request = Request(path, "inbox", mapping, "all", "inbox", scratch, zone)
    return take_in(con, request, folder.catalogue)


def take_aside(folder: ShopFolder, row: Mapping[str, object]) -> SheetReport:
    """What would become of one entry: taken into an empty database that is thrown away."""
    import duckdb

    with duckdb.connect(":memory:") as con, tempfile.TemporaryDirectory() as scratch:
        con.execute(statement("schema"))
        catalogue_tables(con, folder.catalogue)
        whole = json.dumps(dict.fromkeys(REQUIRED) | dict(row), ensure_ascii=False)
        return _take_round(con, folder, [whole], Path(scratch))


@contextmanager
def writing_shop(
    folder: ShopFolder, *, keep_inbox: bool = False
) -> Iterator[tuple[Connection, list[SheetReport]]]:
    """The connection of a writing command, with the inbox taken in, and the reports on that.

    The files of the inbox go once everything is committed; ``keep_inbox`` is for a command that
    only checks.
    """
    paths = folder.waiting
    rounds, bad = _rounds(paths)
    with writing(folder.database) as con:
        catalogue_tables(con, folder.catalogue)
        with tempfile.TemporaryDirectory() as scratch:
            reports = [_take_round(con, folder, lines, Path(scratch)) for lines in rounds]
        yield con, reports
    if keep_inbox:
        return
    for path in paths:
        if path in bad:
            path.replace(path.with_suffix(_UNREADABLE))
        else:
            path.unlink(missing_ok=True)
