"""A session built for one question has every view that the question reads, and no others."""

from __future__ import annotations

import duckdb
import pytest

from fixstats.engines.session import build_session
from fixstats.folder import ShopFolder
from fixstats.resources import resource, statement
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_modes, count_pairs, count_union, statements_for
from fixstats.tallies.keys import SOURCES, resolve

# A key of every kind.
KEYS = (
    "model", "opening", "battery_grade", "swollen", "opening_practice", "opening_another_try",
    "parts_together", "grades_mixed",
)  # fmt: skip


@pytest.fixture(scope="module")
def catalogue():
    return ShopFolder(resource("demo_data")).catalogue


def session(catalogue, *asked):
    con = duckdb.connect()
    con.execute(statement("schema"))
    build_session(con, catalogue, digging=False, statements=statements_for(*asked))
    return con


def test_the_keys_are_of_every_kind(catalogue):
    kinds = {resolve(key, catalogue, ()).kind for key in KEYS}
    assert kinds == {"job", *SOURCES}


@pytest.mark.parametrize("where", [(), (("model", ""),)], ids=["all", "where"])
@pytest.mark.parametrize("view", ["first", "attempted"])
@pytest.mark.parametrize("key", [None, *KEYS])
def test_nothing_is_missing(catalogue, key, view, where):
    by = () if key is None else (key,)
    ask = Ask(tuple(catalogue.modes), by, view, where)
    with session(catalogue, by, where, view) as con:
        assert len(count_modes(con, catalogue, ask)) == 0
        if view == "first":
            assert len(count_union(con, catalogue, ask)) == 0


def test_nothing_is_missing_for_pairs(catalogue):
    modes = tuple(code for code, mode in catalogue.modes.items() if mode.mixed)
    by = ("pair", "model")
    with session(catalogue, by, (), "first") as con:
        assert len(count_pairs(con, catalogue, Ask(modes, by))) == 0


def test_what_is_not_read_is_not_built(catalogue):
    with session(catalogue, (), (), "first") as con:
        found = con.execute("select view_name from duckdb_views() where not internal").fetchall()
    built = {name for (name,) in found}
    assert {"jobs", "marks_first", "mixed_units"} <= built
    assert not built & {"practice", "tries", "marks_attempted", "known_names", "outcomes_first"}
