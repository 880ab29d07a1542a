"""The shop over time, by hand: which months differ more than chance, which gap is too short."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats as scipy_stats

from fixstats.findings.watch_figures import shortest_gaps
from fixstats.findings.watch_time import (
    expected_of,
    gap_rows,
    month_rows,
    series_of,
    sum_rows,
    sums_of,
)

MONTHS = [f"2024-{n:02d}" for n in range(1, 13)] + [f"2025-{n:02d}" for n in range(1, 7)]
SUBJECT = ("dust_under_glass", None)


def columns_of(failures, units=100, before=12):
    """Counts of one mode and one device model; the first ``before`` months are the baseline."""
    whole = len(failures)
    return {
        "mode": [SUBJECT[0]] * whole, "family": [None] * whole, "model": ["Tolm A"] * whole,
        "month": MONTHS[:whole], "watched": [n >= before for n in range(whole)],
        "failures": list(failures), "opportunities": [units] * whole, "unknown": [0] * whole,
    }  # fmt: skip


def days_of(by_day, rate):
    """(failures, opportunities) of watched days, one after another."""
    first = date(2025, 1, 1)
    n = len(by_day)
    return {
        "mode": [SUBJECT[0]] * n, "family": [None] * n,
        "day": [first + timedelta(days=day) for day in range(n)],
        "failures": [k for k, _ in by_day], "opportunities": [u for _, u in by_day],
        "expected": [u * rate for _, u in by_day],
        "quiet": [u * float(np.log1p(rate)) for _, u in by_day],
    }  # fmt: skip


def judged(failures, by_day=(), units=100):
    series = series_of(columns_of(failures, units))
    expected = expected_of(series)
    days = days_of(by_day or [(0, 1)], float(expected.rate[0]))
    return series, expected, sums_of(series, expected, days), days


# ---------------------------------------------------------------- months


def test_months_that_always_differ_get_wider_limits():
    # 5 and 25 of 100 in turn: z = -+0.1 / sqrt(0.15 * 0.85 / 100), each step is twice that.
    turns = [5, 25] * 6
    series, expected, sums, _ = judged([*turns, 25, 5, 25, 5, 25, 5])
    sigma = 2 * 0.1 / np.sqrt(0.15 * 0.85 / 100) / 1.128
    assert expected.sigma_z[0] == pytest.approx(sigma) == pytest.approx(4.9655, abs=1e-4)
    rows = month_rows(series, expected, sums)
    assert {row["chart"] for row in rows} == {"p_prime"}
    assert not any(row["alarm"] for row in rows)
    centre = expected.by_month[0, 0] / 100
    narrow = scipy_stats.binom.isf(0.0013499, 100, centre) / 100
    for row in rows:
        assert row["upper_limit"] >= centre + sigma * (narrow - centre) - 0.01 > narrow > 0.25
    # The sum counts their jobs as so many fewer: less is expected, and less was seen.
    (row,) = sum_rows(series, expected, sums, "2025")
    assert not row["alarm"]


def test_months_that_differ_by_chance_alone_keep_theirs():
    # z = -+0.84 in turn: further from step to step than chance makes it, not in all.
    _, expected, _, _ = judged([12, 18] * 6 + [15] * 6)
    assert expected.sigma_z[0] == 1
    # One lasting change is no habit: neighbours hardly differ, whatever the whole year does.
    _, expected, _, _ = judged([5] * 6 + [25] * 6 + [15] * 6)
    assert expected.sigma_z[0] == 1
    # Months of few failures cannot tell: 0 and 4 of 20, as far apart, fewer than 5 a month.
    _, expected, _, _ = judged([0, 4] * 6 + [2] * 6, units=20)
    assert expected.sigma_z[0] == 1


def test_a_month_is_out_beyond_its_limit_and_not_on_it():
    series, expected, sums, _ = judged([15] * 18)
    limit = round(month_rows(series, expected, sums)[-1]["upper_limit"] * 100)
    rows = month_rows(*judged([15] * 15 + [limit, limit + 1, 0])[:3])
    assert [row["alarm"] for row in rows] == [False] * 16 + [True, False]
    assert {row["chart"] for row in rows} == {"p"}
    assert [row["watched"] for row in rows] == [False] * 12 + [True] * 6
    # The baseline is not judged, however far a month of it is out.
    rows = month_rows(*judged([15] * 11 + [60] + [15] * 6)[:3])
    assert not rows[11]["alarm"] and rows[11]["value"] > rows[11]["upper_limit"]


# ---------------------------------------------------------------- rare modes


def test_gaps_of_a_rare_mode_by_hand():
    # 2 failures in 12 months of 10,000 jobs; then day by day 3, 5, 0, 4 and 2 jobs with 1, 0, 0, 1
    # and 1 failures: all jobs of both days count as between, which is 2 + 5 + 0 + 3 and 3 + 1.
    before = [1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0]
    by_day = [(1, 3), (0, 5), (0, 0), (1, 4), (1, 2)]
    series, expected, _, days = judged([*before, *[0] * 6], by_day, units=10_000)
    rows = gap_rows(series, expected, days)
    assert [(row["value"], row["opportunities"]) for row in rows] == [(10, 11), (4, 5)]
    assert [row["period"] for row in rows] == ["2025-01-04", "2025-01-05"]
    assert {row["chart"] for row in rows} == {"g"}
    assert [row["alarm"] for row in rows] == [True, True]
    assert rows[1]["since"] == "2025-01-04"


def test_a_gap_is_too_short_below_its_limit_and_not_at_it():
    before = [1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0]
    _, expected, _, _ = judged([*before, *[0] * 6], units=10_000)
    lower = int(shortest_gaps(expected.rate, expected.failures)[0][0])
    assert lower > 10
    for gap, out in ((lower, False), (lower - 1, True)):
        days = days_of([(1, 1), (0, gap), (1, 1)], float(expected.rate[0]))
        series = series_of(columns_of([*before, *[0] * 6], units=10_000))
        (row,) = gap_rows(series, expected, days)
        assert (row["value"], row["lower_limit"], row["alarm"]) == (gap, lower, out)


def test_two_failures_of_one_day_have_the_other_jobs_of_that_day_between():
    before = [1, *[0] * 11]
    series, expected, _, days = judged([*before, *[0] * 6], [(2, 6)], units=10_000)
    (row,) = gap_rows(series, expected, days)
    assert row["value"] == 4


def test_a_usual_mode_has_no_gaps():
    series, expected, _, days = judged([15] * 18, [(1, 3), (1, 3)])
    assert gap_rows(series, expected, days) == []


# ---------------------------------------------------------------- sums


def test_a_sum_signals_at_its_threshold_and_is_dated():
    quiet, bad = [(0, 5)] * 40, [(3, 5)] * 12
    series, expected, sums, _ = judged([15] * 18, [*quiet, *bad])
    assert sums.alarm[0] and sums.highest[0] >= sums.thresholds.threshold[0]
    assert sums.since[0] == date(2025, 1, 1) + timedelta(days=40)
    (row,) = sum_rows(series, expected, sums, "2025")
    assert (row["alarm"], row["value"]) == (True, float(sums.highest[0]))
    _, _, none, _ = judged([15] * 18, [*quiet, *bad[:1]])
    assert not none.alarm[0] and none.since == [None]
