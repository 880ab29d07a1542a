"""A small shop for the tests of the sandbox, with a file beside it that no SQL may read."""

import pytest

from fixstats.engines.duck import writing
from fixstats.folder import make_folder
from fixstats.folder.settings import Settings

from .places import SECRET


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = make_folder(tmp_path_factory.mktemp("shop") / "bench", Settings(name="Bench"))
    with writing(folder.database) as con:
        con.execute(
            "insert into records.jobs (entry, job, finished, model, repair, outcome, minutes, "
            "covers) values (1, 'J1', '2026-03-01', 'Quillon Q5', 'battery_swap', 'completed', "
            "31.5, 1), (2, 'J2', '2026-03-02', 'Brask One', 'battery_swap', 'completed', null, 1)"
        )
        con.execute("insert into records.attempts values (1, 'opening', 1, 'heat_gun')")
    (folder.path / "secret.csv").write_text(f"word\n{SECRET}\n")
    return folder


@pytest.fixture
def in_the_shop(shop, monkeypatch):
    monkeypatch.chdir(shop.path)  # so that relative names of files would be found
