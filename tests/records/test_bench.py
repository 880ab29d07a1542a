"""Single jobs at the bench: checked as an import, what an earlier job may answer, corrections."""

from __future__ import annotations

import pytest

from fixstats.engines.duck import writing
from fixstats.errors import UsageError
from fixstats.records.amend import amend
from fixstats.records.bench import (
    bench_trials,
    faults_of,
    keep,
    last_job,
    record,
    remember,
    settle_names,
    tidy_cells,
)
from fixstats.records.story import story
from fixstats.records.trials import NewTrial, exclude, next_assignment, start_trial

JOB = {
    "job": "b1", "finished": "2026-03-14", "model": "Orca", "technician": "T1",
    "repair": "battery_swap", "opening": "heat_plate > heat_gun", "battery_release": "pull_tab",
    "battery_grade": "original", "battery_supplier": "Kestrel", "battery_lot": "L1",
    "swollen": "yes", "failures": "tab_snapped", "unchecked": "display_damage", "minutes": "30",
}  # fmt: skip


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"opening": "heat_plat"}, r"opening: unknown method of opening.*mean 'heat_plate'"),
        ({"failures": "tab_snaped"}, "failures: unknown failure mode.*mean 'tab_snapped'"),
        ({"failures": "pad_lifted"}, "failures: pad_lifted cannot occur in this repair"),
        ({"finished": "2026-02-30"}, "finished: there is no day"),
        ({"model": "call 030 1234567"}, "model: a telephone number is kept out"),
        ({"received": "2026-04-01"}, "finished before it was received"),
        ({"minutes": "many"}, "minutes: 'many' is no number"),
        ({"minutes": "1e18"}, "minutes: more than 100,000 minutes: likely a typing error"),
        ({"technician": "T1\x1b[31m"}, "technician: has a sign that cannot be printed"),
        ({"battery_lot": "=HYPERLINK(1)"}, "battery_lot: a formula"),
        ({"opning": "heat_plate"}, "no column 'opning'; did you mean 'opening'"),
        ({"model": ""}, "still needed: model"),
        ({"notes": "x"}, "notes are not kept at the bench"),
    ],
)
def test_what_an_import_would_hold_back_is_not_kept(shop, cells, told):
    with pytest.raises(UsageError, match=told):
        record(shop.folder, {**JOB, **cells})
    assert shop.folder.waiting == []
    assert not shop.folder.database.exists()


def test_the_same_row_fares_the_same_in_an_import(shop):
    """The check is the import's own: reasons agree word for word."""
    row = {**JOB, "opening": "heat_plat", "charge": "140x", "failures": "tab_snaped; pad_lifted"}
    shop.take([row], covers="all")
    assert sorted({one.reason for one in faults_of(shop.folder, row)}) == sorted(
        set(shop.reasons())
    )


def test_a_kept_job_is_stored_as_its_sheet_would_be(shop, tmp_path):
    record(shop.folder, JOB)
    shop.take([{**JOB, "job": "s1"}], covers="all")
    stored = "select {} from records.jobs order by job"
    first, second = shop.sql(stored.format("* exclude (entry, job, batch, content)"))
    assert first == second
    assert shop.sql("select distinct covers from records.jobs") == [(first[-2],)]


def test_the_last_job_answers_for_methods_grade_and_supplier_only(shop):
    shop.take([{**JOB, "job": "a", "finished": "2026-03-10", "opening": "heat_pad"}, JOB])
    last = last_job(shop.folder, "orca", "battery_swap", "t1")
    assert last is not None
    assert (last.job, last.finished) == ("b1", "2026-03-14")
    assert last.cells == {
        "opening": "heat_plate", "battery_release": "pull_tab", "battery_grade": "original",
        "battery_supplier": "Kestrel",
    }  # fmt: skip
    assert last_job(shop.folder, "Orca", "battery_swap", "T2") is None
    assert last_job(shop.folder, "Orca", "display_swap", "T1") is None
    assert last_job(shop.folder, "Velum 3", "battery_swap", "T1") is None


def test_of_many_earlier_jobs_it_is_the_last(shop):
    rows = [{**JOB, "job": str(n), "finished": f"2026-03-{n:02}"} for n in range(1, 29)]
    shop.take(rows[::-1])
    last = last_job(shop.folder, "Orca", "battery_swap", "T1")
    assert last is not None
    assert last.job == "28"


def test_an_entry_that_waits_is_later_than_the_records(shop):
    shop.take([JOB])
    record(shop.folder, {**JOB, "job": "b2", "opening": "heat_pad"})
    last = last_job(shop.folder, "Orca", "battery_swap", "T1")
    assert last is not None
    assert (last.job, last.cells["opening"]) == ("b2", "heat_pad")


def test_a_number_that_is_taken_is_refused_in_the_records_and_in_the_inbox(shop):
    record(shop.folder, JOB)
    with pytest.raises(UsageError, match="'b1' is recorded already"):
        record(shop.folder, JOB)
    shop.take([{**JOB, "job": "s1"}])
    with pytest.raises(UsageError, match="fixstats amend b1 corrects it"):
        keep(shop.folder, JOB)
    record(shop.folder, {**JOB, "branch": "north"})
    assert len(shop.folder.waiting) == 1


def test_two_benches_and_a_writer_at_once(shop, monkeypatch):
    monkeypatch.setattr("fixstats.engines.duck.PATIENCE", 0.1)
    shop.take([JOB])
    with writing(shop.folder.database):
        for name in ("x1", "x2"):
            record(shop.folder, {**JOB, "job": name})
    assert len(shop.folder.waiting) == 2
    assert shop.take([JOB]).sheets[0].added == 2


def test_names_are_shown_as_recorded_and_new_ones_asked_about(shop):
    shop.take([JOB])
    asked = []

    def is_new(kind, word, hint):
        asked.append((kind, word, hint))
        return False

    memory = remember(shop.folder)
    catalogue = shop.folder.catalogue
    row = settle_names(catalogue, memory, {**JOB, "model": "ORCA ", "technician": "t1"}, is_new)
    assert (row["model"], row["technician"], asked) == ("Orca", "T1", [])
    with pytest.raises(UsageError, match="no record has the supplier 'Kestral'"):
        settle_names(catalogue, memory, {"battery_supplier": "Kestral"}, is_new)
    assert asked == [("supplier", "Kestral", "; did you mean 'Kestrel'?")]


def test_cells_become_codes_and_families_stay(shop):
    typed = {
        "repair": "Battery", "opening": "Warm pad>heat-gun", "failures": "Pull tab snapped@1",
        "unchecked": "display_damage; cell_bent", "swollen": "Y", "calibration": "-",
        "battery_release": "?",
    }  # fmt: skip
    assert tidy_cells(shop.folder.catalogue, typed) == {
        "repair": "battery_swap", "opening": "heat_pad > heat_gun", "failures": "tab_snapped@1",
        "unchecked": "display_damage; cell_bent", "swollen": "yes", "calibration": "-",
        "battery_release": "?",
    }  # fmt: skip
    with pytest.raises(UsageError, match="failures: unknown failure mode '3'"):
        tidy_cells(shop.folder.catalogue, {"failures": "3"})


# ---------------------------------------------------------------- corrections


def test_a_correction_keeps_the_version_before_and_what_was_looked_for(shop):
    shop.take([JOB], covers="broken_tabs")
    before = shop.sql("select covers from records.jobs")
    done = amend(shop.folder, "b1", {"failures": "none", "minutes": "", "charge": "55"})
    assert done.changes == {
        "minutes": ("30", ""), "failures": ("tab_snapped", ""), "charge": ("", "55"),
    }  # fmt: skip
    assert shop.sql("select covers from records.jobs") == before
    assert shop.sql("select minutes from records.jobs") == [(None,)]
    assert shop.sql("select minutes, replaced_by from past.jobs") == [(30.0, done.batch)]
    assert shop.sql("select mode from records.unchecked order by mode")[0] is not None
    told = story(shop.folder, "b1")
    assert [one.state for one in told.versions] == ["replaced", "standing"]
    assert told.standing.covers == "broken_tabs"


def test_a_correction_that_is_none_changes_nothing(shop):
    shop.take([JOB], covers="seen")
    before = shop.state()
    assert amend(shop.folder, "b1", {"opening": "heat_plate > heat_gun"}).changes == {}
    assert shop.state() == before


def test_a_correction_of_a_job_that_waits(shop):
    record(shop.folder, JOB)
    amend(shop.folder, "b1", {"opening": "heat_pad"})
    assert shop.folder.waiting == []
    assert [one.kind for one in story(shop.folder, "b1").versions] == ["inbox", "amend"]


@pytest.mark.parametrize(
    ("job", "cells", "told"),
    [
        ("b1", {"opening": "heat_plat"}, "did you mean 'heat_plate'"),
        ("b1", {"job": "b2"}, "a job keeps its number"),
        ("b1", {"opning": "x"}, "no column 'opning'"),
        ("b1", {"failure_cost": "1e31"}, "failure_cost: more than 1,000,000,000 in money"),
        ("b11", {"charge": "5"}, "no record has the job 'b11'; did you mean 'b1'"),
    ],
)
def test_a_wrong_correction_changes_nothing(shop, job, cells, told):
    shop.take([JOB])
    record(shop.folder, {**JOB, "job": "w"})
    before = shop.state()
    with pytest.raises(UsageError, match=told):
        amend(shop.folder, job, cells)
    assert shop.state() == before
    assert len(shop.folder.waiting) == 1


def test_a_job_of_two_branches_must_be_told_apart(shop):
    shop.take([{**JOB, "branch": "North"}, {**JOB, "branch": "South"}])
    for act in (lambda b: amend(shop.folder, "b1", {"charge": "5"}, b),
                lambda b: story(shop.folder, "b1", b)):  # fmt: skip
        with pytest.raises(UsageError, match="--branch North or South"):
            act(None)
        assert act("south").branch == "South"


# ---------------------------------------------------------------- stories and trials


def test_a_story_has_come_backs_held_back_rows_and_what_was_taken_back(shop):
    from fixstats.records.batches import undo

    shop.take(
        [JOB, {**JOB, "job": "b2", "return_of": "b1", "failures": "", "finished": "2026-04-01"}]
    )
    done = amend(shop.folder, "b1", {"minutes": "31"})
    undo(shop.folder, done.batch)
    shop.take([{**JOB, "opening": "heat_plat"}])
    told = story(shop.folder, "b1")
    assert [one.state for one in told.versions] == ["standing", "taken_back", "held_back"]
    assert "heat_plat" in told.versions[-1].reason
    assert [(one.job, one.finished) for one in told.come_backs] == [("b2", "2026-04-01")]
    with pytest.raises(UsageError, match="no record has the job 'b9'"):
        story(shop.folder, "b9")


def test_what_a_trial_drew_is_known_at_the_bench(shop):
    shop.take([JOB])
    new = NewTrial("pads", "opening", "heat_plate", "heat_pad", None, None, ("heat_mark",), 0.05,
                   2, "7")  # fmt: skip
    start_trial(shop.folder, new, {("T1", "middle"): 4}, {})
    assert [(one.room, one.assigned) for one in bench_trials(shop.folder, "n1")] == [(True, None)]
    drawn = next_assignment(shop.folder, "pads", "T1", "Orca", job="n1").slot.assigned
    exclude(shop.folder, "pads", "T1", "Orca", "bent", job="n2")
    assert bench_trials(shop.folder, "n1")[0].assigned == drawn
    assert bench_trials(shop.folder, "n2")[0].kept_out
    next_assignment(shop.folder, "pads", "T1", "Orca")
    assert not bench_trials(shop.folder, "n3")[0].room
