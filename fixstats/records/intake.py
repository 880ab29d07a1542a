"""Takes one file in, inside a transaction: read, judge, stage, compare, store."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.engines.session import load
from fixstats.errors import SheetError
from fixstats.folder import Catalogue
from fixstats.records.columns import HELD_BACK_COLUMNS, REQUIRED, sheet_columns
from fixstats.records.coverage import covered_modes, covers_set, declared_covers
from fixstats.records.header import Header, read_header
from fixstats.records.judging import Judged, Manner, judge
from fixstats.records.mapping import Mapping
from fixstats.records.newcodes import NewCode, new_codes
from fixstats.records.overlay import overlay
from fixstats.records.reports import SheetReport
from fixstats.records.sheets import CsvSource, Loaded, ParquetSource, RowFault, open_sheet
from fixstats.records.staging import Stage, build_sheet, tidy_rows
from fixstats.records.storing import attempts_of, pieces_of, store, to_past
from fixstats.records.templates import code, column, fill, one_number
from fixstats.words import counted, listed

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

# whole: the row is wrong as a row, so that what its cells say is not worth a word.
_FAULTS = "row bigint, col varchar, value varchar, reason varchar, whole boolean"


@dataclass(frozen=True)
class Request:
    """One file to take in.

    ``kind``: sheet, update, inbox or amend; ``label``: its name in the records.
    ``zone``: the shop's time zone, for times of day written with an offset.
    """

    path: Path
    label: str
    mapping: Mapping
    covers: str | None
    kind: str
    scratch: Path
    zone: str = "UTC"
    tell: Callable[[str], None] = field(default=lambda stage: None)


@dataclass(frozen=True)
class _Staged:
    """The file is in ``sheet`` and ``faults``; ``source`` selects its rows as they were read."""

    header: Header
    stage: Stage
    source: str
    declared: str
    notes: list[str]


def take_in(con: Connection, request: Request, catalogue: Catalogue) -> SheetReport:
    """Take the file in as the next batch; ``catalogue_tables`` must be there already.

    Raises
    ------
    SheetError
        If the file as a whole cannot be read as a job sheet.
    """
    staged = _stage(con, request, catalogue)
    request.tell("comparing")
    kept = _kept_covers(con)
    batch = con.execute(fill("next_entry")).fetchall()[0][1]
    rows_read, repeated, held = _sort_out(con, staged, request, batch)
    modes = covered_modes(con, staged.declared, catalogue)
    changed, unchanged = _compare(con, batch)
    lists = _list_notes(staged.declared, len(modes), kept, unchanged)
    cleared = _clear(con, batch, staged, request.kind)
    waiting = one_number(con, "updates_waiting", {"batch": batch})
    added = _count(con, "sheet") - changed
    request.tell("storing")
    new_names: list[tuple[str, str]] = []
    stored, held_now = added + changed, one_number(con, "held_of_batch", {"batch": batch})
    covers = None
    # mended rows will ask for it; what was seen in rows that were all held back says nothing
    if stored or (held_now and staged.declared != "seen"):
        covers = covers_set(con, staged.declared, modes)
    if stored:
        new_names = store(con, catalogue, staged.stage.columns, batch, covers)
    report = SheetReport(
        batch, request.label, request.kind, rows_read, added, changed, unchanged, repeated,
        held, cleared, staged.declared, tuple(modes),
        (*staged.notes, *lists, *_notes(new_names, cleared, waiting)),
        tuple(con.execute(fill("preview")).fetchall()),
    )  # fmt: skip
    if not stored and not cleared and not held_now:
        return replace(report, batch=None)
    _store_batch(con, report, request.mapping, covers)
    return report


@dataclass(frozen=True)
class _Read:
    """The file is in ``raw_sheet`` and every distinct cell of it in ``cells``."""

    header: Header
    loaded: Loaded
    judged: Judged


def _read(con: Connection, request: Request, catalogue: Catalogue) -> _Read:
    """Read the file and judge its cells."""
    known, where = sheet_columns(catalogue), request.label
    needed = ("job",) if request.kind == "update" else REQUIRED
    request.tell("reading")
    source = open_sheet(request.path, request.mapping.formats, request.scratch)
    header = read_header(source.header, known, request.mapping, where, needed)
    loaded = source.load(con, header.wanted)
    if not _count(con, "raw_sheet"):
        raise SheetError(f"{where}: has a header and no rows below it; nothing was changed")
    request.tell("checking")
    manner = Manner(
        where=where,
        separator=source.file.separator if isinstance(source, CsvSource) else "",
        serial=isinstance(source, ParquetSource) and source.rows,
        exported=header.exported,
        lenient=request.kind in ("inbox", "amend") or header.exported,
        zone=request.zone,
    )
    judged = judge(con, header.names, known, request.mapping, catalogue, manner)
    return _Read(header, loaded, judged)


def new_codes_in(con: Connection, request: Request, catalogue: Catalogue) -> list[NewCode]:
    """Codes that the file uses and the catalogue lacks."""
    _read(con, request, catalogue)
    return new_codes(con)


def _stage(con: Connection, request: Request, catalogue: Catalogue) -> _Staged:
    """Read and judge the file, and work out what each row means."""
    read = _read(con, request, catalogue)
    names: Sequence[str] = read.header.names
    _note_faults(con, names, read.judged, read.loaded)
    covers = request.covers or request.mapping.covers
    declared = declared_covers(covers, catalogue)
    rows = tidy_rows(names, read.judged.rewritten, read.loaded.row)
    con.execute(fill("met"))
    if request.kind == "update":
        keep = "failures" not in names or not covers
        rows, names = overlay(con, rows, names, catalogue, keep_covers=keep)
    elif request.kind == "amend":
        rows = fill("stored_covers", source=rows)
    elif read.header.exported:
        rows = fill("with_covers", source=rows)
    stage = Stage(names, catalogue)
    build_sheet(con, stage, rows, declared)
    return _Staged(read.header, stage, rows, declared, list(read.header.notes))


def _note_faults(con: Connection, names: Sequence[str], judged: Judged, loaded: Loaded) -> None:
    """Fill ``faults`` with what is wrong with single cells, and with rows as rows."""
    load(con, "faults", _FAULTS, [_row_fault(fault) for fault in loaded.faults])
    for name in judged.faulty:
        con.execute(fill("cell_faults", row=loaded.row, code=code(name), column=column(name)))


def _row_fault(fault: RowFault) -> tuple[int, str | None, str | None, str, bool]:
    row, name, reason, value = fault
    return row, name or None, value or None, reason, not name


def _sort_out(
    con: Connection, staged: _Staged, request: Request, batch: int
) -> tuple[int, int, int]:
    """Leave only good rows in ``sheet``, once each: (rows read, repeated, held back)."""
    stage = staged.stage
    filled = [column(name) for name in staged.header.names if name not in ("job", "reason")]
    present = [name for name in filled if name.strip('"') in {*stage.columns, "held_back"}]
    con.execute(fill("blank_rows", columns=", ".join([*present, "null"])))
    rows_read = _count(con, "sheet")
    _note_contradictions(con, stage)
    con.execute(fill("twice"))
    con.execute(fill("duplicates"))
    con.execute(fill("settle_faults"))
    held = one_number(con, "faulty_rows")
    if held:
        _hold_back(con, staged, request, batch)
        con.execute("delete from sheet where row in (select row from faults)")
    con.execute(fill("repeated"))
    return rows_read, rows_read - held - _count(con, "sheet"), held


def _note_contradictions(con: Connection, stage: Stage) -> None:
    """Faults between the cells of a row."""
    con.execute(fill("row_faults"))
    for part in stage.catalogue.part_codes:
        for kind in ("supplier", "lot", "cost"):
            name = f"{part}_{kind}"
            if stage.has(name):
                grade = column(f"{part}_grade")
                con.execute(fill("piece_faults", grade=grade, column=column(name), code=code(name)))
    looked_at = [name for name in stage.columns if _matters_to_failures(name, stage)]
    con.execute(fill("suspects", columns=", ".join(map(column, looked_at))))
    catalogue = stage.catalogue
    attempts = attempts_of(catalogue, "suspects")
    con.execute(f"create or replace temp table some_attempts as {attempts}")
    pieces = pieces_of(catalogue, looked_at, "suspects")
    con.execute(f"create or replace temp table some_pieces as {pieces}")
    prior = "s.prior_repair" if "prior_repair" in stage.columns else "null"
    con.execute(fill("mode_faults", prior_repair=prior), {"unrecorded": catalogue.unrecorded_grade})


def _matters_to_failures(name: str, stage: Stage) -> bool:
    """Whether it depends on this column if a failure can have occurred."""
    part, _, kind = name.rpartition("_")
    fits = part in stage.catalogue.part_codes and kind in ("grade", "fitted")
    return fits or name in stage.catalogue.step_codes or name == "prior_repair"


def _hold_back(con: Connection, staged: _Staged, request: Request, batch: int) -> None:
    known = sheet_columns(staged.stage.catalogue)
    names = [name for name in known if name in staged.stage.names]
    fields = ", ".join(f"{column(name)} := {column(name)}" for name in names)
    text = fill(
        "held_lines",
        source=staged.source,
        columns=fields,
        branch="branch" if "branch" in names else "null::varchar",
    )
    con.execute(text, {"batch": batch, "file": request.label})
    if staged.header.exported:
        con.execute(fill("supersede"), {"batch": batch})


def _compare(con: Connection, batch: int) -> tuple[int, int]:
    """Old versions go to the past, unchanged rows leave ``sheet``: (changed, unchanged)."""
    con.execute(fill("met_jobs"))
    unchanged = one_number(con, "unchanged")
    con.execute(fill("leaving_changed"))
    changed = _count(con, "leaving")
    con.execute(fill("accepted"))
    if unchanged:
        con.execute("delete from sheet where row in (select row from met_jobs where same)")
    if changed:
        to_past(con, batch)
    return changed, unchanged


def _clear(con: Connection, batch: int, staged: _Staged, kind: str) -> int:
    """Earlier held-back rows that are mended now; returns how many faults."""
    if not _count(con, "records.heldback"):
        return 0
    whole = kind != "update"
    con.execute(
        fill("filling", source=staged.source if whole else "select * from given"), {"whole": whole}
    )
    names = [name for name in staged.header.names if name not in HELD_BACK_COLUMNS]
    parts = [fill("filled", code=code(name), column=column(name)) for name in names]
    con.execute("create or replace temp table filled as " + " union all ".join(parts))
    return one_number(con, "cleared", {"batch": batch, "whole": whole})


def _count(con: Connection, table: str) -> int:
    return one_number(con, "count", table=table)


def _kept_covers(con: Connection) -> tuple[int, int]:
    """Rows of ``sheet`` that keep the list of an earlier import, and all of its rows."""
    kept, rows = con.execute(fill("kept_covers")).fetchall()[0]
    return int(kept), int(rows)


def _list_notes(declared: str, modes: int, kept: tuple[int, int], unchanged: int) -> list[str]:
    """Which list of what the bench looked for counts for which rows."""
    notes, (keeping, rows) = [], kept
    if keeping:
        notes.append(
            f"covers: {counted(keeping, 'row')} with the list of the first import of the job kept"
        )
    if declared != "seen" or keeping == rows:
        return notes
    notes.append(
        "covers: seen; only failure modes that occur in this file count as looked for "
        f"({modes}; say --covers all if the bench looked for every mode)"
    )
    if unchanged:
        notes.append(
            f"{counted(unchanged, 'unchanged job')} keep the list of their earlier import; say "
            "--covers to apply one list to all"
        )
    return notes


def _notes(new_names: Sequence[tuple[str, str]], cleared: int, waiting: int) -> list[str]:
    notes = []
    if cleared:
        notes.append(f"{counted(cleared, 'fault')} held back earlier: mended")
    if waiting:
        notes.append(
            f"{counted(waiting, 'update')} of jobs in this file still held back: import it again "
            "with --update"
        )
    kinds = dict.fromkeys(kind for kind, _ in new_names)
    for kind in kinds:
        names = [shown for k, shown in new_names if k == kind]
        more = f" and {len(names) - 8:,} more" if len(names) > 8 else ""
        shown = ", ".join(names[:8]) + more if more else listed(names)
        notes.append(f"first seen: {counted(len(names), kind, _PLURALS.get(kind))}: {shown}")
    return notes


_PLURALS = {"branch": "branches"}


def _store_batch(
    con: Connection, report: SheetReport, mapping: Mapping, covers: int | None
) -> None:
    con.execute(
        fill("batch"),
        {
            "batch": report.batch, "file": report.file, "kind": report.kind,
            "covers": report.covers, "covers_set": covers, "mapping": mapping.where or None,
            "rows_read": report.rows_read, "added": report.added, "changed": report.changed,
            "unchanged": report.unchanged, "repeated": report.repeated,
            "held_back": report.held_back,
        },
    )  # fmt: skip
