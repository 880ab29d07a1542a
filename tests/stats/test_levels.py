"""The multilevel normal fit: eight schools, an independent integration, and its edges."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

# Rubin 1981, J Educ Stat 6:377-401: effects of coaching and their standard errors.
SCHOOLS = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERRORS = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])
# Gelman et al. 2013, Bayesian Data Analysis, Table 5.3: 2.5 %, median, 97.5 % of 200 simulations,
# flat prior on the sd (digits from memory).
TABLE = {0: (-2, 10, 31), 1: (-5, 8, 23), 2: (-11, 7, 19), 4: (-9, 5, 18), 6: (-1, 10, 26)}


def schools(sd_rate, **settings):
    group = stats.grouping("school", np.arange(8), 8)
    return stats.fit_levels(
        SCHOOLS, ERRORS**2, stats.intercept(8), [group], sd_rate=sd_rate, **settings
    )


def by_brute_force(sd_rate):
    """Mean and sd of each school's effect, conjugate given the sd, over a fine grid of it."""
    sds = np.linspace(1e-3, 60 if sd_rate is None else 15 / sd_rate, 6000)
    total = ERRORS**2 + sds[:, None] ** 2
    precision = (1 / total).sum(axis=1)
    centre = (SCHOOLS / total).sum(axis=1) / precision
    log_weight = -0.5 * np.log(precision) - 0.5 * np.log(total).sum(axis=1)
    log_weight -= 0.5 * ((SCHOOLS - centre[:, None]) ** 2 / total).sum(axis=1)
    if sd_rate is not None:
        log_weight += np.log(sds) - sd_rate * sds
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    share = ERRORS**2 / total
    mean = share * centre[:, None] + (1 - share) * SCHOOLS
    variance = (1 - share) * ERRORS**2 + share**2 / precision[:, None]
    grand = weight @ mean
    return grand, np.sqrt(weight @ (variance + (mean - grand) ** 2))


def test_eight_schools_as_published():
    fit = schools(None, draws=20_000)
    effects = fit.coefficient_draws + fit.effect_draws[0]
    for school, (low, median, high) in TABLE.items():
        found = np.quantile(effects[school], [0.025, 0.5, 0.975])
        # Ends of 200 simulations are known to about 3 points.
        assert_allclose(found[1], median, atol=1.6)
        assert_allclose(found[[0, 2]], [low, high], atol=4.5)


@pytest.mark.parametrize("sd_rate", [None, 0.2, 1.0])
def test_moments_by_independent_integration(sd_rate):
    fit = schools(sd_rate, draws=20_000)
    effects = fit.coefficient_draws + fit.effect_draws[0]
    mean, sd = by_brute_force(sd_rate)
    assert_allclose(fit.coefficients + fit.effects[0], mean, atol=0.35)
    assert_allclose(effects.mean(axis=1), mean, atol=0.35)
    assert_allclose(effects.std(axis=1), sd, rtol=0.06)


def test_without_groups_it_is_weighted_least_squares():
    x = np.array([0.0, 0, 1, 1])
    design = stats.side_by_side(stats.intercept(4), stats.contrasts("option", x.astype(int), 2))
    y, v = np.array([1.0, 3, 4, 9]), np.array([1.0, 1, 1, 4])
    fit = stats.fit_levels(y, v, design, sd_rate=1.0)
    # Means 2 and (4 + 9 / 4) / (5 / 4) = 5
    assert_allclose(fit.coefficients, [2, 3])
    assert_allclose(
        fit.coefficient_draws.std(axis=1), [np.sqrt(0.5), np.sqrt(0.5 + 0.8)], rtol=0.08
    )


def test_a_level_without_cells_is_drawn_from_the_others():
    codes = np.repeat(np.arange(6), 2)
    y = np.array([-1.0, 1.5, 0, 2, 3, -2])[codes]
    group = stats.grouping("model", codes, 7)
    fit = stats.fit_levels(y, np.full(12, 0.01), stats.intercept(12), [group], sd_rate=1.0)
    assert fit.level_weight[0][6] == 0 and fit.effects[0][6] == pytest.approx(0, abs=1e-8)
    values = fit.coefficient_draws[0] + fit.effect_draws[0]
    assert values[0].std() == pytest.approx(np.sqrt(0.01 / 2), rel=0.1)
    # A new level: the spread of levels, and what is not known about their mean.
    assert 1.5 < values[6].std() < 3.5


def test_the_same_seed_gives_the_same_draws_in_mirrored_pairs():
    one, two, other = schools(0.2), schools(0.2), schools(0.2, seed=2)
    assert_array_equal(one.effect_draws[0], two.effect_draws[0])
    assert (one.effect_draws[0] != other.effect_draws[0]).any()
    draws = one.coefficient_draws[0]
    middle = (draws[::2] + draws[1::2]) / 2
    assert len(np.unique(middle.round(9))) <= 5  # one centre a point of the design


@pytest.mark.parametrize(
    ("y", "v", "columns", "words"),
    [
        ([1.0, 2], [1.0], stats.intercept(2), "one entry a cell"),
        ([1.0, 2], [1.0, 0], stats.intercept(2), "variances must be above 0"),
        ([1.0, np.nan], [1.0, 1], stats.intercept(2), "estimates must be finite"),
        (
            [1.0, 2],
            [1.0, 1],
            stats.fixed_columns(np.ones((2, 2)), ["a", "b"]),
            "columns of the design are not independent",
        ),
    ],
)
def test_refusals(y, v, columns, words):
    with pytest.raises(ValueError, match=words):
        stats.fit_levels(y, v, columns, sd_rate=1.0)


def test_a_prior_for_each_group_and_column():
    one, each = schools(0.1), schools([0.1])
    assert_array_equal(one.coefficient_draws, each.coefficient_draws)
    groups = [stats.grouping(name, np.arange(8) // size, 8 // size) for name, size in
              (("school", 1), ("pair", 2))]  # fmt: skip
    design = stats.side_by_side(stats.intercept(8), stats.contrasts("odd", np.arange(8) % 2, 2))
    fit = stats.fit_levels(
        SCHOOLS, ERRORS**2, design, groups, sd_rate=[0.1, 500.0], contrast_sd=[1.0, 0.01]
    )
    assert fit.sds[1] < 0.01 < fit.sds[0]
    assert abs(fit.coefficients[1]) < 0.01
