"""Writes demo_data/ anew: ``python -m fixstats.demo.build demo_data``. Same code, same bytes."""

from __future__ import annotations

import json
import sys
import tomllib
from pathlib import Path
from typing import Any

from fixstats.demo import truth
from fixstats.demo.facts import facts
from fixstats.demo.generator import make_jobs
from fixstats.demo.messy import mapping_text, messy_sheet
from fixstats.demo.sheets import BRANCH_LETTERS, sheet_frame

DEFAULT_CATALOGUE = Path(__file__).resolve().parent.parent / "folder" / "default_catalogue.toml"
SHEETS = ("harbour_bench.csv", "mill_bench.csv")

SHOP = """# Settings of an invented workshop with two benches.
format = 1
name = "Two Benches"
currency = "EUR"
labour_rate = 54.0
warranty_days = 90
confidence_level = 0.95
time_zone = "Europe/Lisbon"
standardise_at = 0.95
tolerance = 0.50
worth_knowing = 0.02
safety_limit = 0.02
horizon_months = 12
"""

PARTS = ("battery", "display", "charge_port", "back_glass")
PART_MODES = (
    "dead_on_arrival", "drains_fast", "cell_swelled", "touch_erratic",
    "restart_conflict", "charging_conflict",
)  # fmt: skip
# Modes this bench looks for and never saw: they have upper limits only.
NEVER_SEEN = ("button_flex_torn", "frame_bent")
CALIBRATED = ("charge", "connection")
ADDITIONS: dict[str, list[dict[str, Any]]] = {
    "standard": [
        {"choice": "opening", "option": "heat_gun", "since": "2025-04-01"},
        {"choice": "opening", "option": "heat_plate", "since": "2026-06-01"},
        {"choice": "calibration", "option": "service_console", "since": "2026-06-01",
         "model": "Norvane 22"},
    ],
    "alias": [
        {"kind": "model", "is": "Quillon Q6 Mini", "also": ["Q6 Mini", "Quillon Q6mini"]},
        {"kind": "supplier", "is": "Corvo Supply", "also": ["Corvo"]},
    ],
}  # fmt: skip


def build(folder: Path) -> None:
    """Write every file of the demo into ``folder``, over what is there."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in demo_files().items():
        (folder / name).write_bytes(content)


def demo_files() -> dict[str, bytes]:
    """Name and content of every file of demo_data but the README."""
    columns = make_jobs(truth.DEMO_JOBS, truth.DEMO_SEED)
    messy, faults = messy_sheet()
    truths = facts(columns) | {"seed": truth.DEMO_SEED, "messy_sheet": faults}
    texts = {
        "shop.toml": SHOP,
        "catalogue.toml": catalogue_text(),
        "messy_map.toml": mapping_text(),
        "truth.json": _json_text(truths),
    }
    files = {name: text.encode() for name, text in texts.items()}
    files["kiosk_messy.csv"] = messy
    return files | _clean_sheets(columns)


def _clean_sheets(columns: dict[str, Any]) -> dict[str, bytes]:
    """One sheet a bench, in the order in which the jobs ended."""
    import polars as pl

    frame = sheet_frame(columns).sort("finished", "job")
    return {
        name: frame.filter(pl.col("job").str.starts_with(letter)).write_csv().encode()
        for name, letter in zip(SHEETS, BRANCH_LETTERS, strict=True)
    }


def _json_text(truths: dict[str, Any]) -> str:
    """Indented JSON, with the long tables one row a line."""
    tables = {name: truths.pop(name) for name in ("step_rates", "grade_rates")}
    text = json.dumps(truths, indent=1)[:-2]
    for name, rows in tables.items():
        lines = ",\n  ".join(json.dumps(row) for row in rows)
        text += f',\n "{name}": [\n  {lines}\n ]'
    return text + "\n}\n"


def catalogue_text() -> str:
    """The default catalogue, cut down to what this workshop records, with its own additions."""
    default = tomllib.loads(DEFAULT_CATALOGUE.read_text(encoding="utf-8"))
    repairs = [repair for repair in default["repair"] if repair["code"] in truth.STEPS_OF]
    kept = {
        "step": [step for step in default["step"] if step["code"] in truth.METHODS],
        "method": [method for method in default["method"] if method["step"] in truth.METHODS],
        "part": [part for part in default["part"] if part["code"] in PARTS],
        "grade": default["grade"],
        "factor": [factor for factor in default["factor"] if factor["code"] in truth.FACTORS],
        "repair": [_repair(repair) for repair in repairs],
        "failure_mode": _modes(default["failure_mode"]),
        "price": [price for price in default["price"] if price["part"] in PARTS],
    }
    special = {"part": "display", "grade": "original", "money": 190.0}
    kept["price"].append(special | {"since": "2025-01-01", "model": "Quillon Slate 9"})
    lines = [
        "# The default catalogue cut down to what this invented workshop records: fewer steps and",
        "# modes, with its house standards and other spellings at the end.",
        "# Written by python -m fixstats.demo.build.",
        "",
        "format = 1",
        f"unrecorded_grade = {json.dumps(default['unrecorded_grade'])}",
    ]
    for kind, entries in (kept | ADDITIONS).items():
        for entry in entries:
            lines += ["", f"[[{kind}]]", *(f"{key} = {_toml(entry[key], key)}" for key in entry)]
    return "\n".join(lines) + "\n"


def _repair(repair: dict[str, Any]) -> dict[str, Any]:
    steps = truth.STEPS_OF[repair["code"]]
    factors = [
        factor
        for factor in truth.FACTORS
        if factor in repair["factors"] and (factor not in CALIBRATED or "calibration" in steps)
    ]
    return repair | {"steps": list(steps), "factors": factors}


def _modes(modes: list[dict[str, Any]]) -> list[dict[str, Any]]:
    known = {code for step in truth.STEP_MODES.values() for code in step}
    known |= {*PART_MODES, *NEVER_SEEN}
    kept = [dict(mode) for mode in modes if mode["code"] in known]
    for mode in kept:
        if "steps" in mode:
            mode["steps"] = [step for step in mode["steps"] if step in truth.METHODS]
    return kept


def _toml(value: Any, key: str) -> str:
    """A value as TOML: dates bare, the rest as in JSON (text, numbers, flags, lists)."""
    return str(value) if key == "since" else json.dumps(value, ensure_ascii=False)


def main(arguments: list[str]) -> int:
    """Entry of ``python -m fixstats.demo.build FOLDER``."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m fixstats.demo.build FOLDER\n")
        return 2
    build(Path(arguments[0]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
