"""Watching against published values. Tolerance: half a unit of the last printed digit."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

# Thirty samples of fifty from a textbook on quality control; also R's qcc, `orangejuice`.
SAMPLES = np.array(
    [
        [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22],
        [8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6],
    ]
).ravel()
SIZE = 50


def printed(found, values, digits):
    assert_allclose(found, values, rtol=0, atol=0.5 * 10.0**-digits + 1e-12)


def textbook_chart(failures):
    centre = stats.centre_rate(failures, np.full(len(failures), SIZE))
    return stats.p_limits(centre, SIZE, limits="three_sigma")


def test_p_chart_of_the_textbook():
    # Output of R's qcc for these counts, seen: 0.2313333, 0.05242755, 0.4102391.
    found = textbook_chart(SAMPLES)
    printed(found.centre, 0.2313333, 7)
    printed(found.lower_limit, 0.05242755, 8)
    printed(found.upper_limit, 0.4102391, 7)
    out = stats.beyond_limits(SAMPLES / SIZE, found.lower_limit, found.upper_limit)
    assert_array_equal(np.flatnonzero(out) + 1, [15, 23])


def test_p_chart_of_the_textbook_without_both_samples():
    # Seen, as above: 0.215, 0.04070284, 0.3892972, and now sample 21 is out.
    kept = np.delete(SAMPLES, [14, 22])
    found = textbook_chart(kept)
    printed(found.centre, 0.215, 7)
    printed(found.lower_limit, 0.04070284, 8)
    printed(found.upper_limit, 0.3892972, 7)
    out = stats.beyond_limits(SAMPLES / SIZE, found.lower_limit, found.upper_limit)
    assert_array_equal(np.flatnonzero(out) + 1, [15, 21, 23])


def test_sigma_z_of_the_textbook():
    # Computed from Laney's formula (Laney 2002), 1.128 for the mean moving range.
    assert stats.laney_sigma(SAMPLES, np.full(30, SIZE)) == pytest.approx(1.66086671974, abs=5e-12)


def test_bernoulli_run_lengths():
    # Exact, computed by linear equations by two programs.
    assert_allclose(
        stats.bernoulli_run_length([0.01, 0.025], 61, 2), [1017.42555635, 169.461785041], rtol=1e-11
    )
    assert stats.bernoulli_run_length(0.1, 2, 1.5) == pytest.approx(1020, rel=1e-13)


# Champ and Woodall 1987, Technometrics 29:393-399, Table 1: average number of normal points until
# one of the rules of Western Electric speaks. 370.40 is 1 / (2 P(Z > 3)); 91.75 is quoted in the
# NIST/SEMATECH e-Handbook 6.3.2 (seen quoted); the rest from memory.
CHAMP_WOODALL = {"1": 370.40, "12": 225.44, "13": 166.05, "14": 152.73, "1234": 91.75}


def western_electric(rules, points):
    rule = {
        "1": lambda: stats.beyond_limits(points, -3, 3),
        "2": lambda: stats.two_of_three_beyond_two_sigma(points, 0, 1),
        "3": lambda: stats.four_of_five_beyond_one_sigma(points, 0, 1),
        "4": lambda: stats.run_on_one_side(points, 0, length=8),
    }
    return np.any([rule[one]() for one in rules], axis=0)


@pytest.mark.parametrize("rules", CHAMP_WOODALL)
def test_run_lengths_of_the_rules(rules):
    """By simulation: four standard errors, 9 % of the published value."""
    points = np.random.default_rng(8).standard_normal((2000, 3000))
    flags = western_electric(rules, points)
    assert flags.any(axis=1).mean() > 0.999
    first = np.where(flags.any(axis=1), flags.argmax(axis=1), flags.shape[1])
    error = first.std() / np.sqrt(len(first))
    assert first.mean() + 1 == pytest.approx(CHAMP_WOODALL[rules], abs=4 * error)


def test_gaps_of_a_rare_mode():
    # Zero failures: the upper limit of a gap is the smallest n + 1 jobs without failure less
    # probable than three sigma, log(0.00135) / log(1 - p) (Benneyan 2001, by its formula).
    assert stats.g_limits(0.01).upper_limit == np.ceil(np.log(0.00135) / np.log(0.99) - 1)
    assert stats.g_limits(0.01).centre == pytest.approx(99)
