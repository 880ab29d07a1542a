"""The spreadsheet of the Mill bench's kiosk: other words, other formats, planted faults."""

from __future__ import annotations

import csv
import io
from typing import Any

from fixstats.demo import truth
from fixstats.demo.cases import Columns, has
from fixstats.demo.generator import make_jobs

JOBS = 110
SEED = 31
ENCODING = "cp1252"
MILL = truth.BRANCHES[1]

# our column -> their heading
HEADINGS = {
    "job": "Auftrag",
    "received": "Annahme",
    "finished": "Abgabe",
    "branch": "Ort",
    "technician": "Kürzel",
    "model": "Gerät",
    "repair": "Arbeit",
    "minutes": "Dauer (min)",
    "price": "Preis €",
    "opening": "Öffnen",
    "display_handling": "Display während der Arbeit",
    "battery_release": "Akku lösen",
    "resealing": "Verkleben",
    "calibration": "Kalibrieren",
    "battery_grade": "Akku-Sorte",
    "battery_supplier": "Akku von",
    "battery_cost": "Akku-Preis",
    "swollen": "aufgebläht",
    "charge": "Ladung %",
    "connection": "Netz",
    "failures": "Mängel",
    "returned": "zurück am",
    "return_reason": "Grund",
    "notes": "Notiz",
}
# our column -> our word -> their word
WORDS: dict[str, dict[str, str]] = {
    "repair": {"battery_swap": "Akku", "display_swap": "Display", "charge_port_swap": "Ladebuchse"},
    "opening": {"heat_plate": "Heizplatte", "heat_pad": "Wärmekissen", "heat_gun": "Heißluft"},
    "display_handling": {"display_on_stand": "Ständer", "display_detached": "abgesteckt"},
    "battery_release": {
        "pull_tab": "Lasche", "solvent_drip": "Lösemittel", "thread_cut": "Faden",
        "pry_tool": "Hebel",
    },
    "resealing": {"cut_seal": "Dichtung", "tape_strip": "Klebeband"},
    "calibration": {"on_device": "am Gerät", "service_console": "Konsole"},
    "battery_grade": {
        "original": "neu", "refurbished": "überholt", "aftermarket_high": "Nachbau gut",
        "aftermarket_low": "Nachbau billig",
    },
    "swollen": {"yes": "ja", "no": "nein"},
    "connection": {"cable": "Kabel", "wifi": "WLAN", "hotspot": "Handy"},
    "failures": {
        "tab_snapped": "Lasche gerissen", "frame_parted": "Rahmen gelöst",
        "display_flex_torn": "Flexkabel gerissen", "calibration_refused": "Kalibrierung verweigert",
        "calibration_refused@1": "1. Kalibrierung verweigert",
        "calibration_refused@2": "2. Kalibrierung verweigert",
        "gap_uneven": "Spalt schief",
    },
    "return_reason": {"drains_fast": "Akku schwach", "unrelated": "anderes"},
}  # fmt: skip
MODES = tuple(mode for mode in WORDS["failures"] if "@" not in mode)
NOTES = ("", "", "", "Hülle bleibt hier", "café-Filiale abgeholt", "Glas vorn verkratzt", "eilt")
# A number from a range that is kept free for fiction (common practice, no source).
PHONE = "Rückruf unter +44 1632 960983"

Row = dict[str, str]


def messy_sheet() -> tuple[bytes, list[dict[str, Any]]]:
    """The sheet as bytes, and its planted faults: line of the file, what, held back or not."""
    rows = _plain_rows()
    faults = _spoil(rows)
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(HEADINGS.values()), delimiter=";", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode(ENCODING), faults


def mapping_text() -> str:
    """The mapping file that turns the kiosk's words into ours."""
    lines = [
        "# How the kiosk's spreadsheet is read: their headings and words, ours to the right.",
        "format = 1",
        "# The kiosk only ever looked for these; of all other modes its sheet says nothing.",
        f"covers = {_quoted(', '.join(MODES))}",
        'notes = "keep"',
        "",
        "[formats]",
        'separator = ";"',
        'decimal = ","',
        'thousands = "."',
        'dates = "DD.MM.YYYY"',
        'encoding = "windows-1252"',
        "",
        "# Notes that hold a telephone number or the like keep their row out until it is mended.",
        "[privacy]",
        'notes = "refuse"',
        "",
        "[columns]",
    ]
    lines += [f"{_quoted(theirs)} = {_quoted(ours)}" for ours, theirs in HEADINGS.items()]
    for column, words in WORDS.items():
        lines += ["", f"[values.{column}]"]
        lines += [f"{_quoted(theirs)} = {_quoted(ours)}" for ours, theirs in words.items()]
    return "\n".join(lines) + "\n"


def _quoted(word: str) -> str:
    return f'"{word}"'


def _plain_rows() -> list[Row]:
    """Clean rows in the kiosk's words (a hundred or so: a plain loop is enough)."""
    import numpy as np

    c = make_jobs(5 * JOBS, SEED)
    single = has(c, "battery_swap") ^ has(c, "display_swap") | has(c, "charge_port_swap")
    mill = c["branch"] == truth.BRANCHES.index(MILL)
    only = single & mill & (c["outcome"] == 0) & (c["of_row"] < 0)
    rows = np.flatnonzero(only)
    rows = rows[np.linspace(0, len(rows) - 1, JOBS).astype(int)]
    c = {key: value[rows] for key, value in c.items()}
    return [_row(c, k) for k in range(len(rows))]


def _row(c: Columns, k: int) -> Row:
    battery = bool(c["battery_new"][k])
    row = dict.fromkeys(HEADINGS, "")
    row["job"] = f"K-{k + 1:03d}"
    row["received"], row["finished"] = (_day(c[key][k]) for key in ("received", "finished"))
    row["branch"], row["technician"] = MILL, f"T{c['technician'][k] + 1}"
    row["model"] = truth.MODELS[c["model"][k]].name
    row["minutes"] = f"{c['minutes'][k] + 0.5:.1f}".replace(".", ",")
    row["price"] = f"{60 + 7 * (k % 12)},90" if k % 40 else "1.149,00"
    row["notes"] = NOTES[k % len(NOTES)]
    repair = list(truth.REPAIRS)[c["repair"][k]]
    row["repair"] = WORDS["repair"][repair]
    for step in ("opening", "display_handling", "battery_release", "resealing", "calibration"):
        words = [WORDS[step][name] for name in truth.METHODS[step]]
        tries = [c[step][k], c[f"{step}_again"][k] if f"{step}_again" in c else -1]
        row[step] = " > ".join(words[method] for method in tries if method >= 0)
    if battery:
        grade = c["battery_grade"][k]
        row["battery_grade"] = WORDS["battery_grade"][truth.GRADES[grade]]
        row["battery_supplier"] = truth.SUPPLIERS[c["supplier"][k]]
        row["battery_cost"] = f"{truth.PIECE_COST['battery'][grade]:.2f}".replace(".", ",")
    row["swollen"] = WORDS["swollen"]["yes" if c["swollen"][k] else "no"]
    if c["calibration"][k] >= 0:
        row["charge"] = str(c["charge"][k])
        row["connection"] = WORDS["connection"][[*truth.CONNECTIONS][c["connection"][k]]]
    row["failures"] = "; ".join(_seen(c, k))
    if c["back"][k] and c["reason"][k] in (0, 4):
        row["returned"] = _day(c["returned"][k])
        row["return_reason"] = "Akku schwach" if c["reason"][k] == 0 else "anderes"
    return {HEADINGS[ours]: cell for ours, cell in row.items()}


def _seen(c: Columns, k: int) -> list[str]:
    seen = []
    for mode in MODES:
        if not c[f"fail:{mode}"][k]:
            continue
        twice = mode == "calibration_refused" and c["calibration_again"][k] >= 0
        seen.append(f"{mode}@1" if twice else mode)
        if twice and c["again:calibration_refused"][k]:
            seen.append(f"{mode}@2")
    return [WORDS["failures"][code] for code in seen]


def _day(day: Any) -> str:
    year, month, number = str(day).split("-")
    return f"{number}.{month}.{year}"


def _spoil(rows: list[Row]) -> list[dict[str, Any]]:
    """Plant the faults; returns where they are. Lines count from 1, the header is line 1."""
    displays = [k for k, row in enumerate(rows) if row["Arbeit"] == "Display"]
    planted: list[tuple[int, str, str, str]] = [
        (3, "finished", "31.02.2026", "no such day"),
        (8, "opening", "Fön", "unknown method"),
        (13, "opening", "Faden", "method of another step"),
        (18, "minutes", "-12,0", "negative minutes"),
        (23, "received", "24.12.2026", "finished before received"),
        (28, "notes", PHONE, "telephone number"),
        (33, "failures", "Flackern", "unknown failure mode"),
        (38, "job", "", "no job identifier"),
        (43, "repair", "Kamera", "unknown repair"),
        (48, "minutes", "k. A.", "not a number"),
        (displays[9], "failures", "Lasche gerissen", "mode that can't occur in this repair"),
        (53, "returned", "01.01.2024", "returned before finished"),
        (58, "charge", "voll", "not a number"),
        (63, "charge", "140", "impossible, but the catalogue sets no limit"),
        (68, "model", "  quillon   q5", "case and spaces: folded"),
        (73, "model", "Quilon Q6", "near-twin of Quillon Q6: named by check"),
        (78, "notes", "=1+1", "formula in a cell"),
    ]
    harmless = ("impossible", "case and", "near-twin")
    faults = []
    for at, column, value, what in planted:
        rows[at][HEADINGS[column]] = value
        held = not what.startswith(harmless)
        faults.append({"line": at + 2, "column": column, "value": value, "fault": what}
                      | {"held_back": held})  # fmt: skip
    rows.append(dict(rows[83]))
    faults.append({"line": len(rows) + 1, "column": "job", "value": rows[83]["Auftrag"]}
                  | {"fault": "the same row twice: counts once", "held_back": False})  # fmt: skip
    other = dict(rows[88]) | {HEADINGS["minutes"]: "99,0"}
    rows.append(other)
    for line in (88 + 2, len(rows) + 1):
        faults.append({"line": line, "column": "job", "value": other["Auftrag"]}
                      | {"fault": "the same job twice, different", "held_back": True})  # fmt: skip
    return faults
