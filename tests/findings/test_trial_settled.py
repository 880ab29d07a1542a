"""A trial goes by what stood at its start, whatever the settings say later."""

from __future__ import annotations

import pytest

import fixstats
from fixstats.engines.duck import writing

from .trial_shop import NEW, PADS, START, begun, take_in, trial_jobs

HARM = {"heat_pad": 0.12}


@pytest.fixture(scope="module")
def harmed(tmp_path_factory):
    shop = begun(tmp_path_factory.mktemp("harmed"))
    rates = {"heat_plate": 0.3, "heat_pad": 0.3}
    take_in(shop, trial_jobs(120, rates, unchecked=0, harm=HARM))
    return shop


def with_limit(shop, limit):
    """The same shop with another safety limit in shop.toml."""
    path = shop.folder.path / "shop.toml"
    lines = path.read_text().splitlines()
    kept = [line for line in lines if not line.startswith("safety_limit")]
    path.write_text("\n".join([f"safety_limit = {limit}", *kept]) + "\n")
    return fixstats.open(shop.folder.path)


def notes_of(status):
    return {note.code: note.text for note in status.notes}


def test_the_limit_of_the_start_holds(harmed):
    before = with_limit(harmed, 0.02).trial("pads")
    assert before.rows[-1]["harm_evidence"] > 1
    assert "settings_changed" not in notes_of(before)
    after = with_limit(harmed, 0.2).trial("pads")
    assert after.rows == before.rows and after.settings["safety_limit"] == 0.02
    assert after.finding.parts == before.finding.parts
    told = notes_of(after)["settings_changed"]
    assert "a safety limit of 2 %, though shop.toml now says 20 %" in told


def test_a_start_settles_limit_and_modes(harmed):
    shop = with_limit(harmed, 0.03)
    shop.trial_start("later", "opening", options=PADS, difference=0.4, max_jobs=40)
    settings = with_limit(harmed, 0.5).trial("later").settings
    assert settings["safety_limit"] == 0.03
    assert settings["safety_modes"] == ["cell_pierced", "cell_hot"]


def test_a_trial_from_before_limits_were_kept_goes_by_those_of_now(harmed):
    with writing(harmed.folder.database) as con:
        con.execute(
            "insert into records.trials select * replace ('older' as trial, null as safety_limit, "
            "null as safety_modes) from records.trials where trial = 'pads'"
        )
    for limit in (0.02, 0.2):
        status = with_limit(harmed, limit).trial("older")
        assert status.settings["safety_limit"] == limit
        told = notes_of(status)["never_settled"]
        assert f"as they are now ({100 * limit:g} %)" in told
        assert "settings_changed" not in notes_of(status)


def test_a_mode_that_became_a_danger_is_told_and_not_watched(tmp_path):
    watched = type(NEW)(**vars(NEW) | {"safety_modes": ("cell_pierced", "gone_since", "heat_mark")})
    shop = begun(tmp_path, new=watched, now=START)
    take_in(shop, trial_jobs(12, {"heat_plate": 0, "heat_pad": 0}))
    status = shop.trial("pads")
    assert status.settings["safety_modes"] == ["cell_pierced", "heat_mark"]
    told = notes_of(status)["settings_changed"]
    assert "it does not watch cell_hot, now a safety mode in the catalogue" in told
    assert "fixstats rates --mode cell_hot --by assigned --where trial=pads" in told
    assert "it can no longer count gone_since, which the catalogue lacks by now" in told
    assert "it still watches heat_mark, no longer a safety mode in the catalogue" in told
    row = shop.rates(mode="cell_hot", by="assigned", where={"trial": "pads"}).rows[0]
    assert row["opportunities"] > 0
