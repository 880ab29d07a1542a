"""What a comparison may compare and adjust for is settled, or refused, before counting."""

import tomllib
from datetime import date
from pathlib import Path

import pytest

from fixstats.errors import UsageError
from fixstats.findings.compare_plan import (
    CompareAsk,
    check_ask,
    check_keys,
    find_baseline,
    find_choice,
    learning,
    may_follow,
    mode_sets,
    options_of,
    picked_by,
    shifted,
)
from fixstats.folder import build_catalogue
from fixstats.tallies.choices import Use

CATALOGUE = """
format = 1
step = [{code = "opening", label = "Opening", order = 1},
        {code = "release", label = "Release", order = 2},
        {code = "closing", label = "Closing", order = 3}]
method = [{step = "opening", code = "heat", label = "Heat"},
          {step = "opening", code = "cold", label = "Cold"},
          {step = "release", code = "pull", label = "Pull"},
          {step = "closing", code = "tape", label = "Tape"}]
part = [{code = "battery", label = "Battery"}, {code = "display", label = "Display"}]
grade = [{code = "original", label = "Original"}, {code = "copy", label = "Copy"}]
factor = [{code = "liquid", label = "Liquid", kind = "flag"},
          {code = "charge", label = "Charge", kind = "number", bands = [20], when = "during"}]
repair = [{code = "swap", label = "Swap", steps = ["opening", "release"], parts = ["battery"]}]
failure_mode = [
  {code = "torn", label = "Torn", family = "broken_tabs", severity = 2, steps = ["release"]},
  {code = "lines", label = "Lines", family = "display_damage", severity = 3, \
   steps = ["opening", "release"]},
  {code = "scratched", label = "Scratched", family = "display_damage", severity = 1, \
   steps = ["opening"]},
  {code = "refused", label = "Refused", family = "calibration_failures", severity = 2, \
   steps = ["release"]},
  {code = "clash", label = "Clash", family = "mixed_part_conflicts", severity = 3, \
   mixed = ["battery", "display"]},
  {code = "dead", label = "Dead", family = "part_failure", severity = 2, part = "any"},
  {code = "drains", label = "Drains", family = "part_failure", severity = 2, part = "battery"},
]
standard = [{choice = "opening", option = "cold", since = 2026-01-01},
            {choice = "opening", option = "heat", since = 2026-06-01},
            {choice = "release", option = "pull", since = 2026-01-01, model = "Alder 5"}]
"""
LATE = date(2026, 7, 1)


@pytest.fixture(scope="module")
def catalogue():
    return build_catalogue(tomllib.loads(CATALOGUE), Path("catalogue.toml"))


def use(option, jobs=10, who="T1", year=2026, quarter=1, first=date(2026, 1, 5), last=LATE):
    return Use(option, who, year, quarter, jobs, first, last)


# ------------------------------------------------------------------------------ choice and modes


@pytest.mark.parametrize(
    ("name", "place", "is_step"),
    [
        ("opening", "opening", True),
        ("battery_grade", "battery", False),
        ("display_supplier", "display", False),
    ],
)
def test_choices(catalogue, name, place, is_step):
    choice = find_choice(name, catalogue)
    assert (choice.name, choice.place, choice.is_step) == (name, place, is_step)


@pytest.mark.parametrize(
    ("name", "near"),
    [("openin", "did you mean 'opening'"), ("battery_grad", "'battery_grade'"), ("model", "step")],
)
def test_what_is_no_choice_is_refused(catalogue, name, near):
    with pytest.raises(UsageError, match="is no choice") as refused:
        find_choice(name, catalogue)
    assert near in str(refused.value)
    assert str(refused.value).count("\n") == 1


def codes(catalogue, choice, **given):
    ask = CompareAsk(choice, **given)
    found = mode_sets(find_choice(choice, catalogue), ask, catalogue)
    return [(one.codes, one.mode, one.family) for one in found]


def test_default_modes_are_a_union_of_all_that_can_occur_there(catalogue):
    assert codes(catalogue, "opening") == [(("lines", "scratched"), None, "display_damage")]
    assert codes(catalogue, "release") == [(("torn", "lines", "refused"), None, None)]
    assert codes(catalogue, "battery_grade") == [(("dead", "drains"), None, "part_failure")]
    assert codes(catalogue, "display_grade") == [(("dead",), None, "part_failure")]


def test_modes_families_and_unions_asked_for(catalogue):
    assert codes(catalogue, "opening", mode=("dead", "torn", "dead")) == [
        (("dead",), "dead", "part_failure"),
        (("torn",), "torn", "broken_tabs"),
    ]
    found = codes(catalogue, "opening", family=("display_damage", "broken_tabs"))
    assert found == [
        (("lines", "scratched"), None, "display_damage"),
        (("torn",), None, "broken_tabs"),
    ]
    found = codes(catalogue, "opening", any=("display_damage", "lines", "clash"))
    assert found == [(("lines", "scratched", "clash"), None, None)]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"mode": ("tron",)}, "unknown failure mode 'tron'; did you mean 'torn'"),
        ({"family": ("displaydamage",)}, "unknown family 'displaydamage'; did you mean 'display_d"),
        ({"any": ("dea",)}, "unknown failure mode 'dea'; did you mean 'dead'"),
    ],
)
def test_unknown_modes_are_refused(catalogue, given, told):
    with pytest.raises(UsageError, match=told):
        codes(catalogue, "opening", **given)


def test_a_choice_without_modes_wants_one(catalogue):
    with pytest.raises(UsageError, match="no failure mode of the catalogue belongs to closing"):
        codes(catalogue, "closing")


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"mode": ("a",), "any": ("b",)}, "use one of them"),
        ({"by": ("technician",)}, "goes by model"),
        ({"at": "soon"}, "say now or practised"),
        ({"confidence": 95.0}, "--confidence 95: must lie between 0.5 and 1"),
    ],
)
def test_questions_that_make_no_sense(given, told):
    with pytest.raises(UsageError, match=told):
        check_ask(CompareAsk("opening", **({"confidence": 0.95} | given)))


# ---------------------------------------------------------------- only what was fixed before


@pytest.mark.parametrize(
    "key",
    [
        "model", "technician", "branch", "repair", "month", "quarter", "year", "trial", "liquid",
        "opening", "opening_practice", "opening_another_try", "release_practice", "battery_grade",
        "display_supplier", "battery_lot", "parts_together", "grades_mixed",
    ],
)  # fmt: skip
def test_keys_fixed_before_the_release(catalogue, key):
    check_keys((key,), "--adjust", find_choice("release", catalogue), catalogue)


@pytest.mark.parametrize(
    ("choice", "key", "why"),
    [
        ("release", "outcome", "it is known at the end of the job"),
        ("release", "assigned", "it was drawn to be the choice"),
        ("release", "release", "it is the choice itself"),
        ("release", "closing", "closing does not come earlier"),
        ("release", "closing_practice", "closing does not come earlier"),
        ("release", "closing_another_try", "closing does not come earlier"),
        ("release", "release_another_try", "it is known only after release was tried"),
        ("release", "charge", "it is measured during the job"),
        ("battery_grade", "opening", "opening comes after the part was chosen"),
        ("battery_grade", "grades_mixed", "it follows from the grade"),
        ("battery_grade", "battery_grade", "it is the choice itself"),
        ("battery_grade", "battery_lot", "it comes with the battery chosen"),
        ("battery_supplier", "battery_grade", "it comes with the battery chosen"),
        ("release", "modl", "unknown key 'modl'; did you mean 'model'"),
    ],
)
def test_keys_that_came_later_are_refused(catalogue, choice, key, why):
    with pytest.raises(UsageError, match=why) as refused:
        check_keys((key,), "--strata", find_choice(choice, catalogue), catalogue)
    assert str(refused.value).startswith(f"--strata {key}: ")


def test_another_part_may_be_adjusted_for(catalogue):
    check_keys(("display_grade",), "--adjust", find_choice("battery_grade", catalogue), catalogue)


def test_jobs_picked_by_how_they_went(catalogue):
    release = find_choice("release", catalogue)
    fair = [(key, "x") for key in ("model", "rework", "opening", "release", "assigned", "liquid")]
    assert picked_by(fair, release, catalogue) == []
    late = [("outcome", "completed"), ("release_another_try", "no"), ("outcome", "given_up")]
    assert picked_by([*fair, *late], release, catalogue) == [
        "outcome: it is known at the end of the job",
        "release_another_try: it is known only after release was tried",
    ]


def test_parts_that_a_method_may_have_broken(catalogue):
    release = find_choice("release", catalogue)
    keys = ("model", "parts_together", "grades_mixed", "battery_grade", "display_grade")
    # the battery belongs to every repair with that step; a display is fitted if it broke
    assert may_follow(keys, release, catalogue) == keys_after(keys)
    assert may_follow(keys, find_choice("battery_grade", catalogue), catalogue) == []


def keys_after(keys):
    return [key for key in keys if key in ("parts_together", "grades_mixed", "display_grade")]


# ---------------------------------------------------------------- options, baseline, time


USES = [use("heat", 10), use("heat", 5, "T2"), use("cold", 20), use(None, 4), use("-", 99)]


def test_options_are_those_seen_most_used_first():
    assert options_of(USES) == ("cold", "heat")
    assert options_of([use("b"), use("a"), use(None)]) == ("a", "b")


def baseline(catalogue, uses=USES, as_of=LATE, choice="opening", **given):
    ask = CompareAsk(choice, **given)
    return find_baseline(find_choice(choice, catalogue), ask, uses, catalogue, as_of)


def test_the_baseline_is_the_latest_standard(catalogue):
    assert baseline(catalogue) == ("heat", "the house standard")
    assert baseline(catalogue, as_of=date(2026, 5, 31)) == ("cold", "the house standard")
    assert baseline(catalogue, until=date(2026, 5, 31)) == ("cold", "the house standard")


def test_without_a_standard_it_is_the_most_used(catalogue):
    assert baseline(catalogue, as_of=date(2025, 12, 31)) == ("cold", "the most used, 20 jobs")
    # one model's standard is none for all
    found = baseline(catalogue, [use("pull", 3), use("pry", 8)], choice="release")
    assert found == ("pry", "the most used, 8 jobs")


def test_one_model_has_its_own_standard(catalogue):
    uses = [use("pull", 3), use("pry", 8)]
    only = {"choice": "release", "where": (("model", "Alder 5"),)}
    assert baseline(catalogue, uses, **only) == ("pull", "the house standard on Alder 5")
    found = baseline(catalogue, [use("pry", 8)], **only)
    assert found[1] == "the most used, 8 jobs; the house standard pull on Alder 5 is not in them"
    two = (("model", "Alder 5"), ("model", "Elm 2"))
    assert baseline(catalogue, uses, choice="release", where=two)[0] == "pry"
    # a model without one goes by that of all
    elm = (("model", "Elm 2"),)
    assert baseline(catalogue, where=elm) == ("heat", "the house standard")


def test_a_standard_nobody_used_is_named(catalogue):
    found, because = baseline(catalogue, [use("cold", 3), use("warm", 2)])
    assert found == "cold"
    assert because == "the most used, 3 jobs; the house standard heat is not in them"


def test_a_baseline_asked_for(catalogue):
    assert baseline(catalogue, baseline="cold") == ("cold", "asked for")
    assert baseline(catalogue, [use("Reed  Ltd")], baseline="reed ltd")[0] == "Reed  Ltd"
    with pytest.raises(UsageError, match=r"--baseline heet: .*did you mean 'heat'"):
        baseline(catalogue, baseline="heet")


def test_shares_that_move_are_seen_and_small_quarters_are_not():
    even = [use(option, 50, quarter=q) for option in ("heat", "cold") for q in (1, 2, 3)]
    assert not shifted(even, ("heat", "cold"))
    assert not shifted([*even, use("heat", 19, quarter=4)], ("heat", "cold"))
    assert shifted([*even, use("heat", 60, quarter=4)], ("heat", "cold"))
    # what was not recorded, or not done, is no option
    assert not shifted([*even, use(None, 60, quarter=4), use("-", 60, quarter=4)], ("heat", "cold"))


def test_learning_is_a_method_begun_after_ninety_days():
    start = date(2026, 1, 1)
    early = [use("heat", first=date(2026, 3, 31)), use("cold", who="T2", first=date(2026, 1, 1))]
    assert not learning(early, start)
    assert learning([*early, use("cold", first=date(2026, 4, 1))], start)
    # a later quarter of one that was in use is no beginning
    assert not learning([*early, use("heat", first=date(2026, 5, 1), quarter=2)], start)
    assert not learning([use("heat", who=None, first=date(2026, 8, 1))], start)
