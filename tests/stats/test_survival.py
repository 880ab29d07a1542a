"""Curves of events in time: what holds for all of them, and what they say at the edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats

from .survival_units import table, units

METHODS = sorted(stats.CURVE_LIMITS)
FIELDS = ("n_at_risk", "event_free", "rate", "low", "high", "variance")


def both_curves(made, **how):
    return stats.kaplan_meier(made, **how), stats.aalen_johansen(made, **how)


# --- properties -------------------------------------------------------------------------------


@given(units(censored=False), st.floats(-1, 20))
def test_without_censoring_rates_are_shares_and_beta_product_limits_clopper_pearson(them, day):
    time, reason, _ = them
    made = table(time, reason)
    k, n = sum(t <= day for t in time), len(time)
    found = stats.kaplan_meier(made, days=day, method="beta-product")
    assert_allclose(found.rate, k / n, atol=1e-14)
    assert_allclose(found.variance, k / n * (1 - k / n) / n, atol=1e-14)
    exact = stats.clopper_pearson(k, n)
    assert_allclose([found.low, found.high], [exact.low, exact.high], rtol=1e-8, atol=1e-12)
    if k in (0, n):  # where log-log has no value
        found = stats.kaplan_meier(made, days=day)
        assert_allclose([found.low, found.high], [exact.low, exact.high], rtol=1e-8)


@given(units(reasons=3, censored=False), st.integers(-1, 13))
def test_without_censoring_incidences_are_shares_with_binomial_variance(them, day):
    time, reason, _ = them
    found = stats.aalen_johansen(table(time, reason, reasons=3), days=day)
    n = len(time)
    share = (
        np.array(
            [
                sum((t, r) <= (day, r) and r == one for t, r in zip(time, reason, strict=True))
                for one in (1, 2, 3)
            ]
        )
        / n
    )
    assert_allclose(found.rate, share, atol=1e-13)
    assert_allclose(found.variance, share * (1 - share) / n, atol=1e-12)
    none = share == 0
    assert_allclose(found.high[none], stats.clopper_pearson(0, n).high, rtol=1e-9)


@given(units(reasons=3, groups=2))
def test_incidences_and_the_event_free_add_up_to_one(them):
    time, reason, group = them
    made = table(time, reason, groups=group, reasons=3)
    whole, parts = both_curves(made)
    known = ~np.isnan(whole.rate)
    total = parts.rate.sum(axis=0)
    assert_allclose(total[known] + parts.event_free[known], 1, atol=1e-13)
    assert_allclose(total[known], whole.rate[known], atol=1e-13)
    assert_array_equal(np.isnan(parts.rate), np.broadcast_to(~known, parts.rate.shape))


@given(units(groups=2), st.sampled_from([0.5, 0.8, 0.95, 0.999]))
def test_with_one_reason_both_curves_are_the_same(them, level):
    time, reason, group = them
    one, other = both_curves(table(time, reason, groups=group), confidence_level=level)
    for name in FIELDS:
        assert_allclose(
            getattr(other, name).reshape(one.rate.shape),
            getattr(one, name),
            rtol=1e-9,
            atol=1e-13,
            err_msg=name,
        )


@pytest.mark.parametrize("method", METHODS)
@given(them=units(reasons=2, groups=2), level=st.sampled_from([0.8, 0.95, 0.999]))
def test_limits_hold_the_rate_within_0_and_1_and_grow_with_the_level(method, them, level):
    time, reason, group = them
    made = table(time, reason, groups=group, reasons=2)
    for found, wider in (
        [stats.kaplan_meier(made, method=method, confidence_level=x) for x in (level, 0.9999)],
        [stats.aalen_johansen(made, confidence_level=x) for x in (level, 0.9999)],
    ):
        known = ~np.isnan(found.rate)
        low, rate, high = (x[known] for x in (found.low, found.rate, found.high))
        assert np.all((low >= 0) & (low <= rate + 1e-12) & (rate <= high + 1e-12) & (high <= 1))
        assert np.all(wider.low[known] <= low + 1e-12)
        assert np.all(wider.high[known] >= high - 1e-12)
        assert np.all(np.isfinite(found.variance[known]) & (found.variance[known] >= 0))


@given(units(reasons=2, groups=3))
def test_groups_do_not_touch_each_other(them):
    time, reason, group = map(np.array, them)
    together = table(time, reason, groups=group, reasons=2, n_groups=3)
    for one in set(group):
        mine = group == one
        alone = table(time[mine], reason[mine], reasons=2)
        for a, b in zip(
            both_curves(together, days=together.day),
            both_curves(alone, days=together.day),
            strict=True,
        ):
            for name in FIELDS:
                assert_allclose(
                    getattr(a, name)[..., one, :], getattr(b, name), rtol=1e-12, atol=1e-15
                )
        a, b = (stats.nelson_aalen(x, days=together.day) for x in (together, alone))
        assert_allclose(a.high[one], b.high)


@given(units(reasons=2))
def test_identical_groups_merged_have_the_same_curve_and_half_the_variance(them):
    time, reason, _ = them
    twice = table(time * 2, reason * 2, groups=[0] * len(time) + [1] * len(time), reasons=2)
    for apart, merged in zip(both_curves(twice), both_curves(twice.pooled()), strict=True):
        assert_allclose(apart.rate[..., 0, :], merged.rate, atol=1e-13)
        assert_allclose(apart.variance[..., 1, :], 2 * merged.variance, rtol=1e-7, atol=1e-15)
    apart, merged = stats.nelson_aalen(twice), stats.nelson_aalen(twice.pooled())
    assert_allclose(apart.cumulative_hazard[1], merged.cumulative_hazard)


@given(units(reasons=2), st.sampled_from([0.001, 7.0, 86_400.0]))
def test_the_unit_of_the_days_changes_nothing(them, unit):
    time, reason, _ = them
    made = table(time, reason, reasons=2)
    scaled = table(np.array(time) * unit, reason, reasons=2)
    for one, other in zip(both_curves(made), both_curves(scaled), strict=True):
        for name in FIELDS:
            assert_array_equal(getattr(one, name), getattr(other, name))


@given(units(), st.integers(2, 5))
def test_days_put_together_in_weeks_agree_at_the_end_of_each(them, week):
    # Only without censoring within a week: grouping moves that to its end.
    time, _, _ = them
    end = [-(-t // week) * week for t in time]
    fine, coarse = table(time, [1] * len(time)), table(end, [1] * len(time))
    weeks = np.unique(end)
    for method in METHODS:
        one, other = (stats.kaplan_meier(x, days=weeks, method=method) for x in (fine, coarse))
        for name in ("rate", "low", "high", "variance"):
            assert_allclose(
                getattr(one, name), getattr(other, name), rtol=1e-8, atol=1e-12, err_msg=name
            )


@given(units(reasons=2, groups=2), st.lists(st.floats(-1, 14), min_size=1, max_size=5))
def test_between_rows_the_curve_is_the_step_before(them, days):
    time, reason, group = them
    made = table(time, reason, groups=group, reasons=2)
    curve, at = stats.kaplan_meier(made), stats.kaplan_meier(made, days=days)
    step = np.searchsorted(made.day, days, side="right") - 1
    for g in range(made.n_at_risk.shape[0]):
        for place, day in enumerate(days):
            before = curve.rate[g, step[place]] if step[place] >= 0 else 0.0
            last = (
                max(t for t, one in zip(time, group, strict=True) if one == g) if g in group else -2
            )
            followed = day <= last or before == 1
            assert_allclose(at.rate[g, place], before if followed else np.nan)


# --- the edges --------------------------------------------------------------------------------


def test_without_events_the_limit_is_that_of_those_followed_so_far():
    made = stats.at_risk([10, 20, 30], [40, 30, 12], [0, 0, 0], [10, 18, 12])
    found = stats.kaplan_meier(made, days=[5, 10, 15, 20, 30, 31])
    assert_array_equal(found.rate, [0, 0, 0, 0, 0, np.nan])
    assert_array_equal(found.low, [0, 0, 0, 0, 0, np.nan])
    # Censored on a day: followed through it. So 40 on day 10, and 30 from day 11 on.
    exact = stats.clopper_pearson(0, [40, 40, 30, 30, 12]).high
    assert_allclose(found.high[:-1], exact, rtol=1e-13)
    assert np.isnan(found.high[-1])
    product = stats.kaplan_meier(made, days=found.day, method="beta-product")
    assert_allclose(product.high, found.high)
    hazard = stats.nelson_aalen(made, days=found.day)
    assert_allclose(hazard.high, -np.log1p(-found.high), rtol=1e-12)
    assert_array_equal(hazard.low[:-1], 0)


def test_with_other_events_alone_those_that_had_them_were_followed_too():
    # 100 units, 60 with another event on day 1, 20 leave on day 2, nothing of the first reason.
    made = stats.at_risk([1, 2, 3], [100, 40, 20], [[0, 0, 0], [60, 0, 0]], [0, 20, 20])
    found = stats.aalen_johansen(made)
    # On day 3 half of those at risk after day 1 were still followed: half of all 100 count.
    assert_allclose(found.high[0], stats.clopper_pearson(0, [100, 100, 50]).high, rtol=1e-12)


def test_after_everybody_had_an_event_the_curve_stays():
    made = stats.at_risk([2, 4], [5, 3], [2, 3], [0, 0])
    for method in METHODS:
        found = stats.kaplan_meier(made, days=[4, 400], method=method)
        assert_array_equal(found.rate, 1)
        assert_array_equal(found.high, 1)
        assert_allclose(found.low, stats.clopper_pearson(5, 5).low, rtol=1e-12)
    by_reason = stats.aalen_johansen(
        stats.at_risk([2, 4], [5, 3], [[2, 0], [0, 3]], [0, 0]), days=400
    )
    assert_allclose(by_reason.rate, [0.4, 0.6])


@pytest.mark.parametrize("method", METHODS)
def test_one_unit(method):
    event = stats.kaplan_meier(stats.at_risk([3], [1], [1], [0]), days=[2, 3, 9], method=method)
    assert_array_equal(event.rate, [0, 1, 1])
    assert_allclose(event.low, [0, 0.025, 0.025])
    assert_allclose(event.high, [0.975, 1, 1])
    none = stats.kaplan_meier(stats.at_risk([3], [1], [0], [1]), days=[2, 3, 9], method=method)
    assert_array_equal(none.rate, [0, 0, np.nan])
    assert_allclose(none.high, [0.975, 0.975, np.nan])


def test_without_anybody_nothing_is_known():
    nobody = stats.at_risk([1, 2], [0, 0], [0, 0], [0, 0])
    nothing = stats.at_risk([], [], [[], []], [])
    for made in (nobody, nothing):
        for found in both_curves(made, days=[1.0, 5.0]):
            for name in ("event_free", "rate", "low", "high", "variance"):
                assert np.isnan(getattr(found, name)).all()
            assert_array_equal(found.n_at_risk, 0)
        assert np.isnan(stats.nelson_aalen(made, days=1).cumulative_hazard)
    assert stats.kaplan_meier(nothing).rate.shape == (0,)
    assert stats.aalen_johansen(nothing).rate.shape == (2, 0)
    assert stats.nelson_aalen(nothing).high.shape == (0,)


def test_a_group_not_followed_as_far_says_nothing_there():
    made = stats.at_risk([5, 9], [4, 6], [1, 1], [3, 5], groups=[0, 1], n_groups=3)
    found = stats.kaplan_meier(made)
    assert_allclose(found.rate, [[0.25, np.nan], [0, 1 / 6], [np.nan, np.nan]])


def test_a_table_cut_short_says_nothing_beyond_its_last_row():
    # Four are left after day 5, but nothing says for how long.
    found = stats.kaplan_meier(stats.at_risk([5], [6], [1], [1]), days=[5, 6])
    assert_allclose(found.rate, [1 / 6, np.nan])


def test_ten_million_units():
    n = 10_000_000
    made = stats.at_risk([1, 2, 90], [n, n - 1, n - 1001], [1, 1000, 0], [0, 0, n - 1001])
    found = stats.kaplan_meier(made, method="beta-product")
    exact = stats.clopper_pearson([1, 1001, 1001], n)
    assert_allclose(found.low, exact.low, rtol=1e-6)
    assert_allclose(found.high, exact.high, rtol=1e-6)
    assert_allclose(found.rate, [1e-7, 1.001e-4, 1.001e-4], rtol=1e-8)


def test_wrong_settings_are_refused():
    made = stats.at_risk([3], [1], [1], [0])
    with pytest.raises(ValueError, match="method must be one of log-log, beta-product, got 'log'"):
        stats.kaplan_meier(made, method="log")
    with pytest.raises(ValueError, match="confidence_level must be a number between 0 and 1"):
        stats.aalen_johansen(made, confidence_level=95)
    with pytest.raises(ValueError, match="days must be finite numbers"):
        stats.nelson_aalen(made, days=[1, np.inf])


def test_days_answer_in_their_order_and_shape():
    made = stats.at_risk([1, 2, 3], [4, 3, 2], [[1, 0, 1], [0, 1, 0]], [0, 0, 1])
    found = stats.aalen_johansen(made, days=[3, 1])
    assert found.rate.shape == (2, 2)
    assert_allclose(found.rate[0], [0.5, 0.25])
    assert stats.kaplan_meier(made, days=2).rate.shape == ()
