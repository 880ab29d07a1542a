"""Small shops with a trial: jobs by lot, imported in one file or in many."""

from __future__ import annotations

import csv
import random
from datetime import UTC, date, datetime, timedelta

import fixstats
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.records.trials import NewTrial, schedule, start_trial

MODELS = {"Tarn 9": "easier", "Tarn 12": "harder", "Fell 3": "middle"}
MODES = ("display_lines", "glass_cracked")
NEW = NewTrial(
    "pads", "opening", "heat_plate", "heat_pad", None, None, MODES, 0.2, 400, "7", 0.02,
    ("cell_pierced", "cell_hot"),
)  # fmt: skip
COLUMNS = (
    "job", "received", "finished", "model", "repair", "technician", "opening", "failures",
    "unchecked", "trial", "assigned",
)  # fmt: skip
PADS = ["heat_plate", "heat_pad"]
FIRST = date(2026, 1, 5)
# The first device comes in on the day of the start.
START = datetime(2026, 1, 5, 7, tzinfo=UTC)


def trial_jobs(jobs, rates, *, seed=1, unchecked=0.1, switched=0.05, harm=None):
    """Rows of a job sheet: options in the order of the schedule, outcomes by lot."""
    rng = random.Random(seed)
    queues = {
        (who, group): iter(schedule(NEW, who, group, jobs))
        for who in ("T1", "T2")
        for group in MODELS.values()
    }
    rows = []
    for number in range(jobs):
        who, model = rng.choice(("T1", "T2")), rng.choice([*MODELS])
        drawn = next(queues[who, MODELS[model]]).assigned
        day = FIRST + timedelta(days=number // 6)
        failed = [mode for mode in MODES if rng.random() < rates[drawn] / 2]
        failed += ["cell_pierced"] if rng.random() < (harm or {}).get(drawn, 0) else []
        rows.append({
            "job": f"J{number}", "received": day, "finished": day + timedelta(rng.randint(0, 4)),
            "model": model, "repair": "battery_swap", "technician": who, "trial": "pads",
            "opening": "heat_gun" if rng.random() < switched else drawn, "assigned": drawn,
            "failures": "; ".join(failed),
            "unchecked": "glass_cracked" if rng.random() < unchecked else "",
        })  # fmt: skip
    return [
        row
        for row in rows
        if row["unchecked"] not in row["failures"].split("; ") or not row["unchecked"]
    ]


def job_row(number, drawn, **other):
    """One job that went well, each a day later than the one before."""
    return {
        "job": f"J{number}", "received": FIRST, "finished": FIRST + timedelta(days=number),
        "model": "Tarn 9", "repair": "battery_swap", "technician": "T1", "opening": "heat_pad",
        "failures": "", "unchecked": "", "trial": "pads", "assigned": drawn,
    } | other  # fmt: skip


def begun(tmp_path, *, now=START, new=NEW, **settings):
    """A shop with a trial and without a job."""
    folder = make_folder(tmp_path / "bench", Settings(**{"name": "Bench"} | settings))
    strata = {(who, group): 8 for who in ("T1", "T2") for group in MODELS.values()}
    start_trial(folder, new, strata, MODELS, now=now)
    return fixstats.open(folder.path)


def take_in(shop, rows):
    """Import these rows as one file; the number of the import."""
    sheet = shop.folder.path / "jobs.csv"
    with sheet.open("w", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(rows)
    (report,) = import_sheets(shop.folder, [sheet], covers="all").sheets
    assert report.held_back == 0, report.preview
    return report.batch


def shop_with(tmp_path, rows):
    """A shop with a trial and its jobs."""
    shop = begun(tmp_path)
    take_in(shop, rows)
    return shop
