"""Strength of a hidden cause against printed figures."""

from numpy.testing import assert_allclose

from fixstats import stats


def test_vanderweele_and_ding_2017():
    # VanderWeele and Ding 2017, Ann Intern Med 167:268-274: a ratio of 3.9 (1.8 to 8.7). Seen,
    # quoted.
    assert_allclose(stats.hidden_cause_needed(3.9), 7.26, rtol=0, atol=0.5e-2)
    assert_allclose(stats.hidden_cause_needed_for_limit(1.8, 8.7), 3.0, rtol=0, atol=0.05)
