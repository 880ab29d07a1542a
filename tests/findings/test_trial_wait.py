"""How long a job of a trial waits: by the records before it."""

from __future__ import annotations

import pytest

import fixstats
from fixstats.findings.trial_wait import Wait, planned_note, wait_of


def test_the_wait_is_that_of_nineteen_in_twenty_failed_jobs():
    # Of 20 failed jobs the 19th was done on day 1, then on day 9; good ones do not matter.
    assert wait_of({(True, 1): 19, (True, 30): 1, (False, 90): 500}) == Wait(1, 20, True)
    assert wait_of({(True, 1): 18, (True, 9): 2, (False, 0): 500}) == Wait(9, 20, True)


def test_few_failed_jobs_tell_nothing_by_themselves():
    assert wait_of({(True, 9): 5, (False, 0): 95}) == Wait(0, 100, False)
    assert wait_of({(True, 9): 6, (False, 0): 94}) == Wait(9, 100, False)


def test_without_a_day_of_intake_nothing_is_known():
    assert wait_of({}) == Wait(None, 0, False)
    assert "fill in the column received" in planned_note(wait_of({})).text


@pytest.mark.parametrize("mode", [None, "display_damage"])
def test_the_wait_of_the_demo_is_that_of_its_records(demo_shop, mode):
    shop = fixstats.open(demo_shop)
    plan = shop.trial_plan("opening", options=["heat_plate", "heat_pad"], difference=0.2, mode=mode)
    codes = plan.settings["modes"]
    with shop.session() as con:
        days = con.execute(
            "select j.finished - j.received from jobs as j where j.rework = 'no' and j.finished > "
            "(select max(finished) from jobs) - 364 and j.received is not null and exists (select "
            "1 from attempts as a where a.entry = j.entry and a.step = 'opening' and a.method is "
            "not null) and exists (select 1 from records.failures as f where f.entry = j.entry "
            "and f.mode in (select unnest($1::varchar[]))) order by 1",
            [codes],
        ).fetchall()
    (note,) = [note for note in plan.notes if note.code == "wait_days"]
    jobs = len(days)
    expected = days[-(-95 * jobs // 100) - 1][0]
    assert jobs > 20
    assert note.text.startswith(f"a job will be paired {expected} day")
    assert f"({jobs} jobs of the last year)" in note.text
