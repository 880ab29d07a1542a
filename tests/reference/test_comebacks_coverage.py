"""Do the intervals of come-backs hold the truth where most jobs are still young? By simulation.

Each branch of one database is a shop of its own, with jobs handed over evenly over the last days
before its records end, so that a hundred shops are asked by one ``comebacks --by branch``: the
whole way from stored jobs to the finding. Run with ``-m slow``.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from fixstats.engines.duck import reading
from fixstats.engines.session import build_session
from fixstats.findings import comebacks_figures
from fixstats.findings.comebacks import comebacks
from fixstats.findings.comebacks_plan import ComebacksAsk
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets

SHOPS, SPAN, DAYS = 400, 120, 90
END = date(2026, 6, 30)
HAZARDS = {"drains_fast": 0.0006, "seal_lifts": 0.0003, "unrelated": 0.0004}


def truth(reasons):
    """The share with a return for these by the end of the days, all others competing."""
    every = sum(HAZARDS.values())
    return sum(HAZARDS[one] for one in reasons) / every * (1 - (1 - every) ** (DAYS + 1))


def ask(path, jobs, seed):
    """Import ``SHOPS`` branches of so many jobs each; the finding by branch."""
    rng = np.random.default_rng(seed)
    n = SHOPS * jobs
    age = rng.integers(0, SPAN + 1, n)  # days that the records go on after the hand-over
    back = rng.geometric(sum(HAZARDS.values()), n) - 1
    share = np.array(list(HAZARDS.values())) / sum(HAZARDS.values())
    reason = rng.choice(list(HAZARDS), n, p=share)
    seen = back <= age
    day = [END - timedelta(days=int(one)) for one in age]
    sheet = pl.DataFrame(
        {
            "job": np.arange(n),
            "branch": [f"B{one:03d}" for one in np.repeat(np.arange(SHOPS), jobs)],
            "finished": day,
            "model": "M",
            "repair": "battery_swap",
            "outcome": "completed",
            "returned": [
                one + timedelta(days=int(wait)) if was else None
                for one, wait, was in zip(day, back, seen, strict=True)
            ],
            "return_reason": [one if was else None for one, was in zip(reason, seen, strict=True)],
        }
    )
    # The last day of every branch is in its records, whatever was drawn.
    last = sheet.unique("branch", maintain_order=True).with_columns(
        job=pl.lit(-1) - pl.int_range(pl.len()), finished=pl.lit(END), outcome=pl.lit("abandoned"),
        returned=pl.lit(None, pl.Date), return_reason=pl.lit(None, pl.String),
    )  # fmt: skip
    folder = make_folder(path, Settings(name="Shops", labour_rate=60.0))
    pl.concat([sheet, last.select(sheet.columns).cast(dict(sheet.schema))]).write_csv(
        path / "sheet.csv"
    )
    (report,) = import_sheets(folder, [path / "sheet.csv"], covers="all").sheets
    assert report.held_back == 0
    with reading(folder.database) as con:
        build_session(con, folder.catalogue)
        asked = ComebacksAsk(by=("branch",), reason=("any", "drains_fast"), days=DAYS)
        return comebacks(con, folder, asked)


def held(rows, true, low="low", high="high"):
    """Share of intervals that hold the truth; no limits, where none came back, hold nothing."""
    return np.mean([row[low] is not None and row[low] <= true <= row[high] for row in rows])


@pytest.mark.slow
@pytest.mark.parametrize("jobs", [120, 400])
def test_shares_costs_and_tests(tmp_path, monkeypatch, jobs):
    """Three in four jobs are followed for less than the days."""
    # 400 groups are a little more work than a question is given: 400 ** 3 * 90 days.
    monkeypatch.setattr(comebacks_figures, "MOST_WORK", 1e10)
    found = ask(tmp_path / "shop", jobs, seed=jobs)
    settings = found.settings
    reasons = {"any": ("drains_fast", "seal_lifts"), "drains_fast": ("drains_fast",)}
    for reason, meant in reasons.items():
        rows = [row for row in found.rows if row["reason"] == reason]
        assert len(rows) == SHOPS and all(row["rate"] is not None for row in rows)
        assert np.mean([row["n_at_risk"] / row["jobs"] for row in rows]) < 0.27
        true = truth(meant)
        # Without bias: within three standard errors of the mean of all shops.
        rates = np.array([row["rate"] for row in rows])
        assert abs(rates.mean() - true) < 3 * rates.std() / np.sqrt(SHOPS)
        # At the 95 % level; three standard errors of a share of 0.95 among 400 are 0.033.
        print(f"{jobs} jobs, {reason}: {true:.4f} held by {held(rows, true):.3f}")  # -s shows it
        assert held(rows, true) > 0.95 - 0.033
        # All shops are alike: a test at 5 % finds a shop to differ in 5 of 100.
        p_values = [row["p_value"] for row in rows]
        assert np.mean(np.array(p_values) < 0.05) < 0.05 + 0.033
        assert sum(row["p_corrected"] < 0.05 for row in rows) <= 2
    price = {"drains_fast": 35 * settings["labour_rate"] / 60 + 15,
             "seal_lifts": cost_of_seal(settings["labour_rate"])}  # fmt: skip
    true = 100 * sum(truth((one,)) * price[one] for one in price)
    costs = [row for row in found.parts["costs"] if row["reason"] == "any"]
    print(f"{jobs} jobs, cost {true:.0f}: {held(costs, true, 'cost_low', 'cost_high'):.3f}")
    assert held(costs, true, "cost_low", "cost_high") > 0.95 - 0.033


def cost_of_seal(labour_rate):
    """As the default catalogue has it."""
    from fixstats.findings.costs import cost_of
    from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue

    found = cost_of(read_catalogue(DEFAULT_CATALOGUE).modes["seal_lifts"], labour_rate)
    assert found
    return found
