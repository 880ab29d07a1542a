"""Settings: every key has its range, and a wrong one is named with what is allowed."""

import tomllib
from dataclasses import fields, replace
from pathlib import Path

import pytest

from fixstats.errors import FolderError
from fixstats.folder import Settings
from fixstats.folder.settings import RULES, check_settings, read_settings, settings_text

WHERE = Path("shop.toml")
GOOD = {"format": 1, "name": "Bench"}


def test_two_keys_are_enough():
    assert check_settings(GOOD, WHERE) == Settings(name="Bench")


def test_every_setting_has_a_rule():
    assert set(RULES) == {field.name for field in fields(Settings)}


def test_defaults_are_those_of_the_design():
    settings = Settings(name="Bench")
    limits = (settings.standardise_at, settings.tolerance, settings.worth_knowing,
              settings.safety_limit, settings.horizon_months)  # fmt: skip
    assert limits == (0.95, 0.50, 0.02, 0.02, 12)


@pytest.mark.parametrize(
    "key", [field.name for field in fields(Settings) if field.name not in GOOD]
)
def test_defaults_pass_their_own_rules(key):
    test, _ = RULES[key]
    assert test(getattr(Settings(name="Bench"), key))


WRONG = {
    "format": [0, 2, "1", True],
    "name": ["", "  ", 5, None],
    "currency": ["eur", "EURO", "€", 5],
    "labour_rate": [-1, "60", True, float("nan"), float("inf")],
    "warranty_days": [0, -1, 90.5, "90", True],
    "confidence_level": [0, 0.5, 1, 95, "0.95", float("nan")],
    "time_zone": ["Mars/Olympus", "", "../etc", 5, ["UTC"]],
    "standardise_at": [0, 1, "0.95"],
    "tolerance": [-0.01, "0.5", float("inf")],
    "worth_knowing": [0, 1],
    "safety_limit": [0, 1, -0.02],
    "horizon_months": [0, 1.5, True],
}


@pytest.mark.parametrize("key", RULES)
def test_values_out_of_range(key):
    for value in WRONG[key]:
        with pytest.raises(FolderError, match=f"^shop.toml: {key} = .+ is not allowed") as caught:
            check_settings(GOOD | {key: value}, WHERE)
        assert str(caught.value).endswith(f"allowed: {RULES[key][1]}")


def test_unknown_keys_name_the_nearest():
    with pytest.raises(FolderError, match="unknown key 'labor_rate'; did you mean 'labour_rate'"):
        check_settings(GOOD | {"labor_rate": 60}, WHERE)


@pytest.mark.parametrize("key", GOOD)
def test_required_keys(key):
    raw = {name: value for name, value in GOOD.items() if name != key}
    with pytest.raises(FolderError, match=f"shop.toml: {key} is missing; allowed: "):
        check_settings(raw, WHERE)


@pytest.mark.parametrize(
    "name", ["Bench", 'The "Bench"', "Bänke\\Co", "a\tb", "# no comment", "№ 1"]
)
def test_what_is_written_reads_back(tmp_path, name):
    settings = replace(
        Settings(name=name), currency="CHF", labour_rate=71.5, time_zone="Europe/Lisbon"
    )
    path = tmp_path / "shop.toml"
    path.write_text(settings_text(settings), encoding="utf-8")
    assert read_settings(path) == settings
    assert set(tomllib.loads(path.read_text(encoding="utf-8"))) == set(RULES)


def test_files_that_cannot_be_read(tmp_path):
    path = tmp_path / "shop.toml"
    with pytest.raises(FolderError, match=r"shop\.toml: cannot be read \(No such file"):
        read_settings(path)
    path.write_text("name = \n")
    with pytest.raises(FolderError, match=r"shop\.toml: Invalid value .*line 1"):
        read_settings(path)
    path.write_bytes("name = 'Bänke'".encode("latin-1"))
    with pytest.raises(FolderError, match="is not UTF-8 text; save it as UTF-8"):
        read_settings(path)
