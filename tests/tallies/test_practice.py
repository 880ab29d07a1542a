"""The keys worked out from the records, on cases small enough to count by hand."""

from __future__ import annotations

from datetime import date, timedelta

import duckdb
import pytest

from fixstats.engines.session import build_session
from fixstats.folder import ShopFolder
from fixstats.resources import resource, statement
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_modes

FIRST = date(2025, 1, 1)


@pytest.fixture
def con():
    with duckdb.connect() as con:
        con.execute(statement("schema"))
        yield con


def add(con, jobs):
    """Jobs (day, technician, method of opening) in one plan a method, nothing else."""
    for entry, (day, technician, method) in enumerate(jobs, 1):
        con.execute(
            "insert into records.jobs (entry, job, finished, model, repair, technician, outcome, "
            "covers, plan) values (?, ?, ?, 'M', 'display', ?, 'completed', 1, ?)",
            [entry, f"J{entry:04}", FIRST + timedelta(days=day), technician, str(method)],
        )
        con.execute("insert into records.attempts values (?, 'opening', 1, ?)", [entry, method])
    methods = {method for _, _, method in jobs}
    for method in methods:
        con.execute("insert into records.plans values (?, 'opening', ?)", [str(method), method])
    con.execute("insert into records.covers values (1, 'display_lines')")
    build_session(con, ShopFolder(resource("demo_data")).catalogue)


def opportunities(con, key):
    catalogue = ShopFolder(resource("demo_data")).catalogue
    columns = count_modes(con, catalogue, Ask(("display_lines",), by=(key,))).columns
    return dict(zip(columns[key], columns["opportunities"], strict=True))


def test_uses_are_those_before_the_job_and_turn_into_practice_at_a_hundred(con):
    late = [(100 + n, "T1", "heat_plate") for n in range(130)]
    add(con, [(0, "T2", "heat_gun"), *late])
    counted = opportunities(con, "opening_practice")
    assert counted == {"practised": 1 + 30, "0-9": 10, "10-29": 20, "30-99": 70}
    uses = con.execute("select uses from practice where technician = 'T1' order by entry")
    assert [row[0] for row in uses.fetchall()] == [*range(130)]


@pytest.mark.parametrize(("day", "band"), [(89, "practised"), (90, "0-9")])
def test_in_use_in_the_first_ninety_days_is_practised_from_the_start(con, day, band):
    add(con, [(0, "T2", "heat_gun"), (day, "T1", "heat_plate"), (day + 30, "T1", "heat_plate")])
    rows = con.execute("select band from practice where technician = 'T1'").fetchall()
    assert rows == [(band,), (band,)]


def test_practice_is_not_known_without_the_technician_or_the_method(con):
    add(con, [(0, None, "heat_gun"), (1, "T1", None), (2, "T1", "heat_gun")])
    assert opportunities(con, "opening_practice") == {None: 2, "practised": 1}


def test_jobs_of_one_day_stand_in_the_order_of_their_numbers(con):
    add(con, [(0, "T2", "heat_gun"), *[(200, "T1", "heat_gun")] * 12])
    got = con.execute("select entry, uses from practice where technician = 'T1' order by entry")
    assert got.fetchall() == [(n + 2, n) for n in range(12)]


def test_a_step_left_blank_does_not_say_whether_it_needed_another_try(con):
    add(con, [(0, "T1", None), (1, "T1", "heat_gun"), (2, "T1", "heat_gun")])
    con.execute("insert into records.attempts values (3, 'opening', 2, 'heat_plate')")
    assert opportunities(con, "opening_another_try") == {None: 1, "no": 1, "yes": 1}
