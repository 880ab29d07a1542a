"""One job at a time, from the bench: what helps to enter it, the checks of an import, the inbox.

Nothing here needs the database to be free: where another command holds it, a job is entered all
the same, only without what earlier jobs could have helped with.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from fixstats.engines.duck import reading
from fixstats.engines.session import catalogue_tables, load
from fixstats.errors import StoreError, UsageError
from fixstats.folder import Catalogue, ShopFolder, fold
from fixstats.records.cells import clean_cell
from fixstats.records.columns import REQUIRED, known_words, sheet_columns
from fixstats.records.inbox import leave_entry, take_aside
from fixstats.records.overlay import sheet_rows
from fixstats.records.templates import fill
from fixstats.words import counted, did_you_mean, listed

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

Cells = Mapping[str, str]
# What an earlier job may answer for the next one: how it is done and with what, never how it went.
REMEMBERED_BESIDE = ("grade", "supplier")
_OPEN = ("model", "technician", "branch", "supplier")


@dataclass(frozen=True)
class BenchTrial:
    """A trial as the bench needs it.

    ``assigned``: drawn for this job already; ``kept_out``: this device was, before any draw;
    ``room``: jobs are still to be handed out.
    """

    trial: str
    choice: str
    baseline: str
    option: str
    room: bool
    assigned: str | None
    kept_out: bool


@dataclass(frozen=True)
class LastJob:
    """The last job of the same model, repair and technician.

    ``cells``: first choices of its steps, first grade and supplier of its parts; nothing else.
    """

    job: str
    finished: str
    cells: Cells


@dataclass(frozen=True)
class Fault:
    """One thing that an import would hold the row back for; ``column`` None: the row as a whole."""

    column: str | None
    reason: str

    def __str__(self) -> str:
        return f"{self.column}: {self.reason}" if self.column else self.reason


@dataclass(frozen=True)
class Memory:
    """What the records, and the entries that wait in the inbox, know of names.

    ``names``: kind of open list -> folded spelling -> how it is shown; ``trouble``: why the records
    could not be asked, "" where they could.
    """

    names: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    trouble: str = ""

    def shown(self, kind: str, word: str) -> str | None:
        """The name as the records show it; None where they do not know it."""
        return self.names.get(kind, {}).get(fold(word))

    def known(self, kind: str) -> list[str]:
        """Names of an open list, each once."""
        return sorted(set(self.names.get(kind, {}).values()))


def remember(folder: ShopFolder) -> Memory:
    """Names of open lists from the records and the inbox."""
    names: dict[str, dict[str, str]] = {}
    trouble = ""
    try:
        with _session(folder) as con:
            for kind, folded, shown in con.execute(fill("bench_names")).fetchall():
                names.setdefault(kind, {})[folded] = shown
    except StoreError as held:
        trouble = str(held).splitlines()[0]
    columns = sheet_columns(folder.catalogue)
    for row in waiting_rows(folder):
        for name, cell in row.items():
            kind = columns[name].owner if name in _OPEN else name.rpartition("_")[2]
            if kind in _OPEN:
                for word in cell.split(">"):
                    names.setdefault(kind, {}).setdefault(fold(word), " ".join(word.split()))
    return Memory(names, trouble)


@contextmanager
def _session(folder: ShopFolder) -> Iterator[Connection]:
    """A reading connection with the small tables and macros of this room."""
    with reading(folder.database) as con:
        con.execute(fill("macros"))
        catalogue_tables(con, folder.catalogue, ("aliases",))
        yield con


def waiting_rows(folder: ShopFolder) -> list[dict[str, str]]:
    """Entries that wait in the inbox, oldest first; those that cannot be read are left out."""
    known = sheet_columns(folder.catalogue)
    found = []
    for path in folder.waiting:
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
            rows = [json.loads(line) for line in lines if line.strip()]
        except (OSError, ValueError):  # taken in meanwhile, or no entry of ours
            continue
        found += [
            {name: str(cell) for name, cell in row.items() if name in known and cell is not None}
            for row in rows
            if isinstance(row, dict)
        ]
    return found


def stored_cells(con: Connection, catalogue: Catalogue, place: str = "records") -> list[Cells]:
    """Jobs of ``wanted`` as filled cells of a job sheet, in order of entry, and their covers."""
    load(
        con, "known_words",
        "kind varchar, owner varchar, slug varchar, code varchar, position integer",
        list(known_words(catalogue)),
    )  # fmt: skip
    found = con.execute(f"{sheet_rows(catalogue, place)} order by j.entry")
    names = [column[0] for column in found.description]
    return [
        {name: str(cell) for name, cell in zip(names, row, strict=True) if cell is not None}
        for row in found.fetchall()
    ]


def last_job(folder: ShopFolder, model: str, repair: str, technician: str | None) -> LastJob | None:
    """The last job of the same three; None where there is none, or the records are held just now.

    An entry that still waits in the inbox is later than all of the records.
    """
    asked = (fold(model), repair, fold(technician or ""))
    for row in reversed(waiting_rows(folder)):
        of = (fold(row.get("model", "")), row.get("repair"), fold(row.get("technician", "")))
        if of == asked:
            return _remembered(folder.catalogue, row)
    values = {"model": model, "repair": repair, "technician": technician}
    try:
        with _session(folder) as con:
            con.execute(fill("bench_last"), values)
            rows = stored_cells(con, folder.catalogue)
    except StoreError:
        return None
    return _remembered(folder.catalogue, rows[0]) if rows else None


def _remembered(catalogue: Catalogue, row: Cells) -> LastJob:
    repairs = [one for one in catalogue.repairs if one.code in row["repair"].split("; ")]
    names = [step for repair in repairs for step in repair.steps]
    names += [f"{part}_{kind}" for repair in repairs for part in repair.parts
              for kind in REMEMBERED_BESIDE]  # fmt: skip
    # the first attempt and the first piece are what was chosen; later ones followed a failure
    firsts = {name: row[name].split(">")[0].strip() for name in names if name in row}
    cells = {name: first for name, first in firsts.items() if first not in ("", "?")}
    return LastJob(row.get("job", ""), row.get("finished", ""), cells)


def bench_trials(folder: ShopFolder, job: str | None) -> list[BenchTrial]:
    """Trials that were begun, in order; none where the records are held just now."""
    try:
        with _session(folder) as con:
            return [BenchTrial(*row) for row in con.execute(fill("bench_trials"), {"job": job})
                    .fetchall()]  # fmt: skip
    except StoreError:
        return []


def faults_of(folder: ShopFolder, row: Cells) -> list[Fault]:
    """What an import would hold this job back for: the same statements, on an empty database."""
    return [Fault(column, reason) for _, column, _, reason in take_aside(folder, row).preview]


def recorded(folder: ShopFolder, job: str, branch: str | None) -> bool:
    """Whether the job is in the records or waits in the inbox."""
    for row in waiting_rows(folder):
        if row.get("job") == job and fold(row.get("branch", "")) == fold(branch or ""):
            return True
    try:
        with _session(folder) as con:
            con.execute(fill("standing"), {"job": job, "branch": branch})
            rows = con.execute("select branch from wanted").fetchall()
    except StoreError:
        return False
    return any(fold(known or "") == fold(branch or "") for (known,) in rows)


def refuse_recorded(folder: ShopFolder, job: str, branch: str | None) -> None:
    """Refuse a number that a job has already: at the bench that is a slip, not a correction."""
    if recorded(folder, job, branch):
        raise UsageError(
            f"job '{job}' is recorded already; nothing was kept\n"
            f"fixstats show {job} tells its story, fixstats amend {job} corrects it"
        )


def settle_names(
    catalogue: Catalogue, memory: Memory, row: Cells, is_new: Callable[[str, str, str], bool]
) -> dict[str, str]:
    """The row with names of open lists as the records show them.

    ``is_new`` (kind of list, word, near names) is asked about each name that nobody used before: a
    slip of the pen would be a model or technician of its own. Lots are mostly new: nobody is asked.

    Raises
    ------
    UsageError
        If it says that a name is not new.
    """
    settled = dict(row)
    suppliers = {f"{part}_supplier": "supplier" for part in catalogue.part_codes}
    for name, kind in {**{kind: kind for kind in _OPEN[:3]}, **suppliers}.items():
        if name not in row:
            continue
        words = [" ".join(word.split()) for word in row[name].split(">")]
        for place, word in enumerate(words):
            shown = memory.shown(kind, word)
            if shown is None and word not in ("", "?", "-"):
                hint = did_you_mean(word, memory.known(kind))
                if not is_new(kind, word, hint):
                    raise UsageError(f"no record has the {kind} '{word}'{hint}")
            words[place] = shown or word
        settled[name] = " > ".join(words)
    return settled


def record(folder: ShopFolder, row: Cells) -> Path:
    """Check a job as an import would and leave it in the inbox; the file it lies in.

    Raises
    ------
    UsageError
        If an import would hold it back, a cell that it needs is missing, or its number is taken;
        nothing is kept.
    StoreError
        If the inbox cannot be written.
    """
    check_columns(folder.catalogue, row)
    missing = [name for name in REQUIRED if not row.get(name)]
    if missing:
        raise UsageError(f"still needed: {listed(missing)}; nothing was kept")
    faults = faults_of(folder, row)
    if faults:
        raise UsageError(faults_text(faults))
    return keep(folder, row)


def keep(folder: ShopFolder, row: Cells) -> Path:
    """Leave a job that was checked in the inbox, unless its number is taken."""
    refuse_recorded(folder, row["job"], row.get("branch"))
    return leave_entry(folder, {name: cell for name, cell in row.items() if cell})


def tidy_cells(catalogue: Catalogue, cells: Cells) -> dict[str, str]:
    """Filled cells with words as codes; words that are none are refused with the nearest one."""
    check_columns(catalogue, cells)
    columns = sheet_columns(catalogue)
    tidy = {}
    for name, cell in cells.items():
        try:
            tidy[name] = clean_cell(catalogue, columns[name], cell)
        except UsageError as wrong:
            raise UsageError(f"{name}: {wrong}; nothing was kept") from wrong
    return {name: cell for name, cell in tidy.items() if cell}


def faults_text(faults: list[Fault]) -> str:
    """What is wrong, in one line, and that nothing was kept in another."""
    told = "; ".join(dict.fromkeys(map(str, faults)))
    return f"{told}\n{counted(len(faults), 'fault')}: nothing was kept"


def check_columns(catalogue: Catalogue, names: Mapping[str, str]) -> None:
    """Refuse names that are no column of a job sheet of this shop."""
    known = sheet_columns(catalogue)
    for name in names:
        if name not in known:
            raise UsageError(f"there is no column '{name}'{did_you_mean(name, known)}")
        if known[name].kind == "notes":
            raise UsageError("notes are not kept at the bench: they may hold personal data")
