"""Figures of come-backs from few jobs worked by hand; like for like where raw shares mislead."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from fixstats.findings import comebacks_figures
from fixstats.findings.comebacks import conclude
from fixstats.findings.comebacks_adjusted import ALL_MODELS, adjust_returns
from fixstats.findings.comebacks_answers import answers_of
from fixstats.findings.comebacks_figures import ANY, corrected, followed_of
from fixstats.findings.comebacks_plan import ComebacksAsk, Counted
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.folder.settings import Settings
from fixstats.tallies.counts import Period
from fixstats.tallies.followups import Leaving
from fixstats.tallies.keys import resolve

from .followed_jobs import leaving_of, seen, share

CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)
FOLDER = SimpleNamespace(catalogue=CATALOGUE, settings=Settings(name="Bench", labour_rate=60.0))
DAY = date(2026, 6, 30)


def everything(_):
    return True


def finding(leaving, cells=None, covered=None, **ask):
    asked = ComebacksAsk(**{"days": 90, "confidence": 0.95, "reason": (ANY,), **ask})
    keys = tuple(resolve(name, CATALOGUE, []) for name in asked.by)
    covered = covered or Period(500, DAY, DAY, DAY, 0, (1,))
    return conclude(Counted(leaving, cells, keys), FOLDER, asked, covered, covered.as_of)


def notes_of(found):
    return {note.code: note.text for note in found.notes}


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


def test_no_return_at_all_says_that_returns_may_not_be_written_down():
    found = finding(leaving_of({}, [90] * 40, [None] * 40))
    assert {"no_returns", "zero_returns"} <= set(notes_of(found))
    assert found.rows[0]["rate"] == 0
    # None of 40: the exact two-sided limit, 1 - 0.025 ** (1 / 40).
    assert found.rows[0]["high"] == pytest.approx(1 - 0.025 ** (1 / 40))
    assert "none has come back" in found.parts["sentences"][0]["text"]


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


# ---------------------------------------------------------------- like for like


def confounded(rng, jobs=6000, effect=0.5):
    """The careful technician gets the hard model and fits the good grade; effect: on the hazard.

    Raw, the good grade looks no better: it sits on the model that comes back.
    """
    model = rng.choice(["easy", "hard"], jobs, p=[0.6, 0.4])
    careful = rng.random(jobs) < np.where(model == "hard", 0.85, 0.15)
    good = rng.random(jobs) < np.where(careful, 0.85, 0.12)
    hazard = 0.0003 * np.where(model == "hard", 8, 1) * np.where(careful, 0.8, 1.0)
    keys = {
        "battery_grade": np.where(good, "original", "refurbished"),
        "model": model,
        "technician": np.where(careful, "T1", "T2"),
    }
    end = rng.integers(0, 400, jobs)
    day, reason = seen(rng, hazard * np.where(good, effect, 1.0), 0.0003, np.minimum(end, 90))
    true = [
        float(np.mean(share(hazard * times, 0.0003, 90))) for times in (effect, 1.0)
    ]  # both grades over all jobs
    return leaving_of(keys, day, reason), dict(zip(("original", "refurbished"), true, strict=True))


def raw_shares(leaving):
    by = {"battery_grade": leaving.keys["battery_grade"]}
    grade = np.array(by["battery_grade"])
    return {
        one: sum(n for n, g, r in zip(leaving.jobs, grade, leaving.reason, strict=True)
                 if g == one and r == "seal")
        / sum(n for n, g in zip(leaving.jobs, grade, strict=True) if g == one)
        for one in set(grade)
    }  # fmt: skip


def test_like_for_like_sees_through_who_got_which_device():
    leaving, true = confounded(np.random.default_rng(3))
    raw = raw_shares(leaving)
    assert raw["original"] > raw["refurbished"]  # the better one looks worse
    answer = adjust_returns(followed_of(leaving, everything), ANY, 90, confidence_level=0.95)
    assert answer.problem == ""
    for option in answer.options:
        row = answer.rows[option, ALL_MODELS]
        assert row.low <= true[option] <= row.high
    better = answer.rows["original", ALL_MODELS]
    assert (better.difference_high < 0) == (answer.options[0] == "refurbished")


def test_draws_are_paired_and_say_what_the_rows_say():
    leaving, _ = confounded(np.random.default_rng(5), jobs=3000)
    answer = adjust_returns(followed_of(leaving, everything), ANY, 90, confidence_level=0.9)
    assert answer.scopes == ("easy", "hard", ALL_MODELS)
    assert answer.draws.shape == (2, 3, 2000)
    assert answer.options[0] == "refurbished"  # most jobs
    row = answer.rows["original", "hard"]
    draws = answer.draws[1, 1]
    assert row.rate == pytest.approx(draws.mean())
    assert (row.low, row.high) == pytest.approx(np.quantile(draws, [0.05, 0.95]))
    gap = answer.draws[1, 1] - answer.draws[0, 1]
    assert row.difference == pytest.approx(gap.mean())
    # All jobs are the models weighed by their jobs.
    jobs = [sum(answer.rows[option, scope].jobs for option in answer.options)
            for scope in ("easy", "hard")]  # fmt: skip
    whole = np.average(answer.draws[:, :2], axis=1, weights=jobs)
    assert answer.draws[:, 2] == pytest.approx(whole)


def test_an_option_that_a_model_never_had_is_borrowed():
    leaving, _ = confounded(np.random.default_rng(6), jobs=3000)
    both = zip(leaving.keys["model"], leaving.keys["battery_grade"], strict=True)
    kept = [n for n, pair in enumerate(both) if pair != ("easy", "original")]
    some = Leaving(
        {key: [values[n] for n in kept] for key, values in leaving.keys.items()},
        *([column[n] for n in kept]
          for column in (leaving.day, leaving.reason, leaving.jobs, leaving.at_risk)),
    )  # fmt: skip
    answer = adjust_returns(followed_of(some, everything), ANY, 90, confidence_level=0.95)
    assert answer.rows["original", "easy"].borrowed == 1
    assert answer.rows["original", "easy"].jobs == 0
    assert answer.rows["original", "hard"].borrowed == 0
    assert 0 < answer.rows["original", ALL_MODELS].borrowed < 1
    assert answer.rows["original", "easy"].high > answer.rows["original", "easy"].rate


@pytest.mark.parametrize(
    ("grades", "reason", "told"),
    [
        (["original", "refurbished"], [None, None], "nobody came back"),
        (["original", "original"], ["seal", None], "no job with another option than original"),
        ([None, "-"], ["seal", None], "no job with a recorded option"),
    ],
)
def test_what_cannot_be_compared_has_its_reason(grades, reason, told):
    keys = {"battery_grade": grades, "model": ["A"] * 2, "technician": ["T"] * 2}
    answer = adjust_returns(followed_of(leaving_of(keys, [5, 90], reason), everything), ANY, 90,
                            confidence_level=0.95)  # fmt: skip
    assert told in answer.problem and answer.draws is None and not answer.rows


@pytest.mark.parametrize("seed", range(25))
def test_whatever_the_jobs_like_for_like_never_fails(seed):
    """A handful of jobs, often of one model or technician, often all back or none."""
    rng = np.random.default_rng(seed)
    jobs = int(rng.integers(2, 14))

    def some(names):
        return rng.choice(
            np.array(names, dtype=object)[: int(rng.integers(1, len(names) + 1))], jobs
        )

    keys = {
        "battery_grade": some(["original", "refurbished", None, "-"]),
        "model": some(["A", None, "B"]),
        "technician": some(["T1", "T2", None]),
    }
    end = rng.integers(0, 91, jobs)
    hazard = np.full(jobs, rng.choice([1e-9, 0.02, 1 - 1e-12]))
    day, reason = seen(rng, hazard, rng.choice([1e-9, 0.3]), end)
    days = int(rng.choice([1, 6, 7, 90, 400]))
    followed = followed_of(leaving_of(keys, np.minimum(day, days), reason), everything)
    answer = adjust_returns(followed, ANY, days, confidence_level=0.95)
    assert bool(answer.problem) == (answer.draws is None)
    if answer.draws is not None:
        assert np.isfinite(answer.draws).all()
        assert answer.draws.min() >= 0 and answer.draws.max() <= 1


def test_the_finding_says_it_in_words():
    leaving, _ = confounded(np.random.default_rng(3))
    by = {"battery_grade": leaving.keys["battery_grade"]}
    day = np.repeat(leaving.day, leaving.jobs)
    reason = np.repeat(np.array(leaving.reason, dtype=object), leaving.jobs)
    grades = np.repeat(np.array(by["battery_grade"], dtype=object), leaving.jobs)
    found = finding(
        leaving_of({"battery_grade": grades}, day, reason),
        leaving,
        by=("battery_grade",),
        adjust=True,
    )
    assert "fewer than" in notes_of(found)["adjusted"]
    assert "random effects" in notes_of(found)["adjusted_how"]
    assert "not_adjusted" not in notes_of(found)
    rows = [row for row in found.parts["adjusted"] if row["scope"] == "model"]
    assert {row["model"] for row in rows} == {"easy", "hard"}


@pytest.mark.slow
def test_like_for_like_intervals_hold_the_truth():
    """80 confounded shops of 3,000 jobs: each interval holds its truth in about 95 of 100."""
    held, gaps = [], []
    for seed in range(80):
        leaving, true = confounded(np.random.default_rng(100 + seed), jobs=3000)
        answer = adjust_returns(followed_of(leaving, everything), ANY, 90, confidence_level=0.95)
        rows = {option: answer.rows[option, ALL_MODELS] for option in answer.options}
        held += [row.low <= true[option] <= row.high for option, row in rows.items()]
        base, other = answer.options
        row, gap = rows[other], true[other] - true[base]
        gaps.append(row.difference_low <= gap <= row.difference_high)
    print(f"rates held by {np.mean(held):.3f}, differences by {np.mean(gaps):.3f}")  # -s shows it
    # Three standard errors of a share of 0.95 among 80: 0.073.
    assert np.mean(gaps) > 0.877 and np.mean(held) > 0.877
