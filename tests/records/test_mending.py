"""Mended rows keep what their first import said of the modes that the bench looked for."""

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

    def mended(**cells):
        out = shop.path / "held.csv"
        export_heldback(shop.folder, out)
        with out.open(encoding="utf-8-sig", newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["job"] in cells]
        return shop.take([row | cells[row["job"]] for row in rows]).sheets[0]

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
