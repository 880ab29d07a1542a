"""The demo's sheets go through the import: all clean rows in, the planted faults held back."""

import json
import shutil

import duckdb
import pytest

from fixstats.folder import find_folder
from fixstats.records.importer import import_sheets
from fixstats.resources import resource

FOLDER = resource("demo_data")


@pytest.fixture
def shop(tmp_path):
    for name in ("shop.toml", "catalogue.toml"):
        shutil.copy(FOLDER / name, tmp_path)
    return find_folder(tmp_path)


def test_every_row_of_the_clean_sheets_is_taken_in(shop):
    files = [FOLDER / name for name in ("harbour_bench.csv", "mill_bench.csv")]
    reports = import_sheets(shop, files, covers="all").sheets
    assert sum(report.added for report in reports) == 6_000
    assert sum(report.held_back for report in reports) == 0


def test_the_planted_faults_of_the_messy_sheet_are_held_back_and_nothing_else(shop):
    true = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["messy_sheet"]
    planted = {fault["line"] for fault in true if fault["held_back"]}
    (report,) = import_sheets(
        shop, [FOLDER / "kiosk_messy.csv"], mapping=FOLDER / "messy_map.toml"
    ).sheets
    with duckdb.connect(str(shop.database), read_only=True) as con:
        rows = con.execute("select row, value, line from records.heldback").fetchall()
    assert {row for row, *_ in rows} == planted
    assert report.held_back == len(planted) == 16
    assert report.repeated == 1
    assert report.added == report.rows_read - 17
    assert "1632" not in str(rows), "the telephone number is masked"
