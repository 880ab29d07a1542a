"""The way in, from the command line alone: import, held back, mended, taken back, forgotten."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from fixstats.errors import StoreError

GOOD = (
    "job,finished,model,repair,opening,battery_release,failures\n"
    "1,2026-03-01,Velum 3,battery_swap,heat_plate,pull_tab,\n"
    "2,2026-03-02,Velum 3,battery_swap,heat_plate,pull_tab > thread_cut,tab_snapped@1\n"
)
BAD = "3,2026-02-31,Velum 3,battery_swap,heat_plate,pull_tab,\n"


@pytest.fixture
def shop(run, tmp_path, monkeypatch) -> Path:
    path = tmp_path / "shop"
    assert run("init", path, "--name", "Test", "--labour-rate", "50")[0] == 0
    monkeypatch.chdir(path)
    monkeypatch.delenv("FIXSTATS_SHOP", raising=False)
    return path


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def failures(run):
    _, out, _ = run("rates", "--mode", "tab_snapped", "--format", "json")
    return [(row["failures"], row["opportunities"]) for row in json.loads(out)["rows"]]


def test_init_writes_all_one_needs(shop):
    names = {path.name for path in shop.iterdir()}
    assert names == {
        "shop.toml", "catalogue.toml", "shop.duckdb", "inbox", "reports", "job_sheet.xlsx",
        "tick_sheet.html",
    }  # fmt: skip


def test_init_asks_a_person_and_takes_defaults_where_nobody_is_there(run, tmp_path):
    code, out, _ = run("init", tmp_path / "mine")
    assert (code, "made" in out) == (0, True)
    assert 'name = "mine"' in (tmp_path / "mine" / "shop.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--currency", "euro"], "ISO 4217"),
        (["--time-zone", "Mars/Olympus"], "IANA"),
        (["--labour-rate", "-1"], "0 or more"),
    ],
)
def test_init_refuses_wrong_settings(run, tmp_path, words, told):
    code, out, err = run("init", tmp_path / "x", *words)
    assert (code, out) == (1, "")
    assert told in err
    assert not (tmp_path / "x").exists()


def test_init_never_overwrites(run, shop):
    before = (shop / "shop.toml").read_bytes()
    code, _, err = run("init", shop, "--name", "Other")
    assert (code, "nothing was changed" in err) == (1, True)
    assert (shop / "shop.toml").read_bytes() == before


def test_good_rows_go_in_bad_ones_are_held_back_mended_and_cleared(run, shop):
    code, out, _ = run("import", write(shop / "s.csv", GOOD + BAD), "--covers", "all")
    assert code == 3
    assert "2 new, 1 held back" in out
    assert "row 4: finished '2026-02-31'" in out
    assert failures(run) == [(1, 2)]
    code, out, _ = run("heldback", "--format", "json")
    assert [row["column"] for row in json.loads(out)["rows"]] == ["finished"]
    assert run("heldback", "--out", "mend.csv")[0] == 0
    rows = list(csv.DictReader((shop / "mend.csv").read_text(encoding="utf-8").splitlines()))
    assert "31" in rows[0]["reason"]
    rows[0]["finished"] = "2026-02-28"
    with (shop / "mend.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    code, out, _ = run("import", "mend.csv", "--covers", "all")
    assert (code, "1 new" in out) == (0, True)
    assert failures(run) == [(1, 3)]
    assert json.loads(run("heldback", "--format", "json")[1])["rows"] == []


def test_twice_changes_nothing_and_undo_restores(run, shop):
    sheet = write(shop / "s.csv", GOOD)
    assert run("import", sheet, "--covers", "all")[0] == 0
    code, out, _ = run("import", sheet, "--covers", "all")
    assert (code, "2 unchanged" in out) == (0, True)
    changed = write(shop / "t.csv", GOOD.replace("pull_tab,\n", "pull_tab,tab_snapped\n"))
    assert "1 changed, 1 unchanged" in run("import", changed, "--covers", "all")[1]
    assert failures(run) == [(2, 2)]
    _, out, _ = run("batches", "--format", "json")
    last = max(row["batch"] for row in json.loads(out)["rows"])
    code, out, _ = run("batches", "--undo", last)
    assert (code, "1 earlier version back" in out) == (0, True)
    assert failures(run) == [(1, 2)]
    code, _, err = run("batches", "--undo", 99)
    assert code in (1, 2)
    assert "99" in err


def test_update_and_forget(run, shop):
    assert run("import", write(shop / "s.csv", GOOD), "--covers", "all")[0] == 0
    late = write(shop / "late.csv", "job,returned,return_reason\n1,2026-04-01,drains_fast\n")
    code, out, err = run("import", late, "--update")
    assert (code, err) == (0, "")
    assert "1 changed" in out
    assert failures(run) == [(1, 2)]
    code, out, _ = run("forget", "2")
    assert (code, "forgot job 2: 1 version, " in out) == (0, True)
    assert failures(run) == [(0, 1)]
    code, _, err = run("forget", "2")
    assert code in (1, 2)
    assert "'2'" in err or " 2" in err


def test_forget_says_where_bytes_may_remain(run, shop, monkeypatch):
    def stopped(database):
        raise trouble

    assert run("import", write(shop / "s.csv", GOOD), "--covers", "all")[0] == 0
    monkeypatch.setattr("fixstats.records.batches.renew", stopped)
    trouble = StoreError("no space left")
    code, out, err = run("forget", "2")
    assert (code, "forgot job 2" in out) == (0, True)
    assert "bytes may remain in the database file (no space left)" in err
    trouble = KeyboardInterrupt()
    code, out, err = run("forget", "1")
    assert (code, out) == (130, "")
    assert "stopped; the job is forgotten, but its bytes may remain" in err
    assert failures(run) == []


def test_check_only_and_draft_map(run, shop):
    code, out, _ = run("import", write(shop / "s.csv", GOOD), "--check")
    assert (code, "only checked: nothing was stored" in out) == (0, True)
    assert failures(run) == []
    theirs = write(
        shop / "theirs.csv",
        "Job no;Done;Device model;Repair\n1;13.03.2026;Velum 3;battery_swap\n"
        "2;14.03.2026;Velum 3;display_swap\n",
    )
    assert run("import", theirs, "--draft-map", "theirs.toml")[0] == 0
    assert '"Device model" = "model"' in (shop / "theirs.toml").read_text(encoding="utf-8")
    code, out, err = run("import", theirs, "--map", "theirs.toml")
    assert (code, err) == (0, "")
    assert "2 new" in out
    assert run("import", theirs, "--draft-map", "theirs.toml")[0] == 2


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("none.csv", None, "none.csv"),
        ("empty.csv", b"", "empty"),
        ("head.csv", b"job,finished,model,repair\n", "no rows"),
        ("rubbish.csv", bytes(range(256)) * 20, "rubbish.csv"),
        ("rubbish.xlsx", b"PK\x03\x04" + bytes(200), "rubbish.xlsx"),
        ("one.csv", b"job|finished|model\n", "one.csv"),
        ("short.csv", b"job,finished,modell\n1,2026-01-01,x\n", "model"),
        ("twice.csv", b"job,job,finished,model,repair\n1,1,2026-01-01,x,y\n", "job"),
        ("odd.doc", b"hello", "odd.doc"),
    ],
)
def test_what_is_no_job_sheet_is_refused_whole(run, shop, name, content, told):
    if content is not None:
        (shop / name).write_bytes(content)
    before = (shop / "shop.duckdb").read_bytes()
    code, out, err = run("import", name)
    assert (code, out) == (1, "")
    assert told in err
    assert err.count("\n") <= 2
    assert (shop / "shop.duckdb").read_bytes() == before


def test_no_file_named_is_wrong_usage_unless_the_inbox_holds_some(run, shop):
    code, _, err = run("import")
    assert code == 2
    assert "FILE" in err


def test_empty_shops_are_told_as_such(run, shop):
    assert run("heldback", "--out", "mend.csv") == (
        0, "no row is held back: nothing was written\n", "",
    )  # fmt: skip
    assert not (shop / "mend.csv").exists()
    code, out, _ = run("check")
    assert code == 0
    assert "nothing to mend" not in out


def test_signs_that_steer_a_terminal_never_reach_it():
    from fixstats.cli.text import table

    shown = table(["model"], [["E\x1b]0;x\x07 \u202e1"]], [False])
    assert all(sign.isprintable() or sign == "\n" for sign in shown)
