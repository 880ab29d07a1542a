"""A question about counts, checked, and laid out as temporary views for the tally statements."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fixstats.engines.session import load
from fixstats.errors import UsageError
from fixstats.folder import Catalogue, FailureMode
from fixstats.resources import statement
from fixstats.tallies.keys import PAIR, Key, resolve
from fixstats.tallies.values import NOT_RECORDED, spelled
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

VIEWS = ("first", "attempted")
# Kinds of target beside steps -> the view of their units by first choice; listing the units of
# mixed parts is slow and not done in vain.
BESIDE = {
    frozenset[str](): "part_units",
    frozenset({"part"}): "part_units",
    frozenset({"mixed"}): "mixed_units",
    frozenset({"part", "mixed"}): "units_beside_steps",
}


@dataclass(frozen=True)
class Ask:
    """What to count.

    Attributes
    ----------
    modes
        Codes of failure modes.
    by
        Keys to group by; ``pair`` for pairs of mixed parts.
    view
        ``first``: by first choice, a job is the unit; ``attempted``: attempts and pieces.
    where
        (key, value) pairs; values of one key are alternatives, keys must all hold; an empty value
        means not recorded.
    since, until
        First and last day of ``finished``.
    place
        A step or part that a comparison is about: in a union, a mode that can happen to several
        parts counts at that part only.
    chosen
        The union is about the option chosen at the part ``place``: a job on which no mode could
        happen, as its grades do not differ, counts as one without a failure.
    """

    modes: tuple[str, ...]
    by: tuple[str, ...] = ()
    view: str = "first"
    where: tuple[tuple[str, str], ...] = ()
    since: date | None = None
    until: date | None = None
    place: str | None = None
    chosen: bool = False


def check_modes(codes: Iterable[str], catalogue: Catalogue) -> list[FailureMode]:
    """The failure modes of these codes; UsageError with the nearest name for an unknown one."""
    for code in codes:
        if code not in catalogue.modes:
            near = did_you_mean(code, catalogue.modes) or "; catalogue.toml names them all"
            raise UsageError(f"unknown failure mode '{code}'{near}")
    return [catalogue.modes[code] for code in codes]


@dataclass(frozen=True)
class Layout:
    """What ``lay_out`` made: the keys asked for, and which kinds of target the modes have.

    ``units``: the select of the units asked about, every key as it describes their job; ``listed``
    of those that are counted one by one, where a key that names a place speaks of units there only.
    """

    keys: tuple[Key, ...]
    kinds: frozenset[str]
    units: str
    listed: str

    @property
    def columns(self) -> str:
        """The keys as quoted columns, each with a comma after it: what a slot takes."""
        return _list(f'"{key.name}"' for key in self.keys)


def lay_out(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask, more: tuple[Key, ...] = ()
) -> Layout:
    """Create the temporary views asked_modes and asked_jobs; the units are left as text.

    ``pair`` is no key of the layout: it has columns of its own. ``more``: keys beside those asked
    for, which people have no name for.

    Raises
    ------
    UsageError
        If a mode, key or value is unknown, or a date or view makes no sense.
    """
    if ask.view not in VIEWS:
        raise UsageError(f"unknown view '{ask.view}'; known: {', '.join(VIEWS)}")
    if ask.place and ask.place not in (*catalogue.step_codes, *catalogue.part_codes):
        known = (*catalogue.step_codes, *catalogue.part_codes)
        raise UsageError(f"unknown step or part '{ask.place}'{did_you_mean(ask.place, known)}")
    modes = check_modes(ask.modes, catalogue)
    keys = [resolve(name, catalogue, modes) for name in dict.fromkeys(ask.by) if name != PAIR]
    keys.extend(more)
    conditions = lay_conditions(con, catalogue, ask, modes)
    load(con, "asked_codes", "mode varchar", [(mode,) for mode in dict.fromkeys(ask.modes)])
    con.execute(fill("tallies/asked_modes", {"view": ask.view}))
    every = list({key.name: key for key in [*keys, *conditions]}.values())
    _lay_out_jobs(con, ask, every, conditions)
    kinds = frozenset(_kind(mode) for mode in modes)
    return Layout(tuple(keys), kinds, *_units(ask, every, conditions, beside(kinds)))


def lay_conditions(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask, modes: list[FailureMode]
) -> dict[Key, str]:
    """The condition of each key filtered by; its values and the dates lie in asked_values.

    Raises
    ------
    UsageError
        If a key or value is unknown, or the dates make no sense.
    """
    if ask.since and ask.until and ask.since > ask.until:
        raise UsageError(f"--since {ask.since} is after --until {ask.until}")
    filters = [resolve(name, catalogue, modes) for name, _ in ask.where]
    values = [
        (key.name, spelled(con, catalogue, key, value))
        for key, (_, value) in zip(filters, ask.where, strict=True)
    ]
    days = [("since", ask.since), ("until", ask.until)]
    rows = [*dict.fromkeys(values), *((name, day.isoformat()) for name, day in days if day)]
    load(con, "asked_values", "key varchar, value varchar", rows)
    return {key: _condition(key, frozenset(values)) for key in filters}


def day_conditions(ask: Ask) -> list[str]:
    """Conditions on the day of hand-over; the dates lie in asked_values."""
    return [
        f"and finished {word} {fill('tallies/asked_day', {'name': name})}"
        for word, name, day in ((">=", "since", ask.since), ("<=", "until", ask.until))
        if day
    ]


def _kind(mode: FailureMode) -> str:
    return "mixed" if mode.mixed else "part" if mode.part else "steps"


def beside(kinds: frozenset[str]) -> str:
    """The view of the units by first choice that modes of these kinds have beside steps."""
    return BESIDE[kinds - {"steps"}]


def _lay_out_jobs(
    con: duckdb.DuckDBPyConnection, ask: Ask, every: list[Key], conditions: Mapping[Key, str]
) -> None:
    of_jobs = [text for key, text in conditions.items() if not _of_unit(key, ask)]
    of_jobs += day_conditions(ask)
    steps = [key for key in every if key.kind == "step"]
    slots = {
        "keys": _list(key.of_job for key in steps),
        "joins": " ".join(key.join for key in steps),
    }
    con.execute(fill("tallies/asked_plans", slots))
    slots = {
        "keys": _list(key.of_plan if key in steps else key.of_job for key in every),
        "joins": " ".join(key.join for key in every if key not in steps),
        "filters": " ".join(of_jobs),
    }
    con.execute(fill("tallies/asked_jobs", slots))


def _units(
    ask: Ask, every: list[Key], conditions: Mapping[Key, str], beside_steps: str
) -> tuple[str, str]:
    """The selects of all units and of those listed one by one."""
    attempted = ask.view == "attempted"
    of_units = [text for key, text in conditions.items() if _of_unit(key, ask)]
    all_units = {
        "units": f"units_{ask.view}",
        "keys": _list(key.of_attempt if attempted else f'j."{key.name}"' for key in every),
        "filters": " ".join(of_units) + own_places([ask.place] if ask.place else ()),
    }
    own = own_places(key.code for key in every if key.kind in ("step", "part"))
    # By first choice, jobs are counted by plan for modes at steps; only other units are listed.
    listed = all_units | {
        "units": all_units["units"] if attempted else beside_steps,
        "filters": all_units["filters"] + own,
    }
    return fill("tallies/asked_units", all_units), fill("tallies/asked_units", listed)


def own_places(codes: Iterable[str]) -> str:
    """The condition that where a mode can happen at one of these places, only units there count.

    Without it, a battery's grade would also gather dead displays of the same job, and a method of
    opening the tries at other steps.
    """
    places = ", ".join(f"'{code}'" for code in codes)
    if not places:
        return ""
    named = f"select p.target from target_places as p where p.place in ({places})"  # noqa: S608
    return f" and (place = '' or place in ({places}) or target not in ({named}))"


def fill(name: str, slots: dict[str, str]) -> str:
    """The statement with its slots filled.

    Only names that the catalogue has checked go in, and conditions on them; whatever a person
    writes lies in the table asked_values.
    """
    text = statement(name)
    for slot, content in slots.items():
        text = text.replace(f"/*{slot}*/", content)
    return text


def _list(columns: Iterable[str]) -> str:
    return "".join(f"{column}, " for column in columns)


def _of_unit(key: Key, ask: Ask) -> bool:
    """True where an attempt or piece may differ from its job in this key."""
    return ask.view == "attempted" and key.kind in ("step", "part")


def _condition(key: Key, values: frozenset[tuple[str, str]]) -> str:
    """The condition that a key has one of the values asked for, which lie in asked_values."""
    column = f'"{key.name}"'
    same = f"a.value = {column}"
    if key.code == "repair":
        same = f"contains(concat('; ', {column}, '; '), concat('; ', a.value, '; '))"
    missing = f" or {column} is null" if (key.name, NOT_RECORDED) in values else ""
    return (
        f"and (exists (select 1 from asked_values as a where a.key = '{key.name}' "  # noqa: S608
        f"and {same}){missing})"
    )
