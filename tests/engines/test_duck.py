"""The writing connection: interruptions, a file in use, and words that fit the trouble."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time

import duckdb
import pytest

from fixstats.engines import duck
from fixstats.engines.duck import reading, writing
from fixstats.errors import StoreError

MARK = "insert into records.meta values ('mark', 'x')"


def marks(database):
    with reading(database) as con:
        return con.execute("select count(*) from records.meta where key = 'mark'").fetchall()[0][0]


@pytest.fixture
def database(tmp_path):
    with writing(tmp_path / "shop.duckdb"):
        pass
    return tmp_path / "shop.duckdb"


class Held:
    """The connection, with something happening just before one of its statements."""

    def __init__(self, con, before):
        self.con, self.before = con, before

    def execute(self, text, *more):
        self.before.get(text, lambda: None)()
        return self.con.execute(text, *more)

    def close(self):
        self.con.close()


def before_statement(monkeypatch, statement, happening):
    connect = duck._connect
    monkeypatch.setattr(
        duck,
        "_connect",
        lambda *words, **more: Held(connect(*words, **more), {statement: happening}),
    )


def ctrl_c():
    os.kill(os.getpid(), signal.SIGINT)


# Measured with DuckDB 2.0.1: Ctrl-C within a statement comes out as this RuntimeError.
@pytest.mark.parametrize(
    "stop",
    [RuntimeError("Query interrupted"), duckdb.InterruptException("x"), KeyboardInterrupt()],
)
def test_ctrl_c_before_the_commit_changes_nothing(database, stop):
    with pytest.raises(KeyboardInterrupt, match=r"^nothing was changed$"), writing(database) as con:
        con.execute(MARK)
        raise stop
    assert marks(database) == 0


def test_ctrl_c_within_a_statement_is_heeded_at_once(database):
    """DuckDB listens only now and then, so the statement runs beside the main thread."""
    begun = []

    def press():
        begun.append(time.monotonic())
        ctrl_c()

    slow = "select count(*) from range(400000) as a, range(400000) as b where a.range * b.range = 7"
    pressing = threading.Timer(0.3, press)
    with pytest.raises(KeyboardInterrupt, match=r"^nothing was changed$"), writing(database) as con:
        con.execute(MARK)
        pressing.start()
        con.execute(f"create temp table slow as {slow}")
    assert time.monotonic() - begun[0] < 1
    assert marks(database) == 0


def test_ctrl_c_interrupts_a_statement_that_hears_nothing(database, monkeypatch):
    connect, interrupted, ran_in = duck._connect, threading.Event(), []

    class Deaf(Held):
        def interrupt(self):
            interrupted.set()

    def deaf():
        ran_in.append(threading.current_thread())
        threading.Timer(0.1, ctrl_c).start()
        interrupted.wait(20)

    monkeypatch.setattr(
        duck, "_connect", lambda *words, **more: Deaf(connect(*words, **more), {MARK: deaf})
    )
    with pytest.raises(KeyboardInterrupt, match=r"^nothing was changed$"), writing(database) as con:
        con.execute(MARK)
    monkeypatch.undo()
    assert interrupted.is_set()
    assert ran_in != [threading.main_thread()]
    assert marks(database) == 0


def test_ctrl_c_while_reading_is_no_fault(database):
    with pytest.raises(KeyboardInterrupt, match=r"^$"), reading(database):
        raise RuntimeError("Query interrupted")


def test_another_runtime_error_stays_a_fault(database):
    with pytest.raises(RuntimeError, match="boom"), writing(database):
        raise RuntimeError("boom")


@pytest.mark.parametrize("statement", ["commit", "checkpoint"])
def test_ctrl_c_waits_for_what_is_being_committed(database, statement, monkeypatch):
    handler = signal.getsignal(signal.SIGINT)
    before_statement(monkeypatch, statement, ctrl_c)
    with (
        pytest.raises(KeyboardInterrupt, match=r"^the records are stored$"),
        writing(database) as con,
    ):
        con.execute(MARK)
    monkeypatch.undo()
    assert marks(database) == 1
    assert not database.with_name("shop.duckdb.wal").exists()
    assert signal.getsignal(signal.SIGINT) is handler


def test_writing_in_another_thread(database):
    def write():
        with writing(database) as con:
            con.execute(MARK)

    worker = threading.Thread(target=write)
    worker.start()
    worker.join()
    assert marks(database) == 1


def test_a_failing_checkpoint_does_not_deny_what_is_stored(database, monkeypatch):
    def full():
        raise duckdb.IOException("IO Error: No space left on device")

    before_statement(monkeypatch, "checkpoint", full)
    with (
        pytest.raises(StoreError, match=r"the records are stored, but .*No space left"),
        writing(database) as con,
    ):
        con.execute(MARK)
    monkeypatch.undo()
    assert marks(database) == 1


def test_a_failing_commit_changes_nothing(database, monkeypatch):
    def full():
        raise duckdb.IOException("IO Error: No space left on device")

    before_statement(monkeypatch, "commit", full)
    with (
        pytest.raises(StoreError, match="is full; nothing was changed"),
        writing(database) as con,
    ):
        con.execute(MARK)
    monkeypatch.undo()
    assert marks(database) == 0


@pytest.mark.parametrize("name", ["locksmith", "disk box", "corrupt", "read-only"])
def test_words_of_the_path_do_not_count(tmp_path, name):
    database = tmp_path / name / "shop.duckdb"
    with pytest.raises(StoreError, match="cannot be opened"), writing(database):
        pass
    database.parent.mkdir()
    database.write_bytes(b"no database" * 1000)
    with (
        pytest.raises(StoreError, match="is no database that this fixstats can read"),
        writing(database),
    ):
        pass


@pytest.mark.parametrize("read_only", [True, False])
def test_a_file_in_use_for_a_moment_is_waited_for(database, read_only):
    hold = (
        f"import duckdb; c = duckdb.connect({str(database)!r}, read_only={read_only}); "
        "print('held', flush=True); import time; time.sleep(0.4)"
    )
    using = writing if read_only else reading
    with subprocess.Popen(
        [sys.executable, "-c", hold], stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout.readline() == "held\n"
        begun = time.monotonic()
        with using(database):
            pass
        assert time.monotonic() - begun > 0.2
