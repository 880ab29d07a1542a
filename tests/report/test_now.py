"""What to do now: what comes first, what is left out, which number stands behind a line."""

from __future__ import annotations

import pytest

from fixstats.findings.base import listing
from fixstats.report.blocks import Actions, Paragraph, Table
from fixstats.report.now import MOST_LINES, now
from fixstats.report.sections_choices import verdicts
from tests.report.cases import alarm, decided, material, option, verdict, watched


def lines(**more):
    """The lines of the section, and what is said of those left out."""
    section = now(material(**more))
    actions = [one for block in section.blocks if isinstance(block, Actions) for one in block.items]
    rest = [block.text for block in section.blocks if isinstance(block, Paragraph)]
    return actions, rest


def held_back(units=16, of=112):
    row = {"topic": "held_back", "what": "kiosk.csv", "unit": "row", "units": units, "of": of}
    return listing("check", [row | {"share": units / of, "advice": "mend", "paste": None}])


def test_a_quiet_month_says_so():
    actions, rest = lines()
    assert actions == []
    assert rest == ["Nothing calls for action: no alarm, no verdict to act on, no row held back."]


def test_safety_comes_first_then_alarms_verdicts_records():
    found = decided(
        verdict(),
        verdict("calibration", "trial", jobs_needed=120),
        options=(option("heat_gun", "worse"),),
    )
    actions, rest = lines(decided=found, watched=watched(alarm()), checked=held_back())
    assert [one.kind for one in actions] == ["Stop", "Look into", "Standardise", "Try out", "Mend"]
    assert [one.urgent for one in actions] == [True, False, False, False, False]
    assert rest == []
    assert "5 of 108 jobs with a failure that can hurt someone" in actions[0].number
    assert (
        "at least 3.1\u00a0% (95\u00a0%, one-sided); the limit is 2.0\u00a0%" in actions[0].number
    )
    assert "129 of 2,184 where 46.1 were to be expected" in actions[1].number
    assert "4.00 (1.00 to 7.00) EUR a job less than Hot-air gun" in actions[2].number
    assert "97\u00a0% sure" in actions[2].number
    assert "16 of 112 rows" in actions[4].number


def test_a_dangerous_option_below_the_limit_is_one_that_fails_more_than_the_most_used():
    worse = option("heat_gun", "worse", safety_low=0.018)
    actions, _ = lines(decided=decided(options=(worse,)))
    assert "more often than with the most used option" in actions[0].number


def test_a_danger_on_one_model_is_told_once_and_of_that_model():
    here = {"scope": "model", "model": "Brask One"}
    worse = option("heat_gun", "worse", **here)
    (one,) = lines(decided=decided(options=(option("heat_gun"), worse)))[0]
    assert "for opening the device on Brask One." in one.text
    assert "one-sided, shared by the models); the limit is" in one.number
    # what is adopted for all models is not for that one
    plate = option("heat_plate", "worse", **here)
    found = decided(verdict(), options=(option("heat_plate"), plate))
    (line,) = (one for one in lines(decided=found)[0] if one.kind == "Standardise")
    assert line.number.startswith("not on Brask One, ruled out there by safety failures; ")
    # worse over all models: no line for each of them
    every = (option("heat_gun", "worse"), worse)
    (one,) = lines(decided=decided(options=every))[0]
    assert "Brask" not in one.text


def test_an_option_nobody_uses_or_that_is_safe_is_no_line():
    options = (option("heat_gun", "worse", jobs=0), option("heat_plate", "unproven"))
    assert lines(decided=decided(options=options))[0] == []


def test_five_lines_at_most_and_the_rest_is_counted():
    choices = ("opening", "calibration", "resealing", "glass_removal", "battery_release", "camera")
    found = decided(*(verdict(choice) for choice in choices))
    actions, rest = lines(decided=found, checked=held_back())
    assert len(actions) == MOST_LINES
    assert rest == ["Further down: 1 verdict to act on and 1 remark on the records."]


def test_many_alarms_leave_room_for_decisions_but_danger_does_not_wait():
    many = [alarm(f"mode_{n}") for n in range(5)]
    actions, rest = lines(watched=watched(*many), decided=decided(verdict()))
    assert [one.kind for one in actions].count("Standardise") == 1
    assert actions[2].kind == "Standardise"
    assert rest == ["Further down: 1 alarm."]
    grave = [alarm(f"mode_{n}", safety=True) for n in range(5)]
    actions, _ = lines(watched=watched(*grave), decided=decided(verdict()))
    assert all(one.urgent for one in actions)


def test_alarms_of_one_lot_are_one_line_and_what_another_explains_is_none():
    lot = {"group": "battery_lot", "value_of_group": "CV-2603"}
    alarms = (
        alarm("drains_fast", **lot),
        alarm("dead_on_arrival", **lot),
        alarm("seal_lifts", explained_by="dust_under_glass"),
    )
    actions, _ = lines(watched=watched(*alarms))
    assert len(actions) == 1
    assert actions[0].number.endswith("; 1 more alarm about the same")


def test_people_come_last_among_alarms_and_are_helped():
    person = alarm("display_lines", group="technician", value_of_group="T4")
    actions, _ = lines(watched=watched(person, alarm()))
    assert [one.kind for one in actions] == ["Look into", "Help"]


def test_what_is_the_house_standard_already_is_no_line():
    standard = {"choice": "opening", "scope": "all", "model": None, "option": "heat_plate"}
    adopted = listing("standards", [standard | {"jobs_since": 3}])
    assert lines(decided=decided(verdict()), standards=adopted)[0] == []
    other = listing("standards", [standard | {"option": "heat_gun", "jobs_since": 3}])
    assert len(lines(decided=decided(verdict()), standards=other)[0]) == 1


def test_a_cheap_option_that_is_not_proven_safe_is_not_recommended():
    found = decided(verdict(name="unproven", jobs_needed=80, safety="unproven"))
    (action,), _ = lines(decided=found)
    assert action.kind == "Prove safe"
    assert "not shown to be safe" in action.text
    assert action.number == (
        "5 of 108 jobs with a failure that can hurt someone; 80 further jobs without a safety "
        "failure would clear it"
    )
    standard = {"choice": "opening", "scope": "all", "model": None, "option": "heat_plate"}
    adopted = listing("standards", [standard | {"jobs_since": 3}])
    (action,), _ = lines(decided=found, standards=adopted)
    assert action.text.endswith("the house standard Heated plate is not shown to be safe.")


def test_models_alone_and_other_verdicts_are_no_line():
    rows = (
        verdict(scope="model", model="Brask One"),
        *(verdict(name=name) for name in ("lean", "wait", "only_one", "equal_enough")),
        verdict(name="unproven", option=None),
    )
    assert lines(decided=decided(*rows))[0] == []


def test_no_one_is_wholly_sure():
    (action,), _ = lines(decided=decided(verdict(p_best=1.0)))
    assert "over 99\u00a0% sure" in action.number
    assert "100" not in action.number


def test_a_verdict_on_the_border_is_not_sold_as_settled():
    (action,), _ = lines(decided=decided(verdict(borderline=True)))
    assert action.kind == "Not settled"
    assert "only just: see what next month says" in action.text
    assert action.number.endswith("chance in the calculation alone may turn this verdict")
    (action,), _ = lines(decided=decided(verdict()))
    assert (action.kind, "borderline" in action.number) == ("Standardise", False)


@pytest.mark.parametrize("current", ["original", "aftermarket"])
def test_a_grade_is_told_by_the_shops_cost_alone(current):
    row = verdict("battery_grade", option="original", runner_up="aftermarket", current=current)
    (action,), _ = lines(decided=decided(row))
    assert action.kind == "By cost alone"
    assert action.text.endswith("only if your customers would choose it, too.")
    assert "what customers pay for it" in action.number
    tables = [
        one for one in verdicts(material(decided=decided(row))).blocks if isinstance(one, Table)
    ]
    assert tables[0].rows[0][1] == "standardise, by cost alone"


def test_what_is_settled_comes_first_then_what_most_jobs_are_about():
    found = decided(
        verdict("edge", borderline=True, saving_vs_current=50.0),
        verdict("battery_grade", saving_vs_current=50.0),
        verdict("few"),
        verdict("many", saving_vs_current=3.0),
        # hardly used yet, but it would take the place of what was used on many jobs
        options=(
            option("heat_plate", choice="many", jobs=10),
            option("heat_gun", choice="many", jobs=4000),
        ),
    )
    actions, _ = lines(decided=found)
    assert [one.text.split(",")[0] for one in actions] == [
        "For many", "For few", "For battery grade", "For edge",
    ]  # fmt: skip


def test_a_trial_names_the_two_that_the_verdict_names():
    found = decided(verdict(name="trial", runner_up="warm_pad"), rival="heat_gun")
    (action,), _ = lines(decided=found)
    assert "try Heated plate against Hot-air gun." in action.text


def test_where_every_option_is_ruled_out_there_is_still_a_table():
    none = dict.fromkeys(("option", "runner_up", "p_best", "jobs", "saving_per_job", "safety"))
    found = decided(verdict(name="unproven", **none), options=(option("heat_gun", "worse"),))
    of = material(decided=found)
    assert [one.kind for one in lines(decided=found)[0]] == ["Stop"]
    (table,) = [one for one in verdicts(of).blocks if isinstance(one, Table)]
    assert table.rows[0][-1] == "–"
