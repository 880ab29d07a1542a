"""A person's own SQL answers, and says in words what is wrong with it."""

import datetime as dt
import os
from decimal import Decimal

import polars as pl
import pytest

from fixstats.engines.duck import writing
from fixstats.engines.sandbox import run_sql
from fixstats.errors import FolderError, QueryError, StoreError, UsageError
from fixstats.folder import ShopFolder, make_folder
from fixstats.folder.settings import Settings

from .places import files

# ---------------------------------------------------------------- what works


def test_views_and_catalogue_tables_are_there(shop):
    result = run_sql(shop, "select job, model, minutes, month from jobs order by job")
    assert result.columns == ("job", "model", "minutes", "month")
    assert result.types == ("VARCHAR", "VARCHAR", "DOUBLE", "VARCHAR")
    assert result.rows == [
        ("J1", "Quillon Q5", 31.5, "2026-03"),
        ("J2", "Brask One", None, "2026-03"),
    ]
    assert not result.cut and result.note is None
    rows = run_sql(shop, "select method from methods where step = 'opening' order by 1").rows
    assert ("heat_gun",) in rows


def test_macros_of_the_shop_work(shop):
    ((low, high),) = run_sql(shop, "select wilson_low(0, 10, 1.96), wilson_high(10, 10, 1.96)").rows
    assert (low, high) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("sql", "value"),
    [
        ("date '2026-02-28'", dt.date(2026, 2, 28)),
        ("timestamp '2026-02-28 10:11:12.5'", dt.datetime(2026, 2, 28, 10, 11, 12, 500_000)),
        ("time '10:11:12'", dt.time(10, 11, 12)),
        ("interval 36 hour", dt.timedelta(hours=36)),
        ("1.50::decimal(9, 2)", Decimal("1.50")),
        ("sum(9223372036854775807)", 9_223_372_036_854_775_807),
        ("170141183460469231731687303715884105727::hugeint", 2**127 - 1),
        ("[1, null, 3]", [1, None, 3]),
        ("[[date '2026-01-01'], null]", [[dt.date(2026, 1, 1)], None]),
        ("{'day': date '2026-01-01', 'n': [1.5::decimal(3, 1)]}",
         {"day": dt.date(2026, 1, 1), "n": [Decimal("1.5")]}),
        ("map {'date': 'x'}", {"date": "x"}),
        ("'ä\n\"€\\'", "ä\n\"€\\"),
        ("'a'::blob", b"a"),
        ("'inf'::double", float("inf")),
        ("null", None),
        ("true", True),
    ],
)  # fmt: skip
def test_values_survive(shop, sql, value):
    ((got,),) = run_sql(shop, f"select {sql}").rows
    assert got == value
    assert type(got) is type(value)


def test_frame_has_the_types_of_the_engine_even_without_rows(shop):
    sql = (
        "select 1::smallint as a, 'x' as a, date '2026-01-01' as d, sum(1) as s, "
        "null::double as f, [1::bigint] as l, 1.25::decimal(9, 2) as m"
    )
    result = run_sql(shop, sql)
    assert result.columns == ("a", "a_2", "d", "s", "f", "l", "m")
    frame = result.frame
    expected = {
        "a": pl.Int16, "a_2": pl.String, "d": pl.Date, "s": pl.Int64, "f": pl.Float64,
        "l": pl.List(pl.Int64), "m": pl.Decimal(9, 2),
    }  # fmt: skip
    assert dict(frame.schema) == expected
    assert frame.rows() == [(1, "x", dt.date(2026, 1, 1), 1, None, [1], Decimal("1.25"))]
    empty = run_sql(shop, f"select * from ({sql}) where false").frame
    assert empty.height == 0 and list(empty.dtypes)[2:] == list(frame.dtypes)[2:]


def test_days_beyond_the_calendar_come_as_text(shop):
    sql = "select unnest([date '2026-01-01', date '290000-01-01', null]) as day"
    frame = run_sql(shop, sql).frame
    assert frame["day"].to_list() == ["2026-01-01", "290000-01-01", None]
    with pytest.raises(QueryError, match=r"cannot be handed over .* cast it to varchar"):
        run_sql(shop, "select interval '9000000 years'")


def test_parameters_are_values(shop):
    result = run_sql(
        shop,
        "select job from jobs where model = $model and finished >= $since",
        parameters={"model": "Quillon Q5", "since": dt.date(2026, 3, 1)},
    )
    assert result.rows == [("J1",)]
    nothing = {"model": "x' or true --", "since": dt.date(2026, 1, 1)}
    sql = "select job from jobs where model = $model and finished >= $since"
    assert run_sql(shop, sql, parameters=nothing).rows == []


def test_row_limit_cuts_and_says_so(shop):
    result = run_sql(shop, "select * from range(1000000000000)", row_limit=3)
    assert result.rows == [(0,), (1,), (2,)]
    assert result.cut and result.note == "cut after 3 rows; there are more"
    assert not run_sql(shop, "select * from range(3)", row_limit=3).cut


@pytest.mark.parametrize("sql", ["from jobs", "values (1)", "describe jobs", "summarize jobs",
                                 "show tables", "-- words\nselect 1; -- more\n",
                                 "with a as (select 1) select * from a"])  # fmt: skip
def test_forms_of_a_select(shop, sql):
    assert run_sql(shop, sql).rows


def test_long_expressions_are_no_deep_ones(shop):
    assert run_sql(shop, f"select {' + '.join(['1'] * 900)}").rows == [(900,)]


@pytest.mark.parametrize(
    "limit",
    [
        {"row_limit": 0},
        {"row_limit": 10**19},
        {"seconds": 0},
        {"seconds": float("nan")},
        {"seconds": float("inf")},
        {"memory_mb": 0},
    ],
)
def test_limits_are_above_zero(shop, limit):
    with pytest.raises(UsageError, match="must be above 0"):
        run_sql(shop, "select 1", **limit)


def test_a_shop_without_records_answers_and_stays_without_database(tmp_path):
    folder = make_folder(tmp_path / "new", Settings(name="New"))
    assert run_sql(folder, "select count(*) from jobs").rows == [(0,)]
    assert not folder.database.exists()


def test_a_read_only_folder_is_enough_and_stays_as_it_is(shop):
    paths = [shop.database, shop.path]
    for path in paths:
        path.chmod(0o555)
    before = files(shop)
    try:
        assert run_sql(shop, "select count(*) from jobs").rows == [(2,)]
        assert files(shop) == before
    finally:
        for path in paths:
            path.chmod(0o755)


def test_a_writer_is_named(shop):
    with writing(shop.database), pytest.raises(StoreError, match=f"process {os.getpid()}"):
        run_sql(shop, "select 1")


def test_faults_of_the_folder_keep_their_kind(tmp_path, shop):
    folder = tmp_path / "broken"
    folder.mkdir()
    (folder / "shop.toml").write_text((shop.path / "shop.toml").read_text())
    (folder / "catalogue.toml").write_text("format = 2\n")
    with pytest.raises(FolderError, match=r"catalogue\.toml"):
        run_sql(ShopFolder(folder), "select 1")


# ---------------------------------------------------------------- what is wrong, in words


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("", "no SQL to run"),
        ("-- nothing", "no SQL to run"),
        ("select * from jbos", r"jbos does not exist; did you mean 'jobs'\?\nline 1, column 15"),
        ("select modle\nfrom jobs", r'"modle" not found.*did you mean \'model\'\?\nline 1, col'),
        ("select 'ä',\n  modle from jobs", "line 2, column 3, at: modle"),
        ("select 1 +", r'syntax error at or near "\+"\nline 1, column 10'),
        ("selec 1", "syntax error.*selec.*\nline 1, column 1"),
        ("select cast('x' as int)", "could not convert string 'x' to INT32\nline 1, column 8"),
        ("select model, count(*) from jobs", "must appear in the GROUP BY"),
        ("select foo(1)", "foo does not exist"),
        ("select $a", "following parameters: a"),
    ],
)
def test_errors_say_what_and_where_in_two_lines(shop, sql, words):
    with pytest.raises(QueryError, match=words) as caught:
        run_sql(shop, sql)
    assert str(caught.value).count("\n") <= 1
    assert "LINE" not in str(caught.value)
