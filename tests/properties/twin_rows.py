"""One job-sheet row at a time, read the slow and obvious way; written from the conventions only.

``read_row`` says what a row means, ``valid`` why a row would be held back, ``ambiguous`` where the
conventions do not settle what a row means (random shops leave such rows out).

A job is a dict: ``finished``, ``keys`` (what it can be grouped by at job level), ``attempts``
(step -> methods, None = not recorded; no entry = not done), ``pieces`` (part -> list of dicts with
grade, supplier, lot, fitted), ``failures`` (set of (mode, place or None, number or None)),
``unchecked`` and ``preexisting`` (sets of modes).
"""

from __future__ import annotations

import itertools
import re
from datetime import date

JOB_KEYS = ("model", "technician", "branch", "outcome", "trial", "assigned")
OUTCOMES = ("completed", "abandoned", "returned_unrepaired")
PIECE_COLUMNS = ("grade", "supplier", "lot", "cost")


def codes(catalogue, kind):
    return [entry["code"] for entry in catalogue.get(kind, [])]


def find(catalogue, kind, code):
    return next(entry for entry in catalogue[kind] if entry["code"] == code)


def modes_of(catalogue, word):
    """The modes that a mode code, a family or 'all' stands for; none for an unknown word."""
    modes = catalogue["failure_mode"]
    return [m["code"] for m in modes if word in ("all", m["code"], m["family"])]


def places_of(catalogue, mode):
    """Where a mode can be: its steps, its part or all parts, the parts it mixes."""
    if mode.get("part") == "any":
        return codes(catalogue, "part")
    return mode.get("steps") or mode.get("mixed") or [mode["part"]]


def cell(row, column):
    return row.get(column, "").strip()


def items(text, mark):
    return [item.strip() for item in text.split(mark)] if text.strip() else []


def belongs(catalogue, row, key):
    """Steps or parts that belong to any of the row's repairs."""
    repairs = [find(catalogue, "repair", code) for code in items(cell(row, "repair"), ";")]
    return {code for repair in repairs for code in repair.get(key, [])}


def read_failures(row):
    if cell(row, "failures") in ("-", "none"):
        return set()
    found = set()
    for token in items(cell(row, "failures"), ";"):
        mode, _, rest = token.partition("@")
        place, _, number = rest.rpartition(".") if not rest.isdigit() else ("", "", rest)
        if rest and not number.isdigit():
            place, number = rest, ""
        found.add((mode, place or None, int(number) if number else None))
    attributed = {mode for mode, place, number in found if place or number}
    return {one for one in found if one[1] or one[2] or one[0] not in attributed}


def read_attempts(catalogue, row):
    found = {}
    for step in codes(catalogue, "step"):
        text = cell(row, step)
        if text and text != "-":
            found[step] = items(text, ">")
        elif not text and step in belongs(catalogue, row, "steps"):
            found[step] = [None]
    return found


def recorded_pieces(row, part):
    """The pieces a row writes down for a part; None where it says nothing about the part."""
    columns = {name: items(cell(row, f"{part}_{name}"), ">") for name in PIECE_COLUMNS}
    fitted = cell(row, f"{part}_fitted")
    if columns["grade"] == ["-"]:
        return []
    if not fitted and not any(columns.values()):
        return None
    count = max(1, *(len(values) for values in columns.values()))
    pieces = []
    for number in range(count):
        piece = {"fitted": fitted != "no"}
        for name, values in columns.items():
            piece[name] = values[0 if len(values) == 1 else number] if values else None
        pieces.append(piece)
    return pieces


def read_pieces(catalogue, row):
    found, silent = {}, []
    for part in codes(catalogue, "part"):
        pieces = recorded_pieces(row, part)
        if pieces:
            found[part] = pieces
        elif pieces is None and part in belongs(catalogue, row, "parts"):
            silent.append(part)
    seen = {mode for mode, _, _ in read_failures(row)}
    entries = [mode for mode in catalogue["failure_mode"] if mode["code"] in seen]
    unknown = {"grade": None, "supplier": None, "lot": None, "fitted": True}
    completed = (cell(row, "outcome") or "completed") == "completed"
    for part in silent:
        named = any(m.get("part") == part or part in m.get("mixed", []) for m in entries)
        if completed or named:
            found[part] = [dict(unknown)]
    if not found and any(mode.get("part") == "any" for mode in entries):
        found = {part: [dict(unknown)] for part in silent}
    return found


def band(edges, number):
    """The name of the band; a value on an edge belongs to the band above."""
    if not edges:
        return f"{number:g}"
    if number < edges[0]:
        return f"<{edges[0]:g}"
    for low, high in itertools.pairwise(edges):
        if number < high:
            return f"{low:g}-{high:g}"
    return f">={edges[-1]:g}"


def read_keys(catalogue, row, attempts, pieces):
    """Everything the job can be grouped by, as the job-level keys."""
    finished = date.fromisoformat(cell(row, "finished"))
    keys = {name: cell(row, name) or None for name in JOB_KEYS}
    keys["outcome"] = keys["outcome"] or "completed"
    repairs = items(cell(row, "repair"), ";")
    keys["repair"] = "; ".join(code for code in codes(catalogue, "repair") if code in repairs)
    keys["month"] = f"{finished:%Y-%m}"
    keys["quarter"] = f"{finished.year}-Q{(finished.month + 2) // 3}"
    keys["year"] = str(finished.year)
    keys["rework"] = "yes" if cell(row, "return_of") else "no"
    for step in codes(catalogue, "step"):
        keys[step] = attempts[step][0] if step in attempts else "-"
    for part in codes(catalogue, "part"):
        fitted = [piece for piece in pieces.get(part, []) if piece["fitted"]]
        for name in ("grade", "supplier", "lot"):
            keys[f"{part}_{name}"] = fitted[0][name] if fitted else "-"
    for factor in catalogue.get("factor", []):
        value = cell(row, factor["code"]) or None
        if value and factor["kind"] == "number":
            value = band(factor.get("bands", []), float(value))
        keys[factor["code"]] = value
    keys["parts_together"] = number_of_parts(pieces)
    for step in codes(catalogue, "step"):
        keys[f"{step}_another_try"] = needed_another(attempts.get(step))
    return keys


def number_of_parts(pieces):
    kinds = [part for part, those in pieces.items() if any(piece["fitted"] for piece in those)]
    return ["none", "1", "2", "3 or more"][min(len(kinds), 3)]


def needed_another(methods):
    """Of the methods tried at a step, None for a step that was not done."""
    if methods is None:
        return "-"
    if len(methods) > 1:
        return "yes"
    return None if methods == [None] else "no"


def grades_mixed(catalogue, job):
    """Whether grades of different origin meet, in any mode of mixed parts that has a piece here."""
    grades = []
    for mode in catalogue["failure_mode"]:
        if any(part in job["pieces"] for part in mode.get("mixed", [])):
            grades += device_grades(catalogue, job, mode).values()
    origins = {origin(catalogue, grade) for grade in grades if grade is not None}
    if len(origins) >= 2:
        return "yes"
    return "no" if grades and None not in grades else None


def read_row(catalogue, row):
    """What one valid row means."""
    attempts, pieces = read_attempts(catalogue, row), read_pieces(catalogue, row)
    unchecked = items(cell(row, "unchecked"), ";")
    return {
        "finished": cell(row, "finished"),
        "keys": read_keys(catalogue, row, attempts, pieces),
        "attempts": attempts,
        "pieces": pieces,
        "failures": read_failures(row),
        "unchecked": {mode for word in unchecked for mode in modes_of(catalogue, word)},
        "preexisting": set(items(cell(row, "preexisting"), ";")),
    }


def device_grades(catalogue, job, mode):
    """Grade of each part that a mixed mode names, in catalogue order; None = missing."""
    prior_repair = job["keys"].get("prior_repair")
    grades = {}
    for part in [code for code in codes(catalogue, "part") if code in mode["mixed"]]:
        pieces = job["pieces"].get(part, [])
        fitted = [piece for piece in pieces if piece["fitted"]]
        if pieces:
            grades[part] = (fitted or pieces)[0]["grade"]
        elif prior_repair == "no" and "unrecorded_grade" in catalogue:
            grades[part] = catalogue["unrecorded_grade"]
        else:
            grades[part] = None
    return grades


def origin(catalogue, grade):
    return find(catalogue, "grade", grade).get("origin", grade)


# ------------------------------------------------------------------- which rows are held back


def valid(catalogue, row):
    """None for a row that may come in, else the reason why it would be held back."""
    for check in (_wrong_cell, _wrong_step, _wrong_part, _wrong_lists):
        reason = check(catalogue, row)
        if reason:
            return reason
    job = read_row(catalogue, row)
    for code, place, number in job["failures"]:
        mode = find(catalogue, "failure_mode", code)
        check = _wrong_mixed if "mixed" in mode else _wrong_place
        reason = check(catalogue, job, mode, place, number)
        if reason:
            return f"failures: {code}: {reason}"
    return None


def _wrong_cell(catalogue, row):
    for column in ("job", "finished", "model", "repair"):
        if not cell(row, column):
            return f"{column}: is missing"
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", cell(row, "finished")):
        return "finished: no ISO date"
    repairs = items(cell(row, "repair"), ";")
    if not set(repairs) <= set(codes(catalogue, "repair")) or len(set(repairs)) < len(repairs):
        return "repair: unknown or twice"
    if (cell(row, "outcome") or "completed") not in OUTCOMES:
        return "outcome: unknown"
    for factor in catalogue.get("factor", []):
        value, kind = cell(row, factor["code"]), factor["kind"]
        allowed = ("yes", "no") if kind == "flag" else factor.get("values", [])
        if value and kind != "number" and value not in allowed:
            return f"{factor['code']}: unknown value"
        if value and kind == "number" and not re.fullmatch(r"\d+(\.\d+)?", value):
            return f"{factor['code']}: no number"
    return None


def _wrong_step(catalogue, row):
    for step in codes(catalogue, "step"):
        known = [m["code"] for m in catalogue["method"] if m["step"] == step]
        methods = items(cell(row, step), ">")
        if methods != ["-"] and not set(methods) <= set(known):
            return f"{step}: unknown method"
    return None


def _wrong_part(catalogue, row):
    for part in codes(catalogue, "part"):
        lists = {name: items(cell(row, f"{part}_{name}"), ">") for name in PIECE_COLUMNS}
        fitted = cell(row, f"{part}_fitted")
        if fitted not in ("", "yes", "no"):
            return f"{part}_fitted: yes or no"
        if lists["grade"] == ["-"]:
            if fitted or lists["supplier"] or lists["lot"] or lists["cost"]:
                return f"{part}_grade: not fitted, but something is recorded of it"
            continue
        if not set(lists["grade"]) <= set(codes(catalogue, "grade")):
            return f"{part}_grade: unknown grade"
        if any("" in values or "-" in values for values in lists.values()):
            return f"{part}: an empty element"
        count = len(lists["grade"]) or max(len(values) for values in lists.values())
        if any(len(values) not in (0, 1, count) for values in lists.values()):
            return f"{part}: columns of different lengths"
    return None


def _wrong_lists(catalogue, row):
    modes = set(codes(catalogue, "failure_mode"))
    if not {mode for mode, _, _ in read_failures(row)} <= modes:
        return "failures: unknown mode"
    if not all(modes_of(catalogue, word) for word in items(cell(row, "unchecked"), ";")):
        return "unchecked: unknown mode or family"
    if not set(items(cell(row, "preexisting"), ";")) <= modes:
        return "preexisting: unknown mode"
    return None


def _wrong_mixed(catalogue, job, mode, place, number):
    if place or number:
        return "a mixed mode has no attempt or piece"
    if not any(part in job["pieces"] for part in mode["mixed"]):
        return "none of its parts is there"
    grades = device_grades(catalogue, job, mode).values()
    if None not in grades and len({origin(catalogue, grade) for grade in grades}) == 1:
        return "all grades are of one origin"
    return None


def _wrong_place(catalogue, job, mode, place, number):
    if place and place not in places_of(catalogue, mode):
        return f"cannot be at {place}"
    choices = []
    for where in [place] if place else places_of(catalogue, mode):
        if "steps" in mode:
            there = job["attempts"].get(where, [])
        else:
            there = [p["grade"] for p in job["pieces"].get(where, []) if p["fitted"]]
        choices += there if number is None else there[number - 1 : number]
    if not choices or number == 0:
        return "nothing there was done or fitted"
    limit = mode.get("methods") or mode.get("grades")
    if limit and not any(choice is None or choice in limit for choice in choices):
        return "nothing there has a method or grade at which it can occur"
    return None


def ambiguous(catalogue, row):
    """Why the conventions leave a valid row's meaning open, or None.

    A mode of any part was seen on a job not completed, whose own parts say nothing: the rule asks
    whether another part has a piece, which the silent parts would ask of each other, and does not
    say whether a piece not fitted counts or what an attribution to one part means.
    """
    seen = {mode for mode, _, _ in read_failures(row)}
    if not any(find(catalogue, "failure_mode", mode).get("part") == "any" for mode in seen):
        return None
    if (cell(row, "outcome") or "completed") == "completed":
        return None
    own = belongs(catalogue, row, "parts")
    silent = [part for part in own if recorded_pieces(row, part) is None]
    recorded = [p for part in codes(catalogue, "part") for p in recorded_pieces(row, part) or []]
    attributed = {mode for mode, place, _ in read_failures(row) if place}
    if silent and (len(silent) > 1 or attributed or any(not p["fitted"] for p in recorded)):
        return "a mode of any part, and silent parts on a job not completed"
    return None
