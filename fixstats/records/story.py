"""What the records know of one job: every version of it, how it went, what came of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixstats.engines.duck import reading
from fixstats.engines.session import catalogue_tables
from fixstats.errors import UsageError
from fixstats.folder import ShopFolder, fold
from fixstats.records.bench import stored_cells, waiting_rows
from fixstats.records.columns import sheet_columns
from fixstats.records.heldback import HeldBackRow, heldback
from fixstats.records.templates import fill
from fixstats.words import did_you_mean, listed

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

# standing: as the records have it now; replaced, taken_back: an earlier version; waiting: in the
# inbox; held_back: not let in.
STATES = ("replaced", "taken_back", "standing", "waiting", "held_back")


@dataclass(frozen=True)
class Version:
    """One version of a job.

    Attributes
    ----------
    state
        A word of ``STATES``.
    batch, file, kind, taken_in
        The import that brought it; None for one that waits.
    replaced_by
        The import that replaced it or, taken back, had brought it.
    covers
        How the failure modes that the bench looked for were declared.
    cells
        Filled cells by column of a job sheet; ``-``: not done, ``?``: done, not recorded.
    reason
        Why it is held back.
    """

    state: str
    cells: Mapping[str, str]
    batch: int | None = None
    file: str | None = None
    kind: str | None = None
    taken_in: str | None = None
    replaced_by: int | None = None
    covers: str | None = None
    reason: str | None = None


@dataclass(frozen=True)
class ComeBack:
    """A job that says it is the come-back of this one."""

    job: str
    received: str | None
    finished: str
    repair: str
    failures: str | None


@dataclass(frozen=True)
class Drawn:
    """What a trial drew for the job; ``assigned`` None: it was kept out for ``reason``."""

    trial: str
    choice: str | None
    assigned: str | None
    reason: str | None


@dataclass(frozen=True)
class Story:
    """Everything that is recorded of a job, versions oldest first."""

    job: str
    branch: str | None
    versions: Sequence[Version]
    come_backs: Sequence[ComeBack]
    drawn: Sequence[Drawn]

    @property
    def standing(self) -> Version:
        """The version that counts now; where none does, the latest there is."""
        counts = [one for one in self.versions if one.state == "standing"]
        return (counts or self.versions)[-1]


def story(folder: ShopFolder, job: str, branch: str | None = None) -> Story:
    """Every version of a job, jobs that are its come-backs, what was drawn for it in trials.

    Raises
    ------
    UsageError
        If nothing is known of such a job, or several branches have one of this number.
    StoreError
        If the records cannot be read just now.
    """
    held = [row for row in heldback(folder) if row.job == job and _in(branch, row.branch)]
    with reading(folder.database) as con:
        con.execute(fill("macros"))
        catalogue_tables(con, folder.catalogue, ("aliases",))
        versions = _versions(con, folder, job, branch)
        versions += [
            Version("waiting", row)
            for row in waiting_rows(folder)
            if row.get("job") == job and _in(branch, row.get("branch"))
        ]
        versions += [_held(row) for row in held]
        where = _one_branch(con, versions, job)
        values = {"job": job, "branch": where}
        backs = [ComeBack(*row) for row in con.execute(fill("story_returns"), values).fetchall()]
        drawn = [Drawn(*row) for row in con.execute(fill("story_drawn"), {"job": job}).fetchall()]
    return Story(job, where, versions, backs, drawn)


def _in(branch: str | None, other: str | None) -> bool:
    return branch is None or fold(branch) == fold(other or "")


def _versions(con: Connection, folder: ShopFolder, job: str, branch: str | None) -> list[Version]:
    con.execute(fill("every_version"), {"job": job, "branch": branch})
    known = sheet_columns(folder.catalogue)
    cells = {
        int(row["entry"]): row
        for place in ("past", "records")
        for row in stored_cells(con, folder.catalogue, place)
    }
    found = []
    for entry, batch, file, kind, moment, by in con.execute(
        "select entry, batch, file, kind, cast(taken_in as varchar), replaced_by "
        "from wanted order by entry"
    ).fetchall():
        row = cells[entry]
        state = "standing" if by is None else "taken_back" if by == batch else "replaced"
        kept = {name: cell for name, cell in row.items() if name in known}
        found.append(Version(state, kept, batch, file, kind, moment, by, row.get("declared")))
    return found


def _held(row: HeldBackRow) -> Version:
    reason = "; ".join(map(str, row.faults))
    return Version("held_back", row.cells, row.batch, row.file, reason=reason)


def _one_branch(con: Connection, versions: Sequence[Version], job: str) -> str | None:
    """The branch that all versions are of, as the records show it."""
    branches = {fold(one.cells.get("branch", "")): one.cells.get("branch") for one in versions}
    if len(branches) > 1:
        names = listed([name or "(none)" for name in branches.values()], "or")
        raise UsageError(f"job '{job}' is in several branches: name one, --branch {names}")
    if not branches:
        known = [one for (one,) in con.execute("select job from records.jobs").fetchall()]
        raise UsageError(f"no record has the job '{job}'{did_you_mean(job, known)}")
    return next(iter(branches.values()))
