"""The schedule of a trial, its slots handed out once each, and the migration that brought them."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from itertools import groupby

import duckdb
import pytest

import fixstats
from fixstats.engines.duck import VERSION, reading, writing
from fixstats.errors import StoreError, UsageError
from fixstats.folder import Settings, make_folder
from fixstats.records.batches import forget
from fixstats.records.importer import import_sheets
from fixstats.records.trial_sheet import COLUMNS, SheetWords, sheet_csv, sheet_html
from fixstats.records.trials import (
    MIDDLE,
    NewTrial,
    exclude,
    next_assignment,
    schedule,
    start_trial,
)

NEW = NewTrial(
    "pads", "opening", "heat_plate", "heat_pad", None, "display_damage", ("display_lines",), 0.05,
    40, "7",
)  # fmt: skip
GROUPS = {"Tarn 9": "easier", "Tarn 12": "harder"}
SHEET = """job,finished,model,repair,technician
A1,2026-01-02,Tarn 9,battery_swap,T1
A2,2026-01-03,Tarn 12,battery_swap,T2
"""


@pytest.fixture
def folder(tmp_path):
    made = make_folder(tmp_path / "bench", Settings(name="Bench"))
    sheet = tmp_path / "jobs.csv"
    sheet.write_text(SHEET)
    import_sheets(made, [sheet], covers="all")
    return made


@pytest.fixture
def begun(folder):
    start_trial(folder, NEW, {("T1", "easier"): 8, ("T2", "harder"): 8}, GROUPS)
    return folder


def rows(folder, text):
    with reading(folder.database) as con:
        return con.execute(text).fetchall()


# ---------------------------------------------------------------- the schedule


def test_blocks_hold_both_options_equally_often():
    slots = schedule(NEW, "T1", "easier", 400)
    assert [slot.number for slot in slots] == list(range(1, len(slots) + 1))
    sizes = Counter()
    for _, block in groupby(slots, key=lambda slot: slot.block):
        drawn = Counter(slot.assigned for slot in block)
        assert drawn["heat_plate"] == drawn["heat_pad"]
        sizes[drawn.total()] += 1
    assert set(sizes) == {2, 4} and min(sizes.values()) > 30


def test_the_first_of_a_block_is_drawn_by_lot():
    slots = schedule(NEW, "T1", "easier", 2000)
    firsts = [next(block).assigned for _, block in groupby(slots, key=lambda slot: slot.block)]
    share = firsts.count("heat_pad") / len(firsts)
    assert abs(share - 0.5) < 3 * (0.25 / len(firsts)) ** 0.5


def test_the_same_seed_gives_the_same_list_and_longer_ones_begin_with_it():
    short = schedule(NEW, "T1", "easier", 10)
    assert schedule(NEW, "t1", "easier", 50)[: len(short)] == [
        slot.__class__("t1", *list(vars(slot).values())[1:]) for slot in short
    ]
    assert schedule(NEW, "T1", "easier", 50, after=len(short))[0].number == len(short) + 1
    others = [
        schedule(NEW, "T2", "easier", 50),
        schedule(NEW, "T1", "harder", 50),
        schedule(NewTrial(**vars(NEW) | {"seed": "8"}), "T1", "easier", 50),
    ]
    drawn = [[slot.assigned for slot in one][:50] for one in others]
    assert [slot.assigned for slot in schedule(NEW, "T1", "easier", 50)][:50] not in drawn


def test_the_list_is_that_of_seven():
    # The stored seed must give this list in ten years, too.
    drawn = "".join(
        "n" if one.assigned == "heat_pad" else "." for one in schedule(NEW, "T1", "easier", 12)
    )
    assert drawn == LIST_OF_SEVEN


LIST_OF_SEVEN = "n...nnn.n.n."


# ---------------------------------------------------------------- handing out


def test_slots_come_in_order_and_stay(begun):
    expected = [slot.assigned for slot in schedule(NEW, "T1", "easier", 8)]
    handed = [next_assignment(begun, "pads", "t1", "tarn  9") for _ in range(5)]
    assert [one.slot.assigned for one in handed] == expected[:5]
    assert [one.slot.number for one in handed] == [1, 2, 3, 4, 5]
    assert handed[-1].slot.technician == "T1" and handed[-1].handed_out == 5
    stored = rows(
        begun,
        "select slot, model from records.assignments where handed_out is not null order by slot",
    )
    assert stored == [(n, "Tarn 9") for n in range(1, 6)]


def test_the_same_job_gets_the_same_option(begun):
    first = next_assignment(begun, "pads", "T1", "Tarn 9", job="J7")
    next_assignment(begun, "pads", "T1", "Tarn 9")
    again = next_assignment(begun, "pads", "T1", "Tarn 9", job="J7")
    assert (again.slot, again.again, again.handed_out) == (first.slot, True, 2)


def test_more_blocks_are_drawn_where_a_stratum_runs_out(begun):
    expected = [slot.assigned for slot in schedule(NEW, "T1", "easier", 12)]
    handed = [next_assignment(begun, "pads", "T1", "Tarn 9").slot for _ in range(12)]
    assert [slot.assigned for slot in handed] == expected[:12]


def test_a_model_that_no_group_names_is_in_the_middle(begun):
    handed = next_assignment(begun, "pads", "T9", "Fell 3", new_names=True)
    assert handed.slot.model_group == MIDDLE and handed.slot.number == 1


def test_the_end(begun):
    start_trial(begun, NewTrial(**vars(NEW) | {"trial": "short", "max_jobs": 2}), {}, GROUPS)
    for _ in range(2):
        next_assignment(begun, "short", "T1", "Tarn 9")
    with pytest.raises(UsageError, match="all 2 jobs are handed out"):
        next_assignment(begun, "short", "T1", "Tarn 9")


def test_what_is_excluded_draws_nothing(begun):
    exclude(begun, "pads", "T1", "Tarn 9", "swollen cell", job="J1")
    assert next_assignment(begun, "pads", "T1", "Tarn 9").slot.number == 1
    next_assignment(begun, "pads", "T1", "Tarn 9", job="J2")
    with pytest.raises(UsageError, match="was drawn for job J2 already, so it stays in"):
        exclude(begun, "pads", "T1", "Tarn 9", "too late", job="J2")
    assert rows(begun, "select job, reason from records.exclusions") == [("J1", "swollen cell")]


def test_a_job_kept_out_gets_no_option(begun):
    exclude(begun, "pads", "T1", "Tarn 9", "swollen cell", job="J1")
    with pytest.raises(UsageError, match=r"job J1 was kept out of it \(swollen cell\)"):
        next_assignment(begun, "pads", "T1", "Tarn 9", job="J1")
    assert rows(begun, "select count(handed_out) from records.assignments") == [(0,)]
    assert next_assignment(begun, "pads", "T1", "Tarn 9", job="J2").slot.number == 1


def test_a_forgotten_job_leaves_no_name_but_its_slot(begun):
    before = datetime(2026, 1, 2, 8, tzinfo=UTC)
    next_assignment(begun, "pads", "T1", "Tarn 9", job="A1", now=before)
    forget(begun, "A1")
    assert rows(
        begun, "select job, handed_out is null from records.assignments where slot = 1 and "
        "technician = 'T1'"
    ) == [(None, False)]  # fmt: skip


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda f: next_assignment(f, "pad", "T1", "Tarn 9"), "did you mean 'pads'"),
        (lambda f: next_assignment(f, "pads", "T11", "Tarn 9"), "did you mean 'T1'"),
        (lambda f: next_assignment(f, "pads", "T1", "Tarm 9"), "did you mean 'Tarn 9'"),
        (
            lambda f: exclude(f, "pads", "T1", "Tarn 9", "wants it back: ann@example.org"),
            "the reason .* is kept out of the records",
        ),
        (lambda f: exclude(f, "pads", "T1", "Tarn 9", " "), "a device is kept out for a reason"),
        (
            lambda f: next_assignment(f, "pads", "ann@example.org", "Tarn 9", new_names=True),
            "the technician .* is kept out of the records",
        ),
        (lambda f: start_trial(f, NEW, {}, {}), "there is a trial 'pads' already"),
        (
            lambda f: start_trial(f, NewTrial(**vars(NEW) | {"trial": "No!"}), {}, {}),
            "cannot name a trial",
        ),
    ],
)
def test_refusals(begun, call, words):
    with pytest.raises(UsageError, match=words):
        call(begun)
    assert rows(begun, "select count(handed_out) from records.assignments") == [(0,)]
    assert rows(begun, "select count(*) from records.exclusions") == [(0,)]


BENCH = """
import sys
from fixstats.folder import find_folder
from fixstats.records.trials import next_assignment
for _ in range(3):
    print(next_assignment(find_folder(sys.argv[1]), "pads", "T1", "Tarn 9").slot.number)
"""


def test_two_benches_at_once_never_get_the_same_slot(begun):
    benches = [
        subprocess.Popen(
            [sys.executable, "-c", BENCH, str(begun.path)], stdout=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    told = [bench.communicate(timeout=60)[0].split() for bench in benches]
    assert [bench.returncode for bench in benches] == [0, 0]
    assert sorted(int(word) for words in told for word in words) == list(range(1, 7))


# ---------------------------------------------------------------- the sheet


WORDS = SheetWords(
    {"opening": "Opening", "heat_pad": "Warm <pad>"},
    {"easier": ["Tarn 9"]},
    "Lines",
    ["Hot & sharp"],
)


def test_the_printed_sheet_holds_every_slot_and_escapes_what_it_is_told():
    slots = schedule(NEW, "T<1>", "easier", 8) + schedule(NEW, "T2", "harder", 8)
    page = sheet_html(NEW, slots, WORDS)
    assert page.count("<section>") == 2
    assert page.count('<td class="number">') == len(slots)
    assert "T&lt;1&gt;" in page and "Warm &lt;pad&gt;" in page and "Hot &amp; sharp" in page
    assert "T<1>" not in page and "<script" not in page
    assert "every model not named here" in page and "seed 7" in page
    assert "ends with 40 jobs on all pages together" in page
    assert "fixstats trial status pads every week" in page


def test_the_sheet_as_csv_holds_no_formula():
    lines = sheet_csv(NEW, schedule(NEW, "=T1", "easier", 4)).splitlines()
    assert lines[0] == ",".join(COLUMNS)
    assert lines[1].startswith("pads,'=T1,easier,1,heat_")


# ---------------------------------------------------------------- migration


def older(folder):
    """The database as layout 1 had it: without trials."""
    with duckdb.connect(str(folder.database)) as con:
        for table in ("trials", "trial_models", "assignments", "exclusions"):
            con.execute(f"drop table records.{table}")
        con.execute("update records.meta set value = '1' where key = 'version'")


def test_a_file_of_the_version_before_is_migrated_after_a_copy_aside(folder):
    older(folder)
    with pytest.raises(StoreError, match="was written by an older fixstats"):
        rows(folder, "select 1")
    start_trial(folder, NEW, {("T1", "easier"): 4}, GROUPS)
    assert rows(folder, "select value from records.meta where key = 'version'") == [(str(VERSION),)]
    assert rows(folder, "select job from records.jobs order by job") == [("A1",), ("A2",)]
    assert rows(folder, "select trial, max_jobs from records.trials") == [("pads", 40)]
    aside = folder.database.with_suffix(".layout1.duckdb")
    with duckdb.connect(str(aside), read_only=True) as con:
        assert con.execute("select count(*) from records.jobs").fetchall() == [(2,)]
        tables = con.execute("select table_name from duckdb_tables()").fetchall()
    assert ("trials",) not in tables


def test_an_older_file_is_refused_with_the_command_that_helps(folder, tmp_path):
    """Commands that ask the records first, such as trial next, cannot bring them up to date."""
    older(folder)
    words = r"older fixstats\nfixstats import FILE brings it up to date.* with --check it stores no"
    with pytest.raises(StoreError, match=words):
        fixstats.open(folder.path).trial_next("pads", technician="T1", model="Tarn 9")
    sheet = tmp_path / "other.csv"
    sheet.write_text(SHEET.replace("A1", "A3"))
    import_sheets(folder, [sheet], covers="all", check=True)
    assert rows(folder, "select job from records.jobs order by job") == [("A1",), ("A2",)]
    assert rows(folder, "select value from records.meta where key = 'version'") == [(str(VERSION),)]


def test_a_running_trial_is_migrated_with_the_days_of_its_moments(begun):
    """Layout 2 knew moments only, and nothing of what the harm stop goes by.

    A device drawn for and handed over in one afternoon west of Greenwich must stay in the trial.
    """
    moment = datetime(2026, 1, 5, 23, tzinfo=UTC)
    start_trial(begun, NewTrial(**vars(NEW) | {"trial": "older"}), {}, GROUPS, now=moment)
    next_assignment(begun, "older", "T1", "Tarn 9", now=moment)
    evening = datetime(2026, 1, 7, 1, tzinfo=UTC)  # in America still the 6th
    next_assignment(begun, "older", "T1", "Tarn 9", now=evening)
    with duckdb.connect(str(begun.database)) as con:
        for column in ("day", "safety_limit", "safety_modes", "wait_days"):
            con.execute(f"alter table records.trials drop column {column}")
        con.execute("alter table records.assignments drop column day")
        con.execute("update records.meta set value = '2' where key = 'version'")
    next_assignment(begun, "older", "T1", "Tarn 9", now=moment + timedelta(days=2))
    assert rows(
        begun, "select day, safety_limit, safety_modes, wait_days from records.trials "
        "where trial = 'older'"
    ) == [(date(2026, 1, 5), None, None, None)]  # fmt: skip
    days = "select day from records.assignments where trial = 'older' and slot < 4 order by slot"
    assert rows(begun, days) == [(date(2026, 1, day),) for day in (5, 6, 7)]


def test_a_migrated_file_is_laid_out_like_a_new_one(folder, tmp_path):
    older(folder)
    with writing(folder.database):
        pass
    fresh = make_folder(tmp_path / "fresh", Settings(name="Fresh"))
    with writing(fresh.database):
        pass
    columns = (
        "select table_schema, table_name, column_name, data_type from information_schema.columns "
        "where table_schema in ('records', 'past') order by all"
    )
    assert rows(folder, columns) == rows(fresh, columns)
