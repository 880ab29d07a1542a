"""Money per job: by hand, paired, nothing counted twice, missing is not free."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import special

from fixstats import stats
from fixstats.findings.costing import (
    Event,
    aligned,
    as_one_event,
    cost_up,
    rates_without_fit,
    similar_costs,
    spread,
    unsure_from,
)


def constant(values, draws=50):
    return np.repeat(np.array(values, dtype=float)[..., None], draws, axis=-1)


def test_by_hand():
    # Two options, one scope. Labour 60 an hour: a minute is worth 1.
    events = [
        Event("tab", constant([[0.1], [0.02]]), 40.0),
        Event("return", constant([[0.05], [0.04]]), 100.0),
        Event("odd", constant([[0.2], [0.1]]), None),
    ]
    minutes = constant([[20.0], [25.0]])
    found = cost_up([[3.0], [1.0]], minutes, events, labour_rate=60, cv=0.5, draws=120)
    assert found.draws.shape == (2, 1, 120)
    # 3 + 20 + 0.1 * 40 + 0.05 * 100; 1 + 25 + 0.02 * 40 + 0.04 * 100
    assert_allclose(found.draws[:, 0, 7], [32.0, 30.8])
    # (0.5 * 20) ** 2 + 40 ** 2 * 0.1 * 0.9 + 100 ** 2 * 0.05 * 0.95
    assert_allclose(found.job_variances[0, 0], 100 + 144 + 475)
    ((name, rates),) = found.missing
    assert name == "odd"
    assert rates.shape == found.draws.shape  # paired draws, to be weighed with the money
    assert_allclose(rates[..., 0], [[0.2], [0.1]])


def test_what_a_job_costs_by_simulated_jobs():
    random = np.random.default_rng(1)
    jobs = 400_000
    minutes = random.lognormal(math.log(20) - 0.5 * math.log(1.25), math.sqrt(math.log(1.25)), jobs)
    money = 2 + minutes * 0.75 + 40 * (random.random(jobs) < 0.1)
    found = cost_up(
        [[2.0]], constant([[20.0]]), [Event("tab", constant([[0.1]]), 40.0)],
        labour_rate=45, cv=0.5, draws=50,
    )  # fmt: skip
    assert_allclose(money.mean(), found.draws.mean(), rtol=0.005)
    assert_allclose(money.var(), found.job_variances[0, 0], rtol=0.02)


def test_parts_are_independent_of_each_other_and_paired_over_options():
    random = np.random.default_rng(2)
    one = random.normal(0.1, 0.02, (1, 1, 2000))
    both = np.concatenate([one, one])  # the two options differ by nothing
    events = [Event("a", both, 100.0), Event("b", both, 100.0)]
    found = cost_up(np.zeros((2, 1)), None, events, labour_rate=60)
    assert_array_equal(found.draws[0], found.draws[1])
    # The same draws for two parts: their order must not add them up with themselves.
    assert_allclose(found.draws[0, 0].std(), math.sqrt(2) * 100 * one.std(), rtol=0.03)
    assert_allclose(found.draws[0, 0].mean(), 200 * one.mean(), rtol=1e-9)


def test_draws_are_used_equally_often():
    order = spread(np.arange(7.0)[None, None], 17, np.random.default_rng(0))[0, 0]
    assert sorted(np.bincount(order.astype(int))) == [2, 2, 2, 2, 3, 3, 3]


def test_a_part_that_is_not_known_leaves_the_cost_unknown():
    rates = constant([[0.1], [math.nan]])
    found = cost_up(np.zeros((2, 1)), None, [Event("a", rates, 10.0)], labour_rate=60, draws=9)
    assert np.isnan(found.draws[1]).all() and not np.isnan(found.draws[0]).any()


def test_never_seen_does_not_punish_the_option_used_seldom():
    found = rates_without_fit(np.zeros((2, 2)), [[2000, 1500], [3, 0]], [2003, 1500], draws=4000)
    assert found.shape == (2, 3, 4000)
    assert_array_equal(found, np.broadcast_to(found[:, :1], found.shape))
    # Jeffreys: mean 1/2 in 3504; Hanley and Lippman-Hand 1983: hardly ever above 3 in 3503.
    assert found[0, 0].mean() == pytest.approx(0.5 / 3504, rel=0.25)
    assert (found[0, 0] < 3 / 3503).mean() > 0.97
    # Its own 3 jobs alone would say 1/8.
    assert found[1, 0].mean() < 3 * 0.5 / 3504


def test_never_seen_in_few_jobs_is_not_known_to_be_alike():
    """Checked by integration over a grid of the common log odds and both departures."""
    found = rates_without_fit(np.zeros((2, 1)), [[30], [10]], [40], draws=20_000)[:, -1]
    common = np.linspace(0, 1, 2003)[1:-1] ** 2  # even steps of its root: the prior has a pole at 0
    off = np.linspace(-5, 5, 201)
    prior = (1 - common) ** -0.5
    normal = np.exp(-(off**2) / 2)
    rates = special.expit(special.logit(common)[:, None] + off)
    own = [(normal * (1 - rates) ** n) for n in (30, 10)]
    total = [one.sum(axis=1) for one in own]
    weight = prior * total[0] * total[1]
    for option in (0, 1):
        mean = (prior * (own[option] * rates).sum(axis=1) * total[1 - option]).sum() / weight.sum()
        assert found[option].mean() == pytest.approx(mean, rel=0.06)
    assert (found[0] - found[1]).std() > 0.01


def test_seen_but_not_fitted_is_pooled_by_option_and_model():
    found = rates_without_fit([[40, 20], [1, 0]], [[400, 200], [100, 0]], [500, 200], draws=4000)
    means = found.mean(axis=2)
    assert means[0, 0] == pytest.approx(0.1, rel=0.1)
    assert means[1, 0] < 0.04 < means[1, 1]
    assert_allclose(means[:, 2], (500 * means[:, 0] + 200 * means[:, 1]) / 700)


@pytest.mark.parametrize(
    ("costs", "rates", "money"),
    [
        ([20, 24, 30], [0.10, 0.05, 0.02], 80.0),  # 4 / 0.05 before 10 / 0.08 = 125
        ([20, 24, 30], [0.10, 0.10, 0.02], 125.0),
        ([20, 24, 30], [0.02, 0.05, 0.02], math.inf),
        ([20, 24, 30], [0.0, 0.0, 0.0], math.inf),
        ([20, 19, 30], [0.03, 0.05, 0.03], 0.0),  # not even sure without it
    ],
)
def test_without_doubt_it_is_the_cost_at_which_another_leads(costs, rates, money):
    found = unsure_from(constant(costs), constant(rates), 0, at=0.95)
    assert found == pytest.approx(money)


def test_where_a_missing_cost_leaves_the_leader_unsure():
    """Against the share of draws in which it is cheapest, counted at that cost."""
    random = np.random.default_rng(5)
    costs = random.normal([[20.0], [24.0], [26.0]], 0.8, (3, 4000))
    rates = random.beta(20, 380, (3, 4000))  # equally common as far as anyone knows
    found = unsure_from(costs, rates, 0, at=0.95, stretch=1.3)
    sure = [stats.chance_best(costs + rates * c, stretch=1.3)[0] for c in (found - 1, found + 1)]
    assert sure[0] >= 0.95 > sure[1] and 40 < found < 400
    # the less is known, the earlier; certainly rarer with the leader: never
    vague = random.beta(2, 38, (3, 4000))
    assert unsure_from(costs, vague, 0, at=0.95, stretch=1.3) < found
    rarer = rates * np.array([[0.2], [1.0], [1.0]])
    assert unsure_from(costs, rarer, 0, at=0.95, stretch=1.3) == math.inf
    # a higher cost may make it surer: only just sure without it
    close = costs + np.array([[1.8], [0.0], [0.0]])
    assert stats.chance_best(close, stretch=1.3)[0] < 0.95
    assert unsure_from(close, rarer, 0, at=0.95, stretch=1.3) == 0.0


def test_places_of_one_fit_among_all():
    rows = [(option, model) for option in ("a", "b") for model in ("X", "Z", None)]
    draws = np.arange(6.0).reshape(2, 3, 1)
    found = aligned(draws, rows, ["b", "never", "a"], ["X", "Y", "Z", None])[..., 0]
    # Y was never looked at for this mode: the rate over all models.
    assert_array_equal(found[[0, 2]], [[3, 5, 4, 5], [0, 2, 1, 2]])
    assert np.isnan(found[1]).all()


def test_several_modes_as_one_by_hand():
    # 4 failures of 10 and 1 of 100 in the first cell, 2 of 10 in the second.
    failures, each = as_one_event([[4, 1], [2, 0]], [10, 100])
    # (6 * 100 + 1 * 10000) / (60 + 100)
    assert each == pytest.approx(66.25)
    assert_allclose(failures * each, [140, 20])
    assert as_one_event([[0, 0]], [10, 30]) == (np.zeros(1), 20.0)


def test_as_one_varies_as_the_money_does():
    random = np.random.default_rng(3)
    counts = random.poisson([6.0, 2.0, 0.5], (200_000, 3))
    costs = np.array([5.0, 40.0, 200.0])
    money = counts @ costs
    failures, each = as_one_event(counts, costs)
    # A Poisson count has its mean as variance; so have the equivalent failures.
    assert failures.var() == pytest.approx(failures.mean(), rel=0.02)
    assert_allclose(failures.sum() * each, money.sum())


def test_classes_of_similar_costs():
    costs = {"d": 100.0, "a": 10.0, "c": 31.0, "b": 30.0, "free": 0.0, "e": 93.0}
    assert similar_costs(costs) == [("free",), ("a", "b"), ("c", "e"), ("d",)]
    assert similar_costs({}) == []
