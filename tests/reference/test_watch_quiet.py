"""By simulation: does watching raise no more alarms than it says, where nothing changed?

The whole way from a job sheet to the finding, in 200 shops of ``quiet_shops``. Run with
``-m slow -s``; it prints what was raised beside what was promised.
"""

from __future__ import annotations

import sys
from collections import Counter
from datetime import date

import numpy as np
import pytest

from fixstats.findings.base import Finding
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

from .quiet_shops import write_sheet

SHOPS, BATCHES = 200, 4


def watched(path, seed, **more) -> Finding:
    folder = make_folder(path / f"shop{seed}", Settings(name="Quiet"))
    (report,) = import_sheets(
        folder, [write_sheet(path / f"{seed}.csv", seed, **more)], covers="all"
    ).sheets
    assert report.held_back == 0
    return open_shop(folder.path).watch().finding


def by_chart(rows, name):
    found: Counter[str] = Counter()
    for row in rows:
        found[row["chart"]] += row[name]
    return found


@pytest.mark.slow
@pytest.mark.parametrize("batch", range(BATCHES))
def test_alarms_are_no_more_often_than_promised(tmp_path, batch):
    raised, promised, differences = Counter(), Counter(), []
    for seed in range(batch, SHOPS, BATCHES):
        rows = watched(tmp_path, seed).rows
        found, awaited = by_chart(rows, "alarm"), by_chart(rows, "expected_false")
        raised, promised = raised + found, promised + awaited
        differences.append(sum(found.values()) - sum(awaited.values()))
    shops = len(differences)
    told = {name: f"{raised[name]} of {promised[name]:.1f}" for name in promised}
    print(f"\nbatch {batch}, {shops} shops: raised of promised {told}", file=sys.stderr)
    # Alarms of one shop come together (a mode and its family), so their spread is measured.
    error = np.std(differences, ddof=1) / np.sqrt(shops)
    assert np.mean(differences) < 2.6 * error


def test_a_change_three_times_as_often_is_found(tmp_path):
    """Shops with one change in the middle of the watched time: its day, its size, nothing else."""
    begin, away = date(2025, 1, 15), []
    for seed in (1, 2, 3):
        found = watched(tmp_path, seed, worse_from=begin, worse=3.0)
        alarms = found.parts["alarms"]
        (one,) = [a for a in alarms if a["mode"] == "clip_snapped" and a["group"] is None]
        away.append(abs((date.fromisoformat(one["since"]) - begin).days))
        assert one["low"] < 3.0 < one["high"]
        assert {a["mode"] for a in alarms} <= {"clip_snapped", None}
    assert np.median(away) <= 21
