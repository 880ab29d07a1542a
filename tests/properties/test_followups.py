"""The at-risk table of SQL agrees with the naive twin, on random shops and on the demo shop."""

from __future__ import annotations

from datetime import date, timedelta

import duckdb
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fixstats.engines.session import build_session
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.resources import statement
from fixstats.shop import open_shop
from fixstats.tallies.ask import Ask
from fixstats.tallies.followups import count_leaving

from .twin_followups import first_return, follow, last_day, leaving

FIRST = date(2026, 1, 30)
CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)
BATTERY = [None, "original", "refurbished"]


@pytest.fixture(scope="module")
def con():
    with duckdb.connect() as con:
        con.execute(statement("schema"))
        con.execute(statement("macros/wilson"))
        build_session(con, CATALOGUE)
        yield con


def days_after(most):
    return st.none() | st.integers(0, most)


@st.composite
def jobs(draw):
    """A handful of jobs in which everything that matters for follow-up happens often."""
    number = draw(st.integers(1, 9))
    names = [f"J{n}" for n in range(number)]
    found = []
    for name in names:
        finished = FIRST + timedelta(days=draw(st.integers(0, 12)))
        taken = draw(days_after(4))
        back = draw(days_after(6))
        others = [one for one in names if one != name]
        of = draw(st.none() | st.sampled_from(others)) if others else None
        pieces = draw(st.lists(st.sampled_from(BATTERY), max_size=3))
        fitted = draw(st.sampled_from([True, True, False]))
        found.append(
            {
                "job": name,
                "branch": draw(st.sampled_from([None, "North", "South"])),
                "finished": finished,
                "received": None if taken is None else finished - timedelta(days=taken),
                "returned": None if back is None else finished + timedelta(days=back),
                "return_reason": draw(st.sampled_from([None, "unrelated", "drains_fast", "seal"])),
                "return_of": of,
                "outcome": draw(st.sampled_from(["completed", "completed", "abandoned"])),
                "model": draw(st.sampled_from(["Alder", "Birch"])),
                "pieces": {"battery": [(grade, fitted) for grade in pieces]} if pieces else {},
            }
        )
    return found


def fill(con, found):
    """Replace the records by these jobs; a reason without a return stays, and says nothing."""
    con.execute("delete from records.jobs")
    con.execute("delete from records.pieces")
    for entry, job in enumerate(found):
        con.execute(
            "insert into records.jobs (entry, job, branch, finished, received, returned, "
            "return_reason, return_of, outcome, model, repair) "
            "values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'battery_swap')",
            [entry, *(job[name] for name in ("job", "branch", "finished", "received", "returned",
                                             "return_reason", "return_of", "outcome", "model"))],
        )  # fmt: skip
        for part, pieces in job["pieces"].items():
            for number, (grade, fitted) in enumerate(pieces, 1):
                con.execute(
                    "insert into records.pieces (entry, part, piece, grade, fitted) "
                    "values (?, ?, ?, ?, ?)",
                    [entry, part, number, grade, fitted],
                )


def by_sql(con, catalogue, keys, days, as_of, **more):
    found = count_leaving(con, catalogue, Ask((), keys, **more), days, as_of)
    groups = list(zip(*found.keys.values(), strict=True)) or [()] * len(found.day)
    rows = zip(groups, found.day, found.reason, found.jobs, found.at_risk, strict=True)
    return {(group, day, reason): (n, at) for group, day, reason, n, at in rows}


@settings(
    deadline=None,
    database=None,
    max_examples=120,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    found=jobs(),
    days=st.integers(1, 15),
    known=st.integers(-1, 25),
    keys=st.sampled_from([(), ("branch",), ("battery_grade",), ("model", "battery_grade")]),
)
def test_random_shops(con, found, days, known, keys):
    fill(con, found)
    as_of = FIRST + timedelta(days=known)
    assert by_sql(con, CATALOGUE, keys, days, as_of) == leaving(found, keys, days, as_of)


@settings(
    deadline=None,
    database=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(found=jobs(), days=st.integers(1, 15))
def test_the_question_counts_the_same_followups(con, found, days):
    fill(con, found)
    text = statement("questions/comebacks")
    rows = con.execute(text, {"days": days, "model": None, "level": 0.95, "z": 1.96}).fetchall()
    whole = [job for job in found if job["outcome"] == "completed"]
    back = [first_return(found, job) for job in whole]
    far = date(2100, 1, 1)
    ends = [follow(found, job, days, far) for job in whole]
    long = [(last_day(found, job["branch"]) - job["finished"]).days >= days for job in whole]
    expected = (
        len(whole),
        sum(one is not None for one in back),
        sum(one is not None and one[1] == "unrelated" for one in back),
        sum(was and end[1] not in (None, "unrelated") for end, was in zip(ends, long, strict=True)),
        sum(long),
    )
    assert [row[1:6] for row in rows] == ([expected] if whole else [])


def job(name, finished, **more):
    """A completed job of no branch, handed over so many days after the first."""
    columns = ("received", "returned", "return_reason", "return_of")
    day = {key: FIRST + timedelta(days=value) if key in ("received", "returned") else value
           for key, value in more.items()}  # fmt: skip
    return {
        "job": name, "branch": None, "finished": FIRST + timedelta(days=finished),
        "outcome": "completed", "model": "Alder", "pieces": {}, **dict.fromkeys(columns), **day,
    }  # fmt: skip


END = job("last", 10)  # the records go on to day 10


@pytest.mark.parametrize(
    ("found", "day", "reason"),
    [
        ([job("A", 0, returned=0, return_reason="seal")], 0, "seal"),
        ([job("A", 0, returned=3)], 3, ""),
        ([job("A", 0, returned=3, return_reason="unrelated")], 3, "unrelated"),
        ([job("A", 0, returned=6)], 5, None),  # beyond the days asked for
        # Both say it: of one day the stated reason holds, else that of the earlier one.
        ([job("A", 0, returned=3, return_reason="seal"), job("B", 4, received=3, return_of="A")],
         3, "seal"),
        ([job("A", 0, returned=3, return_reason="seal"), job("B", 4, received=2, return_of="A")],
         2, ""),
        ([job("A", 0, returned=3, return_reason="seal"), job("B", 4, return_of="A")], 3, "seal"),
        # The day from the come-back job, the reason from its own row; a reason alone is no return.
        ([job("A", 0, return_reason="seal"), job("B", 4, received=2, return_of="A")], 2, "seal"),
        ([job("A", 0, return_reason="seal")], 5, None),
        # Of several come-back jobs the first one; without received the day it was finished.
        ([job("A", 0), job("B", 4, return_of="A"), job("C", 5, received=4, return_of="A")], 4, ""),
        # Received before the hand-over: a wrong date, but the device was back.
        ([job("A", 2), job("B", 4, received=1, return_of="A")], 0, ""),
    ],
)  # fmt: skip
def test_what_each_record_means(con, found, day, reason):
    """Worked by hand: when job A left, of 5 days of follow-up, and why."""
    fill(con, [*found, END])
    as_of = FIRST + timedelta(days=10)
    assert follow([*found, END], found[0], 5, as_of) == (day, reason)
    only_a = (("model", "Seen"),)
    con.execute("update records.jobs set model = 'Seen' where job = 'A'")
    con.execute("insert into records.names values ('model', 'seen', 'Seen')")
    assert by_sql(con, CATALOGUE, (), 5, as_of, where=only_a) == {((), day, reason): (1, 1)}


def test_a_return_after_as_of_has_not_happened_yet(con):
    found = [job("A", 0, returned=3, return_reason="seal"), job("B", 2), END]
    fill(con, found)
    assert by_sql(con, CATALOGUE, (), 90, FIRST + timedelta(days=2)) == {
        ((), 0, None): (1, 2),  # B, handed over on that day
        ((), 2, None): (1, 1),  # A, still out
    }


def test_the_demo_shop(demo_shop):
    """6,000 jobs that were really imported, come-back jobs included."""
    shop = open_shop(demo_shop)
    frame = shop.sql("select * from jobs")
    pieces = shop.sql("select * from pieces where part = 'battery' order by entry, piece")
    found = {row["entry"]: row | {"pieces": {}} for row in frame.to_dicts()}
    for row in pieces.to_dicts():
        of = found[row["entry"]]["pieces"].setdefault("battery", [])
        of.append((row["grade"], row["fitted"]))
    everything = list(found.values())
    ends = {branch: last_day(everything, branch) for branch in set(frame["branch"])}
    # The loops would take minutes over all: every fifteenth job, with the come-backs of each.
    some = [one for n, one in enumerate(everything) if n % 15 == 0]
    names = {one["job"] for one in some}
    some += [one for one in everything if one["return_of"] in names and one not in some]
    bounds = [one | {"job": f"{branch} ends", "branch": branch, "finished": end, "received": None,
                     "returned": None, "return_of": None, "outcome": "abandoned"}
              for one, (branch, end) in zip(everything, ends.items(), strict=False)]  # fmt: skip
    listed = [one["entry"] for one in some]
    for as_of in (date(2026, 9, 30), date(2025, 12, 15)):
        expected = leaving([*some, *bounds], ("battery_grade",), 90, as_of)
        with shop.session(digging=False) as con:
            con.execute("create or replace temp table picked as select unnest($1) as e", [listed])
            con.execute(
                "create or replace temp view followups as select * from ("
                + statement("views/followups").partition(" as\n")[2]
                + ") where entry in (select e from picked)"
            )
            given_rows = by_sql(con, shop.folder.catalogue, ("battery_grade",), 90, as_of)
        assert given_rows == expected
        assert {reason for _, _, reason in expected} > {None, "drains_fast", "touch_erratic"}
