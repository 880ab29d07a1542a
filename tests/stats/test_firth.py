"""Behaviour of Firth's logistic regression: separation, edges, refusals, what must hold."""

import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize, special

from fixstats import stats

CROSSED = np.array([[1, 0, 0], [1, 1, 0], [1, 0, 1], [1, 1, 1]], dtype=float)


@st.composite
def crossed(draw):
    n = np.array([draw(st.integers(1, 60)) for _ in range(4)])
    return CROSSED, np.array([draw(st.integers(0, size)) for size in n]), n


# --- closed forms ----------------------------------------------------------------------------


@pytest.mark.parametrize(("k", "n"), [(0, 1), (0, 40), (3, 40), (40, 40), (1, 10**9)])
def test_one_rate_alone_adds_half_a_failure_and_half_a_success(k, n):
    # Firth 1993, section 4: with an intercept only, the estimate is log((k + 1/2) / (n - k + 1/2)).
    fit = stats.firth([[1.0]], [k], [n])
    assert fit.converged
    assert_allclose(fit.coefficients, [np.log((k + 0.5) / (n - k + 0.5))], rtol=1e-8)


@pytest.mark.parametrize("counts", [(0, 9, 5, 12), (9, 9, 0, 12), (2, 30, 7, 20)])
def test_two_rates_add_half_to_every_cell(counts):
    # A saturated table: the penalised odds ratio is the one with 1/2 added to each cell.
    x1, n1, x2, n2 = counts
    fit = stats.firth([[1, 0], [1, 1]], [x2, x1], [n2, n1])
    expected = np.log((x1 + 0.5) / (n1 - x1 + 0.5) / ((x2 + 0.5) / (n2 - x2 + 0.5)))
    assert_allclose(fit.coefficients[1], expected, rtol=1e-8)
    cells = np.array([x1, n1 - x1, x2, n2 - x2]) + 0.5
    rate1, rate2 = cells[0] / cells[:2].sum(), cells[2] / cells[2:].sum()
    variance = 1 / (n1 * rate1 * (1 - rate1)) + 1 / (n2 * rate2 * (1 - rate2))
    assert_allclose(fit.covariance[1, 1], variance, rtol=1e-7)


# --- separation ------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [3, 50, 10**6])
def test_full_separation_has_a_finite_answer(size):
    fit = stats.firth(CROSSED, [0, size, 0, size], [size] * 4)
    assert fit.converged
    assert np.isfinite(fit.coefficients).all()
    profile = stats.firth_profile(CROSSED, [0, size, 0, size], [size] * 4)
    assert profile.converged.all()
    assert 0 < profile.low[1] < fit.coefficients[1] < profile.high[1] < 100
    assert_allclose(fit.coefficients[2], 0, atol=1e-6)


def test_rare_failures_in_very_many_jobs():
    n = np.array([10**6, 10**5, 3000, 500])
    fit = stats.firth(CROSSED, [20, 0, 1, 0], n)
    profile = stats.firth_profile(CROSSED, [20, 0, 1, 0], n)
    assert fit.converged
    assert profile.converged.all()
    assert np.all((profile.low < fit.coefficients) & (fit.coefficients < profile.high))


def test_nothing_failed_at_all():
    fit = stats.firth(CROSSED, [0, 0, 0, 0], [50, 20, 10, 5])
    profile = stats.firth_profile(CROSSED, [0, 0, 0, 0], [50, 20, 10, 5], columns=[1, 2])
    assert fit.converged
    assert profile.converged.all()
    assert np.all(profile.low < 0)
    assert np.all(profile.high > 0)
    assert np.all(profile.p_value > 0.05)


# --- said when it fails ----------------------------------------------------------------------


def test_failure_to_converge_is_said(monkeypatch):
    monkeypatch.setattr(sys.modules["fixstats.stats.firth"], "_MOST_STEPS", 1)
    fit = stats.firth(CROSSED, [1, 9, 2, 8], [10] * 4)
    assert not fit.converged
    profile = stats.firth_profile(CROSSED, [1, 9, 2, 8], [10] * 4, columns=[1])
    assert not profile.converged[0]
    assert np.isnan([profile.low[0], profile.high[0], profile.p_value[0]]).all()
    assert np.isnan(stats.firth_test(CROSSED, [1, 9, 2, 8], [10] * 4, columns=[1]))


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("design", "words"),
    [
        ([[1, 0, 1], [1, 1, 2], [1, 2, 3], [1, 5, 6]], "design column 2 follows from those before"),
        ([[1, 0], [1, 0], [1, 0], [1, 0]], "design column 1 follows from those before it"),
        (np.ones((4, 5)), "design column 1 follows from those before it"),
        (np.ones((3, 1)), r"design must have one row a count .* got shape \(3, 1\)"),
        (np.ones(4), r"design must have one row a count .* got shape \(4,\)"),
        ([[1, np.nan]] * 4, "design must be finite numbers, got nan at position 0, 1"),
    ],
)
def test_designs_that_cannot_be(design, words):
    with pytest.raises(ValueError, match=words):
        stats.firth(design, [1, 2, 3, 4], [9, 9, 9, 9])
    with pytest.raises(ValueError, match=words):
        stats.firth_profile(design, [1, 2, 3, 4], [9, 9, 9, 9])
    with pytest.raises(ValueError, match=words):
        stats.firth_test(design, [1, 2, 3, 4], [9, 9, 9, 9], columns=[0])


def test_other_refusals():
    counts = ([1, 2, 3, 4], [9, 9, 9, 9])
    with pytest.raises(ValueError, match="failures must not be greater than opportunities"):
        stats.firth(CROSSED, [1, 2, 3, 10], counts[1])
    with pytest.raises(ValueError, match=r"columns must lie between 0 and 2, got \[3\]"):
        stats.firth_profile(CROSSED, *counts, columns=[3])
    with pytest.raises(ValueError, match=r"columns must lie between 0 and 2, got \[\]"):
        stats.firth_test(CROSSED, *counts, columns=[])
    with pytest.raises(ValueError, match="confidence_level must be a number between 0 and 1"):
        stats.firth_profile(CROSSED, *counts, confidence_level=95)


# --- what must always hold -------------------------------------------------------------------


@settings(deadline=None, max_examples=40)
@given(data=crossed())
def test_counting_successes_changes_every_sign(data):
    x, k, n = data
    failed, worked = stats.firth(x, k, n), stats.firth(x, n - k, n)
    assert failed.converged
    assert_allclose(worked.coefficients, -failed.coefficients, rtol=1e-6, atol=1e-7)


@settings(deadline=None, max_examples=25)
@given(data=crossed())
def test_other_units_and_splitting_rows_change_nothing(data):
    x, k, n = data
    here = stats.firth(x, k, n)
    scaled = stats.firth(x * [1, 1000, 0.001], k, n)
    assert_allclose(scaled.coefficients * [1, 1000, 0.001], here.coefficients, rtol=1e-6, atol=1e-8)
    one = np.minimum(k, 1)
    rows, failures = np.vstack([x, x, x]), np.concatenate([one, k - one, [0] * 4])
    split = stats.firth(rows, failures, np.concatenate([one, n - one, [0] * 4]))
    assert_allclose(split.coefficients, here.coefficients, rtol=1e-6, atol=1e-8)
    assert_allclose(split.penalised_log_likelihood, here.penalised_log_likelihood, rtol=1e-9)


@settings(deadline=None, max_examples=25)
@given(data=crossed(), level=st.floats(0.5, 0.99))
def test_profiles_hold(data, level):
    x, k, n = data
    fit = stats.firth(x, k, n)
    profile = stats.firth_profile(x, k, n, confidence_level=level)
    assert profile.converged.all()
    assert np.all((profile.low < fit.coefficients) & (fit.coefficients < profile.high))
    wider = stats.firth_profile(x, k, n, confidence_level=(1 + level) / 2)
    assert np.all((wider.low < profile.low) & (profile.high < wider.high))
    # The interval holds 0 where the test of 0 does not reject, and only there.
    holds = (profile.low < 0) & (profile.high > 0)
    clear = np.abs(profile.p_value - (1 - level)) > 1e-6
    assert np.array_equal(holds[clear], (profile.p_value > 1 - level)[clear])
    one = stats.firth_test(x, k, n, columns=[1])
    assert_allclose(one, profile.p_value[1], rtol=1e-6)


def highest(x, k, n, held):
    """The penalised likelihood by the formula, maximised from many starts by a general search."""
    free = [column for column in range(x.shape[1]) if column not in held]

    def fall(others):
        beta = np.zeros(x.shape[1])
        beta[free], beta[list(held)] = others, list(held.values())
        eta = x @ beta
        weight = n * special.expit(eta) * special.expit(-eta)
        penalty = np.linalg.slogdet(x.T @ (weight[:, None] * x))[1] / 2
        return -(k @ eta - n @ np.logaddexp(0, eta) + penalty)

    starts = np.random.default_rng(1).normal(0, 3, (8, len(free)))
    return max(-optimize.minimize(fall, start, tol=1e-7).fun for start in starts)


@pytest.mark.parametrize("level", [0.75, 0.875])
@pytest.mark.parametrize("last", [2, 7])
def test_limits_beyond_the_parting_of_the_likelihood_into_two_humps(last, level):
    # With coefficient 1 held this far out, the likelihood of the other two is flat, or has two
    # maxima with a saddle between.
    k, n = np.array([1, 0, 1, 0]), np.array([1, 1, 1, last])
    profile = stats.firth_profile(CROSSED, k, n, confidence_level=level)
    assert profile.converged.all()
    best = highest(CROSSED, k, n, {})
    for column in range(3):
        for end in (profile.low[column], profile.high[column]):
            fall = best - highest(CROSSED, k, n, {column: end})
            assert_allclose(special.chdtr(1, 2 * fall), level, atol=1e-6)


def test_the_fit_is_a_maximum_not_the_saddle_between_two():
    # Both conditions alike, one job in each small cell: two maxima, mirrored and equally high.
    k, n = np.array([0, 0, 0, 0]), np.array([1, 1, 1, 29])
    fit = stats.firth(CROSSED, k, n)
    assert fit.converged
    assert_allclose(fit.penalised_log_likelihood, highest(CROSSED, k, n, {}), atol=1e-9)
    worked = stats.firth(CROSSED, n - k, n)
    assert_allclose(worked.coefficients, -fit.coefficients, rtol=1e-6)


@settings(deadline=None, max_examples=25)
@given(data=crossed())
def test_the_score_is_zero_at_the_maximum(data):
    x, k, n = data
    fit = stats.firth(x, k, n)
    rate = special.expit(x @ fit.coefficients)
    weight = n * rate * (1 - rate)
    covariance = np.linalg.inv(x.T @ (weight[:, None] * x))
    leverage = weight * np.einsum("ij,jk,ik->i", x, covariance, x)
    score = x.T @ (k - n * rate + leverage * (0.5 - rate))
    assert_allclose(score, 0, atol=1e-6)
    assert_allclose(fit.covariance, covariance, rtol=1e-6, atol=1e-9)


def test_columns_that_belong_together_are_tested_together():
    random = np.random.default_rng(5)
    kind = np.eye(3)[random.integers(0, 3, 40)]
    x = np.column_stack([np.ones(40), kind[:, 1:]])
    n = random.integers(5, 20, 40)
    k = random.binomial(n, special.expit(x @ [-2, 1, 1]))
    together = stats.firth_test(x, k, n, columns=[1, 2])
    # Another coding of the same three kinds gives the same test.
    recoded = np.column_stack([np.ones(40), kind[:, 0] - kind[:, 1], kind[:, 2]])
    assert_allclose(stats.firth_test(recoded, k, n, columns=[2, 1]), together, rtol=1e-6)
    assert together < 0.01
