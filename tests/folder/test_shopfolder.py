"""Finding, making and reading a shop folder."""

import subprocess
import sys
from pathlib import Path

import pytest

from fixstats.engines.duck import reading
from fixstats.errors import FolderError
from fixstats.folder import DEFAULT_CATALOGUE, Settings, find_folder, make_folder

BENCH = Settings(name="Bench")


@pytest.fixture(autouse=True)
def _nothing_named(monkeypatch, tmp_path):
    monkeypatch.delenv("FIXSTATS_SHOP", raising=False)
    monkeypatch.chdir(tmp_path)


# ------------------------------------------------------------------------------- finding


def test_the_named_folder_wins_over_the_variable_and_the_place(tmp_path, monkeypatch):
    named, other, here = (make_folder(tmp_path / name, BENCH).path for name in "abc")
    monkeypatch.setenv("FIXSTATS_SHOP", str(other))
    monkeypatch.chdir(here)
    assert find_folder(named).path == named
    assert find_folder(str(named)).path == named
    assert find_folder().path == other
    monkeypatch.delenv("FIXSTATS_SHOP")
    assert find_folder().path == here


def test_an_empty_variable_names_nothing(tmp_path, monkeypatch):
    here = make_folder(tmp_path / "a", BENCH).path
    monkeypatch.setenv("FIXSTATS_SHOP", "")
    monkeypatch.chdir(here)
    assert find_folder().path == here


def test_the_nearest_folder_upwards(tmp_path, monkeypatch):
    outer = make_folder(tmp_path / "outer", BENCH)
    inner = make_folder(tmp_path / "outer" / "inner", BENCH)
    monkeypatch.chdir(inner.inbox)
    assert find_folder().path == inner.path
    monkeypatch.chdir(outer.path / "reports")
    assert find_folder().path == outer.path


def test_a_place_without_a_shop_is_refused_and_never_searched_upwards(tmp_path, monkeypatch):
    make_folder(tmp_path / "shop", BENCH)
    below = tmp_path / "shop" / "reports"
    message = f"^{below}: no shop.toml here; make a shop with: fixstats init {below}$"
    with pytest.raises(FolderError, match=message):
        find_folder(below)
    monkeypatch.setenv("FIXSTATS_SHOP", str(below))
    with pytest.raises(FolderError, match=r"named by FIXSTATS_SHOP\): no shop.toml here"):
        find_folder()


def test_nothing_upwards_says_how_to_make_one():
    with pytest.raises(FolderError, match="no shop folder here or above") as caught:
        find_folder()
    assert "fixstats init FOLDER" in str(caught.value)
    assert len(str(caught.value).splitlines()) == 2


# -------------------------------------------------------------------------------- making


def test_a_new_folder_has_its_files_and_reads_back(tmp_path):
    folder = make_folder(tmp_path / "deep" / "shop", BENCH)
    names = {path.name for path in folder.path.iterdir()}
    assert names == {"shop.toml", "catalogue.toml", "inbox", "reports"}
    assert folder.settings == BENCH
    assert (folder.path / "catalogue.toml").read_bytes() == DEFAULT_CATALOGUE.read_bytes()
    assert folder.catalogue.where == folder.path / "catalogue.toml"
    assert folder.database == folder.path / "shop.duckdb"


def test_another_catalogue(tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_bytes(DEFAULT_CATALOGUE.read_bytes() + b"# mine\n")
    folder = make_folder(tmp_path / "shop", BENCH, mine)
    assert folder.catalogue.hash != make_folder(tmp_path / "plain", BENCH).catalogue.hash


def test_a_missing_catalogue_is_named(tmp_path):
    with pytest.raises(FolderError, match="cannot be written"):
        make_folder(tmp_path / "shop", BENCH, tmp_path / "missing.toml")
    assert not (tmp_path / "shop" / "shop.toml").exists()


@pytest.mark.parametrize("name", ["shop.toml", "catalogue.toml", "shop.duckdb"])
def test_what_is_there_is_never_overwritten(tmp_path, name):
    (tmp_path / name).write_text("mine")
    with pytest.raises(FolderError, match=f"already a shop folder, it has a {name}; nothing was"):
        make_folder(tmp_path, BENCH)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_files_of_other_kinds_do_not_matter(tmp_path):
    (tmp_path / "old.xlsx").write_text("mine")
    make_folder(tmp_path, BENCH)
    assert (tmp_path / "old.xlsx").read_text() == "mine"


def test_a_path_that_is_a_file(tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(FolderError, match=r"cannot be written \((Not a directory|File exists)\)"):
        make_folder(tmp_path / "file", BENCH)


def refuse_writing(*_arguments, **_keywords):
    raise PermissionError(13, "Permission denied")


def test_a_read_only_place_is_refused(tmp_path, monkeypatch):
    """Permission bits do not stop a superuser, so the refusal is put in by hand."""
    monkeypatch.setattr(Path, "mkdir", refuse_writing)
    with pytest.raises(FolderError, match=r"shop: cannot be written \(Permission denied\)"):
        make_folder(tmp_path / "shop", BENCH)


def test_a_read_only_folder_reads(tmp_path):
    folder = make_folder(tmp_path / "shop", BENCH)
    for path in (folder.path / "shop.toml", folder.path / "catalogue.toml", folder.path):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        found = find_folder(folder.path)
        assert found.settings.name == "Bench"
        with reading(found.database) as con:
            assert con.execute("select count(*) from records.jobs").fetchall() == [(0,)]
        assert not found.database.exists()
    finally:
        folder.path.chmod(0o755)


def test_the_folder_room_loads_nothing_heavy():
    heavy = ["duckdb", "numpy", "scipy", "polars", "altair", "xlsxwriter", "rich", "typer"]
    code = f"import sys, fixstats.folder; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
