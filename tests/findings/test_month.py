"""Two months beside each other: which month is meant, what counts as a change, what is marked."""

from __future__ import annotations

from datetime import date

import pytest
from scipy import stats as reference

from fixstats.errors import UsageError
from fixstats.findings.month import KEYS, Month, conclude, month_asked
from fixstats.shop import open_shop
from fixstats.tallies.counts import Period

SEPTEMBER = Month(2026, 9)


def covered(first: str, as_of: str, jobs: int = 9) -> Period:
    begin, end = date.fromisoformat(first), date.fromisoformat(as_of)
    return Period(jobs, begin, end, end, 0, (1,))


@pytest.mark.parametrize(
    ("as_of", "month"),
    [
        ("2026-09-30", "2026-09"),
        ("2026-09-24", "2026-09"),
        ("2026-09-23", "2026-08"),
        ("2026-10-01", "2026-09"),
        ("2026-03-05", "2026-03"),
    ],
)
def test_last_is_the_last_month_of_which_the_records_reach_the_last_week(as_of, month):
    first = "2026-03-01" if as_of == "2026-03-05" else "2025-04-07"
    assert month_asked("last", covered(first, as_of)).name == month


@pytest.mark.parametrize("text", ["2026-13", "2026-9", "September", "2026-09-01", ""])
def test_what_is_no_month_is_refused(text):
    with pytest.raises(UsageError, match="no such month; write it like 2026-09"):
        month_asked(text, covered("2025-04-07", "2026-09-30"))


@pytest.mark.parametrize("text", ["2025-03", "2026-10"])
def test_a_month_outside_the_records_is_refused(text):
    with pytest.raises(UsageError, match="from 2025-04 to 2026-09"):
        month_asked(text, covered("2025-04-07", "2026-09-30"))


def test_without_a_job_there_is_nothing_to_report():
    with pytest.raises(UsageError, match="fixstats import"):
        month_asked("last", Period(0, None, None, None, 0, ()))


def test_months_go_back_over_the_new_year():
    assert Month(2026, 1).before == Month(2025, 12)
    assert SEPTEMBER.back(11) == Month(2025, 10)
    assert (Month(2028, 2).first, Month(2028, 2).last) == (date(2028, 2, 1), date(2028, 2, 29))


def rates_row(month: str, failures: int, opportunities: int, mode: str = "tab_snapped"):
    figures = {"rate": None, "low": None, "high": None, "at_most": None, "unknown": 0}
    named = {"unit": "job", "mode": mode, "family": "broken_tabs", "month": month}
    return named | figures | {"failures": failures, "opportunities": opportunities}


def test_a_change_is_this_month_minus_the_one_before():
    """Newcombe 1998 (Stat Med 17:873-890), table II, case a, method 10 (see tests/published)."""
    rows = [rates_row("2026-09", 56, 70), rates_row("2026-08", 48, 80)]
    (row,) = conclude(rows, SEPTEMBER, 0.95)
    assert tuple(row) == KEYS
    assert row["difference"] == pytest.approx(0.2, abs=1e-12)
    assert row["difference_low"] == pytest.approx(0.0524, abs=5e-5)
    assert row["difference_high"] == pytest.approx(0.3339, abs=5e-5)
    p_value = reference.fisher_exact([[56, 14], [48, 32]]).pvalue
    assert row["p_value"] == pytest.approx(p_value, rel=1e-9)
    assert row["changed"]


def test_many_rows_take_more_to_show_a_change():
    changed = [rates_row("2026-09", 56, 70), rates_row("2026-08", 48, 80)]
    still = [
        rates_row(month, 5, 50, f"mode_{n}") for n in range(30) for month in ("2026-09", "2026-08")
    ]
    row, *_ = conclude([*changed, *still], SEPTEMBER, 0.95)
    assert row["p_value"] < 0.05 < row["p_corrected"]
    assert not row["changed"]


def test_a_month_without_opportunities_is_compared_with_nothing():
    rows = [rates_row("2026-09", 1, 70), rates_row("2026-08", 0, 0)]
    (row,) = conclude(rows, SEPTEMBER, 0.95)
    assert row["difference"] is None
    assert row["p_corrected"] is None
    assert not row["changed"]
    assert conclude([rates_row("2026-09", 0, 0)], SEPTEMBER, 0.95) == []


def test_the_demo_counts_as_the_rates_do(demo_shop):
    from fixstats.findings.month import changes
    from fixstats.tallies.counts import period

    shop = open_shop(demo_shop)
    with shop.session() as con:
        found = changes(con, shop.folder, SEPTEMBER, period(con))
        first = changes(con, shop.folder, Month(2025, 4), period(con))
    rates = shop.rates(mode="tab_snapped", since=date(2026, 8, 1), until=date(2026, 8, 31))
    (row,) = [one for one in found.rows if one["mode"] == "tab_snapped"]
    for name in ("failures", "opportunities", "rate", "low", "high"):
        assert row[f"before_{name}"] == rates.rows[0][name]
    assert found.settings["jobs"] > 200
    assert "no_month_before" in {note.code for note in first.notes}
    assert all(one["before_opportunities"] == 0 for one in first.rows)
