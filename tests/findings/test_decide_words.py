"""Sentences and notes of decisions: what to do, why, and what the money does not hold."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fixstats.errors import UsageError
from fixstats.findings.decide_plan import DecideAsk, choices_of
from fixstats.findings.decide_rows import KEYS, crossing
from fixstats.findings.decide_words import cautions_of, notes_of, picked_notes, sentence
from fixstats.findings.safety import OptionSafety
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.shop import open_shop
from fixstats.words import sure_percent

CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)


def row(**given):
    base = dict.fromkeys(KEYS) | {
        "choice": "opening", "scope": "all", "verdict": "standardise", "option": "heat_plate",
        "runner_up": "heat_gun", "current": "heat_gun", "p_best": 0.97, "saving_per_job": 2.5,
        "saving_low": 0.6, "saving_high": 4.7, "jobs": 800, "borrowed": 0.0, "reason": "why",
        "borderline": False,
    }  # fmt: skip
    return base | given


def told(**given):
    return sentence(row(**given), str, "{:.2f} EUR".format)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "opening: make heat_plate the house standard: why; 2.50 EUR a job cheaper than heat_"),
        ({"current": "heat_plate"}, "opening: keep heat_plate: why"),
        ({"model": "Orca"}, "opening on Orca: make heat_plate the house standard"),
        (
            {"choice": "battery_grade", "option": "original"},
            "battery grade: make original the house standard, by the shop's cost alone: why",
        ),
        ({"borderline": True}, "opening: make heat_plate the house standard (borderline): why"),
        ({"verdict": "wait", "saving_per_job": None}, "opening: wait, heat_plate leads: why"),
        ({"verdict": "lean"}, "opening: use heat_plate and keep counting: why; 2.50 EUR a job ch"),
        ({"option": None}, "opening: recommend none: why"),
        ({"model": "Orca", "jobs": 3}, "; 3 jobs with it there, other models speak for most of it"),
        ({"model": "Orca", "jobs": 0, "borrowed": 1.0}, "; never used there: what is known of "),
    ],
)
def test_a_sentence_says_what_to_do_and_why(given, said):
    assert said in told(**given)


def test_few_jobs_over_all_models_are_not_laid_at_other_models():
    assert "other models" not in told(jobs=3)


def option(choice, **given):
    return {"choice": choice, "minutes": 3.0, "comebacks_money": 0.0} | given


def notes(*options, worse=(), every=False, rows=None):
    found = notes_of(rows or [row()], options, worse, [], [], str, every=every)
    return {note.code: note.text for note in found}


def test_what_the_money_does_not_hold_is_said():
    found = notes(option("opening", minutes=None), option("release"), option("battery_grade"))
    assert "as if all options took the same: opening; STEP_minutes" in found["same_minutes"]
    assert found["cost_only"].startswith("battery grade: only what a piece costs the shop")
    assert "own_records" in found and "suppliers" not in found
    assert "suppliers" in notes(option("opening"), every=True)
    assert not {"same_minutes", "cost_only"} & set(notes(option("opening")))


def test_why_a_figure_is_not_given_is_said():
    alone = row(verdict="only_one", saving_per_job=None)
    found = notes(option("opening"), rows=[alone])["left_empty"]
    assert "savings where there is nothing to compare with" in found
    assert "option where every one" not in found
    whole = row(jobs_needed=3, saving_vs_current=1.0)
    assert "left_empty" not in notes(option("opening"), rows=[whole])


def test_what_is_ruled_out_comes_first_with_its_counts():
    worse = OptionSafety("pry_tool", "worse", 5, 108, 0.02, 0.1, 0.001, None)
    found = notes(option("opening"), worse=[("battery_release", worse)])
    assert next(iter(found)) == "worse"
    assert "pry_tool (battery_release, 5 of 108 jobs with a safety failure)" in found["worse"]


@pytest.mark.parametrize(
    ("chances", "said"), [((0.99, 0.97), "2.0% are expected"), ((1.0, 0.9999), "<0.1% are exp")]
)
def test_the_expected_share_of_wrong_rows_is_never_a_false_zero(chances, said):
    rows = [row(p_best=one) for one in chances]
    assert said in notes(option("opening"), rows=rows)["wrong_share"]


def test_rows_over_all_models_are_not_mixed_with_those_of_single_ones():
    rows = [row(p_best=0.98), row(p_best=0.96, scope="model", model="A")]
    rows.append(row(p_best=0.97, scope="model", model="B"))
    said = notes(option("opening"), rows=rows)["wrong_share"]
    assert said.startswith("of 3 rows that say standardise, 3.0% are expected to be wrong")
    assert "1 over all models, 2.0% and 2 of single models, 3.5%" in said
    assert "over all models" not in notes(option("opening"), rows=rows[1:])["wrong_share"]


@pytest.mark.parametrize(
    ("chance", "line", "said"),
    [(0.97, 0.95, "97"), (0.9496, 0.95, "94.9"), (0.95, 0.95, "95"), (0.996, None, ">99"),
     (0.995, None, ">99"), (0.004, None, "<1"), (0.5, 0.95, "50"), (0.9469, 0.95, "94.6"),
     (0.944, 0.95, "94")],
)  # fmt: skip
def test_a_chance_in_words_is_no_more_than_it_is(chance, line, said):
    assert sure_percent(chance, line) == said


def test_cautions_are_those_of_the_methods_named():
    found = cautions_of([row(option="heat_gun", current=None)], [], CATALOGUE)
    assert found and all(one.startswith("heat_gun: ") for one in found)
    cell = cautions_of([], ["cell_pierced"], CATALOGUE)
    assert (
        cell == cautions_of([], ["cell_pierced", "cell_bent"], CATALOGUE)
        and "stop first" in (cell[0])
    )


def test_jobs_picked_by_how_they_went():
    ask = DecideAsk(where=(("outcome", "completed"), ("model", "Orca")))
    (note,) = picked_notes(ask, ["opening", "calibration"], CATALOGUE)
    assert note.code == "picked"
    assert "it is known at the end of the job (opening and calibration)" in note.text
    within = replace(ask, where=(("battery_grade", "original"),))
    assert list(picked_notes(within, ["battery_supplier"], CATALOGUE)) == []


def test_suppliers_are_weighed_within_one_grade():
    names = [one.name for one in choices_of(DecideAsk(), CATALOGUE)]
    assert "battery_grade" in names and not any(name.endswith("_supplier") for name in names)
    one = DecideAsk(where=(("battery_grade", "original"),))
    assert "battery_supplier" in [choice.name for choice in choices_of(one, CATALOGUE)]
    for where in ((), (("display_grade", "original"),), (*one.where, ("battery_grade", "x"))):
        ask = DecideAsk(("battery_supplier",), where=where)
        with pytest.raises(UsageError, match="hold one grade fixed: --where battery_grade=GRADE"):
            choices_of(ask, CATALOGUE)


@pytest.mark.parametrize(
    ("costs", "slopes", "now", "found"),
    [
        ((9.0, 11.0), (0.10, 0.05), 60.0, (100.0, 1)),  # 9 + 0.1 d = 11 + 0.05 d, d = 40
        ((9.0, 11.0), (0.05, 0.10), 60.0, (20.0, 1)),
        ((9.0, 11.0), (0.05, 0.05), 60.0, None),
        ((9.0, 11.0), (0.01, 0.02), 60.0, None),  # it would be below 0
        ((6.0, 12.0), (0.10, 0.20), 60.0, None),  # both cost nothing at 0: no flip
    ],
)
def test_where_two_straight_lines_cross(costs, slopes, now, found):
    import numpy as np

    answer = crossing(np.array(costs), np.array(slopes), 0, now)
    assert answer == (None if found is None else (pytest.approx(found[0]), found[1]))


def test_lines_are_what_asking_again_at_another_value_gives(demo_shop):
    """The line of each option, read at 70 an hour, against the whole question asked with 70."""
    shop = open_shop(demo_shop)
    asked = {"choice": "battery_release", "model": "Brask One"}
    lines = shop.decide(**asked).finding.parts["lines"]
    again = shop.decide(**asked, labour_rate=70).finding.parts["options"]
    costs = {one["option"]: one["cost_per_job"] for one in again if one["safety"] != "worse"}
    read = {
        line["option"]: line["cost_per_job"] + line["per_unit"] * (70 - line["now"])
        for line in lines
        if line["input"] == "labour_rate"
    }
    assert read == pytest.approx(costs, rel=0.02)
