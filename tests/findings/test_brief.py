"""The bench brief of a small shop: counts by a plain loop, odds and money by hand, words."""

from __future__ import annotations

import csv
import json
from datetime import date, timedelta
from random import Random

import numpy as np
import pytest
from scipy import stats as scipy_stats
from statsmodels.stats.proportion import proportion_confint

from fixstats import stats
from fixstats.errors import UsageError
from fixstats.findings.brief_choices import WORDS
from fixstats.findings.brief_odds import frequency, odds_of, odds_words, rate_draws, seen_words
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

START = date(2025, 1, 1)
JOBS, DAYS = 600, 60
MODELS = ("Alder 5", "Elm 2", "Larch")
CATALOGUE = f"""
format = 1
step = [{{code = "opening", label = "Opening", order = 2}},
        {{code = "release", label = "Release", order = 1}}]
method = [{{step = "opening", code = "heat", label = "Heat", cautions = ["Hot."]}},
          {{step = "opening", code = "cold", label = "Cold", cautions = ["Sharp."]}},
          {{step = "release", code = "pull", label = "Pull"}}]
part = [{{code = "battery", label = "Battery"}}, {{code = "display", label = "Display"}}]
grade = [{{code = "original", label = "Original"}}, {{code = "copy", label = "Copy"}}]
factor = [{{code = "swollen", label = "Swollen", kind = "flag"}},
          {{code = "health", label = "Health, %", kind = "number", bands = [80]}},
          {{code = "liquid", label = "Liquid", kind = "flag"}},
          {{code = "charge", label = "Charge", kind = "number", bands = [20], when = "during"}}]
repair = [
  {{code = "swap", label = "Battery", steps = ["opening", "release"], parts = ["battery"], \
    factors = ["swollen", "health", "liquid", "charge"]}},
  {{code = "clean", label = "Cleaning", steps = ["release"]}},
  {{code = "rare", label = "Never done", steps = ["opening"], parts = ["display"]}},
]
failure_mode = [
  {{code = "lines", label = "Lines", family = "display_damage", severity = 4, cost_minutes = 10, \
    cost_money = 50, steps = ["opening", "release"]}},
  {{code = "torn", label = "Torn", family = "broken_tabs", severity = 2, cost_minutes = 6, \
    cost_money = 1, steps = ["release"]}},
  {{code = "bent", label = "Bent", family = "broken_tabs", severity = 3, cost_money = 20, \
    steps = ["opening"]}},
  {{code = "pierced", label = "Pierced", family = "cell_damage", severity = 5, safety = true, \
    cost_money = 90, cautions = ["Step back."], steps = ["opening"]}},
  {{code = "loose", label = "Loose", family = "calibration_failures", severity = 2, \
    steps = ["release"]}},
  {{code = "clash", label = "Clash", family = "mixed_part_conflicts", severity = 3, \
    cost_money = 15, mixed = ["battery", "display"]}},
  {{code = "dud", label = "Dud", family = "part_failure", severity = 2, cost_money = 2, \
    part = "any"}},
]
price = [{{part = "battery", grade = "original", money = 20, since = 2025-01-01}},
         {{part = "battery", grade = "original", money = 26, since = 2026-03-01}},
         {{part = "battery", grade = "original", money = 31, since = 2025-02-01, model = "Elm 2"}},
         {{part = "battery", grade = "original", money = 99, since = 2030-01-01}}]
standard = [{{choice = "opening", option = "heat", since = {START + timedelta(300)}}},
            {{choice = "battery_grade", option = "original", since = {START + timedelta(9)}}}]
"""


def job(n):
    chance = Random(n)
    clean, model = n % 9 == 4, MODELS[n % 3]
    heat = chance.random() < 0.6
    failures = {
        "lines": not clean and chance.random() < (0.06 if heat else 0.25),
        "torn": chance.random() < 0.1,
        "loose": chance.random() < 0.05,
        "bent": not clean and model == "Larch" and chance.random() < 0.2,
        "dud": not clean and chance.random() < 0.04,
    }
    preexisting = "lines" if not clean and not failures["lines"] and n % 20 == 3 else ""
    finished = START + timedelta(n)
    returned = n % 17 == 5
    return {
        "job": f"J{n}",
        "finished": str(finished),
        "model": model,
        "repair": "clean" if clean else "swap; clean" if n % 40 == 1 else "swap",
        "outcome": "abandoned" if n % 31 == 7 else "completed",
        "minutes": "" if n % 13 == 0 else str(20 + n % 3 * 10 + chance.randrange(30)),
        "opening": "-" if clean else "heat" if heat else "cold",
        "release": "pull",
        "battery_grade": "" if clean else "original > original" if failures["dud"] else "original",
        "swollen": "" if n % 6 == 0 else "yes" if n % 14 == 1 else "no",
        "health": str(60 + n % 40) if n % 4 else "",
        "failures": "; ".join(mode for mode, seen in failures.items() if seen),
        "unchecked": "lines" if n % 10 == 5 and not failures["lines"] and not preexisting else "",
        "preexisting": preexisting,
        "returned": str(finished + timedelta(n % 90)) if returned and n % 31 != 7 else "",
        "return_reason": ("unrelated", "dud", "torn", "")[n % 4]
        if returned and n % 31 != 7
        else "",
        "return_of": f"J{n - 1}" if n % 50 == 49 else "",
    }


ROWS = [job(n) for n in range(JOBS)]
LAST = max(max(row["finished"], row["returned"]) for row in ROWS)


def swaps(*, alone):
    """Jobs of the repair that are no come-backs; ``alone``: asked for it and nothing else."""
    return [
        row
        for row in ROWS
        if not row["return_of"]
        and (row["repair"] == "swap" if alone else "swap" in row["repair"].split("; "))
    ]


def by_model(rows, seen, of=lambda row: True):
    """Model -> (rows of which ``seen`` holds, rows of which ``of`` does)."""
    found = {}
    for row in rows:
        if of(row):
            k, n = found.get(row["model"], (0, 0))
            found[row["model"]] = k + bool(seen(row)), n + 1
    return found


def came_back(row):
    """Days after hand-over; None: never, or for something else."""
    days = []
    if row["returned"]:
        days.append((date.fromisoformat(row["returned"]), row["return_reason"]))
    again = next((one for one in ROWS if one["return_of"] == row["job"]), None)
    if again:
        days.append((date.fromisoformat(again["finished"]), ""))
    if not days:
        return None
    first, reason = min(days)
    after = (first - date.fromisoformat(row["finished"])).days
    return None if reason == "unrelated" else after


def followed(row):
    left = date.fromisoformat(LAST) - date.fromisoformat(row["finished"])
    return row["outcome"] == "completed" and left.days >= DAYS


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    path = tmp_path_factory.mktemp("small")
    (path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    settings = Settings(name="Small", warranty_days=DAYS, labour_rate=30.0)
    folder = make_folder(path / "shop", settings, path / "c.toml")
    with (path / "s.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(ROWS[0]))
        writer.writeheader()
        writer.writerows(ROWS)
    (sheet,) = import_sheets(folder, [path / "s.csv"], covers="all").sheets
    assert (sheet.added, sheet.held_back) == (JOBS, 0)
    return open_shop(folder.path)


@pytest.fixture(scope="module")
def larch(shop):
    return shop.brief(model="larch", repair="swap").finding


@pytest.fixture(scope="module")
def never(shop):
    return shop.brief(model="Yew 9", repair="Battery").finding


def failures(found):
    return {(row["place"], one["mode"]): one for row in found.rows for one in row["failures"]}


def assert_odds(row, counts, model):
    """The counts of a plain loop, and the odds that pooling them gives."""
    own, every = counts.get(model, (0, 0)), [sum(p[n] for p in counts.values()) for n in (0, 1)]
    assert (row["failures"], row["opportunities"]) == own
    assert [row["failures_all"], row["opportunities_all"]] == every
    names = [*counts, *([model] if model not in counts else [])]
    k, n = zip(*(counts.get(name, (0, 0)) for name in names), strict=True)
    pooled = stats.pool_rates(k, n)
    place = names.index(model)
    assert row["rate"] == pytest.approx(pooled.pooled_rate[place], rel=1e-6)
    assert row["low"] == pytest.approx(pooled.pooled_low[place], rel=1e-6)
    assert row["high"] == pytest.approx(pooled.pooled_high[place], rel=1e-6)
    assert row["borrowed"] == pytest.approx(pooled.borrowed[place], rel=1e-6)


# ---------------------------------------------------------------- counts and odds


@pytest.mark.parametrize("model", ["Larch", "Yew 9"])
def test_failures_of_the_option_named_are_those_of_a_plain_loop(shop, larch, never, model):
    found = failures(larch if model == "Larch" else never)

    def heat(row):
        return row["opening"] == "heat"

    for mode, jobs in (("bent", heat), ("torn", lambda row: True), ("loose", lambda row: True)):
        place = "opening" if mode == "bent" else "release"
        counts = by_model(swaps(alone=False), lambda row, m=mode: m in row["failures"], jobs)
        assert_odds(found[place, mode], counts, model)
    looked = by_model(
        swaps(alone=False),
        lambda row: "lines" in row["failures"],
        lambda row: heat(row) and not row["unchecked"] and not row["preexisting"],
    )
    assert_odds(found["opening", "lines"], looked, model)
    duds = by_model(swaps(alone=False), lambda row: "dud" in row["failures"])
    assert_odds(found["battery", "dud"], duds, model)


def test_rows_are_the_steps_in_bench_order_then_the_parts(larch):
    assert [row["place"] for row in larch.rows] == ["release", "opening", "battery"]
    assert [row["kind"] for row in larch.rows] == ["step", "step", "part"]
    assert {row["word"] for row in larch.rows} <= set(WORDS)
    release, opening, battery = larch.rows
    assert (release["option"], release["word"]) == ("pull", "only one used")
    assert (opening["option"], opening["standard"], opening["cautions"]) == ("heat", True, ["Hot."])
    assert battery["standard"]
    for row in larch.rows:
        rates = [one["rate"] for one in row["failures"]]
        assert rates == sorted(rates, reverse=True)
        assert len(rates) <= 3


def test_the_three_likeliest_are_the_likeliest_of_all(larch):
    rows = {row["place"]: [one["mode"] for one in row["failures"]] for row in larch.rows}
    assert rows["opening"] == ["bent", "lines", "pierced"]
    assert set(rows["release"]) == {"lines", "torn", "loose"}
    assert rows["battery"] == ["dud"]  # of a clash nobody could know: no second grade is recorded


def test_what_was_never_seen_has_a_limit_over_all_models(larch):
    pierced = failures(larch)["opening", "pierced"]
    jobs = sum(row["opening"] == "heat" for row in swaps(alone=False))
    assert (pierced["rate"], pierced["failures_all"]) == (0.0, 0)
    # Exact and one-sided: statsmodels' Clopper-Pearson with all of the error above.
    limit = proportion_confint(0, jobs, alpha=0.1, method="beta")[1]
    assert pierced["at_most"] == pytest.approx(limit)
    assert pierced["text"] == f"Pierced: none seen, at most {frequency(limit)}, 0 of {jobs} in all"


def test_a_mode_of_several_steps_says_so(larch):
    found = failures(larch)
    assert found["opening", "lines"]["whole_job"]
    assert "any step" in found["release", "lines"]["text"]
    assert not found["release", "torn"]["whole_job"]


def test_the_customer_hears_of_come_backs_harm_and_no_repair(larch):
    rows = {row["event"]: row for row in larch.parts["customer"]}
    alone = swaps(alone=True)
    returns = by_model(
        alone, lambda row: came_back(row) is not None and came_back(row) <= DAYS, followed
    )
    assert sum(k for k, _ in returns.values()) > 10
    assert_odds(rows["comeback"], returns, "Larch")
    unrepaired = by_model(alone, lambda row: row["outcome"] != "completed")
    assert_odds(rows["unrepaired"], unrepaired, "Larch")
    # Lines cannot arise where they were there at intake; the other two still can.
    harm = by_model(
        alone,
        lambda row: "lines" in row["failures"] or "bent" in row["failures"],
        lambda row: not row["unchecked"],
    )
    assert_odds(rows["harm"], harm, "Larch")
    k, n = returns["Larch"]
    assert (
        f"of these repairs come back within {DAYS} days because of the repair ({k} of {n} here"
        in (rows["comeback"]["text"])
    )


def test_minutes_are_those_of_the_model_where_it_has_enough(larch, never):
    def minutes(models):
        return np.array([
            float(row["minutes"]) for row in swaps(alone=True)
            if row["minutes"] and row["outcome"] == "completed" and row["model"] in models
        ])  # fmt: skip

    for found, models in ((larch, ("Larch",)), (never, MODELS)):
        (row,) = found.parts["minutes"]
        told = minutes(models)
        assert row["jobs"] == len(told)
        shares = np.quantile(told, [0.5, 0.8, 0.9], method="inverted_cdf")
        assert [row["median"], row["most"], row["nearly_all"]] == shares.tolist()
        ends = scipy_stats.quantile_test(told, p=0.9).confidence_interval(0.95)
        assert (row["nearly_all_low"], row["nearly_all_high"]) == (ends.low, ends.high)
    assert larch.parts["minutes"][0]["scope"] == "model"
    assert never.parts["minutes"][0]["borrowed"]


def test_what_to_check_at_intake(larch):
    rows = {(row["code"], row["value"]): row for row in larch.parts["intake"]}
    jobs = swaps(alone=False)
    lines = by_model(jobs, lambda row: row["preexisting"], lambda row: not row["unchecked"])
    assert_odds(rows["lines", None], lines, "Larch")
    swollen = by_model(jobs, lambda row: row["swollen"] == "yes", lambda row: row["swollen"])
    assert_odds(rows["swollen", "yes"], swollen, "Larch")
    low = by_model(jobs, lambda row: float(row["health"]) < 80, lambda row: row["health"])
    assert_odds(rows["health", "<80"], low, "Larch")
    assert ("health", ">=80") not in rows  # the rest of the other
    assert rows["liquid", None if ("liquid", None) in rows else "yes"]["rate"] is None
    assert not any(code == "charge" for code, _ in rows)  # comes about during the job


def test_parts_to_have_ready(shop, larch):
    (row,) = larch.parts["ready"]
    assert (row["part"], row["grade"], row["money"]) == ("battery", "original", 26)
    again = by_model(swaps(alone=False), lambda row: ">" in row["battery_grade"])
    assert_odds(row, again, "Larch")
    (row,) = shop.brief(model="elm 2", repair="swap").finding.parts["ready"]
    assert row["money"] == 31  # its own price, though an older one


def test_the_allowance_is_money_of_failures_and_come_backs_per_job(larch):
    """Near the plain sums of the model, whose jobs are many, and with these in the interval."""
    (row,) = larch.parts["allowance"]
    alone = [one for one in swaps(alone=True) if one["model"] == "Larch"]
    costs = {"lines": 55, "torn": 4, "bent": 20, "dud": 2}

    def rate(mode):
        looked = [one for one in alone if mode != "lines" or not one["unchecked"]]
        return sum(mode in one["failures"] for one in looked) / len(looked)

    plain = sum(cost * rate(mode) for mode, cost in costs.items())
    assert row["failures"] == pytest.approx(plain, rel=0.1)  # drawn a little to the other two
    assert row["failures_low"] < plain < row["failures_high"]
    told = [one for one in alone if followed(one)]
    back = [one for one in told if came_back(one) is not None and came_back(one) <= DAYS]
    paid = sum({"dud": 2, "torn": 4}.get(one["return_reason"], 0) for one in back) / len(told)
    assert row["comebacks_low"] < paid < row["comebacks_high"]
    assert row["money"] == pytest.approx(row["failures"] + row["comebacks"])
    assert row["not_counted"] == ["loose"]
    assert "not counted, for want of a cost: Loose" in row["text"]
    assert row["never_looked_for"] == ["clash"]
    assert row["returns_not_counted"] > 0


def test_a_shop_too_young_for_come_backs_says_so(tmp_path):
    (tmp_path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    settings = Settings(name="Young", warranty_days=90)
    folder = make_folder(tmp_path / "shop", settings, tmp_path / "c.toml")
    with (tmp_path / "s.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(ROWS[0]))
        writer.writeheader()
        writer.writerows(row | {"returned": "", "return_reason": ""} for row in ROWS[:40])
    import_sheets(folder, [tmp_path / "s.csv"], covers="all")
    found = open_shop(folder.path).brief(model="Larch", repair="swap").finding
    (row,) = found.parts["allowance"]
    assert row["comebacks"] is None
    assert row["money"] == pytest.approx(row["failures"])
    assert "come-backs not known, since no job was followed for 90 days yet" in row["text"]
    comeback = found.parts["customer"][0]
    assert comeback["rate"] is None
    assert comeback["text"].startswith("An unknown share of these repairs come back")
    assert comeback["text"].endswith("(0 of 0, followed for 90 days).")


def test_stop_first_names_what_can_hurt(larch):
    (row,) = larch.parts["stop_first"]
    assert row["mode"] == "pierced"
    assert row["text"].endswith("Step back.")
    assert larch.cautions[0].startswith("A swollen, hot, bent or pierced cell: stop first")
    assert larch.cautions[1:] == ("Step back.", "Hot.")


# ---------------------------------------------------------------- never seen, and nothing at all


def test_a_model_never_seen_borrows_all_and_says_so(shop, never):
    assert not never.settings["model_known"]
    assert (never.settings["jobs"], never.settings["jobs_all"]) == (0, len(swaps(alone=True)))
    assert {one["borrowed"] for one in failures(never).values() if one["rate"]} == {1.0}
    assert "new_model" in {note.code for note in never.notes}
    near = shop.brief(model="Larhc", repair="swap").finding
    note = next(note for note in near.notes if note.code == "new_model")
    assert note.text.endswith("did you mean 'Larch'?")


def test_odds_of_a_new_model_are_wider(larch, never):
    own, new = (failures(one)["release", "torn"] for one in (larch, never))
    assert new["high"] - new["low"] > own["high"] - own["low"]


def test_a_repair_never_done_still_has_its_cautions(shop):
    found = shop.brief(model="Larch", repair="rare").finding
    opening, display = found.rows
    assert (opening["option"], opening["word"]) == ("heat", "house standard")
    assert opening["cautions"] == ["Hot."]
    assert display["word"] == "nothing recorded"
    assert found.parts["allowance"][0]["money"] is None
    assert found.parts["minutes"][0]["median"] is None
    assert found.parts["stop_first"]
    assert all(row["rate"] is None for row in found.parts["customer"])
    json.dumps(found.as_json(), allow_nan=False)


def test_an_empty_shop_lets_the_catalogue_speak(tmp_path):
    (tmp_path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    folder = make_folder(tmp_path / "shop", Settings(name="New"), tmp_path / "c.toml")
    found = open_shop(folder.path).brief(model="Larch", repair="swap").finding
    assert found.notes[0].code == "no_records"
    assert [row["place"] for row in found.rows] == ["release", "opening", "battery"]
    assert found.cautions


@pytest.mark.parametrize(
    ("model", "repair", "message"),
    [
        ("Larch", "swop", "unknown repair 'swop'; did you mean 'swap'"),
        ("Larch", "xyz", "repairs of the catalogue: swap, clean, rare"),
        ("  ", "swap", "say which device model"),
    ],
)
def test_refusals(shop, model, repair, message):
    with pytest.raises(UsageError, match=message):
        shop.brief(model=model, repair=repair)


# ---------------------------------------------------------------- odds and their words


def test_odds_with_one_model_only_are_its_own():
    own = odds_of({"A": (3, 60)}, "A", 0.95)
    low, high = proportion_confint(3, 60, method="wilson")
    assert (own.low, own.high) == pytest.approx((low, high))
    assert own.borrowed == 0.0
    assert odds_of({"A": (3, 60)}, "B", 0.95).borrowed == 1.0


def test_nothing_looked_at_is_not_known():
    odds = odds_of({}, "A", 0.95)
    assert odds.rate is None
    assert odds_words(odds) == "not known: nobody looked"
    assert not rate_draws({}, "A", seed=1).any()


def test_draws_have_the_pooled_mean():
    counts = {"A": (3, 60), "B": (9, 80), "C": (0, 12)}
    draws = rate_draws(counts, "C", seed=1)
    assert draws.mean() == pytest.approx(odds_of(counts, "C", 0.95).rate, rel=0.03)


@pytest.mark.parametrize(
    ("rate", "words"),
    [
        (1 / 32, "1 in 32"),
        (1 / 1437, "1 in 1,400"),
        (0.00001, "less than 1 in 10,000"),
        (0.5, "50 in 100"),
        (0.26, "1 in 4"),
    ],
)
def test_a_rate_is_told_as_one_in_so_many(rate, words):
    assert frequency(rate) == words


def test_words_of_odds():
    odds = odds_of({"A": (20, 30), "B": (15, 30)}, "A", 0.95)
    assert odds_words(odds).startswith("about 63 in 100 (")
    assert seen_words(odds) == "20 of 30 here, 35 of 60 in all"
    assert seen_words(odds_of({"B": (1, 40)}, "A", 0.95)) == "1 of 40 in all"
