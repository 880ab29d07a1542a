"""Differences, ratios and tests of two proportions against printed figures.

Tolerance: half a unit of the last printed digit. `seen`: in a public text, often quoted there and
not the primary paper.
"""

import pytest
from numpy.testing import assert_allclose

from fixstats import stats

# Newcombe 1998, Interval estimation for the difference between independent proportions:
# comparison of eleven methods, Stat Med 17:873-890, Table II, 95 %; method 10 and, as method 5,
# Miettinen-Nurminen. Seen, quoted.
NEWCOMBE = {
    "newcombe": {
        (56, 70, 48, 80): (0.0524, 0.3339),
        (5, 56, 0, 29): (-0.0381, 0.1926),
        (0, 10, 0, 10): (-0.2775, 0.2775),
        (10, 10, 0, 20): (0.6791, 1.0),
    },
    "miettinen-nurminen": {
        (56, 70, 48, 80): (0.0528, 0.3382),
        (5, 56, 0, 29): (-0.0326, 0.1933),
        (0, 10, 0, 10): (-0.2879, 0.2879),
        (10, 10, 0, 20): (0.7156, 1.0),
    },
}
# Examples of Fagerland, Lydersen and Laake 2017, Statistical Analysis of Contingency Tables,
# ch. 4 (Perondi 2004, Ritland 2007, Lampasona 2013, Fisher's tea); figures seen in the tests of
# the authors' R package, with the digits printed there.
PERONDI, RITLAND, LAMPASONA = (7, 34, 1, 34), (0, 16, 15, 72), (9, 13, 4, 14)
TEA = (3, 4, 1, 4)


@pytest.mark.parametrize(
    ("method", "counts", "printed"),
    [(method, *row) for method, rows in NEWCOMBE.items() for row in rows.items()],
)
def test_newcombe_1998_table_ii(method, counts, printed):
    found = stats.DIFFERENCES[method](*counts)
    assert_allclose([found.low, found.high], printed, rtol=0, atol=0.5e-4)


@pytest.mark.parametrize(
    ("method", "counts", "printed"),
    [
        ("newcombe", PERONDI, (0.1765, 0.0189, 0.3404)),
        ("miettinen-nurminen", PERONDI, (0.1765, 0.0270, 0.3453)),
        ("miettinen-nurminen", RITLAND, (-0.2083, -0.3164, -0.0056)),
    ],
)
def test_differences_of_fagerland_lydersen_laake(method, counts, printed):
    found = stats.DIFFERENCES[method](*counts)
    assert_allclose([found.estimate, found.low, found.high], printed, rtol=0, atol=0.5e-4)


@pytest.mark.parametrize(
    ("counts", "printed"),
    [((8, 15, 4, 15), (0.815, 5.336)), ((6, 10, 6, 20), (0.844, 4.594))],
)
def test_gart_and_nam_1988(counts, printed):
    # Gart and Nam 1988, Biometrics 44:323-338: Koopman's score interval. Seen, quoted.
    found = stats.koopman_ratio(*counts)
    assert_allclose(found.estimate, 2)
    assert_allclose([found.low, found.high], printed, rtol=0, atol=0.5e-3)


@pytest.mark.parametrize(
    ("method", "printed"),
    [("koopman", (7, 1.2209, 42.5757)), ("miettinen-nurminen", (7, 1.2086, 43.0330))],
)
def test_ratios_of_fagerland_lydersen_laake(method, printed):
    found = stats.RATIOS[method](*PERONDI)
    assert_allclose([found.estimate, found.low, found.high], printed, rtol=0, atol=0.5e-4)


def test_fisher_1935_tea():
    # Fisher 1935, The Design of Experiments, ch. 2: three of four cups right. Seen.
    assert_allclose(stats.fisher(*TEA, alternative="more"), 0.2429, rtol=0, atol=0.5e-4)


@pytest.mark.parametrize(
    ("counts", "printed"),
    [(TEA, 0.25714), (PERONDI, 0.02966), (LAMPASONA, 0.03914), (RITLAND, 0.04466)],
    ids=["tea", "Perondi", "Lampasona", "Ritland"],
)
def test_mid_p_of_fagerland_lydersen_laake(counts, printed):
    assert_allclose(stats.fisher_mid_p(*counts), printed, rtol=0, atol=0.5e-5)


def test_fisher_of_fagerland_lydersen_laake():
    assert_allclose(stats.fisher(*RITLAND), 0.06287, rtol=0, atol=0.5e-5)


@pytest.mark.parametrize(
    ("counts", "alternative", "printed"),
    [
        ((2, 10, 7, 9), "fewer", 0.009886142),
        ((5, 25, 16, 41), "fewer", 0.05827348),
        ((5, 6, 0, 4), "more", 0.006865367),
    ],
)
def test_boschloo_as_computed_by_r(counts, alternative, printed):
    # R package Exact, as quoted in the tests of scipy, which ask for 1e-6: its search for the
    # supremum stops early, and the seventh digit of the first and the third is not exact (see
    # tests/reference: the polynomial in fractions).
    assert_allclose(stats.boschloo(*counts, alternative=alternative), printed, rtol=3e-7)
