"""Counts of the watched time: day by day over the shop, and by technician, supplier and lot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats.engines.session import load
from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies.ask import Ask, fill, lay_out
from fixstats.tallies.counts import OF_JOB, lay_counts
from fixstats.tallies.followups import lay_followups
from fixstats.tallies.keys import PART_FIELDS, Key

if TYPE_CHECKING:
    import duckdb

Columns = dict[str, list[Any]]
# Watched are jobs that are no come-backs themselves, as in comparisons.
FIRST_JOBS = (("rework", "no"),)
# Views of which the rows of the watched jobs are kept, in the order in which they read each other.
KEPT = ("mentions", "marks_first", "units_beside_steps")
DIGITS = 9
DAY = Key("day", "job", "finished")


@dataclass(frozen=True)
class Group:
    """A kind of group: ``technician``, or supplier or lot of a part.

    ``key``: its key; ``alike``: keys whose values make jobs alike, so that a group is compared with
    others that did the same work on the same devices at the same time.
    """

    key: str
    alike: tuple[str, ...]
    part: str = ""

    @property
    def kind(self) -> str:
        """``technician``, ``supplier`` or ``lot``."""
        return self.key.removeprefix(f"{self.part}_")

    @property
    def by(self) -> tuple[str, ...]:
        """All keys that its counts need."""
        fields = [f"{self.part}_{field}" for field in PART_FIELDS] if self.part else []
        return (self.key, *fields, *self.alike)


def groups_of(con: duckdb.DuckDBPyConnection, since: date | None) -> list[Group]:
    """The kinds of group of which the watched jobs say anything; parts by name."""
    found = con.execute(statement("tallies/watch_parts"), {"since": since}).fetchall()
    groups = [Group("technician", ("model", "quarter"))]
    for part, suppliers, lots in found:
        alike = (f"{part}_grade", "model", "quarter")
        for field, there in (("supplier", suppliers), ("lot", lots)):
            if there:
                groups.append(Group(f"{part}_{field}", alike, part))
    return groups


def lay_days(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    modes: Sequence[str],
    families: Mapping[str, Sequence[str]],
    since: date | None,
    until: date | None,
) -> None:
    """Lay down watched_days: every mode, and the union of every family, by day and device model."""
    ask = Ask(tuple(modes), ("model",), where=FIRST_JOBS, since=since, until=until)
    layout = lay_out(con, catalogue, ask, (DAY,))
    _lay_jobs(con, layout.columns)
    for view in KEPT:
        con.execute(fill("tallies/watch_kept", {"view": view}))
        con.execute(fill("tallies/watch_read", {"view": view}))
    lay_counts(con, layout, "first")
    slots = {"keys": layout.columns, "view": "first"}
    of_modes = fill("tallies/watch_of_modes", {"rows": fill("tallies/modes", slots)})
    con.execute(f"create or replace temp table watched_days as {of_modes}")
    for name, codes in families.items():
        load(con, "asked_codes", "mode varchar", [(code,) for code in codes])
        con.execute(fill("tallies/asked_plans", {"keys": "", "joins": ""}))
        own = {**OF_JOB, "beside": "units_beside_steps", "places": "", "keys": layout.columns}
        for one, table in (("spoken", "spoken"), ("units", "beside_units"), ("beside", "beside")):
            rows = fill(f"tallies/union_{one}", own)
            con.execute(f"create or replace temp table asked_{table} as {rows}")
        rows = fill("tallies/watch_of_family", {"rows": fill("tallies/union", own)})
        con.execute(f"insert into watched_days {rows}", {"family": name})


def _lay_jobs(con: duckdb.DuckDBPyConnection, columns: str) -> None:
    """The jobs asked about as a table, which asked_jobs then reads."""
    con.execute(fill("tallies/watch_jobs", {"keys": f'{columns}"rework", '}))
    con.execute(statement("tallies/watch_asked"))


def months(con: duckdb.DuckDBPyConnection, since: date) -> Columns:
    """Counts of watched_days by month and device model, before ``since`` and from then on."""
    return _columns(con, statement("tallies/watch_months"), {"since": since})


def days(
    con: duckdb.DuckDBPyConnection,
    risks: list[tuple[str, bool, str, float]],
    since: date,
    shift: float,
) -> Columns:
    """Failures of watched_days day by day against the risks, in order of time.

    ``risks``: (mode or family, whether it is a family, device model, risk of one unit).
    """
    load(con, "watched_risks", "subject varchar, whole boolean, model varchar, risk double", risks)
    text = statement("tallies/watch_days")
    return _columns(con, text, {"since": since, "shift": shift})


def count_groups(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    groups: Sequence[Group],
    modes: Sequence[str],
    since: date,
    until: date | None,
) -> list[Columns]:
    """Failures and expected failures by value, for groups that are laid out alike."""
    by = dict.fromkeys(key for group in groups for key in group.by)
    ask = Ask(tuple(modes), tuple(by), where=FIRST_JOBS, since=since, until=until)
    layout = lay_out(con, catalogue, ask)
    _lay_jobs(con, layout.columns)
    lay_counts(con, layout, "first")
    rows = fill("tallies/modes", {"keys": layout.columns, "view": "first"})
    con.execute(f"create or replace temp table watched_groups as {rows}")
    return [_columns(con, fill("tallies/watch_groups", _slots(group)), {}) for group in groups]


def lay_returns(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    groups: Sequence[Group],
    since: date,
    until: date | None,
) -> None:
    """Lay out the follow-up of the jobs handed over in the watched time."""
    by = tuple(dict.fromkeys(key for group in groups for key in group.by))
    ask = Ask((), by, where=FIRST_JOBS, since=since, until=until)
    lay_followups(con, catalogue, ask)


def count_returns(
    con: duckdb.DuckDBPyConnection, group: Group, days: int, as_of: date, value: str | None = None
) -> Columns:
    """Returns and expected returns by reason and value; of one ``value``, by day of hand-over."""
    slots = {**_slots(group), "keys": "", "filters": ""}
    asked: dict[str, Any] = {"days": days, "as_of": as_of}
    if value is not None:
        slots |= {"keys": "finished, ", "filters": "and l.value = $value"}
        asked["value"] = value
    return _columns(con, fill("tallies/watch_returns", slots), asked)


def count_value_days(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    group: Group,
    value: str,
    modes: Sequence[str],
    since: date,
    until: date | None,
) -> Columns:
    """Failures and opportunities of the modes in one group, day by day."""
    where = (*FIRST_JOBS, (group.key, value))
    ask = Ask(tuple(modes), (group.key,), where=where, since=since, until=until)
    layout = lay_out(con, catalogue, ask, (DAY,))
    _lay_jobs(con, layout.columns)
    lay_counts(con, layout, "first")
    rows = fill("tallies/modes", {"keys": layout.columns, "view": "first"})
    return _columns(con, fill("tallies/watch_value_days", {"rows": rows}), {})


def _slots(group: Group) -> dict[str, str]:
    """The value, and what makes jobs alike as one text; null where no such part was fitted."""
    alike = ", ".join(f"coalesce(cast(\"{key}\" as varchar), '')" for key in group.alike)
    text = f"concat_ws('|', {alike})"
    if group.part:
        known = " or ".join(f'"{group.part}_{field}" is not null' for field in PART_FIELDS)
        text = f"case when {known} then {text} end"
    return {"value": f'"{group.key}"', "alike": text}


def _columns(con: duckdb.DuckDBPyConnection, text: str, values: Mapping[str, Any]) -> Columns:
    cursor = con.execute(text, values) if values else con.execute(text)
    names = [column[0] for column in cursor.description or ()]
    rows = cursor.fetchall()
    columns = zip(*rows, strict=True) if rows else [()] * len(names)
    # Sums of fractions come in any order: their last digits would differ from run to run.
    return {
        name: [round(x, DIGITS) if isinstance(x, float) else x for x in one]
        for name, one in zip(names, columns, strict=True)
    }
