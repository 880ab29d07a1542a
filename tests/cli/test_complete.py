"""The tab key: codes, keys, names; silence where there is no shop."""

from __future__ import annotations

import pytest

from fixstats.cli import complete


@pytest.fixture
def here(demo_shop, monkeypatch):
    monkeypatch.setenv("FIXSTATS_SHOP", str(demo_shop))


def test_codes_keys_and_names_are_offered(here):
    assert complete.modes("tab") == ["tab_snapped"]
    assert complete.families("dis") == ["display_damage"]
    assert "battery_grade" in complete.keys("battery_")
    assert complete.keys("model,openi")[0] == "model,opening"
    assert complete.choices("opening") == ["opening"]
    assert complete.steps("open") == ["opening"]
    assert complete.methods("thread") == ["thread_cut"]
    assert complete.choices("battery_s") == ["battery_supplier"]
    assert complete.pairs("mod") == ["model="]
    assert "model=Brask One" in complete.pairs("model=Brask")
    assert complete.questions("low") == ["low_charge"]


def test_without_a_shop_nothing_is_offered_and_nothing_is_said(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FIXSTATS_SHOP", raising=False)
    for offer in (
        complete.modes, complete.families, complete.keys, complete.pairs, complete.choices,
        complete.steps, complete.methods,
    ):  # fmt: skip
        assert offer("m") == []
    assert complete.pairs("model=") == []
    assert capsys.readouterr() == ("", "")
