"""What a trial would take, and what it begins with."""

from __future__ import annotations

import re
from collections import Counter

import pytest

import fixstats
from fixstats import stats
from fixstats.cli.trial_text import begun_text
from fixstats.errors import UsageError
from fixstats.findings.trial_plan import model_groups

from .trial_shop import PADS, shop_with, trial_jobs


def test_groups_are_thirds_of_recent_jobs_by_how_often_they_fail():
    counts = {
        "model": [*"abcdef"] * 2,
        "failures": [0, 5, 10, 20, 30, 60] * 2,
        "opportunities": [100] * 12,
    }
    groups = model_groups(counts, [("T1", model, 10) for model in "abcdef"])
    assert [groups[model] for model in "abcdef"] == [
        "easier", "easier", "middle", "middle", "harder", "harder",
    ]  # fmt: skip
    one = {"model": ["a"], "failures": [1], "opportunities": [9]}
    assert model_groups(one, []) == {"a": "middle"}


def test_the_plan_of_the_demo_shop(demo_shop):
    shop = fixstats.open(demo_shop)
    plan = shop.trial_plan(
        "opening", options=["heat_plate", "heat_pad"], mode="display_damage", difference=0.05
    )
    rows = {row["method"]: row for row in plan.rows}
    assert list(rows) == ["fisher", "boschloo", "precision", "sequential"]
    own = shop.rates(family="display_damage", by="opening", where={"rework": "no"}).rows
    now = next(row for row in own if row["opening"] == "heat_plate")
    fisher = rows["fisher"]
    assert fisher["baseline_rate"] == pytest.approx(now["rate"])
    assert fisher["rate"] == pytest.approx(now["rate"] - 0.05)
    size = stats.exact_size(fisher["rate"], fisher["baseline_rate"])
    assert (fisher["jobs_per_option"], fisher["jobs"]) == (size, 2 * size)
    assert rows["boschloo"]["jobs"] <= fisher["jobs"]
    assert fisher["weeks"] == pytest.approx(2 * size / plan.settings["jobs_a_week"])
    rule = rows["sequential"]
    assert rule["jobs"] < rule["jobs_90"] and rule["power"] > 0.8
    assert {row["cost"] is None for row in plan.rows} == {False}
    assert plan.rows[0]["safety"] == "cleared"


def test_the_pace_of_a_young_shop_is_that_since_its_records_began(tmp_path):
    rows = trial_jobs(320, {"heat_plate": 0.6, "heat_pad": 0.15})
    shop = shop_with(tmp_path, rows)
    plan = shop.trial_plan("opening", options=PADS, difference=0.4)
    days = (max(row["finished"] for row in rows) - min(row["finished"] for row in rows)).days + 1
    assert 28 < days < 100
    assert plan.settings["jobs_a_week"] == pytest.approx(len(rows) * 7 / days)
    rule = plan.rows[-1]
    assert rule["weeks"] == pytest.approx(rule["jobs"] / plan.settings["jobs_a_week"])


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"choice": "openin"}, "did you mean 'opening'"),
        ({"options": ["heat_plate"]}, "a trial has two options"),
        ({"options": ["heat_plate", "heat_padd"]}, "no option of opening; did you mean 'heat_pad'"),
        ({"options": ["heat_pad", "heat_pad"]}, "two different options"),
        ({"options": ["thin_blade", "heat_pad"]}, "nothing is recorded of thin_blade yet"),
        ({"mode": "display_line"}, "did you mean 'display_lines'"),
        ({"difference": 0}, "--difference 0"),
        ({"power": 1}, "--power 1"),
    ],
)
def test_plans_that_make_no_sense(demo_shop, changed, words):
    asked = {"choice": "opening", "options": ["heat_plate", "heat_pad"], **changed}
    with pytest.raises(UsageError, match=words):
        fixstats.open(demo_shop).trial_plan(asked.pop("choice"), **asked)


def test_a_mode_known_from_comebacks_is_told(demo_shop):
    shop = fixstats.open(demo_shop)
    asked = {"options": ["original", "aftermarket_low"], "difference": 0.3}
    plan = shop.trial_plan("battery_grade", mode="drains_fast", **asked)
    note = next(note for note in plan.notes if note.code == "seen_after")
    assert re.search(r"drains_fast \(\d+ come-backs, 0 seen at the bench\)", note.text)
    plan = shop.trial_plan("battery_grade", mode="dead_on_arrival", **asked)
    assert "seen_after" not in {note.code for note in plan.notes}


def test_an_unproven_option_needs_the_harm_stop(demo_shop):
    plan = fixstats.open(demo_shop).trial_plan(
        "opening", options=["heat_gun", "thin_blade"], difference=0.1
    )
    assert plan.rows[0]["safety"] == "unproven"
    note = next(note for note in plan.notes if note.code == "harm_stop")
    assert "149 further jobs without a safety failure would clear it" in note.text


def test_an_option_that_is_worse_is_refused(tmp_path):
    rows = trial_jobs(200, {"heat_plate": 0.1, "heat_pad": 0.1}, harm={"heat_pad": 0.2}, switched=0)
    shop = shop_with(tmp_path, rows)
    for options in (["heat_plate", "heat_pad"], ["heat_pad", "heat_plate"]):
        with pytest.raises(UsageError, match="heat_pad is worse in safety"):
            shop.trial_plan("opening", options=options)
    with pytest.raises(UsageError, match="heat_pad is worse in safety"):
        shop.trial_start("more", "opening", options=["heat_plate", "heat_pad"])
    assert [row["trial"] for row in shop.trials().rows] == ["pads"]


def test_a_shop_without_technicians_starts_no_trial(tmp_path):
    rows = trial_jobs(40, {"heat_plate": 0.3, "heat_pad": 0.3}, unchecked=0)
    blank = {"technician": "", "trial": "", "assigned": ""}
    shop = shop_with(tmp_path, [row | blank for row in rows])
    with pytest.raises(UsageError, match="no technician is recorded in the last year"):
        shop.trial_start("more", "opening", options=PADS, difference=0.4, max_jobs=6)
    assert [row["trial"] for row in shop.trials().rows] == ["pads"]


def test_no_page_has_many_more_lines_than_the_trial_has_jobs(tmp_path):
    rows = trial_jobs(40, {"heat_plate": 0.3, "heat_pad": 0.3}, unchecked=0)
    shop = shop_with(tmp_path, [row | {"trial": "", "assigned": ""} for row in rows])
    begun = shop.trial_start("tiny", "opening", options=PADS, difference=0.4, max_jobs=2)
    lines = Counter((slot.technician, slot.model_group) for slot in begun.slots)
    # Whole blocks of two or four.
    assert max(lines.values()) <= 4
    told = begun_text(begun)
    assert "never both ways for one technician" in told
    assert "it ends with 2 jobs on all pages together, whatever lines are left" in told
