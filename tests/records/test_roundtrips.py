"""The same import twice, changes, updates, taking back, mending, forgetting."""

from __future__ import annotations

import csv
import random

import polars as pl
import pytest

from fixstats.cli.imports import report_text
from fixstats.errors import UsageError
from fixstats.records.batches import batches, undo
from fixstats.records.heldback import export_heldback, heldback
from fixstats.records.overlay import sheet_rows

JOBS = [
    {
        "job": "1", "finished": "2026-01-05", "received": "2026-01-03", "model": "Velum 3",
        "repair": "battery_swap; display_swap", "technician": "t1", "branch": "north",
        "outcome": "completed", "minutes": "42.50", "price": "80",
        "opening": "heat_gun > heat_plate", "battery_release": "pull_tab > ? > thread_cut",
        "calibration": "-", "opening_minutes": "7", "battery_grade": "original > aftermarket_low",
        "battery_supplier": "Kestrel", "battery_lot": "L1 > ?", "battery_cost": "12.5 > 9",
        "display_grade": "", "display_supplier": "Ouzel", "failures":
        "clip_snapped@opening.2; tab_snapped@1; tab_snapped; dead_on_arrival@battery.1",
        "unchecked": "display_damage", "preexisting": "touch_zone_dead", "swollen": "yes",
        "battery_health": "71", "connection": "WIFI", "returned": "2026-02-01",
        "return_reason": "unrelated", "trial": "heat", "assigned": "heat_plate",
    },
    {
        "job": "2", "finished": "2026-01-06", "model": "velum  3", "repair": "battery_swap",
        "branch": "North", "outcome": "abandoned", "failures": "dead_on_arrival",
        "unchecked": "all", "return_of": "1",
    },
    {
        "job": "3", "finished": "2026-01-07", "model": "Orca", "repair": "back_glass_swap",
        "display_grade": "original", "display_fitted": "no", "back_glass_grade": "-",
        "opening": "suction_frame", "failures": "none",
    },
    {
        "job": "4", "finished": "2026-01-07", "model": "Orca", "repair": "display_swap",
        "display_supplier": "Ouzel > Kestrel", "battery_fitted": "no", "display_fitted": "yes",
    },
    {"job": "5", "finished": "2026-01-08", "model": "Orca", "repair": "camera_swap",
     "outcome": "returned_unrepaired", "opening": "-"},
]  # fmt: skip


def test_what_is_stored(shop):
    report = shop.take(JOBS, covers="all")
    assert report.sheets[0].preview == ()
    assert shop.sql(
        "select step, attempt, method from records.attempts join records.jobs using (entry) "
        "where job = '1' and step in ('opening', 'battery_release', 'calibration', 'resealing') "
        "order by step, attempt"
    ) == [
        ("battery_release", 1, "pull_tab"),
        ("battery_release", 2, None),
        ("battery_release", 3, "thread_cut"),
        ("opening", 1, "heat_gun"),
        ("opening", 2, "heat_plate"),
        ("resealing", 1, None),
    ]
    assert shop.sql(
        "select job, part, piece, grade, supplier, lot, cost, fitted from records.pieces "
        "join records.jobs using (entry) order by all"
    ) == [
        ("1", "battery", 1, "original", "Kestrel", "L1", 12.5, True),
        ("1", "battery", 2, "aftermarket_low", "Kestrel", None, 9.0, True),
        ("1", "display", 1, None, "Ouzel", None, None, True),
        ("2", "battery", 1, None, None, None, None, True),
        ("3", "display", 1, "original", None, None, None, False),
        ("4", "battery", 1, None, None, None, None, False),
        ("4", "display", 1, None, "Ouzel", None, None, True),
        ("4", "display", 2, None, "Kestrel", None, None, True),
    ]
    assert shop.sql(
        "select job, mode, place, number from records.failures join records.jobs using (entry) "
        "order by all"
    ) == [
        ("1", "clip_snapped", "opening", 2),
        ("1", "dead_on_arrival", "battery", 1),
        ("1", "tab_snapped", "", 1),
        ("2", "dead_on_arrival", "", 0),
    ]
    assert ("2", "*") in shop.sql(
        "select job, mode from records.unchecked join records.jobs using (entry)"
    )
    assert shop.sql("select distinct model, branch from records.jobs order by all") == [
        ("Orca", None), ("Velum 3", "north"),
    ]  # fmt: skip
    assert shop.sql("select factor, value, number from records.factors order by all") == [
        ("battery_health", "71", 71.0), ("connection", "wifi", None), ("swollen", "yes", None),
    ]  # fmt: skip
    plan = shop.sql("select plan from records.jobs where job = '3'")[0][0]
    assert ("suction_frame",) in shop.sql(
        f"select method from records.plans where plan = '{plan}' and step = 'opening'"
    )


def test_same_import_twice_changes_nothing(shop):
    shop.take(JOBS)
    before = shop.state()
    report = shop.take(JOBS)
    sheet = report.sheets[0]
    assert (sheet.unchanged, sheet.added, sheet.changed, sheet.batch) == (5, 0, 0, None)
    assert shop.state() == before
    assert len(batches(shop.folder)) == 1


def test_order_and_spelling_do_not_change_a_row(shop):
    shop.take(JOBS)
    random.seed(5)
    other = []
    for row in JOBS:
        cells = list({**row, "price": f"{row['price']}.00" if "price" in row else ""}.items())
        random.shuffle(cells)
        other.append(dict(cells))
    for row in other:
        if row.get("failures") and ";" in row["failures"]:
            row["failures"] = ";".join(reversed(row["failures"].split(";")))
        if "repair" in row:
            row["repair"] = " ; ".join(reversed(row["repair"].split("; ")))
    assert shop.take(other[::-1]).sheets[0].unchanged == 5


def export_all(shop, place="records"):
    """The records as a sheet, by the inverse of the import."""
    import duckdb

    from fixstats.engines.session import catalogue_tables, load
    from fixstats.records.columns import known_words, sheet_columns
    from fixstats.records.templates import fill

    with duckdb.connect(str(shop.folder.database), read_only=True) as con:
        catalogue_tables(con, shop.folder.catalogue)
        con.execute(fill("macros"))
        shape = "kind varchar, owner varchar, slug varchar, code varchar, position integer"
        load(con, "known_words", shape, list(known_words(shop.folder.catalogue)))
        con.execute(f"create temp table wanted as select entry from {place}.jobs")
        cursor = con.execute(sheet_rows(shop.folder.catalogue, place))
        names = [column[0] for column in cursor.description]
        rows = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    kept = sheet_columns(shop.folder.catalogue)
    return [{k: v for k, v in row.items() if k in kept and v is not None} for row in rows]


def test_rows_read_back_import_as_unchanged(shop):
    shop.take(JOBS)
    before = shop.state()
    rows = export_all(shop)
    assert len(rows) == 5
    report = shop.take(rows)
    assert report.sheets[0].preview == ()
    assert report.sheets[0].unchanged == 5
    assert shop.state() == before


def test_changed_row_replaces_and_undo_restores(shop):
    shop.take(JOBS)
    before = shop.state()
    changed = [{**JOBS[0], "opening": "thin_blade", "failures": ""}, {**JOBS[1], "job": "9"}]
    report = shop.take(changed)
    assert (report.sheets[0].changed, report.sheets[0].added) == (1, 1)
    assert shop.sql("select count(*) from past.jobs where replaced_by = 2") == [(1,)]
    assert shop.sql("select count(*) from records.jobs") == [(6,)]
    done = undo(shop.folder, 2)
    assert (done.removed, done.returned) == (2, 1)
    after = shop.state()
    after["past"] = before["past"]
    assert after == before
    assert [batch.undone for batch in batches(shop.folder)] == [False, True]
    with pytest.raises(UsageError, match="import 2 was taken back already"):
        undo(shop.folder, 2)
    assert undo(shop.folder, 1).removed == 5
    assert shop.sql("select count(*) from records.attempts") == [(0,)]


def test_undo_is_refused_where_a_later_import_touched_the_jobs(shop):
    shop.take(JOBS)
    shop.take([{**JOBS[0], "minutes": "50"}])
    before = shop.state()
    with pytest.raises(UsageError, match=r"import 1: import 2 changed 1 job of it later \(1, for"):
        undo(shop.folder, 1)
    with pytest.raises(UsageError, match="import 7 is not there"):
        undo(shop.folder, 7)
    assert shop.state() == before


def test_covers_are_part_of_a_row(shop):
    shop.take(JOBS, covers="seen")
    assert shop.sql("select mode from records.covers order by 1") == [
        ("clip_snapped",), ("dead_on_arrival",), ("tab_snapped",),
    ]  # fmt: skip
    assert shop.take(JOBS, covers="seen").sheets[0].unchanged == 5
    assert shop.take(JOBS, covers="all").sheets[0].changed == 5
    assert set(shop.take(JOBS, covers="broken_tabs, cell_bent").sheets[0].covered) == {
        "tab_snapped", "clip_snapped", "latch_snapped", "cell_bent",
    }  # fmt: skip
    with pytest.raises(UsageError, match=r"covers: 'broken_tab'.*did you mean 'broken_tabs'"):
        shop.take(JOBS, covers="broken_tab")


def test_update_changes_only_what_it_says(shop):
    shop.take(JOBS, covers="all")
    before = shop.state()
    report = shop.take(
        [
            {"job": "1", "returned": "2026-02-03", "minutes": ""},
            {"job": "2", "returned": ""},
            {"job": "77", "returned": "2026-02-03"},
        ],
        update=True,
    )
    sheet = report.sheets[0]
    assert (sheet.changed, sheet.unchanged, sheet.held_back) == (1, 1, 1)
    assert shop.reasons() == ["there is no such job to update"]
    after = shop.state()
    for table in ("attempts", "pieces", "failures", "unchecked", "preexisting", "factors"):
        assert after[table] == before[table] or [row[:-3] for row in after[table]] == [
            row[:-3] for row in before[table]
        ]
    assert shop.sql("select returned::text, minutes from records.jobs where job = '1'") == [
        ("2026-02-03", 42.5)
    ]
    undo(shop.folder, 2)
    assert {**shop.state(), "past": []} == before


def test_update_is_checked_like_any_row(shop):
    shop.take(JOBS, covers="all")
    shop.take([{"job": "1", "returned": "2025-02-03"}], update=True)
    assert shop.reasons() == ["came back before it was finished (2026-01-05)"]


def test_update_of_failures_keeps_or_changes_the_coverage(shop):
    shop.take(JOBS, covers="seen")
    first = shop.sql("select distinct covers from records.jobs")
    shop.take([{"job": "1", "failures": "none"}], update=True)
    assert shop.sql("select distinct covers from records.jobs") == first
    assert shop.sql(
        "select count(*) from records.failures join records.jobs using (entry) where job = '1'"
    ) == [(0,)]
    shop.take([{"job": "1", "failures": "clip_snapped"}], update=True, covers="all")
    assert len(shop.sql("select distinct covers from records.jobs")) == 2


def test_update_needs_the_branch_where_it_matters(shop, base):
    shop.take([{**base, "branch": "north"}, {**base, "branch": "south"}])
    shop.take([{"job": "1001", "minutes": "5"}], update=True)
    words = "several branches have this job (north, south): add the column branch"
    assert shop.reasons() == [words]
    report = shop.take([{"job": "1001", "branch": "SOUTH", "minutes": "5"}], update=True)
    assert report.sheets[0].changed == 1
    assert shop.sql("select branch from records.jobs where minutes = 5") == [("south",)]


BAD = [
    {"job": "8", "finished": "2026-02-31", "model": "=danger", "repair": "battery_swap"},
    {"job": "9", "finished": "2026-02-03", "model": "Orca", "repair": "batery_swap",
     "technician": "ann@bench.example"},
]  # fmt: skip


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_held_back_rows_survive_the_round_trip(shop, ending):
    shop.take([*JOBS, *BAD])
    out = shop.path / f"held.{ending}"
    assert export_heldback(shop.folder, out) == 2
    frame = pl.read_excel(out) if ending == "xlsx" else pl.read_csv(out)
    rows = [
        {k: str(v) for k, v in row.items() if v is not None} for row in frame.iter_rows(named=True)
    ]
    assert [row["held_back"] for row in rows] == ["1:7", "1:8"]
    assert rows[0]["model"] == "'=danger"
    assert rows[1]["technician"] == "[e-mail masked]"
    # unmended, the rows stay held back: once
    assert shop.take(rows).sheets[0].held_back == 2
    assert [row.key for row in heldback(shop.folder)] == ["1:7", "1:8"]
    # half mended, the row waits in its new form: once
    rows[0]["finished"] = "2026-02-28"
    rows[1].update(repair="battery_swap", technician="t2")
    report = shop.take(rows)
    assert (report.sheets[0].added, report.sheets[0].held_back) == (1, 1)
    (left,) = heldback(shop.folder)
    assert [str(fault) for fault in left.faults] == ["model: a formula, not a value"]
    assert left.cells["finished"] == "2026-02-28"
    number = report.sheets[0].batch
    # the same file once more changes nothing
    before = shop.state()
    assert shop.take(rows).sheets[0].held_back == 1
    assert shop.state() == before
    # taken back, the old ones return
    undo(shop.folder, number)
    assert [row.key for row in heldback(shop.folder)] == ["1:7", "1:8"]


def test_mended_in_the_workshops_own_sheet_clears_too(shop):
    shop.take([*JOBS, *BAD])
    mended = [{**BAD[0], "finished": "2026-02-28", "model": "Orca"}, BAD[1]]
    report = shop.take([*JOBS, *mended])
    assert (report.sheets[0].added, report.sheets[0].cleared) == (1, 2)
    assert [row.job for row in heldback(shop.folder)] == ["9"]


def test_personal_values_are_nowhere_in_the_database(shop):
    shop.take([*JOBS, *BAD])
    assert b"ann@bench.example" not in shop.folder.database.read_bytes()


def test_check_changes_nothing(shop):
    report = shop.take([*JOBS, *BAD], check=True)
    assert (report.checked, report.sheets[0].added, report.sheets[0].held_back) == (True, 5, 2)
    assert report.sheets[0].batch is None
    assert all(not rows for rows in shop.state().values())


def test_exported_cells_are_inert(shop, base):
    rows = [{**base, "minutes": "-5", "trial": "@cmd", "assigned": "+1+cmd|x", "opening": "-"}]
    shop.take([{**base, "job": "2"}, *rows])
    out = shop.path / "held.csv"
    export_heldback(shop.folder, out)
    with out.open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["trial"], row["assigned"]) == ("'@cmd", "'+1+cmd|x")
    assert (row["minutes"], row["opening"]) == ("-5", "-")
    row["minutes"] = "5"
    assert shop.take([row]).sheets[0].added == 1
    assert shop.sql("select trial, assigned from records.jobs where job = '1001'") == [
        ("@cmd", "+1+cmd|x")
    ]


def test_apostrophes_of_an_export_are_no_part_of_a_job(shop, base):
    bad = {**base, "minutes": "ten"}
    shop.take([{**bad, "job": "@a1"}, {**bad, "job": "-7b"}, {**bad, "job": "=x"}])
    out = shop.path / "out.csv"
    export_heldback(shop.folder, out)
    assert "'@a1" in out.read_text(encoding="utf-8-sig")
    shop.take_file(shop.file(out.read_text(encoding="utf-8-sig").replace("ten", "10"), "in.csv"))
    assert shop.sql("select job from records.jobs order by job") == [("-7b",), ("@a1",)]
    assert shop.reasons() == ["a formula, not a value"]


def test_an_update_clears_only_the_faults_of_what_it_filled(shop, base):
    shop.take([base])
    shop.take([{**base, "opening": "heat_plates", "minutes": "ten"}])
    assert len(shop.reasons()) == 2
    report = shop.take([{"job": "1001", "price": "40"}], update=True)
    assert (report.sheets[0].changed, report.sheets[0].cleared) == (1, 0)
    report = shop.take([{"job": "1001", "minutes": "50", "opening": ""}], update=True)
    assert report.sheets[0].cleared == 1
    assert [reason[:14] for reason in shop.reasons()] == ["unknown method"]
    assert shop.take([{**base, "opening": "heat_gun"}]).sheets[0].cleared == 1
    assert shop.reasons() == []


def test_notes_say_which_list_of_looked_for_modes_counts(shop, base):
    shop.take([{**base, "failures": "tab_snapped"}, {**base, "job": "2", "minutes": "ten"}],
              covers="all")  # fmt: skip
    for update in ({"job": "1001", "price": "4"}, {"job": "1001", "price": "5"}):
        notes = shop.take([update], update=True).sheets[0].notes
        assert notes == ("covers: 1 row with the list of the first import of the job kept",)
    out = shop.path / "out.csv"
    export_heldback(shop.folder, out)
    shop.file(out.read_text(encoding="utf-8-sig").replace("ten", "10"), "in.csv")
    notes = shop.take_file(shop.path / "in.csv").sheets[0].notes
    assert not any("seen" in note for note in notes)


def test_notes_say_that_unchanged_jobs_keep_their_shorter_list(shop, base):
    shop.take([base])
    rows = [base, {**base, "job": "2", "failures": "tab_snapped"}]
    notes = shop.take(rows).sheets[0].notes
    assert any("looked for (1;" in note for note in notes)
    assert any(note.startswith("1 unchanged job keep") for note in notes)


def test_a_check_says_what_would_be_added(shop, base):
    rows = [{**base, "opening": "warm_bath"}]
    text = report_text(shop.take(rows, add_codes=True, check=True))
    assert "would be added to the catalogue: warm_bath" in text
    assert "\nadded to the catalogue: warm_bath" in report_text(shop.take(rows, add_codes=True))
