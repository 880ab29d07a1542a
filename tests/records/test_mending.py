"""What mends a held-back row, and what a mended row keeps of its first import."""

from __future__ import annotations

import csv

import pytest

from fixstats.records.batches import batches
from fixstats.records.heldback import export_heldback

MODES = """
    select j.job, string_agg(c.mode, ' ' order by c.mode)
    from records.jobs as j left join records.covers as c on c.covers = j.covers
    group by j.job order by j.job
"""


@pytest.fixture
def mend(shop):
    """Export what is held back, change cells of jobs, import that: the report on it."""

    def mended(*, update=False, **cells):
        out = shop.path / "held.csv"
        export_heldback(shop.folder, out)
        with out.open(encoding="utf-8-sig", newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["job"] in cells]
        return shop.take([row | cells[row["job"]] for row in rows], update=update).sheets[0]

    return mended


def test_rows_that_are_held_back_twice_keep_their_first_list(shop, base, mend):
    bad = {**base, "minutes": "ten"}
    shop.take([base, {**bad, "job": "2"}], covers="tab_snapped")
    shop.take([{**base, "job": "3"}, {**bad, "job": "4"}], covers="cell_bent")
    cells = {"minutes": "none"}
    assert mend(**{"2": cells, "4": cells}).held_back == 2
    assert mend(**{"2": {"minutes": "nil"}}).held_back == 1
    cells = {"minutes": "10"}
    assert mend(**{"2": cells, "4": cells}).added == 2
    listed = [("1001", "tab_snapped"), ("2", "tab_snapped"), ("3", "cell_bent"), ("4", "cell_bent")]
    assert shop.sql(MODES) == listed


def test_a_list_outlives_an_import_that_was_held_back_as_a_whole(shop, base, mend):
    shop.take([{**base, "minutes": "ten"}], covers="cell_bent")
    shop.take([{**base, "job": "2", "minutes": "ten"}])
    cells = {"minutes": "10", "failures": "tab_snapped"}
    assert mend(**{"1001": cells, "2": cells}).added == 2
    assert shop.sql(MODES) == [("1001", "cell_bent"), ("2", "tab_snapped")]


def test_sets_of_modes_are_never_mixed_up(shop, base):
    """A sheet that brings nothing new leaves no set of modes whose number another would take."""
    bad = {**base, "job": "2", "minutes": "ten"}
    shop.take([base, bad], covers="cell_bent")
    assert shop.take([bad], covers="tab_snapped").sheets[0].batch is None
    shop.take([{**base, "job": "3"}], covers="heat_mark")
    assert shop.sql(MODES) == [("1001", "cell_bent"), ("3", "heat_mark")]


def test_the_list_of_imports_says_what_was_looked_for(shop, base, mend):
    shop.take([base, {**base, "job": "2", "minutes": "ten"}], covers="tab_snapped, cell_bent")
    shop.take([{**base, "job": "3", "minutes": "ten"}, {**base, "job": "4"}], covers="all")
    cells = {"minutes": "10"}
    mend(**{"2": cells})
    shop.take([{"job": "1001", "price": "4"}, {"job": "4", "price": "4"}], update=True)
    shop.take([{**base, "job": "5", "minutes": "ten"}])
    mend(**{"3": cells})
    assert [batch.covers for batch in batches(shop.folder)] == [
        "cell_bent, tab_snapped", "all", "cell_bent, tab_snapped",
        "all; cell_bent, tab_snapped", "seen", "all",
    ]  # fmt: skip


LATE = {"job": "2", "returned": "2026-05-01", "return_reason": "drains_fast"}
NO_JOB = ["there is no such job to update"]
WAITS = "1 update of jobs in this file still held back: import it again with --update"


def test_an_update_that_came_too_early_waits_until_it_is_in(shop, base):
    shop.take([base])
    assert shop.take([LATE], update=True).held_back == 1
    report = shop.take([base, {**base, "job": "2", "branch": "north"}])
    assert (report.sheets[0].added, report.sheets[0].cleared) == (1, 0)
    assert WAITS in report.sheets[0].notes
    assert shop.take([{"job": "2", "price": "5"}], update=True).sheets[0].cleared == 0
    assert shop.reasons() == NO_JOB
    report = shop.take([LATE], update=True)
    assert (report.sheets[0].changed, report.sheets[0].cleared) == (1, 1)
    assert WAITS not in report.sheets[0].notes
    assert shop.sql("select returned::text, price from records.jobs where job = '2'") == [
        ("2026-05-01", 5)
    ]


def test_a_row_that_fills_all_that_an_update_fills_is_newer(shop, base):
    shop.take([LATE], update=True)
    shop.take([{**base, "job": "2", "returned": "2026-05-02"}])
    assert shop.reasons() == NO_JOB
    shop.take([{**base, **LATE, "returned": "2026-05-02"}])
    assert shop.reasons() == []


def test_an_update_that_changes_nothing_any_more_is_in(shop, base):
    shop.take([{"job": "2", "outcome": "completed"}], update=True)
    shop.take([{**base, "job": "2"}])
    assert shop.reasons() == NO_JOB
    report = shop.take([{"job": "2", "outcome": "completed"}], update=True)
    assert (report.sheets[0].unchanged, report.sheets[0].cleared) == (1, 1)


def test_an_update_of_several_branches_waits_for_all_it_fills(shop, base):
    shop.take([{**base, "branch": "north"}, {**base, "branch": "south"}])
    shop.take([{**LATE, "job": "1001"}], update=True)
    shop.take([{"job": "1001", "branch": "north", "price": "5"}], update=True)
    assert len(shop.reasons()) == 1
    shop.take([{**LATE, "job": "1001", "branch": "north"}], update=True)
    assert shop.reasons() == []


def test_a_mended_export_of_updates(shop, base, mend):
    shop.take([LATE], update=True)
    shop.take([{**base, "job": "2"}])
    assert mend(update=True, **{"2": {}}).changed == 1
    assert shop.reasons() == []
