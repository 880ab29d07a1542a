"""Options over the same jobs: like for like where raw shares mislead."""

from __future__ import annotations

import numpy as np
import pytest

from fixstats.findings.comebacks_adjusted import ALL_MODELS, adjust_returns
from fixstats.findings.comebacks_figures import ANY, followed_of
from fixstats.tallies.followups import Leaving

from .followed_jobs import everything, finding, leaving_of, notes_of, seen, share


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
