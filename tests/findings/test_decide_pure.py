"""Decisions from counts without a database: money by hand, and rules that no money can bend."""

from datetime import date

import numpy as np
import pytest

from fixstats.findings.decide_costs import (
    EachCost,
    costs_each,
    filled,
    prices_on,
    used_by_methods,
    used_by_pieces,
)
from fixstats.findings.decide_figures import conclude, fit_choice, weigh_choice
from fixstats.findings.decide_rows import (
    KEYS,
    crossing,
    flip_rows,
    mode_rows,
    option_rows,
    rows_of,
)
from fixstats.folder import FailureMode
from fixstats.folder.catalogue import Catalogue, Method, Price

from .decide_shops import SETTINGS, counted_of, job, known_of, many


def weighed(jobs, costs, *, settings=SETTINGS, left_out=20, counts=None, **changes):
    counted = counted_of(jobs, left_out=left_out, **(counts or {}))
    return weigh_choice(counted, known_of(counted, costs, **changes), settings)


def first_row(answer):
    return rows_of(answer, 0.95)[0]


def mode(code, **fields):
    return FailureMode(code, code, "broken_tabs", 2, **fields)


# ---------------------------------------------------------------- money by hand


def test_what_a_failure_costs():
    modes = [
        mode("a", cost_minutes=30.0, cost_money=10.0),
        mode("b", cost_money=5.0),
        mode("c"),
        mode("d"),
        mode("e", cost_money=7.0),
    ]
    recorded = {
        "mode": ["a", "c"], "jobs": [4, 9], "stated": [1, 2], "money": [80.0, 30.0],
    }  # fmt: skip
    found = costs_each(modes, 60.0, recorded, {"e": 70.0})
    # One job in four says 80, three are 40 by the catalogue (30 minutes at 60, and 10).
    assert found["a"] == EachCost(0.25 * 80 + 0.75 * 40, 0.75 * 30)
    assert found["b"] == EachCost(5.0, 0.0)
    assert found["c"] == EachCost(15.0, 0.0)  # only the sheets say
    assert found["d"] is None
    assert found["e"] == EachCost(70.0, 0.0)


def test_what_a_first_try_uses():
    methods = (
        Method("opening", "heat", "Heat", 0.5),
        Method("opening", "cold", "Cold"),
        Method("closing", "tape", "Tape", 9.0),
    )
    catalogue = Catalogue(None, "", methods=methods)
    found = used_by_methods(["cold", "heat"], ["Elm", "Oak"], catalogue, "opening")
    assert found.tolist() == [[0, 0], [0.5, 0.5]]


def test_what_a_piece_costs():
    paid = {
        "option": ["original", "original", "copy"],
        "model": ["Elm", "Oak", "Elm"],
        "grade": ["original", "original", "copy"],
        "pieces": [4, 2, 3],
        "paid": [2, 0, 0],
        "money": [50.0, None, None],
    }
    prices = [
        Price("battery", "original", 20.0, date(2025, 1, 1)),
        Price("battery", "original", 22.0, date(2025, 6, 1)),
        Price("battery", "original", 99.0, date(2027, 1, 1)),
        Price("battery", "original", 30.0, date(2025, 1, 1), "Oak"),
        Price("display", "copy", 1.0, date(2025, 1, 1)),
        Price("battery", "copy", 8.0, date(2025, 1, 1)),
    ]
    models = ["Elm", "Oak"]
    price_of = prices_on(prices, "battery", models, date(2026, 1, 1))
    assert price_of == {
        ("original", "Elm"): 22.0, ("original", "Oak"): 30.0,
        ("copy", "Elm"): 8.0, ("copy", "Oak"): 8.0,
    }  # fmt: skip
    asked = (["original", "copy"], models, paid, price_of)
    # Recorded goes before the list; a grade that a model never had has its price.
    assert used_by_pieces(*asked, {}, by_grade=True).tolist() == [[25, 30], [8, 8]]
    changed = used_by_pieces(*asked, {"copy": 3.0}, by_grade=True)
    assert changed.tolist() == [[25, 30], [3, 3]]


def test_money_that_is_not_known_is_as_the_others_suggest():
    nan = np.nan
    # A supplier asks twice as much for Oak: so does the other.
    assert filled(np.array([[10.0, 20.0], [15.0, nan]])) == pytest.approx(
        np.array([[10, 20], [15, 30]])
    )
    nobody = filled(np.array([[10.0, 20.0], [nan, nan]]))
    assert np.isnan(nobody[1]).all() and nobody[0].tolist() == [10, 20]
    assert filled(np.array([[0.0, 2.0], [1.0, nan]])) == pytest.approx(
        np.array([[0, 2], [1, 3]])
    )  # by sums where there is a 0


def test_where_lines_cross():
    costs, slopes = np.array([10.0, 12.0, 11.0]), np.array([0.5, 0.3, 0.5])
    # 10 + 0.5 (x - 20) = 12 + 0.3 (x - 20): ten more; the third never, it is parallel
    assert crossing(costs, slopes, 0, 20.0) == (pytest.approx(30.0), 1)
    assert crossing(costs, np.array([0.5, 0.5, 0.5]), 0, 20.0) is None
    # The nearer one: 10 + 0.5 d = 11 + 0.1 d at d = 2.5
    assert crossing(costs, np.array([0.5, 0.3, 0.1]), 0, 20.0) == (pytest.approx(22.5), 2)
    assert crossing(costs, np.array([0.3, 0.4, 0.3]), 0, 5.0) is None  # below 0 only


def test_one_option_costs_what_its_jobs_cost():
    jobs = [job("heat", *(["snap"] if n % 10 == 0 else []), minutes=12.0) for n in range(500)]
    answer = weighed(jobs, {"snap": 40.0}, used={"heat": 1.5})
    (row, own) = rows_of(answer, 0.95)
    assert row["verdict"] == "only_one" and tuple(row) == KEYS
    # 1.50 used, 12 minutes at 60 an hour, one job in ten costs 40 more
    assert row["cost_per_job"] == pytest.approx(1.5 + 12 + 4, abs=0.05)
    assert row["cost_low"] < row["cost_per_job"] < row["cost_high"]
    assert (row["jobs"], row["borrowed"], row["runner_up"]) == (500, 0, None)
    assert own["cost_per_job"] == pytest.approx(row["cost_per_job"])


@pytest.fixture(scope="module")
def clear():
    """Two options, one of which fails three times as often; two modes, one without failures."""
    jobs = many({"heat": 0.18, "cold": 0.06})
    return weighed(jobs, {"snap": 60.0, "never": 500.0}, current={None: "heat"})


def test_parts_add_up(clear):
    for row in option_rows(clear, 0.95):
        parts = ("used_money", "minutes_money", "failures_money", "comebacks_money")
        assert sum(row[part] for part in parts) == pytest.approx(row["cost_per_job"], rel=1e-9)
    assert {row["mode"] for row in mode_rows(clear)} == {"snap"}
    failures = {
        (row["model"], row["option"]): row["failures_money"] for row in option_rows(clear, 0.95)
    }
    for row in mode_rows(clear):
        assert row["money"] == pytest.approx(failures[row["model"], row["option"]])


def test_a_clear_difference(clear):
    row = first_row(clear)
    assert (row["verdict"], row["option"], row["runner_up"]) == ("standardise", "cold", "heat")
    assert row["saving_per_job"] == pytest.approx(0.12 * 60, abs=1.5)
    assert row["saving_low"] < row["saving_per_job"] < row["saving_high"]
    assert row["saving_vs_current"] == pytest.approx(row["saving_per_job"])
    assert row["p_best"] > 0.99 and not row["borderline"]


def test_money_is_that_of_simulated_jobs(clear):
    """An independent count: money of each job of the shop, added up by option."""
    jobs = many({"heat": 0.18, "cold": 0.06})
    for option in ("heat", "cold"):
        own = [one for one in jobs if one["option"] == option]
        fine = np.mean([one["minutes"] for one in own if not one["failures"]])
        money = fine + 60 * np.mean([bool(one["failures"]) for one in own])
        (row,) = [
            r for r in option_rows(clear, 0.95) if r["option"] == option and r["model"] is None
        ]
        assert row["cost_per_job"] == pytest.approx(money, abs=1.0)
        assert row["cost_low"] < money < row["cost_high"]


# ---------------------------------------------------------------- rules that money cannot bend


def test_a_cheap_dangerous_option_is_never_recommended():
    jobs = many({"heat": 0.10, "cold": 0.10, "pry": 0.0}, minutes=20.0)
    jobs = [one | {"minutes": 2.0} if one["option"] == "pry" else one for one in jobs]
    safety = {"cold": (0, 800), "heat": (0, 800), "pry": (20, 400)}
    answer = weighed(jobs, {"snap": 60.0}, safety=safety)
    costs = {r["option"]: r for r in option_rows(answer, 0.95) if r["model"] is None}
    assert costs["pry"]["cost_per_job"] < costs["cold"]["cost_per_job"] / 3
    assert costs["pry"]["p_best"] is None and costs["pry"]["safety"] == "worse"
    for row in rows_of(answer, 0.95):
        assert "pry" not in (row["option"], row["runner_up"])
    assert not any("pry" in (r["option"], r["to"]) for r in flip_rows(answer))


def test_zero_events_in_few_jobs_is_not_safe():
    jobs = many({"heat": 0.2, "cold": 0.02})
    answer = weighed(jobs, {"snap": 60.0}, safety={"heat": (1, 1000), "cold": (0, 40)})
    row = first_row(answer)
    assert (row["verdict"], row["option"], row["safety"]) == ("unproven", "cold", "unproven")
    assert row["jobs_needed"] == 149 - 40  # 0 of 149: 1 - 0.05 ** (1 / 149) is below 0.02
    assert "109 further jobs" in row["reason"]


def test_the_option_used_ten_times_as_often_has_no_better_state():
    jobs = many({"heat": 0.2, "cold": 0.05})
    kept = [one for n, one in enumerate(jobs) if one["option"] == "heat" or n % 20 == 1]
    safety = {"heat": (10, 4000), "cold": (1, 400)}
    row = first_row(weighed(kept, {"snap": 60.0}, safety=safety))
    assert row["option"] == "cold" and row["safety"] == "cleared"


def test_a_missing_cost_is_not_free():
    """The leader fails in a way that nobody has put money on."""
    jobs = many({"heat": 0.18, "cold": 0.06})
    jobs = [
        one | {"failures": (*one["failures"], "scratch")}
        if one["option"] == "cold" and n % 10 == 1
        else one
        for n, one in enumerate(jobs)
    ]
    missing = first_row(weighed(jobs, {"snap": 60.0, "scratch": None}))
    assert missing["option"] == "cold" and missing["verdict"] != "standardise"
    assert "scratch" in missing["reason"]
    known = first_row(weighed(jobs, {"snap": 60.0, "scratch": 1.0}))
    assert known["verdict"] == "standardise"
    dear = first_row(weighed(jobs, {"snap": 60.0, "scratch": 500.0}))
    assert dear["option"] == "heat"


def test_a_missing_price_is_not_free():
    jobs = many({"original": 0.05, "copy": 0.05})
    counts = {"choice": "battery_grade"}
    asked = {"used": {"original": 20.0, "copy": np.nan}, "counts": counts}
    row = first_row(weighed(jobs, {"snap": 60.0}, **asked))
    assert row["option"] == "copy" and row["verdict"] != "standardise"
    assert "a piece of copy" in row["reason"]
    asked["used"]["copy"] = 5.0
    assert first_row(weighed(jobs, {"snap": 60.0}, **asked))["verdict"] == "standardise"


def test_what_only_the_last_jobs_say_is_not_sure():
    """Equal, until twenty jobs of each model that went well with one option and badly with the
    other: sure now, not sure before."""
    jobs = many({"heat": 0.10, "cold": 0.10}, jobs=100)
    jobs += [
        job(option, *(["snap"] if option == "heat" else []), model=model)
        for model in ("Elm", "Oak")
        for option in ("heat", "cold")
        for _ in range(20)
    ]
    costs = {"snap": 60.0}
    row = first_row(weighed(jobs, costs, left_out=40))
    assert row["p_best"] > 0.99 and row["verdict"] != "standardise"
    assert first_row(weighed(jobs, costs, left_out=0))["verdict"] == "standardise"


def test_hard_jobs_do_not_make_a_method_bad():
    """The careful technician gets the hard jobs and works cold: raw counts point at heat."""
    random = np.random.default_rng(4)
    jobs = []
    for _ in range(4000):
        hard = random.random() < 0.5
        careful = random.random() < (0.9 if hard else 0.1)
        cold = random.random() < (0.9 if careful else 0.1)
        rate = (0.28 if hard else 0.03) * (0.9 if careful else 1.0) * (0.6 if cold else 1.0)
        failures = ["snap"] if random.random() < rate else []
        jobs.append(
            job(
                "cold" if cold else "heat",
                *failures,
                technician="T1" if careful else "T2",
                hard="yes" if hard else "no",
            )
        )
    raw = {
        option: np.mean([bool(one["failures"]) for one in jobs if one["option"] == option])
        for option in ("cold", "heat")
    }
    assert raw["cold"] > raw["heat"]
    answer = weighed(jobs, {"snap": 60.0})
    assert first_row(answer)["option"] == "cold"
    assert "hard" in answer.ground.used_for


def test_an_option_borrows_where_it_was_never_used():
    jobs = [
        one
        for one in many({"heat": 0.18, "cold": 0.06})
        if (one["option"], one["model"]) != ("cold", "Oak")
    ]
    answer = weighed(jobs, {"snap": 60.0})
    rows = {row["model"]: row for row in rows_of(answer, 0.95)}
    assert (rows["Oak"]["option"], rows["Oak"]["borrowed"], rows["Oak"]["jobs"]) == ("cold", 1, 0)
    assert rows["Elm"]["borrowed"] == 0 and 0 < rows[None]["borrowed"] < 1
    wide = {model: row["saving_high"] - row["saving_low"] for model, row in rows.items()}
    assert wide["Oak"] > wide["Elm"]
    assert {row["option"] for row in option_rows(answer, 0.95)} == {"heat", "cold"}


def test_what_nobody_looked_for_is_as_what_was_looked_for():
    """Half of the jobs of one option were not looked at: its failures count twice."""
    jobs = many({"heat": 0.10, "cold": 0.10})
    random = np.random.default_rng(2)
    cold = [n for n, one in enumerate(jobs) if one["option"] == "cold"]
    hidden = set(random.choice(cold, 200, replace=False).tolist())
    unseen = [one | {"failures": ()} if n in hidden else one for n, one in enumerate(jobs)]
    unlooked = {"mode": ["snap"], "option": ["cold"], "jobs": [200]}
    answer = weighed(unseen, {"snap": 60.0}, counts={"unlooked": unlooked})
    rates = {r["option"]: r["rate"] for r in mode_rows(answer) if r["model"] is None}
    assert rates["cold"] == pytest.approx(rates["heat"], abs=0.03)


def test_same_counts_same_answer():
    jobs = many({"heat": 0.12, "cold": 0.08}, jobs=150)
    one, other = (weighed(jobs, {"snap": 60.0}) for _ in range(2))
    assert rows_of(one, 0.95) == rows_of(other, 0.95)


def test_another_order_of_draws_changes_no_clear_verdict():
    counted = counted_of(many({"heat": 0.14, "cold": 0.08}, jobs=250))
    known = known_of(counted, {"snap": 60.0})
    fitted = fit_choice(counted, known, SETTINGS)
    said: dict[str | None, set] = {}
    for seed in range(1, 11):
        for row in rows_of(conclude(fitted, counted, known, SETTINGS, seed=seed), 0.95):
            said.setdefault(row["model"], set()).add(
                "borderline" if row["borderline"] else (row["verdict"], row["option"])
            )
    assert all(len(one - {"borderline"}) <= 1 for one in said.values())


def test_flips_are_where_the_leader_changes():
    jobs = many({"original": 0.04, "copy": 0.12})
    asked = {"used": {"original": 12.0, "copy": 6.0}, "counts": {"choice": "battery_grade"}}
    flips = {
        row["input"]: row
        for row in flip_rows(weighed(jobs, {"snap": 60.0}, **asked))
        if row["model"] is None
    }
    price = flips["price battery:original"]
    assert price["option"] == "copy" and price["to"] == "original" and price["now"] == 12
    for more, leads in ((0.01, "copy"), (-0.01, "original")):
        asked["used"]["original"] = price["flips_at"] + more
        assert first_row(weighed(jobs, {"snap": 60.0}, **asked))["option"] == leads
    asked["used"]["original"] = 12.0
    for times, leads in ((0.97, "copy"), (1.03, "original")):
        cost = flips["cost snap"]["flips_at"] * times
        assert first_row(weighed(jobs, {"snap": cost}, **asked))["option"] == leads


def test_returns_have_their_money():
    """All that comes back counts once, at the cost of what brought it."""
    from fixstats.findings.comebacks_figures import followed_of
    from fixstats.tallies.followups import Leaving

    jobs = many({"heat": 0.10, "cold": 0.10})
    # Of 400 jobs each, 40 and 8 came back on day 10; the others were watched for 90 days.
    names = ("option", "model", "technician")
    groups = [("heat", "Elm", "T1"), ("cold", "Elm", "T1")]
    keys = {name: [g[n] for g in groups for _ in range(2)] for n, name in enumerate(names)}
    leaving = Leaving(
        keys, [10, 90] * 2, ["snap", None] * 2, [40, 360, 8, 392], [400, 360, 400, 392]
    )
    returns = followed_of(leaving, lambda _: True)
    answer = weighed(
        jobs, {"snap": 60.0}, counts={"returns": returns}, comeback=EachCost(80.0, 30.0)
    )
    money = {r["option"]: r["comebacks_money"] for r in option_rows(answer, 0.95) if not r["model"]}
    assert money["heat"] == pytest.approx(0.10 * 80, abs=0.8)
    assert money["cold"] == pytest.approx(0.02 * 80, abs=0.5)
    assert first_row(answer)["option"] == "cold"
    unpriced = weighed(jobs, {"snap": 60.0}, counts={"returns": returns}, comeback=None)
    assert "come-backs" in first_row(unpriced)["reason"]
