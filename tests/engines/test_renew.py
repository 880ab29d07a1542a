"""Writing a database anew: no bytes of removed rows stay, and whatever stops it loses nothing."""

import signal
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from fixstats.engines import duck
from fixstats.engines.duck import reading, renew, writing
from fixstats.errors import StoreError

SECRET = "a text that nobody should find again"


@pytest.fixture
def database(tmp_path):
    with writing(tmp_path / "shop's.duckdb") as con:
        con.execute("insert into records.meta values ('kept', 'x'), ('secret', $1)", [SECRET])
    with writing(tmp_path / "shop's.duckdb") as con:
        con.execute("delete from records.meta where key = 'secret'")
    return tmp_path / "shop's.duckdb"


def kept(database):
    with reading(database) as con:
        names = con.execute("select key from records.meta order by key").fetchall()
        low = con.execute("select wilson_low(1, 10, 1.96)").fetchall()[0][0]
    assert 0 < low < 0.1
    return [name for (name,) in names]


def test_no_bytes_of_removed_rows_stay(database):
    assert SECRET.encode() in database.read_bytes()
    database.chmod(0o640)
    renew(database)
    assert SECRET.encode() not in database.read_bytes()
    assert kept(database) == ["kept", "version"]
    assert database.stat().st_mode & 0o777 == 0o640
    assert list(database.parent.iterdir()) == [database]


def test_a_link_to_the_database_stays_one(database, tmp_path):
    link = tmp_path / "link.duckdb"
    link.symlink_to(database)
    renew(link)
    assert link.is_symlink()
    assert SECRET.encode() not in database.read_bytes()


def test_what_cannot_be_replaced_stays_as_it_was(database, monkeypatch):
    def refused(path, target):
        raise PermissionError(13, "in use")

    before = database.read_bytes()
    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(StoreError, match="in use"):
        renew(database)
    assert database.read_bytes() == before
    assert list(database.parent.iterdir()) == [database]


def test_trouble_while_copying_leaves_the_old_file(database, monkeypatch):
    class Full:
        def __init__(self, con):
            self.con = con

        def execute(self, text):
            if text.startswith("copy"):
                raise duckdb.IOException("no space left on device")
            return self.con.execute(text)

        def close(self):
            self.con.close()

    connect = duck._connect
    monkeypatch.setattr(duck, "_connect", lambda *words, **more: Full(connect(*words, **more)))
    with pytest.raises(StoreError, match="no space left"):
        renew(database)
    monkeypatch.undo()
    assert kept(database) == ["kept", "version"]
    assert list(database.parent.iterdir()) == [database]


# Ends the process as a cut of the power would, in front of or behind the replacement.
KILLED = """
import os, sys
from pathlib import Path
from fixstats.engines.duck import renew
replace = Path.replace
def killed(path, target):
    if sys.argv[2] == "behind":
        replace(path, target)
    os.kill(os.getpid(), 9)
Path.replace = killed
renew(Path(sys.argv[1]))
"""


@pytest.mark.parametrize("place", ["in front", "behind"])
def test_a_kill_leaves_one_whole_file(database, place):
    done = subprocess.run([sys.executable, "-c", KILLED, str(database), place], check=False)
    assert done.returncode == -signal.SIGKILL
    assert kept(database) == ["kept", "version"]
    assert (SECRET.encode() in database.read_bytes()) == (place == "in front")
    with writing(database) as con:
        con.execute("insert into records.meta values ('later', 'x')")
    renew(database)
    assert kept(database) == ["kept", "later", "version"]
    assert SECRET.encode() not in database.read_bytes()
    assert list(database.parent.iterdir()) == [database]


def test_the_lock_is_held_until_the_new_file_is_in_place(database, monkeypatch):
    code = f"import duckdb; duckdb.connect({str(database)!r})"
    replace, seen = Path.replace, []

    def watched(path, target):
        for turn in ("before", "after"):
            done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
            seen.append((turn, done.returncode, b"lock" in done.stderr))
            if turn == "before":
                replace(path, target)

    monkeypatch.setattr(Path, "replace", watched)
    renew(database)
    assert seen == [("before", 1, True), ("after", 0, False)]
