"""Partial pooling against the 71 groups of rats of a textbook."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixstats import stats

# Tarone 1982, Biometrics 38:215-220; Gelman et al. 2013, Bayesian Data Analysis (BDA3), 3rd
# edition, Table 5.1: tumours among control rats of 71 experiments. Data seen.
TUMOURS = (
    [0] * 14
    + [1] * 8
    + [2] * 9
    + [1, 5, 2, 5, 3, 2, 7, 7, 3, 3, 2, 9, 10]
    + [4] * 7
    + [10, 4, 4, 4, 5, 11, 12, 5, 5, 6, 5, 6, 6, 6, 6, 16, 15, 15, 9, 4]
)
RATS = (
    [20] * 7
    + [19] * 4
    + [18, 18, 17]
    + [20] * 4
    + [19, 19, 18, 18]
    + [25, 24, 23]
    + [20] * 6
    + [10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50]
    + [20] * 7
    + [48, 19, 19, 19, 22, 46, 49, 20, 20, 23, 19, 22, 20, 20, 20, 52, 46, 47, 24, 14]
)


def test_bda3_posterior_mode():
    # BDA3, section 5.3: the mode is about (-1.79, 2.74). Seen.
    assert_allclose(
        stats.pool_rates(TUMOURS, RATS, prior="bda3").hyper.mode, [-1.79, 2.74], atol=0.005
    )


def test_bda3_posterior_means():
    # BDA3, section 5.3: E(alpha | y) = 2.4 and E(beta | y) = 14.3. From memory.
    hyper = stats.pool_rates(TUMOURS, RATS, prior="bda3").hyper
    assert_allclose(hyper.weight @ (hyper.mean * hyper.precision), 2.4, atol=0.05)
    assert_allclose(hyper.weight @ ((1 - hyper.mean) * hyper.precision), 14.3, atol=0.05)


@pytest.mark.parametrize("prior", ["bda3", "weak"])
def test_the_last_experiment_is_drawn_towards_the_others(prior):
    # BDA3, section 5.3: 4 of 14, posterior mean between the raw .286 and the pooled .136. Seen.
    pooled = stats.pool_rates(TUMOURS, RATS, prior=prior)
    assert np.sum(TUMOURS) / np.sum(RATS) < pooled.pooled_rate[-1] < 4 / 14
    assert 0.5 < pooled.borrowed[-1] < 0.6
