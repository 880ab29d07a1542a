"""The multilevel fit: edges, refusals, and what must always hold."""

from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import sparse

from fixstats import stats
from fixstats.stats import blocks
from fixstats.stats.composite import composite_points
from fixstats.stats.laplace import Counts, summit

CELLS, MODELS, TECHNICIANS, OPTIONS = 60, 5, 4, 2


def sheet(seed=0):
    random = np.random.default_rng(seed)
    model = np.append(random.integers(0, MODELS, CELLS - MODELS), np.arange(MODELS))
    technician = random.integers(0, TECHNICIANS, CELLS)
    option = random.integers(0, OPTIONS, CELLS)
    option[model == 0] = 0  # model 0 never had option 1
    n = random.integers(5, 40, CELLS)
    eta = -1.5 + 0.5 * option + random.normal(0, 0.5, MODELS)[model]
    k = random.binomial(n, 1 / (1 + np.exp(-eta)))
    return k, n, model, technician, option


def parts(model, technician, option, asked=None):
    asked = option if asked is None else np.full(len(option), asked)
    design = stats.side_by_side(
        stats.intercept(len(option)), stats.contrasts("option", asked, OPTIONS)
    )
    groups = [
        stats.grouping("model", model, MODELS),
        stats.grouping("technician", technician, TECHNICIANS),
        stats.grouping("option by model", asked * MODELS + model, OPTIONS * MODELS),
    ]
    return design, groups


def fitted(k, n, model, technician, option, **settings):
    return stats.fit_multilevel(k, n, *parts(model, technician, option), **settings)


def standardised(fit, model, technician, option, n, **settings):
    cells = []
    for asked in range(OPTIONS):
        design, groups = parts(model, technician, option, asked)
        cells.append(stats.CellsAt(design.columns, tuple(g.codes for g in groups)))
    return stats.adjusted_rates(fit, cells, n, **settings)


K, N, MODEL, TECHNICIAN, OPTION = sheet()
FIT = fitted(K, N, MODEL, TECHNICIAN, OPTION)


def test_it_converged_and_is_frozen():
    assert FIT.converged
    assert FIT.problem == ""
    assert FIT.groups == ("model", "technician", "option by model")
    assert np.all((FIT.sd_low < FIT.sds) & (FIT.sds < FIT.sd_high))
    with pytest.raises(FrozenInstanceError, match="converged"):
        FIT.converged = False


def test_the_same_seed_gives_the_same_draws():
    again = fitted(K, N, MODEL, TECHNICIAN, OPTION)
    assert_array_equal(again.coefficient_draws, FIT.coefficient_draws)
    other = fitted(K, N, MODEL, TECHNICIAN, OPTION, seed=2)
    assert not np.array_equal(other.coefficient_draws, FIT.coefficient_draws)
    assert_allclose(other.coefficients, FIT.coefficients, rtol=1e-12)


def test_draws_have_the_stated_moments():
    fit = fitted(K, N, MODEL, TECHNICIAN, OPTION, draws=40_000)
    assert_allclose(fit.coefficient_draws.mean(axis=1), fit.coefficients, atol=1e-3)
    assert_allclose(fit.coefficient_draws.std(axis=1), fit.standard_errors, rtol=0.02)
    for mean, drawn in zip(fit.effects, fit.effect_draws, strict=True):
        assert_allclose(drawn.mean(axis=1), mean, atol=1e-3)


def test_splitting_cells_changes_nothing():
    half = N // 2
    failed = np.minimum(K, half)
    twice = fitted(
        np.append(failed, K - failed),
        np.append(half, N - half),
        *(np.append(codes, codes) for codes in (MODEL, TECHNICIAN, OPTION)),
    )
    # The binomial constant depends on how jobs are put into cells; nothing else does.
    assert_allclose(twice.coefficients, FIT.coefficients, rtol=1e-6)
    assert_allclose(twice.standard_errors, FIT.standard_errors, rtol=1e-6)
    assert_allclose(twice.sds, FIT.sds, rtol=1e-6)


def test_empty_cells_and_their_order_change_nothing():
    order = np.random.default_rng(5).permutation(CELLS)
    columns = [np.append(c[order], 0) for c in (K, N, MODEL, TECHNICIAN, OPTION)]
    assert_allclose(fitted(*columns).coefficients, FIT.coefficients, rtol=1e-6)


def test_names_of_groups_do_not_matter():
    other = fitted(K, N, MODEL, (TECHNICIAN + 1) % TECHNICIANS, OPTION)
    assert_allclose(other.coefficients, FIT.coefficients, rtol=1e-6)
    assert_allclose(other.effects[1], np.roll(FIT.effects[1], 1), rtol=1e-5, atol=1e-8)


def test_order_of_groups_does_not_matter():
    design, groups = parts(MODEL, TECHNICIAN, OPTION)
    other = stats.fit_multilevel(K, N, design, groups[::-1])
    assert other.groups == FIT.groups[::-1]
    assert_allclose(other.sds, FIT.sds[::-1], rtol=1e-6)
    for mine, theirs in zip(FIT.effects, other.effects[::-1], strict=True):
        assert_allclose(mine, theirs, rtol=1e-5, atol=1e-8)


def test_swapping_failures_and_successes_negates():
    other = fitted(N - K, N, MODEL, TECHNICIAN, OPTION)
    assert_allclose(other.coefficients, -FIT.coefficients, rtol=1e-6)
    assert_allclose(other.standard_errors, FIT.standard_errors, rtol=1e-6)
    assert_allclose(other.log_likelihood, FIT.log_likelihood, rtol=1e-10)


def test_a_level_without_cells_is_drawn_from_the_others():
    design, groups = parts(MODEL, TECHNICIAN, OPTION)
    more = [stats.grouping("model", MODEL, MODELS + 1), *groups[1:]]
    fit = stats.fit_multilevel(K, N, design, more, draws=20_000)
    # The search for the sds takes other steps, and ends close to the same place.
    assert_allclose(fit.coefficients, FIT.coefficients, rtol=1e-4)
    assert_allclose(fit.log_likelihood, FIT.log_likelihood, atol=0.02)
    assert fit.level_opportunities[0][-1] == 0
    assert_allclose(fit.effects[0][-1], 0, atol=1e-12)
    assert 0.5 < fit.effect_draws[0][-1].std() / fit.sds[0] < 2


@pytest.mark.parametrize("integrate", [True, False])
def test_the_slope_is_the_derivative_of_the_height(integrate):
    design, groups = parts(MODEL, TECHNICIAN, OPTION)
    layout = blocks.lay_out(design.columns, groups)
    counts = Counts(1.0 * K, 1.0 * N, layout, np.zeros(2), integrate, 0.0)
    place, h = np.log([0.4, 0.7, 0.3]), 1e-4
    here = summit(counts, place)
    for i, one in enumerate(np.eye(3)):
        up, down = summit(counts, place + h * one, here), summit(counts, place - h * one, here)
        slope = (up.log_marginal - down.log_marginal) / (2 * h)
        assert_allclose(here.slope[i], slope, atol=1e-5)


def test_blocks_are_the_plain_matrix():
    design, groups = parts(MODEL, TECHNICIAN, OPTION)
    layout = blocks.lay_out(design.columns, groups)
    ordered = [groups[i] for i in layout.order]
    random = np.random.default_rng(4)
    weights = random.uniform(0.5, 2, CELLS)
    sizes = [group.levels for group in ordered]
    prior = [np.full(size, 1.0 + i) for i, size in enumerate(sizes)]
    ones = [np.eye(g.levels)[g.codes] for g in ordered]
    plain = np.concatenate([*ones[:-1], design.columns, ones[-1]], axis=1)
    both = np.concatenate([*prior[:-1], np.zeros(2)]), prior[-1]
    matrix = (plain.T * weights) @ plain + np.diag(np.concatenate(both))
    curved = blocks.curvature(layout, weights, both)
    inverse = blocks.invert(layout, curved, columns=True)
    plain_inverse = np.linalg.inv(matrix)
    size = layout.dense
    assert_allclose(blocks.log_determinant(curved, size), np.linalg.slogdet(matrix)[1])
    assert_allclose(inverse.rest, plain_inverse[:size, :size], atol=1e-12)
    assert_allclose(inverse.diagonal, np.diag(plain_inverse)[size:], atol=1e-12)
    assert_allclose(inverse.coupling, plain_inverse[size:, :size], atol=1e-12)
    variances = np.einsum("ij,jk,ik->i", plain, plain_inverse, plain)
    assert_allclose(inverse.cells, variances, rtol=1e-10)
    right = random.normal(size=len(matrix))
    answer = np.concatenate(blocks.solve(layout, curved, right[:size], right[size:]))
    assert_allclose(answer, np.linalg.solve(matrix, right), rtol=1e-9)


@pytest.mark.parametrize("size", [1, 2, 3, 4])
def test_the_design_keeps_mean_and_variance_of_a_normal(size):
    points, weights = composite_points(size)
    assert_allclose(weights.sum(), 1)
    assert_allclose(points[0], 0)
    assert_allclose(weights @ points, 0, atol=1e-12)
    assert_allclose((points.T * weights) @ points, np.eye(size), atol=1e-12)


def test_standardised_rates_by_hand():
    answer = standardised(FIT, MODEL, TECHNICIAN, OPTION, N)
    eta = (
        FIT.coefficient_draws[0]
        + FIT.coefficient_draws[1]
        + FIT.effect_draws[0][MODEL]
        + FIT.effect_draws[1][TECHNICIAN]
        + FIT.effect_draws[2][MODELS + MODEL]
    )
    by_draw = N @ (1 / (1 + np.exp(-eta))) / N.sum()
    assert_allclose(answer.rate[1, 0], by_draw.mean(), rtol=1e-5)
    assert_allclose(answer.low[1, 0], np.quantile(by_draw, 0.025), rtol=1e-5)
    assert_allclose(answer.difference[1], answer.rate[1] - answer.rate[0], atol=1e-12)
    assert answer.difference[0, 0] == answer.difference_low[0, 0] == 0
    assert answer.rate_draws.shape == (2, 1, 2000)


def test_differences_are_taken_draw_by_draw():
    answer = standardised(FIT, MODEL, TECHNICIAN, OPTION, N)
    by_draw = answer.rate_draws[1] - answer.rate_draws[0]
    assert_allclose(answer.difference_low[1], np.quantile(by_draw, 0.025, axis=1))
    assert_allclose(answer.difference_high[1], np.quantile(by_draw, 0.975, axis=1))
    # Not what unpaired draws would give.
    apart = answer.rate_draws[1] - answer.rate_draws[0][:, ::-1]
    assert not np.isclose(np.var(by_draw), np.var(apart), rtol=0.02)


def test_scopes_are_followed_by_all_together():
    by_model = standardised(FIT, MODEL, TECHNICIAN, OPTION, N, scopes=MODEL)
    overall = standardised(FIT, MODEL, TECHNICIAN, OPTION, N)
    assert by_model.rate.shape == (OPTIONS, MODELS + 1)
    assert_allclose(by_model.rate[:, -1], overall.rate[:, 0], rtol=1e-5)
    share = np.bincount(MODEL, N) / N.sum()
    assert_allclose(by_model.rate[:, :-1] @ share, overall.rate[:, 0], rtol=1e-5)
    # Model 0 never had option 1: borrowed whole, and its difference is the least certain.
    assert_array_equal(by_model.borrowed[:, 0], [0, 1])
    assert_array_equal(by_model.borrowed[:, 1:-1], 0)
    assert_allclose(by_model.borrowed[1, -1], share[0])


def test_a_higher_level_gives_a_wider_interval():
    narrow = standardised(FIT, MODEL, TECHNICIAN, OPTION, N, confidence_level=0.5)
    wide = standardised(FIT, MODEL, TECHNICIAN, OPTION, N, confidence_level=0.99)
    assert wide.low[0, 0] < narrow.low[0, 0] < narrow.high[0, 0] < wide.high[0, 0]


def test_group_means_are_of_opportunities():
    used = stats.contrasts("option", [0, 1, 1], 2)
    means = stats.group_means(used, stats.grouping("technician", [0, 0, 1]), [3, 1, 5])
    assert means.names == ("option[1] by technician",)
    assert_allclose(means.columns[:, 0], [0.25, 0.25, 1])
    assert means.penalised.all()


def test_group_means_keep_the_technician_out_of_the_method():
    # Careful technicians (few failures) use option 1; within a technician it makes no difference.
    random = np.random.default_rng(8)
    technician = np.repeat(np.arange(12), 2)
    option = np.tile([0, 1], 12)
    care = np.linspace(-1, 1, 12)
    share = np.where(option == 1, 0.5 + 0.45 * care[technician], 0.5 - 0.45 * care[technician])
    n = np.rint(100 * share + 2)
    k = random.binomial(n.astype(int), 1 / (1 + np.exp(2 + 1.0 * care[technician])))
    group = stats.grouping("technician", technician)
    used = stats.contrasts("option", option, 2)
    alone = stats.side_by_side(stats.intercept(24), used)
    within = stats.side_by_side(alone, stats.group_means(used, group, n))
    bare = stats.fit_multilevel(k, n, alone)
    apart = stats.fit_multilevel(k, n, within, [group])
    assert bare.coefficients[1] + 2 * bare.standard_errors[1] < 0
    assert abs(apart.coefficients[1]) < 2 * apart.standard_errors[1]
    assert abs(apart.coefficients[1]) < abs(bare.coefficients[1]) / 2


def test_separation_is_held_by_the_penalty_and_told_without_it():
    design = stats.side_by_side(stats.intercept(2), stats.contrasts("option", [0, 1], 2))
    held = stats.fit_multilevel([5, 0], [50, 50], design)
    assert held.converged
    assert -8 < held.coefficients[1] < 0
    loose = stats.fit_multilevel([5, 0], [50, 50], design, sd_rate=None, contrast_sd=None)
    assert not loose.converged
    assert "run away" in loose.problem
    cells = stats.CellsAt(design.columns, ())
    with pytest.raises(ValueError, match="fit must have converged, but the coefficients run"):
        stats.adjusted_rates(loose, [cells], [1, 1])


def test_the_intercept_is_not_penalised():
    k, n = [3, 2], [10_000, 10_000]
    design = stats.side_by_side(stats.intercept(2), stats.contrasts("option", [0, 1], 2))
    strong = stats.fit_multilevel(k, n, design, contrast_sd=1e-3)
    rate = 1 / (1 + np.exp(-strong.coefficients[0]))
    assert 2 / 10_000 < rate < 3 / 10_000


def test_a_variance_of_nothing_ends_at_nothing_under_maximum_likelihood():
    # All groups have the same rate: the estimate of the sd is 0, and the fit says so.
    fit = stats.fit_multilevel(
        [5, 5, 5, 5],
        [50, 50, 50, 50],
        stats.intercept(4),
        [stats.grouping("model", [0, 1, 2, 3])],
        sd_rate=None,
        contrast_sd=None,
    )
    assert fit.converged
    assert fit.sds[0] < 1e-2
    posterior = stats.fit_multilevel(
        [5, 5, 5, 5], [50, 50, 50, 50], stats.intercept(4), [stats.grouping("model", [0, 1, 2, 3])]
    )
    assert posterior.sds[0] > 0.05


def test_columns_may_be_sparse():
    design, groups = parts(MODEL, TECHNICIAN, OPTION)
    thin = stats.fixed_columns(
        sparse.csr_array(design.columns), design.names, penalised=["option[1]"]
    )
    assert_array_equal(thin.columns, design.columns)
    assert_array_equal(thin.penalised, design.penalised)
    assert_allclose(stats.fit_multilevel(K, N, thin, groups).coefficients, FIT.coefficients)


ONE = stats.intercept(2)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.fit_multilevel([3, 1], [2, 2], ONE), "failures must not be greater"),
        (lambda: stats.fit_multilevel([0, 0], [2, 2], ONE), "at least one failure and one success"),
        (lambda: stats.fit_multilevel([2, 2], [2, 2], ONE), "at least one failure and one success"),
        (lambda: stats.fit_multilevel([1], [2], ONE), "must have one entry a cell, got 1, 2"),
        (
            lambda: stats.fit_multilevel(
                [1, 0], [2, 2], stats.fixed_columns([[1, 2], [1, 2]], ["one", "two"])
            ),
            "columns are not independent: one, two",
        ),
        (
            lambda: stats.fit_multilevel(
                [1, 0], [2, 2], stats.fixed_columns([[1, 0], [1, 0]], ["one", "none"])
            ),
            "column none is 0 in every cell",
        ),
        (lambda: stats.grouping("model", [0, 3], 3), "codes of model must lie between 0 and 2"),
        (lambda: stats.grouping("model", [-1, 0]), "codes of model must lie between"),
        (lambda: stats.grouping("model", [0.5]), "codes of model must be whole numbers"),
        (lambda: stats.side_by_side(ONE, ONE), "names must be different"),
        (lambda: stats.fixed_columns([[1]], ["a", "b"]), "columns must have one column a name"),
        (
            lambda: stats.fixed_columns([[1]], ["a"], penalised=["b"]),
            "penalised must be among the names, got b",
        ),
        (
            lambda: stats.adjusted_rates(FIT, [stats.CellsAt(np.ones((2, 2)), ())], [1, 1]),
            "weights and options must have the same cells",
        ),
        (lambda: stats.adjusted_rates(FIT, [], [-1.0]), "weights must not be negative"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_a_prior_for_each_group_and_column():
    same = fitted(K, N, MODEL, TECHNICIAN, OPTION, sd_rate=[3.0] * 3, contrast_sd=[1.5, 1.5])
    assert_array_equal(same.coefficient_draws, FIT.coefficient_draws)
    rates = [1.0, 500.0, 3.0]  # by name, whatever the order in which the fit takes the groups
    tight = fitted(K, N, MODEL, TECHNICIAN, OPTION, sd_rate=rates)
    sds = dict(zip(tight.groups, tight.sds, strict=True))
    assert sds["technician"] < 0.01 < sds["model"]
    near = fitted(K, N, MODEL, TECHNICIAN, OPTION, contrast_sd=[1.0, 0.01])
    assert abs(near.coefficients[1]) < 0.01 < abs(FIT.coefficients[1])
    with pytest.raises(ValueError, match="values must be one or 3"):
        fitted(K, N, MODEL, TECHNICIAN, OPTION, sd_rate=[1.0, 2.0])
