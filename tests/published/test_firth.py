"""Firth's logistic regression against printed figures."""

import csv
from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose
from scipy import special

from fixstats import stats

FILE = Path(__file__).parents[1] / "reference" / "r" / "endometrial.csv"


def _endometrial():
    with FILE.open(encoding="utf-8", newline="") as file:
        rows = np.array(list(csv.reader(file))[1:], dtype=float)
    ones = np.ones(len(rows))
    return np.column_stack([ones, rows[:, :3]]), rows[:, 3], ones


def test_heinze_and_schemper_2002_endometrial_cancer():
    # Heinze and Schemper 2002, Stat Med 21:2409-2419; coefficients as printed by R package
    # brglm2: intercept, NV, PI, EH. Seen. NV separates: its plain estimate is infinite.
    fit = stats.firth(*_endometrial())
    assert fit.converged
    assert_allclose(fit.coefficients, [3.775, 2.929, -0.035, -2.604], rtol=0, atol=0.5e-3)


def test_heinze_and_schemper_2002_profile_intervals():
    # Same paper, table III: intervals of NV, PI and EH. From memory.
    profile = stats.firth_profile(*_endometrial(), columns=[1, 2, 3])
    assert profile.converged.all()
    assert_allclose(profile.low, [0.61, -0.12, -4.37], rtol=0, atol=0.5e-2)
    assert_allclose(profile.high, [7.85, 0.04, -1.23], rtol=0, atol=0.5e-2)


def test_endometrial_cancer_as_printed_by_logistf():
    # R package logistf (Heinze and Ploner), same data: intervals of all four coefficients. Seen,
    # quoted in the tests of the Python package firthlogist. "Likelihood ratio test=43.65583 on 3
    # df, p=1.78586e-09": from memory.
    data = _endometrial()
    profile = stats.firth_profile(*data, columns=[1, 2, 3, 0])
    printed = [[0.6097244, 7.85463171], [-0.1244587, 0.04045547], [-4.3651832, -1.23272106],
               [1.0825371, 7.20928050]]  # fmt: skip
    assert_allclose(np.column_stack([profile.low, profile.high]), printed, rtol=2e-7, atol=5e-8)
    together = stats.firth_test(*data, columns=[1, 2, 3])
    assert_allclose(together, 1.78586e-09, rtol=3e-6)
    # Its maximum is found to about 1e-5.
    assert_allclose(special.chdtri(3, together), 43.65583, rtol=0, atol=2e-5)


# Urinary infections, a case-control study; R package logistf, data `sex2`. Age, oral
# contraceptive, condom, lubricated condom, spermicide, diaphragm: cases, women.
SEX2 = """
000010 1 2   001000 14 16  001010 3 4   001100 10 18  001110 12 30  001111 1 1   010000 44 86
010001 3 3   010010 0 1    011000 15 16 011001 1 1    011010 2 2    011100 7 12  011110 3 9
101000 2 2   101010 1 1    101011 1 1   101100 1 3    101110 0 4    101111 1 1   110000 5 19
110010 0 1   111000 3 4    111110 0 2
"""


def test_a_condition_of_several_columns_as_printed_by_logistf():
    # Foxman et al. 1997, J Clin Epidemiol 50:787-793. Its help page prints coefficients, tests of
    # single ones and "Likelihood ratio test=49.09064 on 6 df, p=7.15089e-09, n=239". Seen.
    words = SEX2.split()
    conditions = [[float(one) for one in word] for word in words[::3]]
    design = np.column_stack([np.ones(len(conditions)), conditions])
    cases, women = (np.array([int(word) for word in words[n::3]]) for n in (1, 2))
    assert women.sum() == 239
    fit = stats.firth(design, cases, women)
    printed = [0.12025405, -1.10598131, -0.06881673, 2.26887464, -2.11140817, -0.78831694,
               3.09601166]  # fmt: skip
    assert_allclose(fit.coefficients, printed, rtol=2e-7)
    together = stats.firth_test(design, cases, women, columns=range(1, 7))
    assert_allclose(together, 7.15089e-09, rtol=1e-6)
    assert_allclose(special.chdtri(6, together), 49.09064, rtol=2e-7)
    single = [stats.firth_test(design, cases, women, columns=[n]) for n in range(1, 7)]
    p_values = [6.143472e-03, 8.751911e-01, 1.678877e-06, 1.237805e-05, 5.449701e-02, 4.951873e-03]
    assert_allclose(single, p_values, rtol=1e-5)
