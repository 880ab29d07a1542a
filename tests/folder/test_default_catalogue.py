"""The catalogue that we ship passes, has the families, and cautions where work can hurt."""

import tomllib

import pytest

from fixstats.folder import DEFAULT_CATALOGUE, build_catalogue, read_catalogue
from fixstats.folder.links import FAMILIES

DEFAULT = read_catalogue(DEFAULT_CATALOGUE)
HAZARDS = ("heat", "hot", "warm", "solvent", "laser", "blade", "pry", "solder", "chill", "glass")


def test_the_default_catalogue_passes_and_has_the_families():
    raw = tomllib.loads(DEFAULT_CATALOGUE.read_text(encoding="utf-8"))
    assert build_catalogue(raw, DEFAULT_CATALOGUE).modes == DEFAULT.modes
    assert set(FAMILIES) <= set(DEFAULT.families)


@pytest.mark.parametrize("code", [one.code for one in DEFAULT.failure_modes if one.safety])
def test_safety_modes_have_a_caution(code):
    assert DEFAULT.modes[code].cautions


def hazardous(method):
    """By its words, or because a safety mode can happen at its step and it works on the cell."""
    words = f"{method.code} {method.label}".lower()
    return any(hazard in words for hazard in HAZARDS) or method.step == "battery_release"


@pytest.mark.parametrize("code", [one.code for one in DEFAULT.methods if hazardous(one)])
def test_hazardous_methods_have_a_caution(code):
    method = next(one for one in DEFAULT.methods if one.code == code)
    assert method.cautions


def test_there_are_safety_modes_and_hazardous_methods():
    assert sum(mode.safety for mode in DEFAULT.failure_modes) >= 4
    assert sum(map(hazardous, DEFAULT.methods)) >= 15
