"""``fixstats adopt`` on a shop of its own: recorded, shown, refused."""

from __future__ import annotations

import json
import shutil

import pytest

from fixstats.cli import complete
from fixstats.findings.standards import KEYS


@pytest.fixture
def own(demo_shop, tmp_path):
    """A copy of the demo shop that a test may change."""
    path = tmp_path / "own"
    path.mkdir()
    for name in ("shop.toml", "catalogue.toml", "shop.duckdb"):
        shutil.copy(demo_shop / name, path / name)
    (path / "inbox").mkdir()
    return path


@pytest.fixture
def ask(run, own):
    return lambda *words: run("adopt", *words, "--shop", own)


def test_recorded_shown_and_told_what_it_takes_the_place_of(ask, own):
    before = (own / "catalogue.toml").read_bytes()
    code, out, err = ask("opening", "Heat_Pad", "--since", "2026-08-01")
    assert code == 0
    assert out.splitlines()[0] == (
        "adopted heat_pad for opening on all models without one of their own, from 2026-08-01; "
        "before: heat_plate, since 2026-06-01"
    )
    assert "all else in it is as it was" in out
    assert err.startswith("caution: heat_pad: ")
    after = (own / "catalogue.toml").read_bytes()
    assert after.startswith(before) and after != before
    code, out, err = ask("opening")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].startswith("opening: heat_pad, house standard from 2026-08-01, is the first ")
    assert lines[2] == "house standards by first choice, 95 % intervals, up to 2026-09-30"
    assert lines[6].startswith("opening  all    heat_pad")
    assert "note: before against since is not like for like" in out
    code, out, _ = ask("calibration", "service_console", "--model", "norvane  22")
    assert (code, out) == (2, "")


def test_json_has_the_stated_keys_and_the_reason_of_every_null(ask):
    assert ask("battery_grade", "original", "--model", "Brask One", "--since", "2027-01")[0] == 0
    code, out, _ = ask("--format", "json")
    found = json.loads(out)
    assert code == 0 and found["question"] == "standards"
    assert all(tuple(row) == KEYS for row in found["rows"])
    assert found["rows"][-1]["share"] is None
    notes = {note["code"]: note["text"] for note in found["notes"]}
    assert "battery_grade (Brask One)" in notes["no_jobs_since"]
    wanted = {"confidence_level", "view", "since", "until", "as_of", "catalogue_hash", "batches"}
    assert wanted <= set(found["settings"])


def test_a_safety_state_of_worse_is_never_adopted(ask, own):
    before = (own / "catalogue.toml").read_bytes()
    code, out, err = ask("battery_release", "pry_tool")
    assert (code, out) == (2, "")
    assert "battery_release: pry_tool is not adopted: it has more safety failures" in err
    assert err.count("\n") <= 2
    assert (own / "catalogue.toml").read_bytes() == before


def test_an_unproven_one_is_adopted_with_a_warning(run, tmp_path):
    assert run("init", tmp_path / "new", "--name", "New")[0] == 0
    code, out, err = run("adopt", "opening", "heat_gun", "--shop", tmp_path / "new")
    assert code == 0 and out.startswith("adopted heat_gun for opening on all models")
    assert "warning: the safety of heat_gun is not shown: 0 of 0 jobs" in err
    assert "149 further jobs without a safety failure would clear it" in err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("openin", "heat_pad"), "'openin' is no choice; did you mean 'opening'?"),
        (("opening", "heat_gum"), "'heat_gum' is no option of opening; did you mean 'heat_gun'?"),
        (("opening", "thread_cut"), "'thread_cut' is no option of opening"),
        (("opening", "heat_plate"), "heat_plate is the house standard already, since 2026-06-01"),
        (("opening", "heat_gun", "--since", "2026-06-01"), "a day has one standard"),
        (("opening", "heat_pad", "--since", "soon"), "--since soon: no such date"),
        (("opening", "heat_pad", "--model", "Brask Won"), "no record has the model 'Brask Won'; "),
        (("battery_supplier", "Corvo Suply"), "did you mean 'Corvo"),
        (("opening", "heat_pad", "--format", "json"), "--format is for showing standards"),
        (("opening", "--model", "Brask One"), "--model is for recording one: fixstats adopt"),
        (("--new",), "--new is for recording one"),
        (("--confidence", "95"), "--confidence 95: must lie between 0.5 and 1"),
    ],
)
def test_wrong_words_are_refused_in_two_lines(run, demo_shop, words, told):
    before = (demo_shop / "catalogue.toml").read_bytes()
    code, out, err = run("adopt", *words, "--shop", demo_shop)
    assert (code, out) == (2, "")
    assert err.startswith("fixstats: ") and told in err
    assert err.count("\n") <= 2
    assert (demo_shop / "catalogue.toml").read_bytes() == before


def test_the_tab_key_offers_the_options_of_the_choice(demo_shop, monkeypatch):
    monkeypatch.setenv("FIXSTATS_SHOP", str(demo_shop))

    class Line:
        def __init__(self, choice):
            self.params = {"choice": choice}

    assert complete.options(Line("opening"), "heat_p") == ["heat_plate", "heat_pad"]
    assert complete.options(Line("battery_grade"), "orig") == ["original", "original_pulled"]
    assert complete.options(Line("battery_supplier"), "Cor") == ["Corvo Supply"]
    assert complete.options(Line(None), "") == []
    assert "Brask One" in complete.models("Brask")
