"""Mean minutes: by hand, coverage on skewed jobs, few jobs, and confounded technicians."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixstats import stats


def summed(cell, minutes, cells):
    return (
        np.bincount(cell, minlength=cells).astype(float),
        np.bincount(cell, minutes, cells),
        np.bincount(cell, minutes**2, cells),
    )


def alone(jobs, total, square, **settings):
    """One option, models pooled; draws (models and all, draws)."""
    models = len(jobs)
    some = np.flatnonzero(jobs)
    fit = stats.fit_minutes(
        jobs[some],
        total[some],
        square[some],
        stats.intercept(len(some)),
        [stats.grouping("model", some, models)],
        **settings,
    )
    cells = stats.CellsAt(np.ones((models, 1)), (np.arange(models),))
    return fit, stats.mean_minutes(fit, [cells], np.ones(models), np.arange(models))[0]


def test_variation_by_hand():
    # Two cells: 10, 30 (mean 20, squared deviations 200 / 400 = 0.5) and 8, 12 (8 / 100 = 0.08).
    # (4 * 0.25 + 0.5 * 0.58) / (4 + 0.5 * 2 - 2)
    found = stats.pooled_cv([2, 2], [40, 20], [1000, 208])
    assert found == pytest.approx(np.sqrt(1.29 / 3))


def test_one_cell_is_its_mean_and_the_error_of_it():
    n = 400
    minutes = np.random.default_rng(2).gamma(4.0, 5.0, n)
    sums = minutes.sum(), (minutes**2).sum()
    fit = stats.fit_minutes([n], [sums[0]], [sums[1]], stats.intercept(1))
    cells = stats.CellsAt(np.ones((1, 1)), ())
    draws = stats.mean_minutes(fit, [cells], [1.0])[0, 0]
    assert_allclose(draws.mean(), minutes.mean(), rtol=0.002)
    assert_allclose(draws.std(), minutes.std() / np.sqrt(n), rtol=0.1)


def test_one_long_job_does_not_make_a_slow_model():
    jobs = np.array([80.0, 60, 40, 30, 1, 0])
    mean = np.array([22.0, 20, 24, 19, 60, 0])
    # A variation of sqrt(0.2) within the models with several jobs.
    square = jobs * mean**2 * np.where(jobs > 1, 1.2, 1)
    _, draws = alone(jobs, jobs * mean, square)
    means = draws.mean(axis=1)
    assert_allclose(means[:4], mean[:4], rtol=0.06)
    assert 22 < means[4] < 40
    # Nobody saw the last model: about as long as the others, far less known.
    assert 18 < means[5] < 32 and draws[5].std() > 3 * draws[0].std()


@pytest.mark.parametrize("shape", ["log-normal", "gamma"])
def test_intervals_hold_the_true_mean(shape):
    """60 shops of 6 models with 1 to 40 jobs: 95 % intervals hold the truth about as often."""
    random = np.random.default_rng(11)
    held = []
    for _ in range(60):
        truth = 25 * np.exp(random.normal(0, 0.25, 6))
        cell = np.repeat(np.arange(6), [1, 2, 4, 8, 20, 40])
        noise = random.lognormal(-0.125, 0.5, 75) if shape == "log-normal" else (
            random.gamma(3.5, 1 / 3.5, 75)
        )  # fmt: skip
        _, draws = alone(*summed(cell, truth[cell] * noise, 6), draws=1000)
        low, high = np.quantile(draws[:6], [0.025, 0.975], axis=1)
        held.append((low <= truth) & (truth <= high))
    assert 0.92 <= np.mean(held) <= 0.99
    assert np.mean(held, axis=0).min() > 0.85


def test_the_slow_technician_does_not_make_the_method_slow():
    """Option 1 saves 10 %; the technician who takes twice as long uses it most of the time."""
    random = np.random.default_rng(4)
    technician = np.repeat(np.arange(4), 150)
    often = np.array([0.1, 0.2, 0.3, 0.9])
    option = (random.random(600) < often[technician]).astype(int)
    pace = np.array([1.0, 0.9, 1.1, 2.0])
    minutes = 20 * pace[technician] * 0.9**option * random.lognormal(-0.045, 0.3, 600)
    raw = minutes[option == 1].mean() / minutes[option == 0].mean()
    cell = technician * 2 + option
    n, total, square = summed(cell, minutes, 8)
    who, which = np.divmod(np.arange(8), 2)
    group = stats.grouping("technician", who, 4)
    asked = stats.contrasts("option", which, 2)
    means = stats.group_means(asked, group, n)
    fit = stats.fit_minutes(
        n, total, square, stats.side_by_side(stats.intercept(8), asked, means), [group]
    )
    cells = []
    for choice in (0, 1):
        columns = stats.contrasts("option", np.full(8, choice), 2)
        wide = stats.side_by_side(stats.intercept(8), columns, means).columns
        cells.append(stats.CellsAt(wide, (who,)))
    draws = stats.mean_minutes(fit, cells, n)[:, 0]
    ratio = (draws[1] / draws[0]).mean()
    assert raw > 1.2
    assert ratio == pytest.approx(0.9, abs=0.06)


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        (([0.0], [10.0], [100.0]), "jobs must be at least 1"),
        (([2.0], [0.0], [0.0]), "totals must be above 0"),
        (([2.0], [10.0], [40.0]), "squares do not fit the totals"),
        (([2.0, 1.0], [10.0], [100.0]), "must have one entry a cell"),
    ],
)
def test_refusals(counts, words):
    with pytest.raises(ValueError, match=words):
        stats.fit_minutes(*counts, stats.intercept(1))
