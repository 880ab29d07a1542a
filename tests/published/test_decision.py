"""Value of information: a textbook's closed form, and trials played out one by one.

Raiffa and Schlaifer 1961, Applied Statistical Decision Theory, chapter 5: with a normal prior of
mean m (of the cost of one option over the other) and a sample that leaves the posterior mean an sd
of s, the expected value of sample information is s * L(|m| / s), L being the unit normal loss
integral. L as printed in Schlaifer 1959, Probability and Statistics for Business Decisions, Table
IV; digits from memory, checked against the closed form pdf(u) - u * (1 - cdf(u)).
"""

import numpy as np
import pytest
from scipy import special
from scipy import stats as reference

from fixstats import stats

LOSS = {0.0: 0.3989, 0.25: 0.2863, 0.5: 0.1978, 0.75: 0.1312, 1.0: 0.08332, 1.5: 0.02931}


@pytest.mark.parametrize(("u", "loss"), LOSS.items())
def test_the_printed_loss_is_the_closed_form(u, loss):
    assert loss == pytest.approx(reference.norm.pdf(u) - u * reference.norm.sf(u), rel=2e-3)


def normal(mean, sd, number=20_000):
    return mean + sd * special.ndtri((np.arange(number) + 0.5) / number)


@pytest.mark.parametrize(("u", "loss"), LOSS.items())
def test_a_trial_is_worth_what_the_textbook_says(u, loss):
    """Two options of known job variance, 30 jobs of each, 1,000 jobs to come."""
    prior_sd, job_variance, jobs, horizon = 1.5, 40.0, 30, 1000
    error = 2 * job_variance / jobs
    s = np.sqrt(prior_sd**4 / (prior_sd**2 + error))  # of the posterior mean
    mean = u * s
    difference = normal(mean, prior_sd)
    costs = np.stack([np.full(len(difference), 20.0), 20.0 + difference])
    value = float(stats.sample_information(difference, error))
    assert value == pytest.approx(s * loss, rel=0.01, abs=1e-4)
    found = stats.trial_value(
        costs, 0, 1, job_variances=[job_variance] * 2, horizon_jobs=horizon, effort=0.5, fixed=30.0
    )
    # The best size is searched; at that size gain and cost follow the closed form, too.
    each = found.jobs / 2
    s = np.sqrt(prior_sd**4 / (prior_sd**2 + 2 * job_variance / each))
    closed = s * (reference.norm.pdf(mean / s) - mean / s * reference.norm.sf(mean / s))
    assert found.gain == pytest.approx((horizon - found.jobs) * closed, rel=0.01)
    assert found.cost == pytest.approx(each * mean + found.jobs * 0.5 + 30)


def test_trials_played_out_one_by_one():
    """An independent simulation: true costs drawn, 25 jobs of each done, the better one used."""
    random = np.random.default_rng(8)
    mean, prior_sd, job_sd, jobs, horizon, plays = 0.6, 1.2, 6.0, 25, 400, 200_000
    true = random.normal(mean, prior_sd, plays)  # second minus first
    seen = true + random.normal(0, job_sd * np.sqrt(2 / jobs), plays)
    error = 2 * job_sd**2 / jobs
    after = (mean / prior_sd**2 + seen / error) / (1 / prior_sd**2 + 1 / error)
    # Without the trial the first is used for ever; with it, whichever then looks cheaper.
    saved = (horizon - 2 * jobs) * np.where(after < 0, -true, 0.0)
    difference = normal(-mean, prior_sd)  # of the first over the second
    gain = (horizon - 2 * jobs) * float(stats.sample_information(difference, error))
    assert gain == pytest.approx(saved.mean(), abs=4 * saved.std() / np.sqrt(plays))
    # And what the sample is worth is never more than knowing: the mean regret of the first.
    regret = np.maximum(-true, 0).mean()
    pair = np.stack([np.zeros(20_000), normal(mean, prior_sd)])
    assert stats.expected_regret(pair)[0] == pytest.approx(regret, rel=0.02)
    assert gain < (horizon - 2 * jobs) * regret
