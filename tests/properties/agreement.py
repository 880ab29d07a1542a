"""Asks the twin and the SQL the same questions and says where they differ."""

from __future__ import annotations

from datetime import date

from fixstats.tallies import counts
from fixstats.tallies.ask import Ask

from . import twin
from .twin_rows import codes

NUMBERS = (*twin.COUNTS, *twin.CLUSTERS)
PAIR_COLUMNS = ("part_a", "grade_a", "part_b", "grade_b")
MANY = 12  # of the keys, asked at once
JOB_KEYS = (
    "model", "technician", "branch", "repair", "month", "quarter", "year", "outcome", "rework",
    "trial", "assigned",
)  # fmt: skip


def all_keys(catalogue):
    """Every key that rows can be grouped by."""
    parts = [f"{p}_{n}" for p in codes(catalogue, "part") for n in ("grade", "supplier", "lot")]
    steps = codes(catalogue, "step")
    derived = [f"{step}_{name}" for step in steps for name in ("practice", "another_try")]
    derived += ["parts_together", "grades_mixed"]
    return [*JOB_KEYS, *steps, *parts, *codes(catalogue, "factor"), *derived]


def every_grouping(catalogue, rng, pairs=6):
    """No key, each key alone, some pairs of keys: for both views, unions and pairs of parts."""
    keys = all_keys(catalogue)
    groupings = [(), *((key,) for key in keys), *(tuple(rng.sample(keys, 2)) for _ in range(pairs))]
    return [(what, by, view, (), None, None) for by in groupings for what, view in kinds()]


def few_questions(shop, rng, others=4):
    """A dozen keys at once, which tells nearly every unit by itself, and a few others with filters.

    Thousands of shops can be asked only a few questions each: DuckDB takes some 60 ms to plan one,
    and five times as long with all keys at once.
    """
    keys = all_keys(shop["catalogue"])
    asked = [(what, tuple(rng.sample(keys, MANY)), view, (), None, None) for what, view in kinds()]
    for _ in range(others):
        what, view = rng.choice(list(kinds()))
        by = tuple(rng.sample(keys, rng.choice([0, 1, 1, 2])))
        filters = rng.choices(keys, k=rng.choice([0, 0, 1, 2, 3]))
        where = tuple((key, rng.choice(values_of(shop, key))) for key in filters)
        since = rng.choice([None, None, "2025-12-01", "2026-01-01"])
        until = rng.choice([None, None, "2026-01-31", "2026-02-15"])
        asked.append((what, by, view, where, since, until))
    return asked


def kinds():
    yield "modes", "first"
    yield "modes", "attempted"
    yield "union", "first"
    yield "union at", "first"
    yield "pairs", "first"


def values_of(shop, key):
    """Values that a filter on the key can name; the empty one means not recorded."""
    catalogue, found = shop["catalogue"], {""}
    for job in twin.read_jobs(shop):
        if key == "repair":
            found.update(job["keys"]["repair"].split("; "))
            found.discard("")
        elif job["keys"][key] is not None:
            found.add(job["keys"][key])
    found.update(m["code"] for m in catalogue["method"] if m["step"] == key)
    return sorted(found)


def modes_asked(shop, what):
    """All modes; for pairs only those of mixed parts; for a union two families' worth."""
    modes = shop["catalogue"]["failure_mode"]
    if what == "pairs":
        return [mode["code"] for mode in modes if "mixed" in mode]
    if what.startswith("union"):
        return [mode["code"] for mode in modes[::2]]
    return [mode["code"] for mode in modes]


def place_asked(shop, what):
    """A union that is about one place is about the last part of the catalogue's."""
    return codes(shop["catalogue"], "part")[-1] if what == "union at" else None


def by_twin(shop, question):
    what, by, view, where, since, until = question
    modes = modes_asked(shop, what)
    period = {"where": where, "since": since, "until": until}
    if what == "modes":
        rows = twin.count_modes(shop, modes, by, view, **period)
    elif what.startswith("union"):
        period["place"] = place_asked(shop, what)
        rows = [{"mode": None, **row} for row in twin.count_union(shop, modes, by, **period)]
    else:
        rows = [row for mode in modes for row in twin.count_pairs(shop, mode, by, **period)]
    return as_table(rows, what, by)


def by_sql(con, catalogue, shop, question):
    what, by, view, where, since, until = question
    asked_by = (*by, "pair") if what == "pairs" else by
    days = [date.fromisoformat(day) if day else None for day in (since, until)]
    place = place_asked(shop, what)
    ask = Ask(tuple(modes_asked(shop, what)), asked_by, view, where, *days, place)
    ways = {"modes": counts.count_modes, "union": counts.count_union, "pairs": counts.count_pairs}
    columns = ways[what.split()[0]](con, catalogue, ask).columns
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    return as_table(rows, what, by)


def as_table(rows, what, by):
    keys = ("mode", *by, *(PAIR_COLUMNS if what == "pairs" else ()))
    found = {}
    for row in rows:
        group = tuple(row[key] for key in keys)
        assert group not in found, f"two rows of one group: {group}"
        found[group] = tuple(int(row[name]) for name in NUMBERS)
    return found


def differences(shop, con, catalogue, asked):
    """What differs, in words: the question, and per group the twin's and the SQL's numbers."""
    found = []
    for question in asked:
        ours, theirs = by_twin(shop, question), by_sql(con, catalogue, shop, question)
        if ours != theirs:
            groups = [g for g in {**ours, **theirs} if ours.get(g) != theirs.get(g)]
            lines = [f"  {g}: twin {ours.get(g)}, SQL {theirs.get(g)}" for g in groups]
            found.append("\n".join([f"{question} {NUMBERS}", *lines]))
    return found
