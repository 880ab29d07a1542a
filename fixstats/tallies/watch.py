"""Counts of the watched time: day by day over the shop, and by technician, supplier and lot.

The jobs are laid down once. There are many jobs and few kinds of job: a job of each kind stands in
for all others, its units are listed, and the jobs are counted by whatever is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.engines.session import load, view_texts
from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies.ask import Ask, fill, lay_out, own_places
from fixstats.tallies.keys import PART_FIELDS, Key

if TYPE_CHECKING:
    import duckdb

Columns = dict[str, list[Any]]
# Watched are jobs that are no come-backs themselves, as in comparisons.
FIRST_JOBS = (("rework", "no"),)
# Views of which the rows of the watched jobs are kept, in the order in which they read each other,
# and the one of which those of the examples are; and the files that build them.
KEPT, OF_EXAMPLES = ("flags", "first_pieces", "marks_first"), "first_grades"
VIEW_FILES = ("flags", "first_pieces", "marks", "first_grades")
JOB_KEYS = ("model", "technician")
DIGITS = 9
DAY = Key("finished", "job", "finished")


@dataclass(frozen=True)
class Group:
    """A kind of group: ``technician``, or supplier or lot of a part.

    ``key``: its key; ``alike``: columns whose values make jobs alike, so that a group is compared
    with others that did the same work on the same devices at the same time.
    """

    key: str
    alike: tuple[str, ...]
    part: str = ""

    @property
    def kind(self) -> str:
        """``technician``, ``supplier`` or ``lot``: the column of its values."""
        return self.key.removeprefix(f"{self.part}_")

    @property
    def by(self) -> tuple[str, ...]:
        """All columns that its counts need."""
        return (*(PART_FIELDS if self.part else (self.kind,)), *self.alike)


def groups_of(con: duckdb.DuckDBPyConnection, since: date | None) -> list[Group]:
    """The kinds of group of which the watched jobs say anything; parts by name."""
    found = con.execute(statement("tallies/watch_parts"), {"since": since}).fetchall()
    groups = [Group("technician", ("model", "quarter"))]
    for part, suppliers, lots in found:
        for field, there in (("supplier", suppliers), ("lot", lots)):
            if there:
                groups.append(Group(f"{part}_{field}", ("grade", "model", "quarter"), part))
    return groups


@contextmanager
def watched(con: duckdb.DuckDBPyConnection, *what: Any) -> Iterator[None]:
    """Within it, jobs are laid down by ``lay_watched``; after it, the session is as before."""
    try:
        lay_watched(con, *what)
        yield
    finally:
        read_all(con)


def read_all(con: duckdb.DuckDBPyConnection) -> None:
    """The views that watching narrows show all jobs again."""
    texts = view_texts(VIEW_FILES)
    for view in (*KEPT, OF_EXAMPLES):
        con.execute(texts[view])


def lay_watched(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    modes: Sequence[str],
    baseline: date,
    since: date,
    until: date | None,
    families: Mapping[str, Sequence[str]],
) -> None:
    """Lay down the jobs from ``baseline`` to ``until``, watched from ``since`` on, and their units.

    All other functions here read these tables. Until ``read_all`` the session's views that they are
    made of show no other jobs. ``families``: counted beside the modes, each as the union of its
    codes.
    """
    read_all(con)  # a question before this one may have narrowed the views
    ask = Ask(tuple(modes), JOB_KEYS, where=FIRST_JOBS, since=baseline, until=until)
    lay_out(con, catalogue, ask, (DAY,))
    con.execute(statement("tallies/watch_asked"), {"since": since})
    con.execute(statement("tallies/watch_kinds"))
    for view, rows_of in (*((view, "kept") for view in KEPT), (OF_EXAMPLES, "examples")):
        con.execute(fill(f"tallies/watch_{rows_of}", {"view": view}))
        con.execute(fill("tallies/watch_read", {"view": view}))
    _number(con, modes, families)
    for name in ("jobs", "units", "changes", "family_units", "family_changes", "followups"):
        con.execute(statement(f"tallies/watch_{name}"))


def _number(
    con: duckdb.DuckDBPyConnection, modes: Sequence[str], families: Mapping[str, Sequence[str]]
) -> None:
    """Number modes from 1 up and families from -1 down: numbers are gathered faster than names."""
    rows: list[tuple[int, str | None, str | None]] = [
        (number, mode, None) for number, mode in enumerate(modes, 1)
    ]
    members = []
    for number, (name, codes) in enumerate(families.items(), 1):
        rows.append((-number, None, name))
        members += [(-number, mode) for mode in codes]
    load(con, "watched_subjects", "subject integer, mode varchar, family varchar", rows)
    load(con, "watched_families", "family integer, mode varchar", members)


def months(con: duckdb.DuckDBPyConnection) -> Columns:
    """Counts of every mode and family by month and device model."""
    rows = _counts("", "model, month, watched, ")
    found = _columns(con, fill("tallies/watch_months", {"rows": rows}), {})
    return {**found, "month": [f"{one // 100}-{one % 100:02d}" for one in found["month"]]}


def days(
    con: duckdb.DuckDBPyConnection, risks: list[tuple[str, bool, str, float]], shift: float
) -> Columns:
    """Failures of modes and families day by day against the risks, in order of time.

    ``risks``: (mode or family, whether it is a family, device model, risk of one unit).
    """
    numbers = {
        (mode or family, mode is None): number
        for number, mode, family in con.execute("from watched_subjects").fetchall()
    }
    rows = [(numbers[name, whole], model, risk) for name, whole, model, risk in risks]
    load(con, "watched_risks", "subject integer, model varchar, risk double", rows)
    counted = _rows("", "model, finished, ", "and watched")
    return _columns(con, fill("tallies/watch_days", {"rows": counted}), {"shift": shift})


def _counts(part: str, keys: str, filters: str = "", only: str = "") -> str:
    rows = _rows(part, keys, filters, only)
    return fill("tallies/watch_counts", {"keys": keys, "rows": rows})


def _rows(part: str, keys: str, filters: str, only: str = "") -> str:
    tables = {of: _table(of, part) for of in ("jobs", "changes")}
    slots = {**tables, "keys": keys, "filters": filters, "only": only}
    return fill("tallies/watch_rows", slots)


def lay_part(con: duckdb.DuckDBPyConnection, part: str) -> None:
    """Lay down the watched jobs with their piece of one part, for groups of that part.

    What went wrong is asked of the first piece, what came back of the one in the device. Groups of
    no part (``part`` empty) need none.
    """
    for of, pieces, only in (
        ("jobs", "first_pieces", ""),
        ("changes", "first_pieces", _only(part)),
        ("followups", "last_pieces", ""),
    ):
        slots = {"of": of, "pieces": pieces, "only": only, "part": part}
        if part:
            con.execute(fill("tallies/watch_pieces", slots), {"part": part})


def count_groups(con: duckdb.DuckDBPyConnection, groups: Sequence[Group]) -> list[Columns]:
    """Failures and expected failures by value, for groups of one part (laid down) or of none."""
    by = dict.fromkeys(column for one in groups for column in one.by)
    rows = _modes_of(groups[0], "".join(f"{column}, " for column in by), "")
    con.execute(f"create or replace temp table watched_groups as {rows}")
    return [_columns(con, fill("tallies/watch_groups", _slots(group)), {}) for group in groups]


def count_value_days(
    con: duckdb.DuckDBPyConnection, group: Group, values: Iterable[str]
) -> Columns:
    """Failures and opportunities of every mode, of these values of a group, day by day."""
    rows = _modes_of(group, f"{group.kind}, finished, ", _of_values(con, group.kind, values))
    slots = {"value": group.kind, "rows": rows}
    return _columns(con, fill("tallies/watch_value_days", slots), {})


def _modes_of(group: Group, keys: str, filters: str) -> str:
    """The statement that counts every mode in a kind of group, by the keys."""
    return _counts(group.part, keys, f"and watched {filters}", _only(group.part))


def _only(part: str) -> str:
    """The condition that a unit is that of a mode, at the part if any."""
    return "and subject > 0" + own_places([part] if part else ())


def count_returns(
    con: duckdb.DuckDBPyConnection,
    group: Group,
    days: int,
    as_of: date,
    values: Iterable[str] | None = None,
) -> Columns:
    """Returns and expected returns by reason and value; of some ``values``, by day of hand-over."""
    slots = {"followups": _table("followups", group.part), "keys": "", "filters": ""}
    if values is not None:
        slots |= {"keys": "finished, ", "filters": _of_values(con, "l.value", values)}
    text = fill("tallies/watch_returns", {**slots, **_slots(group)})
    return _columns(con, text, {"days": days, "as_of": as_of})


def _table(of: str, part: str) -> str:
    """The table of the watched ``jobs``, ``changes`` or ``followups``; of those with the part."""
    return f"watched_{of}_of_{part}" if part else f"watched_{of}"


def _of_values(con: duckdb.DuckDBPyConnection, column: str, values: Iterable[str]) -> str:
    """The condition that a column has one of these values."""
    load(con, "watched_values", "value varchar", [(value,) for value in values])
    return f"and {column} in (select value from watched_values)"  # noqa: S608 - a column's name


def _slots(group: Group) -> dict[str, str]:
    """The value, and what makes jobs alike as one text; null where nothing of a piece is known."""
    alike = ", ".join(f"coalesce(cast({column} as varchar), '')" for column in group.alike)
    text = f"concat_ws('|', {alike})"
    if group.part:
        known = " or ".join(f"{field} is not null" for field in PART_FIELDS)
        text = f"case when {known} then {text} end"
    return {"value": group.kind, "alike": text}


def _columns(con: duckdb.DuckDBPyConnection, text: str, values: Mapping[str, Any]) -> Columns:
    cursor = con.execute(text, values) if values else con.execute(text)
    names = [column[0] for column in cursor.description or ()]
    rows = cursor.fetchall()
    columns = zip(*rows, strict=True) if rows else [()] * len(names)
    return {name: _rounded(one) for name, one in zip(names, columns, strict=True)}


def _rounded(column: Sequence[Any]) -> list[Any]:
    """Sums of fractions come in any order: their last digits would differ from run to run."""
    if column and isinstance(column[0], float):
        return [round(one, DIGITS) for one in column]
    return list(column)
