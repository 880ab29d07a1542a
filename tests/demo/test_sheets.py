"""The generator: same seed same bytes, any size, and nothing that contradicts itself."""

import subprocess
import sys

import polars as pl
import pytest

from fixstats.demo.sheets import COLUMNS, write_sheet


def sheet(path, jobs, seed):
    write_sheet(path, jobs, seed)
    return pl.read_csv(path, infer_schema_length=None, try_parse_dates=True)


def test_same_seed_same_bytes_and_another_seed_others(tmp_path):
    for name, seed in (("a", 5), ("b", 5), ("c", 6)):
        write_sheet(tmp_path / name, 700, seed)
    a, b, c = ((tmp_path / name).read_bytes() for name in "abc")
    assert a == b
    assert a != c


@pytest.mark.parametrize("jobs", [0, 1, 2, 49, 50, 51, 1200])
def test_any_size(tmp_path, jobs):
    write_sheet(tmp_path / "sheet.csv", jobs, 1)
    lines = (tmp_path / "sheet.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == jobs + 1
    assert lines[0] == ",".join(COLUMNS)


def test_batches_give_one_sheet_with_unique_jobs(tmp_path, monkeypatch):
    monkeypatch.setattr("fixstats.demo.generator.BATCH", 1_000)
    frame = sheet(tmp_path / "sheet.csv", 2_500, 4)
    assert frame.height == 2_500
    assert frame["job"].n_unique() == 2_500
    back = frame.drop_nulls("return_of")
    assert back.height > 20
    assert set(back["return_of"]) <= set(frame["job"])


def test_days_are_in_order_and_within_the_records(tmp_path):
    frame = sheet(tmp_path / "sheet.csv", 6_000, 2)
    assert (frame["received"] <= frame["finished"]).all()
    assert (frame["finished"] < frame["returned"]).drop_nulls().all()
    last = frame.select(pl.max_horizontal(pl.col("finished", "returned").max())).item()
    assert str(last) <= "2026-09-30"
    assert str(frame["finished"].min()) >= "2025-04-01"


def test_comeback_jobs_arrive_on_the_day_their_original_names(tmp_path):
    frame = sheet(tmp_path / "sheet.csv", 6_000, 2)
    pairs = frame.drop_nulls("return_of").join(frame, left_on="return_of", right_on="job")
    assert pairs.height > 50
    assert (pairs["received"] == pairs["returned_right"]).all()
    assert (pairs["branch"] == pairs["branch_right"]).all()
    assert (pairs["model"] == pairs["model_right"]).all()


def test_only_completed_jobs_come_back(tmp_path):
    frame = sheet(tmp_path / "sheet.csv", 6_000, 2)
    assert set(frame.drop_nulls("returned")["outcome"]) == {"completed"}
    assert {"abandoned", "returned_unrepaired"} < set(frame["outcome"])


def test_several_tries_and_pieces_are_written_as_chains(tmp_path):
    frame = sheet(tmp_path / "sheet.csv", 6_000, 2)
    tried = frame.filter(pl.col("battery_release").str.contains(" > ", literal=True))
    assert tried.height > 50
    assert tried["battery_release"].str.starts_with("pull_tab > ").all()
    dead = frame.filter(pl.col("failures").str.contains(r"dead_on_arrival@(battery\.)?1"))
    dead = dead.drop_nulls("battery_supplier")
    for column in ("supplier", "lot", "grade", "cost"):
        cells = dead.filter(pl.col("display_grade").is_null())[f"battery_{column}"]
        assert cells.str.contains(" > ", literal=True).all()


def test_a_larger_sheet_is_a_larger_workshop(tmp_path):
    assert sheet(tmp_path / "a.csv", 6_000, 1)["technician"].n_unique() == 5
    assert sheet(tmp_path / "b.csv", 24_000, 1)["technician"].n_unique() == 20


def test_importing_the_generator_loads_nothing_heavy():
    code = (
        "import sys, fixstats.demo.build; "
        "print(*sorted({'numpy', 'polars', 'scipy', 'duckdb'} & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
