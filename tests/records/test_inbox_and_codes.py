"""Entries of the bench, codes added by an import, and a database that cannot be written."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tomllib

import duckdb
import pytest

from fixstats.engines.duck import reading, writing
from fixstats.errors import SheetError, StoreError, UsageError
from fixstats.records.batches import batches, forget, undo
from fixstats.records.inbox import leave_entry

ENTRY = {"job": "b1", "finished": "2026-03-14", "model": "Orca", "repair": "battery_swap"}


def test_an_entry_waits_and_is_taken_in_by_the_next_import(shop, base):
    leave_entry(shop.folder, {**ENTRY, "minutes": 12.5, "swollen": "yes"})
    leave_entry(shop.folder, {**ENTRY, "job": "b2", "opening": "heat_plates"})
    assert len(shop.folder.waiting) == 2
    assert not shop.folder.database.exists()
    report = shop.take([base])
    assert [sheet.kind for sheet in report.sheets] == ["inbox", "sheet"]
    assert (report.sheets[0].added, report.sheets[0].held_back) == (1, 1)
    assert len(shop.folder.waiting) == 0
    assert report.sheets[0].covers == "all"
    assert shop.sql("select minutes from records.jobs where job = 'b1'") == [(12.5,)]
    assert "unknown method of opening 'heat_plates'" in shop.reasons()[0]


def test_a_later_entry_of_a_job_replaces_the_earlier(shop, base):
    for minutes in (1, 2, 3):
        leave_entry(shop.folder, {**ENTRY, "minutes": minutes})
    report = shop.take([base])
    assert [sheet.kind for sheet in report.sheets] == ["inbox"] * 3 + ["sheet"]
    assert shop.sql("select minutes from records.jobs where job = 'b1'") == [(3.0,)]
    assert shop.sql("select count(*) from past.jobs") == [(2,)]


def test_undo_and_forget_take_the_inbox_in_first(shop, base):
    shop.take([base])
    leave_entry(shop.folder, ENTRY)
    undo(shop.folder, 1)
    assert len(shop.folder.waiting) == 0
    leave_entry(shop.folder, {**ENTRY, "job": "b3"})
    assert forget(shop.folder, "b3").versions == 1
    assert [batch.kind for batch in batches(shop.folder)] == ["sheet", "inbox", "inbox"]


def test_entries_that_cannot_be_used_are_held_back_or_put_aside(shop, base):
    leave_entry(shop.folder, {"job": "b1", "finished": "soon"})
    (shop.folder.inbox / "0.jsonl").write_text("{ no json", encoding="utf-8")
    report = shop.take([base])
    assert report.sheets[0].held_back == 1
    assert len(shop.reasons()) == 3
    assert [path.name for path in shop.folder.inbox.iterdir()] == ["0.unreadable"]


def test_entries_stay_where_an_import_fails_or_only_checks(shop, base):
    leave_entry(shop.folder, ENTRY)
    with pytest.raises(SheetError, match="is empty"):
        shop.take_file(shop.file(b""))
    assert len(shop.folder.waiting) == 1
    shop.take([base], check=True)
    assert len(shop.folder.waiting) == 1
    assert shop.sql("select count(*) from records.jobs") == [(0,)]


def test_readers_and_bench_entries_do_not_block_each_other(shop, base):
    shop.take([base])
    with reading(shop.folder.database):
        path = leave_entry(shop.folder, ENTRY)
    assert json.loads(path.read_text(encoding="utf-8"))["job"] == "b1"
    with writing(shop.folder.database):
        leave_entry(shop.folder, {**ENTRY, "job": "b2"})
    assert len(shop.folder.waiting) == 2


NEW = {
    "opening": "Steam box",
    "battery_grade": "salvaged",
    "repair": "battery_swap; frame_swap",
    "failures": "smell_left",
}


def test_unknown_codes_are_added_to_the_catalogue(shop, base):
    before = shop.folder.catalogue.where.read_text(encoding="utf-8")
    report = shop.take([{**base, **NEW}], add_codes=True)
    assert report.sheets[0].preview == ()
    assert set(report.codes_added) == {"steam_box", "salvaged", "frame_swap", "smell_left"}
    after = shop.folder.catalogue.where.read_text(encoding="utf-8")
    assert after.startswith(before.rstrip())
    raw = tomllib.loads(after)
    assert raw["method"][-1] == {"step": "opening", "code": "steam_box", "label": "Steam box"}
    assert raw["grade"][-1] == {"code": "salvaged", "label": "Salvaged"}
    assert raw["failure_mode"][-1]["family"] == "unsorted"
    assert raw["failure_mode"][-1]["severity"] == 1
    assert "smell_left" in shop.folder.catalogue.modes
    assert shop.sql("select method from records.attempts where step = 'opening'") == [
        ("steam_box",)
    ]
    assert shop.take([{**base, **NEW}]).sheets[0].unchanged == 1


def test_codes_that_cannot_be_added_change_nothing(shop, base):
    before = shop.folder.catalogue.where.read_bytes()
    with pytest.raises(SheetError, match=r"codes cannot be added: .*'battery' is already"):
        shop.take([{**base, "opening": "battery"}], add_codes=True)
    rows = [{**base, "opening": "magic"}, {**base, "job": "2", "battery_release": "magic"}]
    with pytest.raises(UsageError, match="'magic' stands under the steps"):
        shop.take(rows, add_codes=True)
    shop.take([{**base, **NEW}], add_codes=True, check=True)
    assert shop.folder.catalogue.where.read_bytes() == before
    # the folder's own view of the catalogue is the old one, too
    assert "steam_box" not in shop.folder.catalogue.methods_of("opening")
    assert shop.sql("select count(*) from records.jobs") == [(0,)]


def test_a_database_held_by_another_process_names_it(shop, base, monkeypatch):
    monkeypatch.setattr("fixstats.engines.duck.PATIENCE", 0.1)
    shop.take([base])
    before = shop.state()
    hold = (
        "import duckdb, sys; c = duckdb.connect(sys.argv[1]); print('held', flush=True); "
        "sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(shop.folder.database)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as holder:  # fmt: skip
        assert holder.stdout is not None
        assert holder.stdin is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StoreError, match=f"is in use by process {holder.pid}\nwait"):
            shop.take([{**base, "job": "2"}])
        holder.stdin.close()
        holder.wait(timeout=20)
    assert shop.state() == before


def test_a_database_of_a_newer_version(shop, base):
    shop.take([base])
    with duckdb.connect(str(shop.folder.database)) as con:
        con.execute("update records.meta set value = '99' where key = 'version'")
    with pytest.raises(StoreError, match=r"written by a newer fixstats \(layout 99"):
        shop.take([{**base, "job": "2"}])
    assert shop.sql("select count(*) from records.jobs") == [(1,)]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_read_only_folder(shop, base):
    shop.take([base])
    sheet = shop.sheet([{**base, "job": "2"}])
    shop.folder.database.chmod(0o444)
    shop.path.chmod(0o555)
    try:
        with pytest.raises(StoreError, match=r"cannot be written here \(read-only folder\)"):
            shop.take_file(sheet)
        with reading(shop.folder.database) as con:
            assert con.execute("select count(*) from records.jobs").fetchall() == [(1,)]
    finally:
        shop.path.chmod(0o755)


def test_a_folder_that_cannot_be_written_says_so(shop, base, monkeypatch):
    """As root nothing is read-only, so the words are tried on what the database says then."""
    shop.take([base])
    sheet = shop.sheet([{**base, "job": "2"}])

    def refuse(*_, **__):
        raise duckdb.IOException('IO Error: Cannot open file "shop.duckdb": Permission denied')

    with monkeypatch.context() as patched:
        patched.setattr(duckdb, "connect", refuse)
        with pytest.raises(StoreError, match=r"cannot be written here \(read-only folder\)"):
            shop.take_file(sheet)
    assert shop.sql("select count(*) from records.jobs") == [(1,)]


def test_a_full_disk_leaves_the_database_as_it_was(shop, base):
    """A limit on the size of files stands for the full disk, in a process of its own."""
    shop.take([base])
    before = shop.state()
    rows = [{**base, "job": str(n), "trial": f"{n * 7919:x}-{n * 104729:x}"} for n in range(60_000)]
    sheet = shop.sheet(rows)
    limit = shop.folder.database.stat().st_size + 200_000
    program = (
        "import resource, signal, sys\n"
        "from pathlib import Path\n"
        "from fixstats.errors import StoreError\n"
        "from fixstats.folder import ShopFolder\n"
        "from fixstats.records.importer import import_sheets\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))\n"
        "try:\n"
        "    import_sheets(ShopFolder(Path(sys.argv[1])), [Path(sys.argv[2])])\n"
        "except StoreError as trouble:\n"
        "    print(trouble)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(shop.path), str(sheet)],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY
    assert "nothing was changed" in done.stdout, (done.stdout, done.stderr)
    assert shop.state() == before
