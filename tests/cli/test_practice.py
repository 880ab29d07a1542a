"""``fixstats practice`` on the demo shop: what is printed, and how it stands to the truth."""

from __future__ import annotations

import json
import math
import statistics
from pathlib import Path

import pytest

from fixstats.shop import open_shop

TRUTH = json.loads(
    (Path(__file__).parents[2] / "demo_data" / "truth.json").read_text(encoding="utf-8")
)["planted"]["learning"]

KEYS = [
    "unit", "mode", "family", "method", "band", "uses_from", "uses_to", "technicians",
    "failures", "opportunities", "unknown", "unknown_failed", "rate", "low", "high", "at_most",
    "fitted", "minutes", "minutes_low", "minutes_high", "jobs_with_minutes",
    "practised_at", "practised_at_low", "practised_at_high", "not_practised",
    "practised_technicians", "practised_rate", "practised_low", "practised_high", "p_value",
    "first_minutes", "learning_rate", "learning_rate_low", "learning_rate_high", "learning_jobs",
    "extra_failures", "extra_failures_low", "extra_failures_high",
    "extra_minutes", "extra_minutes_low", "extra_minutes_high",
    "learning_cost", "learning_cost_low", "learning_cost_high",
]  # fmt: skip


@pytest.fixture
def ask(run, demo_shop):
    def practice(*words):
        return run("practice", *words, "--shop", demo_shop)

    return practice


def as_json(ask, *words):
    code, out, _ = ask(*words, "--format", "json")
    assert code == 0
    return json.loads(out)


@pytest.fixture(scope="module")
def learned(demo_shop):
    """The rows of the method that the demo's technicians learn."""
    shop = open_shop(demo_shop)
    return shop.practice(TRUTH["choice"], mode=TRUTH["mode"], method=TRUTH["option"]).rows


def true_rate(uses):
    """The planted rate after so many uses, on the logit scale from the practised one."""
    practised = TRUTH["true_rate_practised"]
    logit = math.log(practised / (1 - practised)) + 2.2 * math.exp(-uses / 30.0)
    return 1 / (1 + math.exp(-logit))


# ---------------------------------------------------------------- the planted learning


def test_the_truth_is_what_this_file_takes_it_for():
    for uses, rate in TRUTH["true_rate_by_earlier_uses"].items():
        # Theirs is a mean over devices and hands, so it bends a little.
        assert true_rate(int(uses)) == pytest.approx(rate, rel=0.04)


def test_bands_cover_the_planted_rates(learned):
    assert [row["band"] for row in learned] == ["0-9", "10-29", "30-99", "100+"]
    for row in learned:
        last = 150 if row["uses_to"] is None else row["uses_to"]
        uses = range(row["uses_from"], last + 1)
        true = sum(map(true_rate, uses)) / len(uses)
        assert row["low"] <= true <= row["high"]
    assert learned[0]["fitted"] > learned[-1]["fitted"]


def test_the_practised_number_and_rate_cover_the_planted_ones(learned):
    row = learned[0]
    near = [uses for uses in range(150) if true_rate(uses) - true_rate(150) <= 0.02]
    assert row["practised_at_low"] <= near[0] <= row["practised_at_high"]
    assert row["practised_low"] <= TRUTH["true_rate_practised"] <= row["practised_high"]
    assert row["practised_technicians"] == 5
    jobs = row["learning_jobs"]
    later = sum(map(true_rate, range(jobs, 150))) / (150 - jobs)
    extra = sum(map(true_rate, range(jobs))) - jobs * later
    assert row["extra_failures_low"] <= extra <= row["extra_failures_high"]


def test_minutes_cover_the_planted_curve(learned):
    def planted(uses):
        return 6.0 * (1 + 1.5 * (uses + 1) ** -0.45)

    assert TRUTH["minutes"].startswith("median = 6.0 * (1 + 1.5 * (uses + 1)^-0.45)")
    for row in learned:
        last = 150 if row["uses_to"] is None else row["uses_to"]
        middle = statistics.median(planted(uses) for uses in range(row["uses_from"], last + 1))
        # The sheet has minutes to one decimal.
        assert row["minutes_low"] - 0.05 <= middle <= row["minutes_high"] + 0.05
    falls = (planted(99) / planted(9)) ** (1 / math.log2(10))
    assert learned[0]["learning_rate_low"] <= falls <= learned[0]["learning_rate_high"]


# ---------------------------------------------------------------- what is printed


def test_json_has_the_stated_keys(ask):
    found = as_json(ask, "battery_release")
    assert list(found) == ["question", "settings", "rows", "notes"]
    assert found["question"] == "practice"
    assert all(list(row) == KEYS for row in found["rows"])
    assert {row["unit"] for row in found["rows"]} == {"job"}
    assert {row["mode"] for row in found["rows"]} == {None}
    wanted = {"confidence_level", "view", "since", "until", "as_of", "catalogue_hash", "batches"}
    assert wanted <= set(found["settings"])
    assert found["settings"]["modes"][0] == "tab_snapped"
    assert found["settings"]["include_rework"] is False


def test_null_always_has_its_reason(ask):
    found = as_json(ask, "battery_release")
    codes = {note["code"] for note in found["notes"]}
    for row in found["rows"]:
        assert (row["practised_at"] is None) == (row["not_practised"] is not None)
        assert (row["uses_from"] is None) == (row["band"] == "settled")
    assert "not_practised" in codes and "settled" in codes


def test_for_people_sentences_come_first(ask):
    code, out, _ = ask("battery_release", "--mode", "flex_cut")
    assert code == 0
    lines = out.splitlines()
    assert lines[0].startswith("practice at Releasing the battery: Neighbouring flex cut or torn")
    assert lines[2].startswith("Thread drawn under the cell: ")
    assert "By the rule below it is practised after" in lines[2]
    assert "note: practised: from this use on, the falling curve stays within 2 in 100" in out
    assert "service instructions" in out
    assert "caution:" not in out


def test_safety_modes_bring_their_caution(ask):
    _, out, _ = ask("battery_release", "--mode", "cell_pierced")
    assert "caution: A swollen, hot, bent or pierced cell: stop first." in out


def test_come_backs_are_left_out_unless_asked_for(ask):
    def jobs(*words):
        return sum(row["opportunities"] for row in as_json(ask, "battery_release", *words)["rows"])

    assert jobs() == jobs("--where", "rework=no") < jobs("--include-rework")
    assert jobs("--where", "rework=yes") == jobs("--include-rework") - jobs()


def test_a_family_is_a_union_and_conditions_hold(ask):
    words = ("battery_release", "--family", "collateral_damage", "--method", "thread_cut")
    whole = as_json(ask, *words)["rows"]
    assert {(row["mode"], row["family"]) for row in whole} == {(None, "collateral_damage")}
    some = as_json(ask, *words, "--where", "model=Quillon Q5", "--since", "2026")["rows"]
    assert sum(r["opportunities"] for r in some) < sum(r["opportunities"] for r in whole)


def test_nothing_to_show_is_no_error(ask):
    found = as_json(ask, "glass_removal", "--until", "2020")
    assert found["rows"] == []
    assert found["notes"][0]["code"] == "nothing"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("batery_release",), "unknown step 'batery_release'; did you mean 'battery_release'?"),
        (("thread_cut",), "unknown step 'thread_cut'; known: "),
        (
            ("battery_release", "--method", "thread_cutt"),
            "step 'battery_release' has no method 'thread_cutt'; did you mean 'thread_cut'?",
        ),
        (("battery_release", "--mode", "flex_cutt"), "unknown failure mode 'flex_cutt'; did you"),
        (("battery_release", "--family", "cell_damge"), "unknown family 'cell_damge'; did you"),
        (
            ("battery_release", "--mode", "flex_cut", "--any", "cell_bent"),
            "--mode, --family and --any each say what a failure is: use one of them",
        ),
        (("battery_release", "--confidence", "95"), "confidence 95.0 must lie between 0.5 and 1"),
        (("battery_release", "--where", "modle=x"), "unknown key 'modle'; did you mean 'model'?"),
        (("battery_release", "--since", "soon"), "--since soon: no such date"),
    ],
)
def test_errors_are_short_and_name_the_nearest(ask, words, told):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") <= 2
