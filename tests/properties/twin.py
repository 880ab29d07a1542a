"""The counting rules once more, deliberately naive: loops over jobs, modes and units.

Written from the conventions only (design section 6), it shares no thought and no line with the SQL
it is compared with. A shop is a dict: ``catalogue`` (shaped like catalogue.toml) and ``imports``, a
list of dicts with ``covers`` ("all", "seen" or a list of modes and families) and ``rows``.
"""

from __future__ import annotations

from datetime import date
from itertools import combinations

from .twin_rows import (
    cell,
    codes,
    device_grades,
    find,
    grades_mixed,
    items,
    modes_of,
    origin,
    places_of,
    read_row,
)

COUNTS = ("failures", "opportunities", "unknown", "unknown_failed")
CLUSTERS = ("clusters", "ff", "fn", "nn")


# ------------------------------------------------------------------------------------- jobs


def fold(name):
    return " ".join(name.split()).casefold()


def open_columns(catalogue, row):
    """(column, kind) of the columns whose names nobody can list beforehand."""
    found = [("model", "model"), ("technician", "technician"), ("branch", "branch")]
    for part in codes(catalogue, "part"):
        found += [(f"{part}_supplier", "supplier"), (f"{part}_lot", "lot")]
    return [(column, kind) for column, kind in found if cell(row, column)]


def with_first_spelling(catalogue, row, names):
    """The row with every open name as it was first written; ``names`` remembers them."""
    row = dict(row)
    for column, kind in open_columns(catalogue, row):
        shown = []
        for name in items(cell(row, column), ">"):
            shown.append(names.setdefault((kind, fold(name)), " ".join(name.split())))
        row[column] = " > ".join(shown)
    return row


def covered_modes(catalogue, one_import):
    covers = one_import["covers"]
    if covers == "seen":
        jobs = [read_row(catalogue, row) for row in one_import["rows"]]
        return {mode for job in jobs for mode, _, _ in job["failures"]}
    words = ["all"] if covers == "all" else covers
    return {mode for word in words for mode in modes_of(catalogue, word)}


def read_jobs(shop):
    """The jobs as they stand: repeated rows once, changed rows replaced.

    What a file was said to cover is part of what its rows say: the same row under another
    declaration is a changed one.
    """
    catalogue, names, jobs = shop["catalogue"], {}, {}
    for one_import in shop["imports"]:
        covers = covered_modes(catalogue, one_import)
        declared = one_import["covers"]
        declared = declared if isinstance(declared, str) else sorted(set(declared))
        for raw in one_import["rows"]:
            content = {column: text.strip() for column, text in raw.items() if text.strip()}
            row = with_first_spelling(catalogue, raw, names)
            identity = (cell(row, "branch"), cell(row, "job"))
            told = {"content": content, "declared": declared}
            if identity in jobs and all(jobs[identity][key] == told[key] for key in told):
                continue
            jobs[identity] = {**read_row(catalogue, row), **told, "covers": covers}
    return with_practice(catalogue, jobs)


def with_practice(catalogue, jobs):
    """The jobs with the keys that need other jobs, or the whole of their own."""
    ordered = sorted(jobs, key=lambda one: (jobs[one]["finished"], one[1], not one[0], one[0]))
    days = [date.fromisoformat(job["finished"]) for job in jobs.values()]
    for step in codes(catalogue, "step"):
        used = {}
        for one in ordered:
            job = jobs[one]
            method, technician = job["keys"][step], job["keys"]["technician"]
            if method == "-":
                job["keys"][f"{step}_practice"] = "-"
                continue
            before = used.setdefault((method, technician), [])
            known = method is not None and technician is not None
            job["keys"][f"{step}_practice"] = skill(before, job, days) if known else None
            before.append(job["finished"])
    for job in jobs.values():
        job["keys"]["grades_mixed"] = grades_mixed(catalogue, job)
    return list(jobs.values())


def skill(before, job, days):
    first_use = date.fromisoformat([*before, job["finished"]][0])
    if (first_use - min(days)).days < 90 or len(before) >= 100:
        return "practised"
    return "30-99" if len(before) >= 30 else "10-29" if len(before) >= 10 else "0-9"


# ------------------------------------------------------------------------------------ units
# A unit is a dict: place and number (None where the unit does not state them), maybe, and own,
# the keys that differ from those of the job.


def unit(place=None, number=None, maybe=False, own=None):
    return {"place": place, "number": number, "maybe": maybe, "own": own or {}}


def units_first(catalogue, job, mode):
    if "steps" in mode:
        return [unit()] if any(step in job["attempts"] for step in mode["steps"]) else []
    found = []
    for part in places_of(catalogue, mode):
        if any(piece["fitted"] for piece in job["pieces"].get(part, [])):
            found.append(unit(place=part))
    return found


def units_attempted(catalogue, job, mode):
    limit = mode.get("methods") or mode.get("grades")
    found = []
    for place in places_of(catalogue, mode):
        for number, choice, own in tries(job, mode, place):
            if not limit or choice is None or choice in limit:
                maybe = bool(limit) and choice is None
                found.append(unit(place, number, maybe, own))
    return found


def tries(job, mode, place):
    """(number, method or grade, own keys) of every attempt or fitted piece at a place."""
    found = []
    if "steps" in mode:
        for number, method in enumerate(job["attempts"].get(place, []), 1):
            found.append((number, method, {place: method}))
    else:
        for number, piece in enumerate(job["pieces"].get(place, []), 1):
            own = {f"{place}_{name}": piece[name] for name in ("grade", "supplier", "lot")}
            if piece["fitted"]:
                found.append((number, piece["grade"], own))
    return found


def in_scope(job, mode):
    return any(part in job["pieces"] for part in mode["mixed"])


def units_mixed(catalogue, job, mode):
    if not in_scope(job, mode):
        return []
    grades = list(device_grades(catalogue, job, mode).values())
    origins = {origin(catalogue, grade) for grade in grades if grade is not None}
    if len(origins) >= 2:
        return [unit()]
    return [unit(maybe=True)] if None in grades else []


def units_of(catalogue, job, mode, view):
    if "mixed" in mode:
        return units_mixed(catalogue, job, mode)
    return {"first": units_first, "attempted": units_attempted}[view](catalogue, job, mode)


# ------------------------------------------------------------------------------------ state


def excluded(job, mode):
    return mode["code"] in job["preexisting"] and "part" not in mode


def in_doubt(job, mode):
    return mode["code"] in job["unchecked"] or mode["code"] not in job["covers"]


def agrees(said, had):
    return said is None or had is None or said == had


def attribution(job, mode, units):
    """For each unit: "seen", "unclear" or "no"."""
    marks = ["no"] * len(units)
    matches = []
    for code, place, number in job["failures"]:
        if code == mode["code"]:
            matches.append(
                [
                    n
                    for n, one in enumerate(units)
                    if agrees(place, one["place"]) and agrees(number, one["number"])
                ]
            )
    for match in matches:
        if len(match) > 1:
            for n in match:
                marks[n] = "unclear"
    for match in matches:
        if len(match) == 1:
            marks[match[0]] = "seen"
    return marks


def state(doubt, mark):
    """What one unit adds to the four counts."""
    if doubt or mark == "unclear":
        return {"unknown": 1, "unknown_failed": 0 if mark == "no" else 1}
    return {"opportunities": 1, "failures": 1 if mark == "seen" else 0}


# ----------------------------------------------------------------------------------- counting


def key_value(job, own, key):
    return own[key] if key in own else job["keys"][key]


def passes(job, own, where):
    """Same key: or. Different keys: and. Empty: not recorded. repair: the job includes it."""
    for key in {key for key, _ in where}:
        wanted = [value for other, value in where if other == key]
        value = key_value(job, own, key)
        if key == "repair":
            fits = any(code in wanted for code in value.split("; "))
        else:
            fits = ("" if value is None else value) in wanted
        if not fits:
            return False
    return True


def spoken_of(catalogue, mode, one, keys):
    """A key that names one of the mode's own places speaks of the tries and pieces there only."""
    named = {
        place
        for key in keys
        for place in places_of(catalogue, mode)
        if key == place or key in {f"{place}_{name}" for name in ("grade", "supplier", "lot")}
    }
    return one["place"] is None or not named or one["place"] in named


class Table:
    """Adds up units by group, and by technician within each group."""

    def __init__(self):
        self.groups = {}

    def add(self, group, technician, counts):
        cells = self.groups.setdefault(tuple(group.items()), {})
        sums = cells.setdefault(technician, dict.fromkeys(COUNTS, 0))
        for name, value in counts.items():
            sums[name] += value

    def rows(self):
        found = []
        for group, cells in self.groups.items():
            row = dict(group)
            for name in COUNTS:
                row[name] = sum(sums[name] for sums in cells.values())
            pairs = [(s["failures"], s["opportunities"]) for s in cells.values()]
            row["clusters"] = sum(1 for _, n in pairs if n > 0)
            row["ff"] = sum(f * f for f, _ in pairs)
            row["fn"] = sum(f * n for f, n in pairs)
            row["nn"] = sum(n * n for _, n in pairs)
            if row["opportunities"] or row["unknown"]:
                found.append(row)
        return found


def jobs_between(shop, since, until):
    for job in read_jobs(shop):
        if (not since or job["finished"] >= since) and (not until or job["finished"] <= until):
            yield job


def count_modes(shop, modes, by=(), view="first", where=(), since=None, until=None):
    """One row for each mode and group that has a unit."""
    catalogue, table = shop["catalogue"], Table()
    for job in jobs_between(shop, since, until):
        for code in modes:
            mode = find(catalogue, "failure_mode", code)
            if excluded(job, mode):
                continue
            units = units_of(catalogue, job, mode, view)
            for one, mark in zip(units, attribution(job, mode, units), strict=True):
                if not passes(job, one["own"], where):
                    continue
                if not spoken_of(catalogue, mode, one, [*by, *(key for key, _ in where)]):
                    continue
                keys = {key: key_value(job, one["own"], key) for key in by}
                counts = state(in_doubt(job, mode) or one["maybe"], mark)
                table.add({"mode": code, **keys}, job["keys"]["technician"], counts)
    return table.rows()


def count_union(shop, modes, by=(), where=(), since=None, until=None, place=None):
    """One row for each group: jobs at which any of the modes was seen.

    With a place, a mode that can happen there and elsewhere counts there only, and a sighting that
    could be there or elsewhere leaves the job unknown.
    """
    catalogue, table = shop["catalogue"], Table()
    for job in jobs_between(shop, since, until):
        doubt, seen, applies = False, False, False
        for code in modes:
            mode = find(catalogue, "failure_mode", code)
            units = [] if excluded(job, mode) else units_of(catalogue, job, mode, "first")
            here = any(code == other for other, _, _ in job["failures"])
            if place and place in places_of(catalogue, mode):
                marks = attribution(job, mode, units)
                there = [n for n, one in enumerate(units) if one["place"] in (None, place)]
                units, marks = [units[n] for n in there], [marks[n] for n in there]
                here = any(mark != "no" for mark in marks)
                doubt = doubt or "unclear" in marks
            if units:
                applies = True
                maybe = "mixed" in mode and units[0]["maybe"]
                doubt = doubt or maybe or in_doubt(job, mode)
                seen = seen or here
        if applies and passes(job, {}, where):
            keys = {key: key_value(job, {}, key) for key in by}
            table.add(keys, job["keys"]["technician"], state(doubt, "seen" if seen else "no"))
    return table.rows()


def count_pairs(shop, mode, by=(), where=(), since=None, until=None):
    """One row for each pair of parts and their grades; the rows of one job overlap."""
    catalogue, table = shop["catalogue"], Table()
    entry = find(catalogue, "failure_mode", mode)
    for job in jobs_between(shop, since, until):
        if excluded(job, entry) or not in_scope(job, entry) or not passes(job, {}, where):
            continue
        seen = "seen" if any(mode == other for other, _, _ in job["failures"]) else "no"
        grades = device_grades(catalogue, job, entry)
        for part_a, part_b in combinations(grades, 2):
            pair = [grades[part_a], grades[part_b]]
            maybe = None in pair
            if not maybe and origin(catalogue, pair[0]) == origin(catalogue, pair[1]):
                continue
            keys = {"part_a": part_a, "grade_a": pair[0], "part_b": part_b, "grade_b": pair[1]}
            keys |= {key: key_value(job, {}, key) for key in by}
            counts = state(maybe or in_doubt(job, entry), seen)
            table.add({"mode": mode, **keys}, job["keys"]["technician"], counts)
    return table.rows()
