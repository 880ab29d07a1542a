"""Their word of a failure may be followed by the attempt or the place, as ours may."""

from __future__ import annotations

import pytest

MAP = """
[values.failures]
"Lasche gerissen" = "tab_snapped"
"Clip ab" = "clip_snapped"
"Knack @ Rand" = "clip_snapped"
"2. Lasche" = "tab_snapped@2"
"""
ROW = {"battery_release": "pull_tab > pull_tab", "opening": "heat_plate > thin_blade"}
GOOD = {
    "lasche  gerissen@2": ("tab_snapped", "", 2),
    "Lasche gerissen @ 2": ("tab_snapped", "", 2),
    "Lasche gerissen@battery_release": ("tab_snapped", "battery_release", 0),
    "Lasche gerissen@Battery-Release.2": ("tab_snapped", "battery_release", 2),
    "Clip ab@opening.2": ("clip_snapped", "opening", 2),
    "Knack @ Rand": ("clip_snapped", "", 0),
    "Knack @ Rand@opening.1": ("clip_snapped", "opening", 1),
    "2. Lasche": ("tab_snapped", "", 2),
}


@pytest.mark.parametrize("cell", GOOD)
def test_a_mapped_word_with_a_place(shop, base, cell):
    shop.take([{**base, **ROW, "failures": cell}], mapping=shop.mapping(MAP))
    assert shop.reasons() == []
    assert shop.sql("select mode, place, number from records.failures") == [GOOD[cell]]


def test_several_in_one_cell(shop, base):
    cell = "Lasche gerissen@2; Clip ab@opening; tab_snapped@1"
    shop.take([{**base, **ROW, "failures": cell}], mapping=shop.mapping(MAP))
    assert shop.sql("select mode, place, number from records.failures order by all") == [
        ("clip_snapped", "opening", 0), ("tab_snapped", "", 1), ("tab_snapped", "", 2),
    ]  # fmt: skip


BAD = {
    "Lasche gerissen@": "after @ stands an attempt",
    "Lasche gerissen@0": "after @ stands an attempt",
    "Lasche gerissen@opening": "tab_snapped cannot occur at 'opening'",
    "2. Lasche@1": "tab_snapped cannot occur at '2@1'",
    "Laschen@2": "unknown failure mode 'Laschen'",
}


@pytest.mark.parametrize("cell", BAD)
def test_what_is_no_place_is_held_back(shop, base, cell):
    shop.take([{**base, **ROW, "failures": cell}], mapping=shop.mapping(MAP))
    (reason,) = shop.reasons()
    assert BAD[cell] in reason
