"""The SQL agrees with the naive twin on random shops: every count, every key, both views.

Most shops go straight into the tables (cheap); some go all the way, from a shop folder and CSV
files through the importer. The seed in a failure gives ``random_shop(random.Random(seed))``.
"""

from __future__ import annotations

import os
import random
import tempfile
from pathlib import Path

import duckdb
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from fixstats.engines.duck import reading
from fixstats.engines.session import build_session
from fixstats.folder.shopfolder import ShopFolder
from fixstats.records.importer import import_sheets

from . import store
from .agreement import differences, every_grouping, few_questions
from .shops import random_shop, reduced, shops, write_shop

RELAXED = settings(
    deadline=None,
    database=None,
    derandomize=True,  # the everyday suite tells the same story twice; the slow tests roam
    phases=[Phase.generate, Phase.shrink],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
SLOW_SHOPS = int(os.environ.get("FIXSTATS_RANDOM_SHOPS", "3000"))
CHUNKS = 10


@pytest.fixture(scope="module")
def con():
    with duckdb.connect() as con:
        store.lay_out(con)
        yield con


def in_memory(con, shop, asked):
    """Differences where the shop's jobs are put straight into the tables."""
    catalogue = store.catalogue_of(shop, Path("catalogue.toml"))
    store.fill(con, shop, catalogue)
    return differences(shop, con, catalogue, asked)


def through_importer(shop, asked):
    """Rows held back (there should be none), else differences, of sheets really imported."""
    with tempfile.TemporaryDirectory() as scratch:
        files = write_shop(shop, Path(scratch, "shop"))
        folder = ShopFolder(Path(scratch, "shop"))
        for file, covers in files:
            import_sheets(folder, [file], covers=covers)
        with reading(folder.database) as con:
            held = con.execute('select file, "row", "column", reason from records.heldback')
            refused = held.fetchall()
            if refused:
                return [f"held back: {row}" for row in refused]
            build_session(con, folder.catalogue)
            return differences(shop, con, folder.catalogue, asked)


def agree_on_seed(con, seed):
    rng = random.Random(seed)
    shop = random_shop(rng)
    asked = few_questions(shop, rng)
    found = in_memory(con, shop, asked)
    if found:
        shop = reduced(shop, lambda one: bool(in_memory(con, one, asked[:5])))
        found = in_memory(con, shop, asked) or found
    assert not found, f"seed {seed}, shortened: {shop}\n" + "\n".join(found)


@settings(RELAXED, max_examples=25)
@given(shop=shops())
def test_sheets_through_the_importer_agree(shop):
    asked = few_questions(shop, random.Random(str(shop)), others=0)
    found = through_importer(shop, asked)
    assert not found, "\n".join(found)


@settings(RELAXED, max_examples=50)
@given(shop=shops())
def test_jobs_in_the_tables_agree(con, shop):
    found = in_memory(con, shop, few_questions(shop, random.Random(str(shop)), others=0))
    assert not found, "\n".join(found)


@pytest.mark.parametrize("chunk", range(2))
def test_larger_shops_agree(con, chunk):
    for seed in range(10 * chunk, 10 * chunk + 10):
        agree_on_seed(con, seed)


@pytest.mark.parametrize("view", ["first", "attempted"])
def test_every_key_alone_and_some_pairs_agree(con, view):
    rng = random.Random(f"one larger shop, {view}")
    shop = random_shop(rng, jobs=60)
    asked = [one for one in every_grouping(shop["catalogue"], rng) if one[2] == view]
    found = in_memory(con, shop, asked)
    assert not found, "\n".join(found)


@pytest.mark.slow
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_thousands_of_shops_agree(con, chunk):
    """3,000 shops in all, or as many as FIXSTATS_RANDOM_SHOPS says."""
    for seed in range(1_000 + chunk, 1_000 + SLOW_SHOPS, CHUNKS):
        agree_on_seed(con, seed)


@pytest.mark.slow
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_hundreds_of_imports_agree(chunk):
    for seed in range(chunk, SLOW_SHOPS // 10, CHUNKS):
        rng = random.Random(f"imported {seed}")
        shop = random_shop(rng)
        found = through_importer(shop, few_questions(shop, rng, others=2))
        assert not found, f"seed 'imported {seed}'\n" + "\n".join(found)
