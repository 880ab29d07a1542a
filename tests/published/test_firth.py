"""Firth's logistic regression against printed figures."""

import csv
from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

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
