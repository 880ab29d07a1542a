"""What decisions are counted from: a sheet to count by hand, and the other way of counting."""

import csv
import shutil
from datetime import date

import duckdb
import pytest

import fixstats
from fixstats.findings.compare_plan import find_choice, modes_at
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_modes, count_option_dangers
from fixstats.tallies.decide import (
    failure_costs,
    lay_follow_up,
    lay_jobs,
    learning_steps,
    tally_choice,
    timed_steps,
)

CATALOGUE = """
format = 1
step = [{code = "opening", label = "Opening", order = 1},
        {code = "closing", label = "Closing", order = 2}]
method = [{step = "opening", code = "heat", label = "Heat", consumables = 0.5},
          {step = "opening", code = "cold", label = "Cold"},
          {step = "closing", code = "tape", label = "Tape"}]
part = [{code = "battery", label = "Battery"}, {code = "display", label = "Display"}]
grade = [{code = "original", label = "Original"}, {code = "copy", label = "Copy"}]
repair = [{code = "swap", label = "Swap", steps = ["opening", "closing"], parts = ["battery"]}]
failure_mode = [
  {code = "lines", label = "Lines", family = "display_damage", severity = 3, cost_money = 90, \
   steps = ["opening", "closing"]},
  {code = "bent", label = "Bent", family = "collateral_damage", severity = 2, \
   steps = ["opening"]},
  {code = "weak", label = "Weak", family = "power", severity = 2, cost_money = 20, \
   part = "battery"},
  {code = "clash", label = "Clash", family = "mixed_part_conflicts", severity = 3, cost_money = 9, \
   mixed = ["battery", "display"]},
  {code = "torn", label = "Torn", family = "broken_tabs", severity = 2, steps = ["closing"]},
  {code = "loose", label = "Loose", family = "calibration_failures", severity = 2, \
   steps = ["closing"]},
]
"""
# One job a line; closing is always tape, technician T.
JOBS = """
job finished model opening opening_minutes minutes battery_grade battery_cost battery_supplier \
display_grade display_fitted failures unchecked preexisting returned return_reason failure_cost
J01 2025-03-01 Elm heat 10 30 original 8 Corvo -        - lines@opening - - - - 95
J02 2025-03-02 Elm heat 12 32 original 9 Corvo -        - lines@closing - - - - -
J03 2025-03-03 Elm heat 14 34 copy     - Corvo original no -            - - - - -
J04 2025-03-04 Elm heat -  36 copy     4 Pine  copy     no -            - - - - -
J05 2025-03-05 Elm cold 20 40 original - Pine  -        - lines         - - - - 60
J06 2025-03-06 Elm cold 22 42 original 8 -     -        - -         lines - - - -
J07 2025-03-07 Elm cold 24 44 copy     4 Corvo original no weak         - - 2025-04-01 weak -
J08 2025-03-08 Elm cold 26 46 original 8 Corvo -        - bent          - - - - -
J09 2025-03-09 Oak heat 28 48 copy     5 Corvo original no clash        - - - - -
J10 2025-03-10 Oak heat 30 50 original 8 Corvo -        - -             - lines - - -
J11 2025-03-11 Oak -    -  52 original 8 Corvo -        - lines         - - - - -
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    path = tmp_path_factory.mktemp("small")
    (path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    folder = make_folder(path / "shop", Settings(name="Small"), path / "c.toml")
    names, *rows = (line.split() for line in JOBS.strip().splitlines())
    lines = [dict(zip(names, ["" if w == "-" else w for w in row], strict=True)) for row in rows]
    more = {"technician": "T", "repair": "swap", "closing": "tape"}
    with (path / "sheet.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, [*lines[0], *more])
        writer.writeheader()
        writer.writerows(line | more for line in lines)
    (report,) = import_sheets(folder, [path / "sheet.csv"], covers="all").sheets
    assert (report.added, report.held_back) == (11, 0)
    return fixstats.open(folder.path)


@pytest.fixture(scope="module")
def con(shop):
    choices = ("opening", "battery_grade", "battery_supplier")
    with shop.session(digging=False) as con:
        catalogue = shop.folder.catalogue
        jobs = lay_jobs(con, catalogue, Ask((), ()), choices, ("technician",))
        assert jobs == {"opening": 10, "battery_grade": 11, "battery_supplier": 10}
        lay_follow_up(con, catalogue, Ask((), ()), choices)
        yield con


def tallied(shop, con, choice, *, step=None):
    catalogue = shop.folder.catalogue
    modes = modes_at(find_choice(choice, catalogue), catalogue)
    costed = [m.code for m in catalogue.failure_modes if m.code in modes and m.cost_money]
    return tally_choice(
        con, catalogue, choice, ("technician",), modes, costed,
        step=step, as_of=date(2025, 6, 30), days=90,
    )  # fmt: skip


def summed(table, value, *keys):
    found = {}
    for place in zip(*(table[key] for key in keys), table[value], strict=True):
        found[place[:-1]] = found.get(place[:-1], 0) + place[-1]
    return found


def test_failures_count_where_they_happened(shop, con):
    found = tallied(shop, con, "opening", step="opening")
    assert summed(found.jobs, "jobs", "option", "model") == {
        ("heat", "Elm"): 4, ("cold", "Elm"): 4, ("heat", "Oak"): 2,
    }  # fmt: skip
    # J02 says closing; J05 does not say where; J11 has no first choice; J10 had them at intake.
    assert summed(found.failures, "failures", "mode", "option") == {
        ("lines", "heat"): 1, ("lines", "cold"): 1, ("bent", "cold"): 1,
    }  # fmt: skip
    assert summed(found.unlooked, "jobs", "mode", "option") == {
        ("lines", "cold"): 1, ("lines", "heat"): 1,
    }  # fmt: skip


def test_minutes_of_jobs_without_a_costed_failure_here(shop, con):
    found = tallied(shop, con, "opening", step="opening").minutes
    # Without J01 and J05 (lines, costed); with J08 (bent, no cost) and J02 (at closing).
    assert summed(found, "jobs", "option", "model") == {
        ("heat", "Elm"): 2, ("cold", "Elm"): 3, ("heat", "Oak"): 2,
    }  # fmt: skip
    assert summed(found, "minutes", "option") == {("heat",): 12 + 14 + 28 + 30, ("cold",): 72}
    assert summed(found, "squares", "option")[("cold",)] == 22**2 + 24**2 + 26**2


def test_minutes_of_the_job_are_those_that_no_step_accounts_for(shop, con):
    found = tallied(shop, con, "battery_grade").minutes
    # Without J07 (weak) and J09 (clash): J03 34 - 14, J04 has none of the step; original: 52 of J11
    assert summed(found, "minutes", "option") == {("copy",): 20 + 36, ("original",): 6 * 20 + 52}
    assert timed_steps(con) == {"opening": 9, "": 11}


def test_modes_of_parts_and_of_mixed_parts(shop, con):
    found = tallied(shop, con, "battery_grade")
    # J07 came back for what was noted: that is a come-back, not a second failure.
    assert summed(found.failures, "failures", "mode", "option") == {("clash", "copy"): 1}
    # Display not recorded: whether parts are mixed is not known.
    assert summed(found.unlooked, "jobs", "mode", "option")["clash", "original"] == 7
    came = [n for n, reason in enumerate(found.leaving.reason) if reason == "weak"]
    assert [found.leaving.keys["battery_grade"][n] for n in came] == ["copy"]
    assert [found.leaving.day[n] for n in came] == [25]


def test_what_pieces_cost(shop, con):
    found = tallied(shop, con, "battery_grade").paid
    money = summed(found, "money", "option", "model", "grade")
    assert summed(found, "paid", "option", "model", "grade") == {
        ("original", "Elm", "original"): 4, ("copy", "Elm", "copy"): 2,
        ("copy", "Oak", "copy"): 1, ("original", "Oak", "original"): 2,
    }  # fmt: skip
    assert money["original", "Elm", "original"] == 8 + 9 + 8 + 8
    assert summed(found, "pieces", "option") == {("original",): 7, ("copy",): 4}


def test_pace_counts_jobs_without_a_recorded_option_too(shop, con):
    found = tallied(shop, con, "opening", step="opening").pace
    assert summed(found, "jobs", "option", "model")[None, "Oak"] == 1
    assert min(found["first"]) == date(2025, 3, 1)
    assert sum(found["recent"]) == 0 and sum(found["year"]) == 11


def test_recorded_costs_are_of_jobs_with_one_failing_mode(shop, con):
    found = failure_costs(con)
    assert dict(zip(found["mode"], zip(found["jobs"], found["stated"], found["money"], strict=True),
                    strict=True))["lines"] == (4, 2, 155.0)  # fmt: skip


def test_nobody_learns_in_the_first_days(shop, con):
    assert learning_steps(con, date(2025, 3, 1)) == frozenset()
    assert learning_steps(con, date(2024, 11, 1)) == {"opening", "closing"}


def test_late_are_the_last_jobs_of_each_model(shop, con, monkeypatch):
    monkeypatch.setattr("fixstats.tallies.decide.LEFT_OUT", 1)
    found = tallied(shop, con, "opening", step="opening").jobs
    late = summed(found, "jobs", "late", "option", "model")
    assert {key: n for key, n in late.items() if key[0]} == {
        (True, "cold", "Elm"): 1, (True, "heat", "Oak"): 1,
    }  # fmt: skip


@pytest.mark.parametrize("name", ["battery_release", "calibration", "battery_grade"])
def test_agrees_with_the_counts_of_rates_on_the_demo_shop(demo_shop, name):
    """Modes that can happen here only: counted by other statements, by plan and corrections."""
    shop = fixstats.open(demo_shop)
    catalogue = shop.folder.catalogue
    choice = find_choice(name, catalogue)
    modes = [m for m in modes_at(choice, catalogue) if len(catalogue.modes[m].steps) < 2]
    asked = Ask(tuple(modes), (name, "model"), where=(("rework", "no"),))
    with shop.session(digging=False) as con:
        rates = count_modes(con, catalogue, asked).columns
        lay_jobs(con, catalogue, asked, (name,), ("technician",))
        lay_follow_up(con, catalogue, asked, (name,))
        found = tally_choice(
            con, catalogue, name, ("technician",), modes, modes,
            step=None, as_of=date(2026, 9, 30), days=90,
        )  # fmt: skip
    jobs = summed(found.jobs, "jobs", "option")
    failures = summed(found.failures, "failures", "mode", "option")
    unlooked = summed(found.unlooked, "jobs", "mode", "option")
    seen = summed(rates, "failures", "mode", name)
    units = summed(rates, "opportunities", "mode", name)
    assert sum(seen.values()) > 50
    for mode in modes:
        for option in jobs:
            key = (mode, *option)
            assert failures.get(key, 0) == seen.get(key, 0), key
            if not catalogue.modes[mode].mixed:
                assert jobs[option] - unlooked.get(key, 0) == units[key], key


def test_dangers_of_an_option_have_the_denominators_of_its_costs(shop):
    """Of a mode of mixed parts: jobs with that grade, but those on which a grade is not known."""
    catalogue, choice = shop.folder.catalogue, "battery_grade"
    with shop.session(digging=False) as con:
        ask = Ask(("clash",), (choice,), place="battery")
        found = count_option_dangers(con, catalogue, ask)
        # J04 has two copies: nothing can clash, which is what its grade did
        assert found == {
            ("copy", "Elm"): (3, 0, 3, 0, 0, 0),
            ("copy", "Oak"): (1, 1, 1, 0, 0, 0),
            ("original", "Elm"): (5, 0, 0, 5, 0, 0),
            ("original", "Oak"): (2, 0, 0, 2, 0, 0),
        }
        # beside a mode of the part itself every job counts anyway; J07 came back for what was seen
        ask = Ask(("clash", "weak"), (choice,), place="battery")
        both = count_option_dangers(con, catalogue, ask)
        assert both == found | {("copy", "Elm"): (3, 1, 3, 0, 0, 0)}
        jobs = lay_jobs(con, catalogue, Ask((), ()), (choice,), ("technician",))
        lay_follow_up(con, catalogue, Ask((), ()), (choice,))
        counted = tallied(shop, con, choice)
    assert jobs == {choice: 11}
    unlooked = summed(counted.unlooked, "jobs", "mode", "option")
    of_option = summed(counted.jobs, "jobs", "option")
    for (option,), number in of_option.items():
        known = sum(row[2] for (name, _), row in found.items() if name == option)
        assert number - unlooked.get(("clash", option), 0) == known


def test_what_cannot_be_counts_as_not_recorded(shop, tmp_path):
    """Older stores hold mistyped numbers that imports hold back now, some too large to sum."""
    impossible = shutil.copytree(shop.folder.path, tmp_path / "impossible")
    blank = shutil.copytree(shop.folder.path, tmp_path / "blank")
    found = []
    for path, values in ((impossible, (1234567890123456789, 1e9 + 1, 1e31)), (blank, [None] * 3)):
        opened = fixstats.open(path)
        with duckdb.connect(str(opened.folder.database)) as con:
            own = "from records.jobs as j where j.entry = t.entry and j.job = $2"
            for job, value in zip(("J03", "J07", "J10"), values, strict=True):
                for table, column in (("step_minutes", "minutes"), ("pieces", "cost")):
                    con.execute(
                        f"update records.{table} as t set {column} = $1 {own}", [value, job]
                    )
                con.execute("update records.jobs set minutes = $1 where job = $2", [value, job])
            for job, value in zip(("J01", "J05"), values[1:], strict=True):
                con.execute(
                    "update records.jobs set failure_cost = $1 where job = $2", [value, job]
                )
        with opened.session(digging=False) as con:
            choices = ("opening", "battery_grade")
            lay_jobs(con, opened.folder.catalogue, Ask((), ()), choices, ("technician",))
            lay_follow_up(con, opened.folder.catalogue, Ask((), ()), choices)
            opening = tallied(opened, con, "opening", step="opening").minutes
            battery = tallied(opened, con, "battery_grade")
            tables = (opening, battery.minutes, battery.paid, failure_costs(con))
            found.append([*(_rows(table) for table in tables), timed_steps(con)])
    assert found[0] == found[1]
    assert found[0][-1] == {"opening": 6, "": 8}


def _rows(table):
    return sorted(zip(*table.values(), strict=True), key=str)


@pytest.mark.parametrize("costs", [(0.1, 0.2, 0.3), (0.3, 0.2, 0.1)])
def test_money_adds_up_to_the_same_in_any_order(costs):
    with duckdb.connect() as con:
        con.execute("create schema records")
        con.execute("create table jobs (entry bigint, failure_cost double)")
        con.execute("create table records.failures (entry bigint, mode varchar)")
        con.executemany("insert into jobs values ($1, $2)", list(enumerate(costs)))
        con.execute("insert into records.failures select entry, 'lines' from jobs")
        # Doubles would give 0.6000000000000001 in one of the orders.
        assert failure_costs(con)["money"] == [0.6]
