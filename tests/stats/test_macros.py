"""The SQL macros give the numbers of the Python functions."""

from pathlib import Path

import duckdb
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import special

from fixstats import stats

MACROS = Path(__file__).parents[2] / "queries" / "macros" / "wilson.sql"
NAMES = ["wilson", "wilson_cc", "agresti_coull"]


@pytest.fixture(scope="module")
def connection():
    with duckdb.connect() as con:
        con.execute(MACROS.read_text(encoding="utf-8"))
        yield con


def grid():
    sizes = [1, 2, 3, 10, 29, 148, 1000, 123_456, 10**9]
    rows = {(min(k, n), n) for n in sizes for k in (0, 1, 2, 5, n // 3, n // 2, n - 1, n)}
    return np.array(sorted(rows))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("level", [0.5, 0.8, 0.95, 0.999])
@pytest.mark.parametrize("kind", ["bigint", "double", "decimal(38, 0)"])
def test_macros_agree_with_python(connection, name, level, kind):
    rows = grid()
    answer = connection.execute(
        f"""
        select {name}_low(k::{kind}, n::{kind}, $z), {name}_high(k::{kind}, n::{kind}, $z)
        from (select unnest($k) as k, unnest($n) as n)
        """,
        {
            "z": float(special.ndtri((1 + level) / 2)),
            "k": rows[:, 0].tolist(),
            "n": rows[:, 1].tolist(),
        },
    ).fetchall()
    expected = getattr(stats, name)(rows[:, 0], rows[:, 1], confidence_level=level)
    low, high = np.array(answer, dtype=float).T
    # Agresti-Coull subtracts two numbers of the size of its centre: absolute there.
    tolerance = {"rtol": 1e-12, "atol": 1e-14 if name == "agresti_coull" else 0}
    assert_allclose(low, expected.low, **tolerance)
    assert_allclose(high, expected.high, **tolerance)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("z", ["1.959963984540054", "1.96::double", "0.0", "3"])
def test_the_ends_of_the_scale_are_exact(connection, name, z):
    wrong = connection.execute(
        f"""
        select n from (select unnest([1, 2, 7, 20, 1000, 123457, 1000000000]) as n)
        where {name}_low(0, n, {z}) <> 0 or {name}_high(n, n, {z}) <> 1
        """
    ).fetchall()
    assert wrong == []


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("pair", ["0, 0", "1, 0", "5, 3", "-1, 3", "null, 3", "1, null", "0, -2"])
def test_what_cannot_be_is_null(connection, name, pair):
    row = connection.execute(
        f"select {name}_low({pair}, 1.96), {name}_high({pair}, 1.96)"
    ).fetchall()
    assert row == [(None, None)]


def test_fractions_and_expressions_are_taken_as_they_are(connection):
    row = connection.execute(
        "select wilson_low(1 + 2.5, 10 * 4.25, 1.5 + 0.5), wilson_high(count(*), sum(n), 2.0) "
        "from (select unnest([40, 2]) as n)"
    ).fetchall()
    level = 2 * special.ndtr(2.0) - 1
    assert_allclose(row[0][0], stats.wilson(3.5, 42.5, confidence_level=level).low, rtol=1e-12)
    assert_allclose(row[0][1], stats.wilson(2, 42, confidence_level=level).high, rtol=1e-12)
