"""Intervals for one proportion against printed figures.

Tolerance: half a unit of the last printed digit. Where each figure was met is said beside it:
`seen` in a public text, often quoted there and not the primary paper, or from `memory`.
"""

import pytest
from numpy.testing import assert_allclose

from fixstats import stats

# Newcombe 1998, Two-sided confidence intervals for the single proportion: comparison of seven
# methods, Stat Med 17:857-872, Table I, 95 %. All seen, quoted in public test code; the methods
# of the table that are not built here are left out.
NEWCOMBE = {
    "wilson": {  # method 3
        (81, 263): (0.2553, 0.3662),
        (15, 148): (0.0624, 0.1605),
        (0, 20): (0.0000, 0.1611),
        (1, 29): (0.0061, 0.1718),
    },
    "wilson-cc": {  # method 4
        (81, 263): (0.2535, 0.3682),
        (15, 148): (0.0598, 0.1644),
        (0, 20): (0.0000, 0.2005),
        (1, 29): (0.0018, 0.1963),
    },
    "clopper-pearson": {  # method 5
        (81, 263): (0.2527, 0.3676),
        (15, 148): (0.0578, 0.1617),
        (0, 20): (0.0000, 0.1684),
        (1, 29): (0.0009, 0.1776),
    },
    "mid-p": {  # method 6
        (81, 263): (0.2544, 0.3658),
        (15, 148): (0.0601, 0.1581),
        (0, 20): (0.0000, 0.1391),
        (1, 29): (0.0017, 0.1585),
    },
}


@pytest.mark.parametrize(
    ("method", "counts", "printed"),
    [(method, *row) for method, rows in NEWCOMBE.items() for row in rows.items()],
)
def test_newcombe_1998_table_i(method, counts, printed):
    ends = stats.interval(*counts, method=method)
    assert_allclose([ends.low, ends.high], printed, rtol=0, atol=0.5e-4)


def test_nist_handbook_one_sided_wilson():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1: 26 of 200, one-sided 95 %. Seen.
    limit = stats.lower_limit(26, 200, confidence_level=0.95, method="wilson")
    assert_allclose(limit, 0.09577, rtol=0, atol=0.5e-5)


def test_nist_handbook_exact_interval():
    # Same section: 4 of 20, 90 %. Seen. The handbook solved for its ends step by step and prints
    # .401029 where the equation has .4010281: one unit of the last digit for the upper end.
    ends = stats.clopper_pearson(4, 20, confidence_level=0.90)
    assert_allclose(ends.low, 0.071354, rtol=0, atol=0.5e-6)
    assert_allclose(ends.high, 0.401029, rtol=0, atol=1e-6)


@pytest.mark.parametrize(
    ("opportunities", "percent"),
    [(10, 26), (20, 14), (30, 10), (50, 6), (100, 3)],
)
def test_nothing_went_wrong(opportunities, percent):
    # Hanley and Lippman-Hand 1983, If nothing goes wrong, is everything all right? JAMA
    # 249:1743-1745: exact 95 % limits in whole per cent beside their rule of three. The formula
    # 1 - .05^(1/n) seen, the rows from memory.
    assert_allclose(100 * stats.at_most(opportunities), percent, rtol=0, atol=0.5)


@pytest.mark.parametrize("opportunities", [30, 100, 1000, 10**6])
def test_the_rule_of_three(opportunities):
    # Same paper: the limit is close to 3/n from 30 opportunities on. Seen.
    assert_allclose(stats.at_most(opportunities), 3 / opportunities, rtol=0.05)


@pytest.mark.parametrize(
    ("failures", "opportunities", "design_effect"),
    [
        # Weil 1970, pups of 16 litters a group, as in Rao and Scott 1992, Biometrics 48:577-585,
        # Table 1. Design effects as printed by the help page of R package PF, rsb(). Seen.
        (
            [13, 12, 9, 9, 8, 8, 12, 11, 9, 9, 8, 11, 4, 5, 7, 7],
            [13, 12, 9, 9, 8, 8, 13, 12, 10, 10, 9, 13, 5, 7, 10, 10],
            1.232495,
        ),
        (
            [12, 11, 10, 9, 10, 9, 9, 8, 8, 4, 7, 4, 5, 3, 3, 0],
            [12, 11, 10, 9, 11, 10, 10, 9, 9, 5, 9, 7, 10, 6, 10, 7],
            3.952861,
        ),
    ],
    ids=["control", "treated"],
)
def test_rao_scott_1992_design_effects(failures, opportunities, design_effect):
    clustered = stats.rao_scott(failures, opportunities)
    assert_allclose(clustered.design_effect, design_effect, rtol=0, atol=0.5e-6)
    assert_allclose(
        clustered.effective_opportunities, sum(opportunities) / design_effect, rtol=1e-6
    )


@pytest.mark.parametrize(
    ("counts", "computed"),
    [
        # No figures printed for Jeffreys' interval were found: two independent programs agree.
        ((81, 263), (0.2545219350, 0.3656474992)),
        ((15, 148), (0.0604485170, 0.1576431435)),
        ((1, 29), (0.0037461736, 0.1500776860)),
    ],
)
def test_jeffreys_as_computed_by_two_programs(counts, computed):
    ends = stats.jeffreys(*counts)
    assert_allclose([ends.low, ends.high], computed, rtol=0, atol=0.5e-10)
