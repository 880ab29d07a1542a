"""A person's own SQL reaches nothing but the tables; every way out that was tried is here."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fixstats.engines.sandbox import run_sql
from fixstats.errors import QueryError

from .places import SECRET, files

pytestmark = pytest.mark.usefixtures("in_the_shop")

# ---------------------------------------------------------------- ways out that were tried

# Refused before they run, with these words.
REFUSED = [
    ("select 1; select 2", "2 statements given"),
    ("select 1; drop table records.jobs", "2 statements given"),
    ("/* select 1 */ delete from records.jobs -- select", "DELETE is not allowed"),
    ("insert into records.jobs (job) values ('x')", "INSERT is not allowed"),
    ("with a as (select 1) update records.jobs set job = 'x'", "UPDATE is not allowed"),
    ("create temp table x as select 1", "CREATE is not allowed"),
    ("create temp macro f() as table from read_text('secret.csv')", "CREATE is not allowed"),
    ("drop table records.jobs", "DROP is not allowed"),
    ("copy (select 1) to 'out.csv'", "COPY is not allowed"),
    ("copy records.jobs from 'secret.csv'", "COPY is not allowed"),
    ("export database 'out'", "not allowed"),
    ("attach 'other.duckdb'", "ATTACH is not allowed"),
    ("detach memory", "DETACH is not allowed"),
    ("install httpfs", "not allowed"),
    ("load httpfs", "LOAD is not allowed"),
    ("pragma memory_limit = '90GB'", "not allowed"),
    ("pragma database_list", "PRAGMA is not allowed"),
    ("set memory_limit = '90GB'", "SET is not allowed"),
    ("reset memory_limit", "not allowed"),
    ("set lock_configuration = false", "SET is not allowed"),
    ("call pragma_version()", "CALL is not allowed"),
    ("explain analyze select 1", "EXPLAIN is not allowed"),
    ("prepare p as select 1", "PREPARE is not allowed"),
    ("begin", "TRANSACTION is not allowed"),
    ("checkpoint", "not allowed"),
    ("vacuum", "VACUUM is not allowed"),
    ("pivot jobs on model using count(*)", "PIVOT is not allowed"),
    ("from read_csv('secret.csv')", r"read_csv\(\) is not allowed"),
    ("select * from READ_CSV_AUTO('secret.csv')", r"read_csv_auto\(\) is not allowed"),
    ('from system.main."read_text"(\'secret.csv\')', r"read_text\(\) is not allowed"),
    ("from read_blob('/etc/hostname')", r"read_blob\(\) is not allowed"),
    ("from read_json('secret.csv')", r"read_json\(\) is not allowed"),
    ("from read_parquet('http://localhost:1/x.parquet')", r"read_parquet\(\) is not allowed"),
    ("from read_duckdb('shop.duckdb')", r"read_duckdb\(\) is not allowed"),
    ("from glob('*')", r"glob\(\) is not allowed"),
    ("from sniff_csv('secret.csv')", r"sniff_csv\(\) is not allowed"),
    ("from parquet_metadata('secret.csv')", r"parquet_metadata\(\) is not allowed"),
    ("select (select content from read_text('secret.csv'))", r"read_text\(\) is not allowed"),
    ("select exists (from read_text('secret.csv'))", r"read_text\(\) is not allowed"),
    ("with a as (from read_text('secret.csv')) from a", r"read_text\(\) is not allowed"),
    ("from jobs, lateral (from read_text('secret.csv'))", r"read_text\(\) is not allowed"),
    ("from jobs positional join glob('*')", r"glob\(\) is not allowed"),
    ("describe from glob('*')", r"glob\(\) is not allowed"),
    ("summarize from read_text('secret.csv')", r"read_text\(\) is not allowed"),
    ("select 1 union all select 2 from glob('*')", r"glob\(\) is not allowed"),
    ("select 1 order by (select count(*) from glob('*'))", r"glob\(\) is not allowed"),
    ("select list_transform([1], lambda x: (select count(*) from glob('*')))",
     r"glob\(\) is not allowed"),
    ("from query('from read_text(''secret.csv'')')", r"query\(\) is not allowed"),
    ("from query_table('secret.csv')", r"query_table\(\) is not allowed"),
    ("from json_execute_serialized_sql('{}')", r"json_execute_serialized_sql\(\) is not allowed"),
    ("from histogram('secret.csv', x)", r"histogram\(\) is not allowed"),
    ("from arrow_scan(1, 2, 3)", r"arrow_scan\(\) is not allowed"),
    ("from pandas_scan(1)", r"pandas_scan\(\) is not allowed"),
    ("from python_map_function(1)", r"python_map_function\(\) is not allowed"),
    ("from enable_logging()", r"enable_logging\(\) is not allowed"),
    ("from enable_profiling(save_location := 'out.json')", r"enable_profiling\(\) is not allowed"),
    ("from duckdb_secrets()", r"duckdb_secrets\(\) is not allowed"),
    ("from duckdb_settings()", r"duckdb_settings\(\) is not allowed"),
    ("from pg_settings", "pg_settings is not open"),
    ("from pg_catalog.PG_SETTINGS", "pg_settings is not open"),
    ("from duckdb_databases", "duckdb_databases is not open"),
    ("show memory_limit", "settings are not open"),
    ("from (show memory_limit)", "settings are not open|syntax error"),
    ("select current_setting('home_directory')", r"current_setting\(\) is not allowed"),
    ("select system.main.Current_Setting('home_directory')", "current_setting.* is not allowed"),
    ("select 'home_directory'.current_setting()", r"current_setting\(\) is not allowed"),
    ("select getenv('HOME')", r"getenv\(\) is not allowed"),
    ("select write_log('x')", r"write_log\(\) is not allowed"),
    ("from 'secret.csv'", r"secret\.csv"),
    ('from "secret.csv"', r"secret\.csv"),
    ("from 'http://localhost:1/x.csv'", "localhost"),
    ("from '/etc/hostname'", "hostname"),
    ("select * from sys", "sys does not exist"),
    ("select pg_read_file('secret.csv')", "pg_read_file does not exist"),
]  # fmt: skip


# These could take the process down with them.
TOO_MUCH = [
    (f"select * from {'(select * from ' * 3000}jobs{')' * 3000}", "nested too deeply|broke off"),
    (f"select {'(' * 3000}1{')' * 3000}", "nested too deeply"),
    (f"select {'+'.join(['1'] * 20_000)}", "nested too deeply"),
    (f"select {'f(' * 600}1{')' * 600}", "f does not exist|nested too deeply"),
    ("select 1\0; drop table records.jobs", "no text"),
    ("select '\ud800'", "no text"),
]  # fmt: skip

# All attempts, one after another, in one locked process: what the child does with each.
ATTEMPTS = """
import json, os, sys
from pathlib import Path
import difflib, duckdb
from fixstats.engines import sandbox_child
from fixstats.engines.duck import reading
from fixstats.engines.sandbox_rules import check_statement, sql_words
from fixstats.engines.session import build_session
from fixstats.errors import QueryError
from fixstats.folder import ShopFolder
folder = ShopFolder(Path(sys.argv[1]))
attempts = json.loads(sys.stdin.read())
answers = []
with reading(folder.database) as con:
    build_session(con, folder.catalogue)
    sandbox_child._lock(con, 60, 1000)
    for sql in attempts:
        try:
            check_statement(con, sql)
            answers.append([True, sandbox_child._run(con, {"sql": sql, "row_limit": 9,
                                                           "parameters": {}})])
        except QueryError as trouble:
            answers.append([False, str(trouble)])
        except duckdb.Error as trouble:
            answers.append([False, sql_words(sql, str(trouble))])
    print(json.dumps(answers))
    sys.stdout.flush()
    os._exit(0)
"""


@pytest.fixture(scope="module")
def attempted(shop):
    before = files(shop)
    ran = subprocess.run(
        [sys.executable, "-c", ATTEMPTS, str(shop.path)], cwd=shop.path, check=False, timeout=90,
        input=json.dumps([sql for sql, _ in REFUSED]), capture_output=True, text=True,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert files(shop) == before
    return dict(zip((sql for sql, _ in REFUSED), json.loads(ran.stdout), strict=True))


@pytest.mark.parametrize(("sql", "words"), REFUSED, ids=lambda value: str(value)[:48])
def test_ways_out_are_refused(attempted, sql, words):
    ran, answer = attempted[sql]
    assert not ran, answer
    assert re.search(words, answer)
    assert SECRET not in answer


@pytest.mark.parametrize(("sql", "words"), [*REFUSED[::12], *TOO_MUCH])
def test_refusals_reach_the_person(shop, sql, words):
    before = files(shop)
    with pytest.raises(QueryError, match=words):
        run_sql(shop, sql, seconds=5)
    assert files(shop) == before


# The same ways out and more, put to the locked connection without the rules before it.
BYPASS = """
import json, sys, os, socket
from pathlib import Path
from fixstats.engines import sandbox_child
from fixstats.engines.duck import reading
from fixstats.engines.session import build_session
from fixstats.folder import ShopFolder
folder = ShopFolder(Path(sys.argv[1]))
attempts = json.loads(sys.stdin.read())
done = {}
with reading(folder.database) as con:
    build_session(con, folder.catalogue)
    sandbox_child._lock(con, 20, 1000)
    for sql in attempts:
        try:
            done[sql] = str(con.execute(sql).fetchall())[:200]
        except Exception as trouble:
            done[sql] = None
    for name, reach in {"open": lambda: open(sys.argv[1] + "/secret.csv").read(),
                        "write": lambda: os.open("out.txt", os.O_CREAT | os.O_WRONLY),
                        "socket": lambda: socket.socket()}.items():
        try:
            done[name] = str(reach())
        except OSError:
            done[name] = None
    print(json.dumps(done))
    sys.stdout.flush()
    os._exit(0)
"""
OUTWARD = [
    "from read_csv('secret.csv')", "from read_text('secret.csv')", "from glob('*')",
    "from 'secret.csv'", "from read_parquet('http://localhost:1/x.parquet')",
    "copy (select 1) to 'out.csv'", "copy (select 1) to '/dev/null'", "export database 'out'",
    "attach 'other.duckdb'", "attach ':memory:' as m; copy (select 1) to 'm.csv'",
    "from query('from read_text(''secret.csv'')')", "from read_duckdb('shop.duckdb')",
    "install httpfs", "load httpfs", "load 'secret.csv'", "set memory_limit = '90GB'",
    "set enable_external_access = true", "set lock_configuration = false",
    "reset lock_configuration", "pragma max_execution_time = 0", "set temp_directory = 'tmp'",
    "insert into records.jobs (job) values ('x')", "drop table records.jobs",
    "from enable_profiling(save_location := 'out.json')",
    "create persistent secret s (type http)", "select getenv('HOME')",
]  # fmt: skip


def test_the_lock_holds_without_the_rules(shop):
    before = files(shop)
    ran = subprocess.run(
        [sys.executable, "-c", BYPASS, str(shop.path)],
        input=json.dumps(OUTWARD), capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    done = json.loads(ran.stdout)
    assert len(done) == len(OUTWARD) + 3
    assert {sql: answer for sql, answer in done.items() if answer is not None} == {}
    assert files(shop) == before


# ---------------------------------------------------------------- time and memory

BOMBS = [
    "select list_sum(list_transform(range(1000000000), lambda x: x + 1))",
    "select count(*) from range(1000000000000) a, range(1000000) b where a.range % 7 = b.range % 5",
    "with recursive r as (select 1 as n union all select n + 1 from r) select 1 from r order by 1",
    "with recursive r as (from range(2) union all select a.range from r a, r b) from r order by 1",
    "select length(repeat('x', 4000000000))",
    "select repeat(repeat('x', 100000), 40000)",
    "select string_agg(repeat('x', 100000), ',') from range(100000)",
    "select list(range) from range(10000000000)",
    "select count(distinct range) from range(100000000000)",
    "select * from range(100000000000) order by hash(range)",
    "select range(4000000000)",
    "select sleep_ms(60000)",
]


@pytest.mark.parametrize("sql", BOMBS)
def test_limits_hold(shop, sql):
    began = time.monotonic()
    with pytest.raises(QueryError, match=r"the (time|memory) limit"):
        run_sql(shop, sql, seconds=1, memory_mb=300)
    assert time.monotonic() - began < 5


def test_memory_stays_within_the_limit(shop):
    """A scalar call over a huge list grows past the engine's own limit; the system's holds it."""
    script = (
        "import resource, sys\n"
        "from fixstats.engines.sandbox import run_sql\n"
        "from fixstats.errors import QueryError\n"
        "from fixstats.folder import ShopFolder\n"
        "from pathlib import Path\n"
        "try:\n"
        "    run_sql(ShopFolder(Path(sys.argv[1])), sys.argv[2], seconds=3, memory_mb=300)\n"
        "except QueryError:\n"
        "    print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script, str(shop.path), BOMBS[0]],
        capture_output=True, text=True, check=True, timeout=30,
    )  # fmt: skip
    assert int(ran.stdout) < 1_000_000  # KiB


def test_a_huge_answer_is_refused(shop):
    with pytest.raises(QueryError, match="larger than 64 MB"):
        run_sql(shop, "select repeat('x', 1000000) from range(100)", seconds=20)


# ---------------------------------------------------------------- leaving

LONG = (
    "import sys\n"
    "from pathlib import Path\n"
    "from fixstats.engines.sandbox import run_sql\n"
    "from fixstats.folder import ShopFolder\n"
    "print('started', flush=True)\n"
    "run_sql(ShopFolder(Path(sys.argv[1])), "
    "'select count(*) from range(1000000000000) a, range(1000000) b where a.range = 2*b.range')\n"
)


def children(pid):
    return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_nothing_runs_on_when_the_program_is_stopped(shop, how):
    parent = subprocess.Popen(
        [sys.executable, "-c", LONG, str(shop.path)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert parent.stdout.readline() == "started\n"
    deadline = time.monotonic() + 10
    while not (found := children(parent.pid)):
        assert time.monotonic() < deadline
        time.sleep(0.02)
    time.sleep(0.7)
    assert parent.poll() is None
    (child,) = found
    os.kill(parent.pid, how)
    assert parent.wait(timeout=5) != 0
    parent.stdout.close()
    while Path(f"/proc/{child}").exists():
        assert time.monotonic() < deadline + 10, "the query runs on"
        time.sleep(0.02)
