"""``fixstats watch`` on the demo shop: what is printed, and how it stands to the truth."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

from fixstats.folder import Settings, make_folder
from fixstats.shop import open_shop

DEMO = Path(__file__).parents[2] / "demo_data"
PLANTED = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["planted"]
DRIFT, LOT, WEAK = (PLANTED[name] for name in ("drift", "bad_lot", "weaker_technician"))
KEYS = [
    "chart", "mode", "family", "group", "value_of_group", "period", "failures", "opportunities",
    "value", "centre", "lower_limit", "upper_limit", "alarm", "since", "expected_false",
]  # fmt: skip


@pytest.fixture(scope="module")
def found(demo_shop):
    return open_shop(demo_shop).watch().finding


@pytest.fixture
def ask(run, demo_shop):
    return lambda *words: run("watch", *words, "--shop", demo_shop)


def alarm_of(found, **named):
    (one,) = [a for a in found.parts["alarms"] if named.items() <= a.items()]
    return one


def days_between(one, day):
    return abs((date.fromisoformat(one) - date.fromisoformat(day)).days)


# ---------------------------------------------------------------- what was planted


def test_the_drift_is_found_with_its_day_and_size(found):
    one = alarm_of(found, mode=DRIFT["mode"], group=None)
    assert days_between(one["since"], DRIFT["from"]) <= 14
    true = DRIFT["true_rate_after"] / DRIFT["true_rate_before"]
    assert one["low"] < true < one["high"] and 0.75 < one["ratio"] / true < 1.33
    assert one["charts"] == ["p", "cusum"]
    assert min(one["months"]) == DRIFT["from"][:7]


def test_the_bad_lot_is_found_by_dead_pieces_and_by_come_backs(found):
    dead = alarm_of(found, mode="dead_on_arrival", value_of_group=LOT["lot"])
    back = alarm_of(found, mode="drains_fast", value_of_group=LOT["lot"])
    assert dead["charts"] == ["funnel"] and back["charts"] == ["comebacks"]
    for one in (dead, back):
        assert one["group"] == "battery_lot"
        assert days_between(one["since"], LOT["fitted_from"]) <= 14
    rates = LOT["dead_on_arrival"]
    assert dead["low"] < rates["this_lot"] / rates["others_same_grades"] < dead["high"]
    assert back["low"] < LOT["drains_fast_hazard_ratio"] < back["high"]


def test_the_weaker_technician_is_found_and_was_weak_from_the_start(found):
    one = alarm_of(found, group="technician")
    assert (one["value_of_group"], one["mode"] in WEAK["modes"]) == (WEAK["technician"], True)
    assert one["low"] < WEAK["odds_ratio"] < one["high"] and one["from_start"]


def test_nothing_else_is_claimed(found):
    others = [
        one
        for one in found.parts["alarms"]
        if one["mode"] != DRIFT["mode"]
        and one["value_of_group"] not in (LOT["lot"], LOT["supplier"], WEAK["technician"])
    ]
    assert others == []
    assert 0.1 < found.settings["expected_false"] < 0.6


def test_safety_first_then_cost_and_people_last(found):
    alarms = found.parts["alarms"]
    own = [one for one in alarms if not one["explained_by"] and one["group"] != "technician"]
    beyond = [(one["failures"] - one["expected"]) * one["cost"] for one in own]
    assert beyond == sorted(beyond, reverse=True)
    assert [one["group"] == "technician" for one in alarms][-1]
    any_reason = alarm_of(found, charts=["comebacks"], mode=None)
    assert any_reason["explained_by"] == "drains_fast"


# ---------------------------------------------------------------- what is said


def test_json(ask):
    code, out, _ = ask("--mode", "dust_under_glass", "--format", "json")
    told = json.loads(out)
    assert code == 0 and told["question"] == "watch"
    assert all([*row] == KEYS for row in told["rows"])
    assert {row["chart"] for row in told["rows"]} == {"p", "cusum", "funnel"}
    of = told["settings"]
    assert (of["baseline_since"], of["since"], of["until"]) == (
        "2025-04-01", "2026-01-01", "2026-09-30",
    )  # fmt: skip
    assert of["alarms"] == sum(row["alarm"] for row in told["rows"])
    assert of["expected_false"] == pytest.approx(sum(r["expected_false"] for r in told["rows"]))
    months = [row for row in told["rows"] if row["chart"] == "p"]
    assert [row["period"] for row in months] == [f"2026-0{n}" for n in range(1, 10)]
    for row in months:
        assert row["value"] == row["failures"] / row["opportunities"]
        assert row["alarm"] == (row["value"] > row["upper_limit"])
        assert row["lower_limit"] <= row["centre"] <= row["upper_limit"]


def test_alarm_exit(ask):
    assert ask("--mode", "dust_under_glass", "--alarm-exit")[0] == 4
    assert ask("--mode", "seal_lifts", "--alarm-exit")[0] == 0


def test_people_are_no_ranking(ask):
    _, out, _ = ask("--group", "technician")
    assert "technicians, by name: no ranking" in out
    assert re.search(r"note: about technicians: a number cannot tell why.*did not write down", out)


def test_list_and_table_agree_about_since_when(ask):
    """Of the weaker technician, weak from the first day: no day in either of them."""
    _, out, _ = ask()
    (told,) = re.findall(r"technician (\w+), .* from the first watched days on", out)
    (point,) = [line for line in out.splitlines() if re.match("against the shop +technician", line)]
    assert told == WEAK["technician"] and told in point
    assert "from the start" in point and "since" not in point
    assert re.search(r"sum over jobs .* since 2026-03-\d\d ", out)


def test_words(ask):
    _, out, _ = ask()
    lines = out.splitlines()
    assert re.fullmatch(
        r" 1\. Dust or print under the glass since 2026-03-\d\d: \d+ of [\d,]+ where [\d.]+ were "
        r"to be expected, 2\.\d times as often \(\d\.\d to \d\.\d\)",
        lines[3],
    )
    assert "had nothing changed, a run like this would still raise about 0." in out


def test_a_month_that_is_not_over_is_said(ask):
    _, out, _ = ask("--mode", "seal_lifts", "--until", "2026-09-12")
    assert "2026-09 is not over" in out


def test_watching_from_a_day_within_a_month(demo_shop):
    shop = open_shop(demo_shop)
    whole = shop.watch(mode="seal_lifts").finding.parts["months"]
    cut = shop.watch(mode="seal_lifts", since=date(2026, 3, 15)).finding
    march = [row for row in cut.parts["months"] if row["period"] == "2026-03"]
    assert [row["watched"] for row in march] == [False, True]
    (own,) = [row for row in whole if row["period"] == "2026-03"]
    for name in ("failures", "opportunities"):
        assert sum(row[name] for row in march) == own[name]
    assert cut.settings["baseline_since"] == "2025-04-01"


def test_groups_alone(demo_shop):
    rows = open_shop(demo_shop).watch(group="lot").rows
    assert {row["group"] for row in rows} == {"battery_lot"}
    with_part = open_shop(demo_shop).watch(group="battery_lot").rows
    assert [*with_part] == [*rows]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--mode", "dust_under_glas"), "did you mean 'dust_under_glass'?"),
        (("--family", "sealin"), "did you mean 'sealing'?"),
        (("--group", "lots"), "did you mean 'lot'?"),
        (("--since", "2025-04-01"), "nothing was recorded before 2025-04-01"),
        (("--since", "2027-01-01"), "after the last day watched: the records end 2026-09-30"),
        (("--since", "2026-05-01", "--until", "2026-04"), "--until is 2026-04-30"),
        (("--until", "2025-01-01"), "--until 2025-01-01: the records begin later, on 2025-04-01"),
        (("--mode", "zzz"), "unknown failure mode 'zzz'; catalogue.toml names them all"),
    ],
)
def test_wrong_input(ask, words, told):
    code, out, err = ask(*words)
    assert code == 2 and out == "" and told in err
    assert len(err.strip().splitlines()) <= 2


def test_an_empty_shop(run, tmp_path):
    make_folder(tmp_path / "new", Settings(name="New"))
    code, out, _ = run("watch", "--shop", tmp_path / "new", "--alarm-exit", "--format", "json")
    told = json.loads(out)
    assert (code, told["rows"]) == (0, [])
    assert told["notes"][0]["text"].startswith("no job was recorded yet")
