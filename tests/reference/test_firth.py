"""Firth's logistic regression against R (brglm2), firthmodels and a plain maximiser."""

import csv
from pathlib import Path

import numpy as np
import pytest
from firthmodels import FirthLogisticRegression
from numpy.testing import assert_allclose
from scipy import optimize, special

from fixstats import stats

FOLDER = Path(__file__).parent / "r"


def _from_r(prefix):
    with (FOLDER / "strata_and_firth.csv").open(encoding="utf-8") as file:
        return [float(row[1]) for row in csv.reader(file) if row[0].startswith(f"{prefix}_")]


def _endometrial():
    with (FOLDER / "endometrial.csv").open(encoding="utf-8", newline="") as file:
        rows = np.array(list(csv.reader(file))[1:], dtype=float)
    ones = np.ones(len(rows))
    return np.column_stack([ones, rows[:, :3]]), rows[:, 3], ones


def _separated():
    conditions = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [0, 0, 1]], dtype=float)
    design = np.column_stack([np.ones(5), conditions])
    return design, np.array([6, 9, 0, 0, 5]), np.array([40, 25, 12, 6, 30])


def _random(seed):
    random = np.random.default_rng(seed)
    x = np.column_stack(
        [
            np.ones(30),
            random.integers(0, 2, 30),
            random.normal(20, 9, 30),
            random.integers(0, 2, 30),
        ]
    )
    n = random.integers(1, 9, 30)
    return x, random.binomial(n, special.expit(x @ [-2, 1, 0.02, -1])), n


def _one_row_a_job(design, failures, opportunities):
    failures, opportunities = failures.astype(int), opportunities.astype(int)
    rows = np.repeat(design, opportunities, axis=0)
    seen = [np.repeat([1, 0], [k, n - k]) for k, n in zip(failures, opportunities, strict=True)]
    return rows, np.concatenate(seen)


def test_brglm2():
    fit = stats.firth(*_endometrial())
    *coefficients, penalised = _from_r("endometrial")
    assert_allclose(fit.coefficients, coefficients, rtol=1e-7)
    assert_allclose(fit.penalised_log_likelihood, penalised, rtol=1e-12)
    assert_allclose(stats.firth(*_separated()).coefficients, _from_r("separated"), rtol=1e-8)


@pytest.mark.parametrize("data", [_endometrial(), _separated(), _random(1), _random(2)])
def test_firthmodels(data):
    # Theirs takes one row a job, ours one row a group of jobs; both say the same.
    rows, seen = _one_row_a_job(*data)
    theirs = FirthLogisticRegression(gtol=1e-6, xtol=1e-6, max_iter=500).fit(rows[:, 1:], seen)
    theirs.lrt()
    ends = theirs.conf_int(method="pl")
    last_to_first = [*range(1, rows.shape[1]), 0]  # theirs puts the intercept last
    fit = stats.firth(*data)
    profile = stats.firth_profile(*data, columns=last_to_first)
    assert fit.converged
    assert profile.converged.all()
    coefficients = [*theirs.coef_, theirs.intercept_]
    assert_allclose(fit.coefficients[last_to_first], coefficients, rtol=1e-5, atol=1e-6)
    assert_allclose(profile.low, ends[:, 0], rtol=1e-4, atol=1e-5)
    assert_allclose(profile.high, ends[:, 1], rtol=1e-4, atol=1e-5)
    assert_allclose(profile.p_value, theirs.lrt_pvalues_, rtol=1e-4)


def _penalised(coefficients, design, failures, opportunities):
    """The definition, written out: log-likelihood and half the log determinant."""
    rate = special.expit(design @ coefficients)
    information = design.T @ np.diag(opportunities * rate * (1 - rate)) @ design
    likelihood = special.xlogy(failures, rate) + special.xlog1py(opportunities - failures, -rate)
    return likelihood.sum() + np.linalg.slogdet(information)[1] / 2


@pytest.mark.parametrize("data", [_separated(), _random(3)])
def test_a_plain_maximiser_finds_no_better_place(data):
    fit = stats.firth(*data)
    assert_allclose(fit.penalised_log_likelihood, _penalised(fit.coefficients, *data), rtol=1e-12)
    best = optimize.minimize(
        lambda b: -_penalised(b, *data), fit.coefficients * 0.5, method="Nelder-Mead",
        options={"maxiter": 20000, "maxfev": 20000, "xatol": 1e-9, "fatol": 1e-12},
    )  # fmt: skip
    assert_allclose(fit.coefficients, best.x, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("data", [_separated(), _random(4)])
def test_profile_ends_by_a_plain_maximiser(data):
    profile = stats.firth_profile(*data, columns=[1])
    best = stats.firth(*data).penalised_log_likelihood
    start = stats.firth(*data).coefficients[[0, 2, 3]]
    for end in (profile.low[0], profile.high[0]):
        held = optimize.minimize(
            lambda b, end=end: -_penalised(np.insert(b, 1, end), *data), start,
            method="Nelder-Mead",
            options={"maxiter": 20000, "maxfev": 20000, "xatol": 1e-9, "fatol": 1e-12},
        )  # fmt: skip
        assert_allclose(2 * (best + held.fun), special.chdtri(1, 0.05), rtol=1e-6)
