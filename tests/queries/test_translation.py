"""Views and tallies translate to Spark's SQL without hand edits, and mean the same there.

What translates without a word and counts differently was measured by running both; such
constructs are kept out by name.
"""

import duckdb
import pytest
import sqlglot
from sqlglot import ErrorLevel, exp

from .statements import in_room, name_of, select_of, with_slots_filled

STATEMENTS = in_room("views", "tallies")
# Spark stops at these; also at the length of a list, which cannot be told from that of a text.
STOPPING = ("generate_subscripts", "range", "generate_series", "lgamma")
# Translated, but with another meaning: approximate, other base, other rounding, other day of the
# week, order or nulls of a list lost, another hash.
DIFFERENT = (
    "percentile_cont", "quantile_cont", "quantile", "median", "approx_quantile", "log",
    "date_diff", "datediff", "dayofweek", "list", "array_agg", "hash",
)  # fmt: skip


def parsed(path):
    return sqlglot.parse_one(with_slots_filled(select_of(path)), read="duckdb")


def spark(tree):
    return tree.sql(dialect="spark", unsupported_level=ErrorLevel.RAISE)


@pytest.mark.parametrize("path", STATEMENTS, ids=name_of)
def test_translates_and_parses_there(path):
    text = spark(parsed(path))
    assert sqlglot.parse_one(text, read="spark").sql(dialect="spark") == text


def faults(tree):
    """Constructs at which Spark stops, or which it takes and counts otherwise."""
    found = [name for name in (*STOPPING, *DIFFERENT) if any(called(tree, name))]
    found += [node.sql() for node in tree.find_all(exp.Pivot, exp.Columns)]
    found += [star.sql() for star in tree.find_all(exp.Star) if star.args.get("replace")]
    found += [join.sql() for join in tree.find_all(exp.Join) if "ASOF" in join.sql("duckdb")]
    whole = {exp.DType.INT, exp.DType.BIGINT, exp.DType.SMALLINT, exp.DType.TINYINT}
    for cast in tree.find_all(exp.Cast):
        # Rounds in one and cuts in the other, but for what is whole anyway: sums and counts.
        inner = cast.this.this if isinstance(cast.this, exp.Window) else cast.this
        if cast.to.this in whole and not isinstance(inner, exp.Sum | exp.Count):
            found.append(cast.sql())
    found += [node.sql() for node in tree.find_all(exp.Sub) if dates(node)]
    return found


def called(tree, name):
    for call in tree.find_all(exp.Func):
        if isinstance(call, exp.DateDiff) and call.text("unit").upper() == "DAY":
            continue  # whole days between two dates are the same in both; months are not
        names = {call.sql_name().lower(), str(getattr(call, "name", "")).lower(), call.key}
        yield name in names or name.replace("_", "") in names


def dates(node):
    words = ("finished", "received", "returned", "date")
    return any(word in node.sql().lower() for word in words)


@pytest.mark.parametrize("path", STATEMENTS, ids=name_of)
def test_has_nothing_that_stops_or_counts_otherwise(path):
    assert faults(parsed(path)) == []


@pytest.mark.parametrize(
    "text",
    [
        "select percentile_cont(0.5) within group (order by x) from t",
        "select quantile_cont(x, 0.5) from t", "select median(x) from t",
        "select approx_quantile(x, 0.5) from t", "select log(x) from t",
        "select cast(x as integer) from t", "select x::bigint from t",
        "select date_diff('month', a, b) from t", "select date_diff('week', a, b) from t",
        "select dayofweek(x) from t",
        "select list(x order by y) from t", "select array_agg(x) from t", "select hash(x) from t",
        "select finished - received from t",
         "select generate_subscripts(x, 1) from t", "from range(3)",
        "select lgamma(x) from t", "select * replace (a as b) from t", "from (pivot t on a)",
        "select columns('x') from t", "from t asof join u on t.a = u.a and t.b >= u.b",
    ],
)  # fmt: skip
def test_the_check_sees_them(text):
    duckdb.extract_statements(text)
    assert faults(sqlglot.parse_one(text, read="duckdb")) != []
