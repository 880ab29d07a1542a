"""The score interval over strata: against a plain search, one stratum, and the test at 0."""

from math import isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize
from scipy.special import xlogy

from fixstats import stats

# Bickel, Hammel and O'Connell 1975, Science 187:398-404: admissions by department.
ADMITTED = (
    [512, 353, 120, 138, 53, 22],
    [825, 560, 325, 417, 191, 373],
    [89, 17, 202, 131, 94, 24],
    [108, 25, 593, 375, 393, 341],
)
SPARSE = ([1, 0, 0, 4, 2, 3], [5, 3, 7, 4, 9, 11], [3, 2, 0, 6, 1, 5], [8, 6, 4, 6, 10, 12])
STONES = ([6, 71], [87, 263], [36, 25], [270, 80])
Z = 1.959963984540054


def plainly(counts):
    """Miettinen and Nurminen 1985 with loops: the likelihood maximised by search, not by formula.

    The ends are looked for from the estimate outwards, in small steps and then by bisection.
    """
    rows = [row for row in zip(*counts, strict=True) if row[1] and row[3]]
    weights = [n1 * n2 / (n1 + n2) for _, n1, _, n2 in rows]

    def likely(row, difference):
        x1, n1, x2, n2 = row

        def against(p2):
            p1 = min(max(p2 + difference, 0), 1)
            terms = (x1, p1), (n1 - x1, 1 - p1), (x2, p2), (n2 - x2, 1 - p2)
            return -sum(xlogy(x, p) for x, p in terms)

        ends = (max(0, -difference), min(1, 1 - difference))
        found = optimize.minimize_scalar(
            against, bounds=ends, method="bounded", options={"xatol": 1e-12}
        )
        best = min((found.x, *ends), key=against)
        return best + difference, best

    def score(difference):
        top = variance = 0.0
        for row, weight in zip(rows, weights, strict=True):
            x1, n1, x2, n2 = row
            p1, p2 = likely(row, difference)
            top += weight * (x1 / n1 - x2 / n2 - difference)
            within = p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2
            variance += weight**2 * within * (n1 + n2) / (n1 + n2 - 1)
        return top**2 - Z**2 * variance

    middle = sum(
        weight * (x1 / n1 - x2 / n2) for weight, (x1, n1, x2, n2) in zip(weights, rows, strict=True)
    ) / sum(weights)
    ends = []
    for way in (-1, 1):
        steps = middle + way * np.arange(1, 2000) * 1e-3
        out = next(step for step in steps if abs(step) >= 1 or score(step) > 0)
        inner = max(out - way * 1e-3, middle) if way > 0 else min(out + 1e-3, middle)
        ends.append(optimize.brentq(score, inner, max(-1, min(1, out)), xtol=1e-9))
    return middle, *ends


@pytest.mark.parametrize("counts", [ADMITTED, SPARSE, STONES, ([0], [7], [4], [44])])
def test_against_a_plain_search(counts):
    found = stats.score_difference(*counts)
    assert_allclose((found.estimate, found.low, found.high), plainly(counts), atol=2e-6)


@given(st.integers(0, 30), st.integers(1, 30), st.integers(0, 30), st.integers(1, 30))
@settings(max_examples=60, deadline=None)
def test_one_stratum_is_the_interval_of_two_proportions(x1, more, x2, others):
    found = stats.score_difference([x1], [x1 + more], [x2], [x2 + others])
    alone = stats.miettinen_nurminen_difference(x1, x1 + more, x2, x2 + others)
    assert_allclose([found.low, found.high], [alone.low, alone.high], atol=1e-8)


@st.composite
def strata(draw):
    rows = draw(st.integers(1, 6))
    columns = []
    for _ in range(2):
        n = [draw(st.integers(0, 40)) for _ in range(rows)]
        columns += [[draw(st.integers(0, size)) for size in n], n]
    return tuple(columns)


@given(strata(), st.sampled_from([0.8, 0.95]))
@settings(max_examples=150, deadline=None)
def test_it_excludes_nothing_where_the_test_does_not_reject(counts, level):
    found = stats.score_difference(*counts, confidence_level=level)
    tested = stats.cochran_mantel_haenszel(*counts)
    sato = stats.sato_difference(*counts)
    assert_allclose(found.estimate, sato.estimate, atol=1e-12)
    if isnan(found.estimate):
        assert isnan(found.low)
        assert isnan(found.high)
        return
    assert -1 <= found.low <= found.estimate + 1e-12
    assert found.estimate - 1e-12 <= found.high <= 1
    if not isnan(tested.p_value) and abs(tested.p_value - (1 - level)) > 1e-9:
        assert (found.low * found.high > 0) == (tested.p_value < 1 - level)


def test_many_comparisons_in_one_call():
    parts = [STONES, SPARSE, ([], [], [], []), ADMITTED]
    groups = [n for n, part in enumerate(parts) for _ in part[0]]
    order = np.random.default_rng(3).permutation(len(groups))
    columns = [np.concatenate([part[side] for part in parts])[order] for side in range(4)]
    together = stats.score_difference(*columns, groups=np.asarray(groups)[order], n_groups=4)
    for n, part in enumerate(parts):
        alone = stats.score_difference(*part)
        for name in ("estimate", "low", "high", "variance", "strata", "left_out"):
            assert_allclose(getattr(together, name)[n], getattr(alone, name), rtol=1e-9)


def test_no_failure_anywhere_still_has_an_interval():
    found = stats.score_difference([0, 0], [10, 20], [0, 0], [10, 30])
    assert found.estimate == 0
    assert -0.5 < found.low < 0 < found.high < 0.5
    nothing = stats.score_difference([0], [0], [1], [4])
    assert np.isnan([nothing.estimate, nothing.low, nothing.high, nothing.variance]).all()
    assert (nothing.strata, nothing.left_out) == (0, 1)


def test_effective_numbers_too_small_for_a_variance_have_no_interval():
    found = stats.score_difference([0.1, 2], [0.4, 9], [0.1, 3], [0.5, 9])
    assert np.isfinite(found.estimate)
    assert np.isnan([found.low, found.high, found.variance]).all()


def test_few_failures_are_not_taken_for_certain():
    """The interval of Sato leaves 0 out, at 0 of 7 against 4 of 44: the records do not say so."""
    counts = ([0], [7], [4], [44])
    assert stats.sato_difference(*counts).high < 0
    assert stats.score_difference(*counts).high > 0.2
