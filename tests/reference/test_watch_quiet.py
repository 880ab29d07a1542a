"""By simulation: does watching raise no more alarms than it says, where nothing changed?

The whole way from a job sheet to the finding, in 200 shops of ``quiet_shops``; another number of
them with ``QUIET_SHOPS=20``. Run with ``-m slow -s``; it prints what was raised beside what was
promised.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from datetime import date

import numpy as np
import pytest

from fixstats.findings.base import Finding
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

from .quiet_shops import write_sheet

SHOPS = int(os.environ.get("QUIET_SHOPS", "200"))
# Alarms over those promised. Of 200 shops 63 are promised: a quarter more is two standard errors of
# such a count, twice as many would be eight.
MARGIN = 1.25


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


def counted(path, seed) -> tuple[Counter[str], Counter[str]]:
    """Of one shop, by chart: alarms raised, and promised."""
    rows = watched(path, seed).rows
    return by_chart(rows, "alarm"), by_chart(rows, "expected_false")


@pytest.mark.slow
def test_alarms_are_no_more_often_than_promised(tmp_path):
    raised, promised = Counter(), Counter()
    context = multiprocessing.get_context("fork")  # it finds this module without importing it
    with ProcessPoolExecutor(min(os.cpu_count() or 1, 2), mp_context=context) as pool:
        for found, awaited in pool.map(counted, [tmp_path] * SHOPS, range(SHOPS)):
            raised, promised = raised + found, promised + awaited
    told = {name: f"{raised[name]} of {promised[name]:.1f}" for name in promised}
    total = f"{raised.total()} of {promised.total():.1f}"
    print(f"\n{SHOPS} shops: raised of promised {total}, {told}", file=sys.stderr)
    assert raised.total() < MARGIN * promised.total()


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
