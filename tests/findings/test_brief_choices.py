"""Which option a brief names: from rows of ``decide`` made by hand."""

from __future__ import annotations

from datetime import date

import pytest

from fixstats.findings.brief_choices import (
    ALONE,
    BETTER,
    EQUAL,
    HOUSE,
    NOTHING,
    OPEN,
    RUNNING,
    in_trial,
    pick,
    standard_of,
)
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.folder.catalogue import Standard
from fixstats.tallies.trials import Trial

SINCE = date(2026, 6, 1)
ROW = {
    "choice": "opening", "scope": "all", "model": None, "verdict": "standardise", "option": "plate",
    "runner_up": "gun", "runner_up_safety": "cleared", "current": "gun",
    "p_best": 0.97, "saving_per_job": 1.2, "saving_low": 0.3,
    "saving_high": 2.1, "saving_vs_current": 1.2, "jobs": 400, "jobs_needed": None,
    "safety": "cleared", "borrowed": 0.1, "borderline": False,
}  # fmt: skip


def decided(model=None, **changes):
    return ROW | {"model": model, "scope": "model" if model else "all"} | changes


def options(model=None, **states):
    return [
        {"choice": "opening", "model": model, "option": option, "safety": state, "cost_per_job": n}
        for n, (option, state) in enumerate(
            ({"plate": "cleared", "gun": "cleared"} | states).items()
        )
    ]


def picked(row=None, *, standard=None, rows=None, states=None):
    held = standard and Standard("opening", standard, SINCE)
    rows = rows if rows is not None else [row] if row else []
    parts = states if states is not None else options()
    return pick("opening", "M1", rows, parts, held, name=str.upper, currency="EUR")


def told(one):
    return one.option, one.word, one.standard


@pytest.mark.parametrize(
    ("verdict", "word", "why"),
    [
        ("standardise", BETTER, "97 % sure to be the cheapest"),
        ("equal_enough", EQUAL, "GUN would cost about the same"),
        ("trial", OPEN, "a trial would pay"),
        ("lean", OPEN, "little is lost if wrong"),
        ("wait", OPEN, "too little recorded"),
    ],
)
def test_without_a_standard_the_leader_is_named_as_its_verdict_says(verdict, word, why):
    one = picked(decided(verdict=verdict))
    assert told(one) == ("plate", word, False)
    assert why in one.why
    if verdict != "equal_enough":
        assert "saves 1.20 EUR a job (0.30 to 2.10) against GUN" in one.why
    assert (one.verdict, one.scope, one.p_best, one.jobs) == (verdict, "all", 0.97, 400)


def test_the_only_one_used():
    one = picked(decided(verdict="only_one", runner_up=None, saving_per_job=None))
    assert told(one) == ("plate", ALONE, False)


def test_the_row_of_the_model_goes_before_that_of_all():
    rows = [decided(), decided("M1", option="gun", runner_up="plate"), decided("M2")]
    one = picked(rows=rows, states=[*options(), *options("M1")])
    assert (one.option, one.scope) == ("gun", "model")
    assert "over all models" not in one.why
    one = picked(rows=[decided(), decided("M2")])
    assert one.scope == "all"
    assert one.why.endswith("sure to be the cheapest over all models")
    one = picked(rows=[decided("M1", borrowed=1.0)], states=options("M1"))
    assert one.why.endswith("known from other models only")


def test_a_standard_that_leads():
    one = picked(decided(), standard="plate")
    assert told(one) == ("plate", HOUSE, True)
    assert one.why.startswith("since 2026-06-01; saves 1.20 EUR")


@pytest.mark.parametrize(
    ("verdict", "why"),
    [
        ("lean", "PLATE looks 1.20 EUR a job cheaper, 97 % sure: not settled"),
        ("wait", "PLATE looks 1.20 EUR a job cheaper, 97 % sure: not settled"),
        ("equal_enough", "PLATE costs about the same"),
        ("unproven", "PLATE may cost less, its safety is not shown"),
    ],
)
def test_a_standard_holds_until_the_records_are_sure(verdict, why):
    one = picked(decided(verdict=verdict), standard="gun")
    assert told(one) == ("gun", HOUSE, True)
    assert why in one.why
    assert one.p_best is None  # it is the leader's, not that of the one named


def test_a_standard_gives_way_where_they_are_sure():
    one = picked(decided(), standard="gun")
    assert told(one) == ("plate", BETTER, False)
    assert "the house standard is GUN" in one.why


def test_on_the_border_nothing_gives_way():
    one = picked(decided(borderline=True), standard="gun")
    assert told(one) == ("gun", HOUSE, True)
    one = picked(decided(borderline=True))
    assert told(one) == ("plate", OPEN, False)
    assert one.why.endswith("but on the border")


def test_a_dangerous_standard_is_not_named():
    row = decided(verdict="lean")
    one = picked(row, standard="gun", states=options(gun="worse"))
    assert told(one) == ("plate", BETTER, False)
    assert "GUN is ruled out by its safety failures" in one.why
    row = decided(verdict="unproven", option=None, runner_up=None, saving_per_job=None)
    one = picked(row, standard="gun", states=options(gun="worse", plate="worse"))
    assert told(one) == (None, OPEN, False)
    assert "ask first" in one.why


def test_cheap_and_not_shown_to_be_safe_is_not_named_before_what_is():
    row = decided(verdict="unproven", jobs_needed=140)
    one = picked(row, states=options(plate="unproven"))
    assert told(one) == ("gun", OPEN, False)
    assert one.safety == "cleared"
    assert "140 jobs without a safety failure would show it" in one.why


def test_where_nothing_is_cleared_none_is_named_for_its_price():
    states = options(plate="unproven", gun="unproven")
    one = picked(decided(verdict="unproven", jobs_needed=140), states=states)
    assert told(one) == ("gun", OPEN, False)
    assert one.why == "in use; neither its safety nor that of PLATE is shown"
    # the one in use may be ruled out, or be the cheapest itself
    for current, gun in (("gun", "worse"), ("plate", "unproven")):
        row = decided(verdict="unproven", current=current)
        one = picked(row, states=options(plate="unproven", gun=gun))
        assert told(one) == ("plate", OPEN, False)
        assert one.why.startswith("its safety is not shown yet")


def test_what_costs_the_same_need_not_be_as_safe():
    row = decided(verdict="equal_enough", runner_up_safety="unproven")
    why = "GUN would cost about the same, its safety is not shown"
    assert picked(row).why == why
    assert picked(row, standard="plate").why.endswith(f"; {why}")


@pytest.mark.parametrize("current", [None, "plate", "gun"])
@pytest.mark.parametrize("state", ["worse", "unproven"])
def test_what_is_cleared_is_named_though_nobody_uses_it_now(current, state):
    row = decided(verdict="unproven", current=current, jobs_needed=140)
    one = picked(row, states=options(plate="unproven", gun=state, pad="cleared", wax="cleared"))
    assert told(one) == ("pad", OPEN, False)  # the cheaper of the two
    assert one.why.startswith("PLATE may cost less, its safety is not shown")


def test_a_standard_that_is_not_shown_to_be_safe_says_so():
    one = picked(decided(verdict="lean"), standard="gun", states=options(gun="unproven"))
    assert told(one) == ("gun", HOUSE, True)
    assert "its safety is not shown yet; PLATE looks 1.20 EUR a job cheaper" in one.why


def test_a_standard_that_nobody_used_is_not_said_to_cost_the_same():
    one = picked(decided(saving_vs_current=None, verdict="lean"), standard="wax")
    assert told(one) == ("wax", HOUSE, True)
    assert one.why.endswith("no recorded job tells it from PLATE")


def test_the_cost_of_a_grade_settles_nothing():
    row = decided(choice="battery_grade", option="low", runner_up="high", current="high")
    one = pick("battery_grade", "M1", [row], [], None, name=str.upper, currency="EUR")
    assert told(one) == ("low", OPEN, False)
    assert one.why.endswith("by the shop's cost alone")
    held = Standard("battery_grade", "high", SINCE)
    one = pick("battery_grade", "M1", [row], [], held, name=str.upper, currency="EUR")
    assert told(one) == ("high", HOUSE, True)
    assert one.why.endswith("97 % sure: by the shop's cost alone")


def test_without_records_only_a_standard_can_speak():
    assert told(picked()) == (None, NOTHING, False)
    one = picked(standard="gun")
    assert told(one) == ("gun", HOUSE, True)
    assert one.verdict is None


def test_certainty_is_never_claimed():
    assert "over 99 % sure" in picked(decided(p_best=1.0)).why


def test_a_standard_of_the_model_goes_before_one_of_all(tmp_path):
    path = tmp_path / "c.toml"
    lines = [
        ("heat_gun", "2025-04-01", ""), ("heat_plate", "2026-06-01", ""),
        ("heat_pad", "2026-01-01", 'model = "m 1"'), ("heat_gun", "2027-01-01", 'model = "M 1"'),
    ]  # fmt: skip
    more = "".join(
        f'\n[[standard]]\nchoice = "opening"\noption = "{option}"\nsince = {since}\n{model}\n'
        for option, since, model in lines
    )
    path.write_text(DEFAULT_CATALOGUE.read_text(encoding="utf-8") + more, encoding="utf-8")
    catalogue = read_catalogue(path)

    def held(model, day):
        one = standard_of("opening", model, catalogue, day)
        return one and one.option

    assert held("M  1", date(2026, 7, 1)) == "heat_pad"
    assert held("Other", date(2026, 7, 1)) == "heat_plate"
    assert held("M 1", date(2027, 1, 1)) == "heat_gun"
    assert held("M 1", date(2025, 5, 1)) == "heat_gun"
    assert held("M 1", date(2025, 1, 1)) is None


def test_lots_decide_but_not_over_an_option_that_is_ruled_out():
    trial = Trial(
        "t1", "opening", "gun", "plate", None, None, ("torn",), 0.02, 100, "s", SINCE, 10, 10, 0
    )
    otherwise = picked(decided())
    one = in_trial(trial, otherwise, options(), str.upper)
    assert (one.word, one.option, one.trial) == (RUNNING, None, "t1")
    one = in_trial(trial, otherwise, options(gun="worse"), str.upper)
    assert told(one) == told(otherwise) and one.trial is None
    assert one.why.startswith("draw no more for the trial t1: GUN ruled out by safety failures; ")
    # of another choice, or not in the trial
    other = [row | {"choice": "release"} for row in options(gun="worse")]
    for rows in (other, options(pad="worse")):
        assert in_trial(trial, otherwise, rows, str.upper).word == RUNNING
