"""Figures of come-backs from few jobs worked by hand, and what is said of them."""

from __future__ import annotations

import numpy as np
import pytest

from fixstats.findings import comebacks_figures
from fixstats.findings.comebacks_answers import answers_of
from fixstats.findings.comebacks_figures import ANY, corrected, followed_of
from fixstats.findings.comebacks_plan import ComebacksAsk
from fixstats.tallies.counts import Period
from fixstats.tallies.followups import Leaving

from .followed_jobs import DAY, FOLDER, everything, finding, leaving_of, notes_of, seen

# ---------------------------------------------------------------- figures


def test_without_censoring_a_share_is_a_share():
    # 20 jobs followed for 90 days, 3 back, 2 for other things.
    day = [0, 10, 80, 5, 6, *[90] * 15]
    reason = ["seal", "seal", "", "unrelated", "unrelated", *[None] * 15]
    found = finding(leaving_of({}, day, reason), days=90)
    (row,) = found.rows
    assert (row["jobs"], row["returns"], row["n_at_risk"]) == (20, 3, 15)
    assert row["rate"] == pytest.approx(3 / 20)
    assert row["low"] < 3 / 20 < row["high"]
    assert row["p_value"] is None and row["p_corrected"] is None
    assert "no second group" in notes_of(found)["not_tested"]
    assert "reason_not_stated" in notes_of(found) and "unrelated" in notes_of(found)


def test_with_censoring_the_step_is_out_of_those_still_followed():
    # 30 jobs: 15 followed for a day only; of the 15 left one comes back on day 2.
    day, reason = [1] * 15 + [2] + [90] * 14, [None] * 15 + ["seal"] + [None] * 14
    (row,) = finding(leaving_of({}, day, reason)).rows
    assert row["rate"] == pytest.approx(1 / 15)
    assert row["n_at_risk"] == 14


@pytest.mark.parametrize(("left", "told"), [(10, True), (9, False)])
def test_a_rate_needs_ten_at_risk_on_the_day(left, told):
    day, reason = [3] + [90] * left, ["seal"] + [None] * left
    found = finding(leaving_of({}, day, reason))
    (row,) = found.rows
    assert row["n_at_risk"] == left
    assert (row["rate"] is not None) == told
    assert ("few_at_risk" in notes_of(found)) != told
    (sentence,) = found.parts["sentences"]
    assert ("no rate" in sentence["text"]) != told
    if not told:
        assert sentence["text"] == (
            "Of 10 jobs 1 has come back so far because of the repair; fewer than 10 were still "
            "being followed on day 90, so no rate is given for that day."
        )


def test_no_return_at_all_says_that_returns_may_not_be_written_down():
    found = finding(leaving_of({}, [90] * 40, [None] * 40))
    assert {"no_returns", "zero_returns"} <= set(notes_of(found))
    assert found.rows[0]["rate"] == 0
    # None of 40: the exact two-sided limit, 1 - 0.025 ** (1 / 40).
    assert found.rows[0]["high"] == pytest.approx(1 - 0.025 ** (1 / 40))
    assert "none has come back" in found.parts["sentences"][0]["text"]


@pytest.mark.parametrize(
    ("back", "told"),
    [(0, "Of 20 jobs none has come back so far"), (12, "Of 20 jobs 12 have come back so far")],
)
def test_without_a_rate_the_come_backs_so_far_are_told(back, told):
    found = finding(leaving_of({}, [3] * back + [20] * (20 - back), ["seal"] * back
                               + [None] * (20 - back)))  # fmt: skip
    assert found.parts["sentences"][0]["text"].startswith(told)


def test_a_reason_takes_the_others_as_competing():
    day = [4, 8, 9, 12, *[90] * 16]
    reason = ["drains_fast", "seal_lifts", "unrelated", "", *[None] * 16]
    found = finding(leaving_of({}, day, reason), reason=("drains_fast", ANY))
    one, all_of = found.rows
    assert (one["reason"], one["returns"], one["rate"]) == ("drains_fast", 1, pytest.approx(1 / 20))
    assert (all_of["reason"], all_of["returns"]) == (ANY, 3)
    assert all_of["rate"] == pytest.approx(3 / 20)
    assert found.keys == ("reason",)


def test_costs_are_the_catalogues_and_what_has_none_is_missing():
    # drains_fast: 35 minutes at 60 an hour and 15.00; the unstated reason has no cost.
    day, reason = [4, 9, *[90] * 18], ["drains_fast", "", *[None] * 18]
    found = finding(leaving_of({}, day, reason))
    (cost,) = found.parts["costs"]
    assert cost["cost_per_100"] == pytest.approx(100 * (35 + 15) / 20)
    assert cost["cost_low"] < cost["cost_per_100"] < cost["cost_high"]
    assert cost["without_cost"] == 1
    assert "250 (" in notes_of(found)["cost"]
    assert notes_of(found)["missing_cost"].startswith("1 come-back whose reason has no cost")


@pytest.mark.parametrize(
    ("reasons", "without"),
    [([None], 0), (["unrelated"], 0), ([""], 1)],
)
def test_where_no_cost_was_seen_it_has_no_limits(reasons, without):
    """0 (0 to 0) would say that come-backs cost nothing, and cannot cost anything."""
    found = finding(leaving_of({}, [9, *[90] * 18], [*reasons, *[None] * 18]))
    (cost,) = found.parts["costs"]
    assert cost["cost_per_100"] == 0 and cost["without_cost"] == without
    assert cost["cost_low"] is None and cost["cost_high"] is None
    what = "none of a known cost" if without else "nothing"
    assert notes_of(found)["cost"].endswith(f"per 100 jobs: {what} seen so far, no upper limit")


def test_one_group_without_costs_keeps_the_limits_of_the_other():
    branch = ["A"] * 20 + ["B"] * 20
    day, reason = [4, *[90] * 39], ["drains_fast", *[None] * 39]
    found = finding(leaving_of({"branch": branch}, day, reason), by=("branch",))
    north, south = found.parts["costs"]
    assert north["cost_low"] < north["cost_per_100"] < north["cost_high"]
    assert south["cost_low"] is None and south["cost_high"] is None
    assert "; B nothing seen so far, no upper limit" in notes_of(found)["cost"]


def test_all_tests_of_an_answer_are_corrected_together():
    assert corrected(np.array([0.01, np.nan, 0.04])) == pytest.approx(
        [0.02, np.nan, 0.04], nan_ok=True
    )
    assert np.isnan(corrected(np.array([np.nan]))).all()


def test_two_groups_have_one_p_value_and_several_reasons_more_tests():
    rng = np.random.default_rng(1)
    branch = np.repeat(["North", "South"], 300)
    day, reason = seen(rng, np.repeat([0.002, 0.0005], 300), 0.0002, np.full(600, 90))
    found = finding(leaving_of({"branch": branch}, day, reason), by=("branch",))
    p = [row["p_value"] for row in found.rows]
    assert p[0] == pytest.approx(p[1]) and p[0] < 0.01
    # Both are one and the same test: nothing to correct.
    assert [row["p_corrected"] for row in found.rows] == p
    assert "many_tests" not in notes_of(found)
    several = finding(
        leaving_of({"branch": branch}, day, reason), by=("branch",), reason=(ANY, "seal_lifts")
    )
    assert several.rows[0]["p_corrected"] == p[0]  # nobody came back with the other
    assert "they differ by more than chance" in notes_of(found)["test"]


def test_nobody_came_back_cannot_be_tested():
    leaving = leaving_of({"branch": ["A"] * 20 + ["B"] * 20}, [90] * 40, [None] * 40)
    found = finding(leaving, by=("branch",))
    assert [row["p_value"] for row in found.rows] == [None, None]
    assert "test" not in notes_of(found)
    assert "nobody came back" in notes_of(found)["not_tested"]


@pytest.mark.parametrize("reason", [ANY, "seal_lifts"])
@pytest.mark.parametrize(
    "day",
    [[7] * 60, [3] * 30 + [7] * 30],  # all back on one day; one group gone before the other's day
    ids=["one day", "one after the other"],
)
def test_groups_that_could_not_have_differed_are_not_tested(day, reason):
    back = "seal_lifts" if len(set(day)) == 1 else None
    leaving = leaving_of(
        {"branch": ["A"] * 30 + ["B"] * 30}, day, [back] * 30 + ["seal_lifts"] * 30
    )
    found = finding(leaving, by=("branch",), reason=(reason,))
    assert {(row["p_value"], row["p_corrected"]) for row in found.rows} == {(None, None)}
    assert "test" not in notes_of(found)
    assert notes_of(found)["not_tested"] == (
        "not tested, p_value is empty: there is no day on which one group could have differed "
        "from another"
    )


def test_a_test_without_a_finding_is_no_proof_of_likeness():
    branch = ["A"] * 40 + ["B"] * 40
    day, reason = [5, *[90] * 39] * 2, ["seal", *[None] * 39] * 2
    told = notes_of(finding(leaving_of({"branch": branch}, day, reason), by=("branch",)))["test"]
    assert told.endswith(
        "p = 1: differences like these are usual by chance; that is no proof that the groups are "
        "alike"
    )


def test_too_many_groups_are_not_tested_and_that_is_said(monkeypatch):
    monkeypatch.setattr(comebacks_figures, "MOST_GROUPS", 2)
    rng = np.random.default_rng(4)
    branch = np.repeat(["A", "B", "C"], 50)
    day, reason = seen(rng, np.full(150, 0.002), 0.0001, np.full(150, 90))
    found = finding(leaving_of({"branch": branch}, day, reason), by=("branch",))
    assert {row["p_value"] for row in found.rows} == {None}
    assert "3 groups are too many" in notes_of(found)["not_tested"]
    assert not any("differs" in one["text"] for one in found.parts["sentences"])


def test_notes_only_where_they_apply():
    whole = leaving_of({}, [3, *[90] * 30], ["seal", *[None] * 30])
    always = {"not_tested", "own_records", "elsewhere", "missing_cost", "cost"}
    assert set(notes_of(finding(whole))) <= always
    short = leaving_of({}, [3, *[20] * 5, *[90] * 30], ["seal", *[None] * 35])
    assert notes_of(finding(short))["censored"].startswith("5 of 36 jobs")
    assert "they count for the days they were followed, so" in notes_of(finding(short))["censored"]
    late = notes_of(finding(whole, days=FOLDER.settings.warranty_days + 1))
    assert late["beyond_warranty"].endswith("is likely too low")
    rework = Period(500, DAY, DAY, DAY, 7, (1,))
    assert (
        "7 jobs in the records are themselves come-backs"
        in notes_of(finding(whole, covered=rework))["rework"]
    )
    assert "rework" not in notes_of(finding(whole, covered=rework, include_rework=True))


def test_no_records_and_nothing_asked_for():
    empty = Leaving({}, [], [], [], [])
    none = Period(0, None, None, None, 0, ())
    assert [*notes_of(finding(empty, covered=none))] == ["no_records"]
    assert next(iter(notes_of(finding(empty)))) == "nothing"
    assert answers_of(followed_of(empty, everything), (), ComebacksAsk(), {}) == []


def test_many_groups_are_told_only_where_they_stand_out():
    rng = np.random.default_rng(4)
    lots = np.repeat([f"L{n:02d}" for n in range(12)], 120)
    hazard = np.where(lots == "L07", 0.004, 0.0003)
    day, reason = seen(rng, hazard, 0.0001, np.full(len(lots), 90))
    found = finding(leaving_of({"battery_lot": lots}, day, reason), by=("battery_lot",))
    texts = [one["text"] for one in found.parts["sentences"]]
    assert len(texts) == 2 and "battery lot L07" in texts[1]
    assert {row["battery_lot"] for row in found.parts["curve"]} >= {"L07"}


def test_of_many_groups_alike_no_difference_is_claimed_and_no_likeness():
    lots = np.repeat([f"L{n:02d}" for n in range(12)], 40)
    day, reason = [5, *[90] * 39] * 12, ["seal", *[None] * 39] * 12
    found = finding(leaving_of({"battery_lot": lots}, day, reason), by=("battery_lot",))
    assert found.parts["sentences"][1]["text"] == (
        "No difference between the 12 groups could be shown (smallest corrected p = 1)."
    )
