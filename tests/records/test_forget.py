"""Forgetting a job: all its versions, the names only it used, and its bytes in the database."""

from __future__ import annotations

import duckdb
import pytest

from fixstats.errors import StoreError, UsageError
from fixstats.records.batches import forget

from .test_roundtrips import BAD, JOBS

NAMES = "select kind || ' ' || shown from records.names order by all"


def test_forget_removes_all_versions(shop):
    shop.take([*JOBS, *BAD])
    shop.take([{**JOBS[0], "minutes": "50"}])
    done = forget(shop.folder, "1")
    assert (done.versions, done.held_back) == (2, 0)
    assert forget(shop.folder, "8").held_back == 2
    for table in ("records.jobs", "past.jobs"):
        assert shop.sql(f"select count(*) from {table} where job = '1'") == [(0,)]
    entries = shop.sql(
        "select count(*) from past.attempts where entry not in (select entry from past.jobs)"
    )
    assert entries == [(0,)]
    with pytest.raises(UsageError, match="no record has the job '1'"):
        forget(shop.folder, "1")


def test_forget_removes_names_that_nothing_else_uses(shop, base):
    shop.take([{**base, "technician": "t1", "battery_supplier": "Kestrel", "battery_lot": "L1"}])
    before = shop.sql(NAMES)
    own = {
        "model": "Model of one person", "technician": "tech of one job", "branch": "one branch",
        "battery_grade": "original > original", "battery_supplier": "Kestrel > Whimbrel",
        "battery_lot": "L8 > L9",
    }  # fmt: skip
    shop.take([{**base, **own, "job": "2"}])
    shop.take([{**base, **own, "job": "2", "model": "A later model"}])
    assert len(shop.sql(NAMES)) == len(before) + 7
    assert b"Model of one person" in shop.folder.database.read_bytes()
    done = forget(shop.folder, "2")
    assert (done.versions, done.names, done.remains) == (2, 7, "")
    assert shop.sql(NAMES) == before
    content = shop.folder.database.read_bytes()
    for word in ("Model of one person", "A later model", "tech of one job", "Whimbrel"):
        assert word.encode() not in content


def test_names_stay_while_anything_uses_them(shop, base):
    used = {**base, "model": "Orca", "technician": "t7", "battery_supplier": "Kestrel",
            "battery_lot": "L1"}  # fmt: skip
    shop.take([{**used, "job": "1"}, {**base, "job": "2", "technician": "t8"}])
    held = {**used, "job": "9", "model": "ORCA", "battery_lot": "l1", "minutes": "ten"}
    shop.take([held, {**base, "job": "2", "technician": "t9"}])
    assert forget(shop.folder, "1").names == 0
    assert forget(shop.folder, "9").names == 4
    assert shop.sql(NAMES) == [("model Velum 3",), ("technician t8",), ("technician t9",)]
    assert forget(shop.folder, "2").names == 3


def test_forget_removes_the_copies_of_older_layouts(shop, base, monkeypatch):
    shop.take([{**base, "technician": "tech of one job"}, {**base, "job": "2"}])
    database = shop.folder.database
    with duckdb.connect(str(database)) as con:  # as layout 1 had it: without trials
        for table in ("trials", "trial_models", "assignments", "exclusions"):
            con.execute(f"drop table records.{table}")
        con.execute("update records.meta set value = '1' where key = 'version'")
    others = [database.with_suffix(end) for end in (".layout2.duckdb", ".mine.duckdb")]
    for path in others:
        path.write_bytes(b"tech of one job")
    done = forget(shop.folder, "1001")
    assert (done.copies, done.kept_copies) == (("shop.layout1.duckdb", "shop.layout2.duckdb"), ())
    holding = [p for p in shop.path.rglob("*.duckdb*") if b"tech of one job" in p.read_bytes()]
    assert holding == [others[1]]  # a copy of one's own
    assert forget(shop.folder, "2").copies == ()


def test_forget_says_which_copy_could_not_be_removed(shop, base):
    shop.take([base, {**base, "job": "2"}])
    stuck = shop.folder.database.with_suffix(".layout2.duckdb")
    stuck.mkdir()  # no file: its removal fails, for root too
    done = forget(shop.folder, "2")
    assert done.copies == ()
    assert len(done.kept_copies) == 1 and done.kept_copies[0].startswith("shop.layout2.duckdb (")


def test_forget_says_where_bytes_may_remain(shop, base, monkeypatch):
    def stopped(database):
        raise StoreError("no space left")

    shop.take([base, {**base, "job": "2"}])
    monkeypatch.setattr("fixstats.records.batches.renew", stopped)
    assert forget(shop.folder, "2").remains == "no space left"
    assert shop.sql("select job from records.jobs") == [("1001",)]
