"""Questions that count what ``fixstats rates`` counts give the same counts, on the whole demo."""

import shutil

import pytest

from fixstats.engines.duck import reading
from fixstats.engines.session import build_session
from fixstats.folder import ShopFolder
from fixstats.records.importer import import_sheets
from fixstats.resources import resource
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_modes, count_pairs, count_union
from fixstats.tallies.questions import run_question

FAMILIES = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")
FIGURES = ("failures", "opportunities", "unknown", "unknown_failed")


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    path = tmp_path_factory.mktemp("demo")
    demo = resource("demo_data")
    for name in ("shop.toml", "catalogue.toml"):
        shutil.copy(demo / name, path / name)
    folder = ShopFolder(path)
    import_sheets(folder, [demo / "harbour_bench.csv"], covers="all")
    import_sheets(
        folder, [demo / "mill_bench.csv"], covers="display_damage,broken_tabs,drains_fast"
    )
    with reading(folder.database) as con:
        build_session(con, folder.catalogue)
        yield folder, con


def table(columns, keys, figures=FIGURES):
    """Keys -> counts; each group once."""
    rows = list(zip(*(columns[name] for name in (*keys, *figures)), strict=True))
    found = {row[: len(keys)]: row[len(keys) :] for row in rows}
    assert len(found) == len(rows)
    return found


def asked(shop, name, settings=None):
    return run_question(shop[0], name, settings, con=shop[1]).frame


@pytest.mark.parametrize("step", ["opening", "calibration"])
def test_families_are_the_unions_of_the_tallies(shop, step):
    folder, con = shop
    frame = asked(shop, "families_by_method", {"step": step})
    for family in FAMILIES:
        modes = folder.catalogue.families[family]
        counts = count_union(con, folder.catalogue, Ask(modes, by=("model", step)))
        expected = table(counts.columns, ("model", step))
        got = table(
            frame.filter(frame["family"] == family).to_dict(as_series=False), ("model", "method")
        )
        assert got == {key: row for key, row in expected.items() if key[1] != "-"}
        assert got


def test_pairs_are_those_of_the_tallies(shop):
    folder, con = shop
    modes = [mode.code for mode in folder.catalogue.failure_modes if mode.mixed]
    keys = ("mode", "part_a", "grade_a", "part_b", "grade_b")
    counts = count_pairs(con, folder.catalogue, Ask(tuple(modes), by=("pair",)))
    got = table(asked(shop, "mixed_pairs").to_dict(as_series=False), keys)
    assert got == table(counts.columns, keys)
    assert len(got) > 10


@pytest.mark.parametrize("mode", ["tab_snapped", "cell_bent"])
@pytest.mark.parametrize("view", ["first", "attempted"])
def test_both_views_are_those_of_the_tallies(shop, mode, view):
    folder, con = shop
    frame = asked(shop, "first_against_attempted", {"mode": mode})
    figures = FIGURES[:3]
    got = table(frame.to_dict(as_series=False), ("method",), [f"{view}_{name}" for name in figures])
    ask = Ask((mode,), by=("battery_release",), view=view)
    counts = count_modes(con, folder.catalogue, ask)
    expected = table(counts.columns, ("battery_release",), figures)
    # The question sets both views side by side: a method without a place in one has zeros there.
    assert {key: row for key, row in got.items() if row != (0, 0, 0)} == expected
    assert expected


def test_lots_are_those_of_the_tallies(shop):
    folder, con = shop
    ask = Ask(("drains_fast",), by=("battery_supplier", "battery_lot"), view="attempted")
    counts = count_modes(con, folder.catalogue, ask)
    frame = asked(shop, "lots", {"mode": "drains_fast"})
    got = table(frame.to_dict(as_series=False), ("supplier", "lot"))
    assert got == table(counts.columns, ("battery_supplier", "battery_lot"))
    assert len(got) > 20


def test_charge_is_that_of_the_tallies(shop):
    folder, con = shop
    ask = Ask(("calibration_refused",), by=("calibration", "charge"))
    counts = count_modes(con, folder.catalogue, ask)
    names = {"<20": "below", ">=20": "at or above", None: None}
    counts.columns["charge"] = [names[band] for band in counts.columns["charge"]]
    got = table(asked(shop, "low_charge").to_dict(as_series=False), ("method", "charge"))
    assert got == table(counts.columns, ("calibration", "charge"))
    assert len(got) == 6
