"""The default catalogue: the rules of the format, and what somebody at the bench would miss."""

from pathlib import Path

import pytest

import fixstats.folder
from fixstats.folder.links import read_catalogue

CATALOGUE = read_catalogue(Path(fixstats.folder.__file__).with_name("default_catalogue.toml"))

FAMILIES = {
    "broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts", "cell_damage",
    "collateral_damage", "contamination", "sealing", "power", "part_failure",
}  # fmt: skip


def test_it_is_accepted_and_has_all_families():
    assert set(CATALOGUE.families) >= FAMILIES
    assert all(len(CATALOGUE.families[family]) >= 3 for family in FAMILIES)


def test_every_step_has_a_choice_and_something_that_can_go_wrong():
    at_steps = {step for mode in CATALOGUE.failure_modes for step in mode.steps}
    assert at_steps == set(CATALOGUE.step_codes)
    assert all(len(CATALOGUE.methods_of(step)) >= 2 for step in CATALOGUE.step_codes)


def test_every_step_part_and_factor_belongs_to_a_repair():
    used = {code for r in CATALOGUE.repairs for code in (*r.steps, *r.parts, *r.factors)}
    factors = {factor.code for factor in CATALOGUE.factors}
    assert used == {*CATALOGUE.step_codes, *CATALOGUE.part_codes, *factors}


def test_steps_of_a_repair_are_in_bench_order():
    for repair in CATALOGUE.repairs:
        assert list(repair.steps) == [s for s in CATALOGUE.step_codes if s in repair.steps]


@pytest.mark.parametrize("mode", CATALOGUE.failure_modes, ids=lambda mode: mode.code)
def test_every_mode_has_a_cost_and_safety_modes_have_cautions(mode):
    assert mode.cost_minutes is not None
    assert mode.cost_money is not None
    assert bool(mode.cautions) == mode.safety
    if mode.safety:
        assert mode.family == "cell_damage"
        assert mode.severity >= 4


HAZARDS = ("heat", "hot", "solvent", "laser", "blade", "pry", "solder", "cold", "warm", "adhesive")


def test_hazardous_methods_carry_cautions():
    for method in CATALOGUE.methods:
        words = f"{method.code} {method.label}".lower()
        if any(hazard in words for hazard in HAZARDS):
            assert method.cautions, method.code


def test_cautions_defer_to_the_maker_or_local_rules():
    text = " ".join(c for m in CATALOGUE.methods for c in m.cautions)
    for words in ("maker's service instructions", "local rules", "licensed practice"):
        assert words in text


def test_the_factors_that_decide_calibration_have_the_usual_edges():
    factors = {factor.code: factor for factor in CATALOGUE.factors}
    assert factors["battery_health"].bands == (80,)
    assert factors["charge"].bands == (20,)
    assert factors["charge"].when == "during"
    assert {code: one.at for code, one in factors.items() if one.at} == dict.fromkeys(
        ("charge", "connection"), "calibration"
    )
    assert "hotspot" in factors["connection"].values
    assert {"swollen", "prior_repair", "liquid"} <= set(factors)


def test_every_part_has_a_price_for_every_grade():
    priced = {(price.part, price.grade) for price in CATALOGUE.prices}
    assert priced == {(p, g.code) for p in CATALOGUE.part_codes for g in CATALOGUE.grades}
