"""Decisions from draws: arithmetic by hand, a closed form, exact conjugate enumeration."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import special
from scipy import stats as reference

from fixstats import stats

# Four states of the world, three options; the cheapest: first, second, first and third, third.
COSTS = np.array([[10.0, 14.0, 11.0, 15.0], [12.0, 9.0, 13.0, 15.0], [13.0, 12.0, 11.0, 12.0]])


def test_by_hand():
    # cheapest 10, 9, 11, 12; a tie in the third state is halved
    assert_allclose(stats.chance_best(COSTS), [1.5 / 4, 1 / 4, 1.5 / 4])
    # (0 + 5 + 0 + 3) / 4, (2 + 0 + 2 + 3) / 4, (3 + 3 + 0 + 0) / 4
    assert_allclose(stats.expected_regret(COSTS), [2.0, 1.75, 1.5])
    assert stats.perfect_information(COSTS) == 1.5
    found = stats.saving(COSTS, 2, 0, confidence_level=0.5)
    # -3, 2, 0, 3: mean 1/2; sorted -3 0 2 3, quartiles at places 0.75 and 2.25
    assert (found.mean, found.low, found.high) == (0.5, -0.75, 2.25)
    wider = stats.saving(COSTS, 2, 0, confidence_level=0.5, stretch=2)
    # twice as far from 1/2
    assert (wider.mean, wider.low, wider.high) == (0.5, -2.0, 4.0)


def test_perfect_information_is_mean_cost_of_the_best_minus_the_mean_cheapest():
    assert stats.perfect_information(COSTS) == COSTS.mean(axis=1).min() - COSTS.min(axis=0).mean()


def test_an_independent_simulation():
    # Two independent normal costs: P(first cheaper) and the regret have closed forms.
    draws = np.random.default_rng(3).normal([[20.0], [21.0]], [[2.0], [1.5]], (2, 400_000))
    sd, u = 2.5, 1 / 2.5  # of the difference; its mean is 1
    assert_allclose(stats.chance_best(draws)[0], reference.norm.cdf(u), atol=0.003)
    loss = reference.norm.pdf(u) - u * reference.norm.cdf(-u)
    assert_allclose(stats.expected_regret(draws), [sd * loss, sd * loss + 1], atol=0.01)


def test_all_alike_share_it():
    assert_array_equal(stats.chance_best(np.ones((4, 3))), np.full(4, 0.25))
    assert_array_equal(stats.expected_regret(np.ones((4, 3))), np.zeros(4))


def normal_draws(mean, sd, number=20_001):
    return mean + sd * special.ndtri((np.arange(number) + 0.5) / number)


# Unit normal loss integral as tabulated, Schlaifer 1959, Probability and Statistics for Business
# Decisions, Table IV (digits from memory; also the closed form pdf(u) - u * tail(u)).
LOSS = {0.0: 0.3989, 0.5: 0.1978, 1.0: 0.08332, 1.5: 0.02931, 2.0: 0.008491}


@pytest.mark.parametrize(("u", "loss"), LOSS.items())
def test_normal_mean_with_known_variance(u, loss):
    """Raiffa and Schlaifer 1961, chapter 5: EVSI = sd * loss(|mean| / sd), sd of the posterior
    mean, whose variance is the prior variance less the mean posterior variance."""
    prior_variance, error = 9.0, 7.0
    sd = np.sqrt(prior_variance - 1 / (1 / prior_variance + 1 / error))
    for sign in (1, -1):
        draws = normal_draws(sign * u * sd, 3.0)
        assert_allclose(stats.sample_information(draws, error) / sd, loss, atol=6e-5, rtol=6e-4)


def test_ends_are_perfect_and_no_information():
    draws = np.random.default_rng(5).gamma(2.0, 1.0, 4000) - 1.5
    pair = np.stack([draws, np.zeros(4000)])
    value = stats.sample_information(draws, [0.0, 1.0, 10.0, np.inf])
    assert_allclose(value[0], stats.perfect_information(pair))
    assert (np.diff(value) < 0).all() and value[-1] == 0
    assert stats.sample_information(np.full(9, 2.0), 0.0) == 0


@pytest.mark.parametrize(("jobs", "off"), [(20, 0.06), (60, 0.03), (200, 0.02)])
def test_two_rates_by_enumeration(jobs, off):
    """Failure rates with beta priors: every outcome of the trial, its chance and the posterior.

    Skew priors and counts that are anything but normal: what the matched moments leave out is
    6 % at 20 jobs each and less with more. The money lost per failure is 80.
    """
    prior = np.array([[4.0, 60.0], [2.0, 38.0]])
    k = np.arange(jobs + 1)
    chances, means = [], []
    for a, b in prior:
        chances.append(reference.betabinom.pmf(k, jobs, a, b))
        means.append(80 * (a + k) / (a + b + jobs))
    best_then = np.minimum(means[0][:, None], means[1]) * np.outer(*chances)
    now = 80 * (prior[:, 0] / prior.sum(axis=1)).min()
    exact = now - best_then.sum()
    random = np.random.default_rng(7)
    rates = np.stack([random.beta(a, b, 200_000) for a, b in prior])
    error = (80**2 * rates * (1 - rates)).mean(axis=1).sum() / jobs
    found = stats.sample_information(80 * (rates[0] - rates[1]), error)
    assert_allclose(found, exact, rtol=off)


def test_a_trial_by_hand():
    # Difference -4 or 2 with equal chance: the option saves 1 on the mean, and regret is 1.
    costs = np.array([[10.0, 16.0], [14.0, 14.0]])
    found = stats.trial_value(costs, 0, 1, job_variances=[0, 0], horizon_jobs=100, effort=0.25)
    # Certainty after the smallest trial: 5 + 5 jobs; 90 jobs gain 1 each.
    assert (found.jobs, found.gain) == (10, pytest.approx(90.0))
    assert found.cost == pytest.approx(5 * 1 + 10 * 0.25)
    assert found.net == pytest.approx(90 - 7.5)


def test_a_trial_is_sized_by_what_it_brings():
    costs = np.stack([normal_draws(0.0, 2.0), np.zeros(20_001)])
    few, many = (
        stats.trial_value(costs, 0, 1, job_variances=[400, 400], horizon_jobs=n, effort=0.5)
        for n in (200, 20_000)
    )
    assert few.jobs < many.jobs
    assert few.net < many.net
    dear = stats.trial_value(
        costs, 0, 1, job_variances=[400, 400], horizon_jobs=200, effort=0.5, fixed=1000
    )
    assert dear.net == pytest.approx(few.net - 1000) and dear.net < 0
    none = stats.trial_value(costs, 0, 1, job_variances=[400, 400], horizon_jobs=9)
    assert (none.jobs, none.net) == (0, 0)


def test_jobs_until_little_is_left_to_know():
    # Normal, mean 0, sd 2: 2 * .3989 is left now; after n jobs each the posterior mean has
    # variance 4 * 4 / (4 + 50 / n) (Raiffa and Schlaifer 1961), so that 0.1 is left when
    # sqrt(16 / (4 + 50 / n)) * .3989 = 2 * .3989 - 0.1.
    draws = normal_draws(0.0, 2.0)
    exact = 50 / (16 / (2 - 0.1 / reference.norm.pdf(0)) ** 2 - 4)
    assert stats.jobs_to_know(draws, 50.0, 0.1) == np.ceil(exact)
    assert stats.jobs_to_know(draws, 50.0, 0.8) == 0
    assert stats.jobs_to_know(draws, 50.0, 0.0) == np.inf


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: stats.chance_best([1.0, 2.0]), r"costs must have the shape \(options, draws\)"),
        (lambda: stats.expected_regret([[1.0, np.nan]]), "costs must be finite numbers"),
        (lambda: stats.perfect_information(np.ones((0, 4))), "costs must have the shape"),
        (lambda: stats.saving(COSTS, 0, 1, confidence_level=1), "confidence_level"),
        (lambda: stats.sample_information([[1.0]], 1.0), "difference must have one dimension"),
        (lambda: stats.sample_information([1.0], [np.nan]), "error_variance must not be neg"),
        (
            lambda: stats.trial_value(COSTS, 0, 1, job_variances=[1, 1], horizon_jobs=9),
            "job_variances must have one entry an option",
        ),
        (
            lambda: stats.trial_value(COSTS, 0, 1, job_variances=[1, 1, 1], horizon_jobs=-1),
            "horizon_jobs must not be negative",
        ),
    ],
)
def test_refusals(call, words):
    with pytest.raises(ValueError, match=words):
        call()
