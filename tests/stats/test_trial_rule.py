"""The stopping rule, on paths worked by hand, and how long trials take."""

import numpy as np
import pytest

from fixstats import stats
from fixstats.stats.trial_rule import ENDED, GO_ON, HARM, NO_DIFFERENCE, SHOWN

NEVER = 10**6


def verdicts(more, fewer, same, *, harm=1.0, jobs=0, worth=0.1, max_jobs=NEVER):
    pairs = stats.Pairs(*(np.asarray(one, dtype=float) for one in (more, fewer, same)))
    return list(stats.stopping_rule(pairs, harm, jobs, worth=worth, max_jobs=max_jobs))


def test_nothing_yet():
    assert verdicts([0, 1, 2], [0, 1, 1], [0, 0, 1]) == [GO_ON] * 3


def test_shown_stays_shown():
    # Evidence against 0 passes 25 at 12 pairs of 12, and is lost again later.
    assert stats.pair_evidence(12, 0, 0) > 25 > stats.pair_evidence(14, 12, 0)
    assert verdicts([3, 12, 14], [0, 0, 12], [0, 0, 0]) == [GO_ON, SHOWN, SHOWN]


def test_no_difference_worth_having():
    # 1000 pairs of which few differ: both 0.1 and -0.1 are excluded, 0 is not.
    assert verdicts([2, 30], [2, 30], [6, 940]) == [GO_ON, NO_DIFFERENCE]


def test_a_large_difference_is_never_called_none():
    # Evidence against 0.1 is large there, too, but from the other side.
    assert stats.pair_evidence(500, 10, 490, difference=0.1) > 25
    assert verdicts([500], [10], [490]) == [SHOWN]


def test_what_came_first_stands():
    # First small against 0.1, later shown to be above 0 and still small: it was stopped before.
    assert verdicts([30, 130], [30, 60], [940, 9800]) == [NO_DIFFERENCE, NO_DIFFERENCE]
    assert verdicts([130], [60], [9800]) == [SHOWN]


def test_harm_goes_before_all():
    assert verdicts([12, 12, 12], [0, 0, 0], [0, 0, 0], harm=[1, 99.9, 100]) == [SHOWN, SHOWN, HARM]


def test_the_end():
    assert verdicts([1, 2], [1, 2], [3, 6], jobs=[10, 20], max_jobs=20) == [GO_ON, ENDED]
    assert verdicts([12], [0], [0], jobs=[24], max_jobs=20) == [SHOWN]


def test_harm_by_either_road():
    none = stats.Pairs(*np.zeros((3, 1)))
    assert stats.harm_evidence(none, 0, 0, safety_limit=0.02) == 1
    # Both options harm alike, above the limit; and within the limit, but one far more.
    assert stats.harm_evidence(none, [12], [100], safety_limit=0.02) > 100
    pairs = stats.Pairs(np.array([18.0]), np.array([0.0]), np.array([982.0]))
    assert stats.harm_evidence(pairs, 18, 1000, safety_limit=0.02) > 100


def test_jobs_to_stop():
    found = stats.jobs_to_stop(0.1, 0.3, worth=0.2, trials=200)
    assert found == stats.jobs_to_stop(0.1, 0.3, worth=0.2, trials=200)
    fixed = 2 * stats.normal_size(0.1, 0.3)
    assert fixed < found.median < 2 * fixed < found.high < 4 * fixed
    assert found.shown > 0.8
    none = stats.jobs_to_stop(0.2, 0.2, worth=0.2, trials=200)
    assert none.shown < 0.04
    cut = stats.jobs_to_stop(0.2, 0.2, worth=0.01, trials=50, most_pairs=200)
    assert np.isinf(cut.high)


def test_worth_must_be_a_difference():
    with pytest.raises(ValueError, match="worth must lie between 0 and 1"):
        verdicts([1], [1], [1], worth=0)
