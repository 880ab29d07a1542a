"""Comparisons on the demo shop against the truth that its generator states.

``true_rate_now`` has everybody as practised as they had become by the last day, like ``--at now``.
"""

import json

import pytest

from fixstats.resources import resource
from fixstats.shop import open_shop

TRUTH = json.loads((resource("demo_data") / "truth.json").read_text(encoding="utf-8"))
RATES = {
    (row["choice"], row["option"], row["mode"], row["model"]): row for row in TRUTH["step_rates"]
}
CHOICES = tuple(dict.fromkeys(choice for choice, *_ in RATES))


@pytest.fixture(scope="module")
def shop(demo_shop):
    return open_shop(demo_shop)


@pytest.fixture(scope="module")
def answers(shop):
    """Every choice of the truth with all of its modes, on each model and over all."""
    return {
        choice: shop.compare(
            choice, mode=list(dict.fromkeys(m for c, _, m, _ in RATES if c == choice)), by="model"
        )
        for choice in CHOICES
    }


def true_difference(row, rate="true_rate_now"):
    """None for a model that only the kiosk's messy sheet has, and where the step was never done."""
    sides = [
        RATES.get((row["choice"], option, row["mode"], row["model"]), {}).get(rate)
        for option in (row["option"], row["baseline"])
    ]
    return None if None in sides else sides[0] - sides[1]


def test_the_planted_reversal_is_flagged(answers):
    (row,) = [
        row
        for row in answers["display_handling"].rows
        if row["mode"] == "display_flex_torn" and row["scope"] == "all"
    ]
    assert row["option"] == TRUTH["planted"]["reversal"]["truly_better"]
    assert row["baseline"] == TRUTH["planted"]["reversal"]["looks_better"]
    assert row["reversal"] == "sure"
    assert row["difference"] > 0
    assert row["adjusted_high"] < 0
    found = answers["display_handling"]
    notes = [note.text for note in found.notes if note.code == "reversal"]
    assert any(text.startswith("reversal, display_detached") for text in notes)
    told = [
        one["sentence"]
        for one in found.finding.parts["sentences"]
        if one["mode"] == "display_flex_torn" and one["model"] is None
    ]
    assert "display_detached fails less than display_on_stand, like for like" in told[0]
    assert told[0].endswith("the raw counts point the other way")


@pytest.mark.parametrize("mode", TRUTH["planted"]["clearly_better"]["modes"])
def test_the_better_opening_has_the_right_sign(answers, mode):
    rows = [row for row in answers["opening"].rows if row["mode"] == mode and row["scope"] == "all"]
    # the house standard is the better one: the others fail more
    assert {row["baseline"] for row in rows} == {"heat_plate"}
    assert {row["option"] for row in rows} == {"heat_gun", "heat_pad"}
    assert all(row["adjusted_low"] > 0 for row in rows)


def test_a_pair_planted_as_equal_is_not_called_different(answers, shop):
    rows = [row for row in answers["resealing"].rows if row["scope"] == "all"]
    rows += shop.compare("resealing").rows
    assert len(rows) == 3
    for row in rows:
        assert row["adjusted_low"] < 0 < row["adjusted_high"]
    told = [one["sentence"] for one in answers["resealing"].finding.parts["sentences"]]
    assert not any("fails less" in sentence or "fails more" in sentence for sentence in told)


def test_the_better_calibration_depends_on_the_maker(answers):
    maker = {}
    for row in answers["calibration"].rows:
        if row["mode"] == "calibration_refused" and row["model"] and row["opportunities"] > 100:
            maker.setdefault(row["model"].split()[0], []).append(row["adjusted_difference"])
    # service_console against on_device
    assert all(difference > 0 for difference in maker["Quillon"])
    assert all(difference < 0 for difference in maker["Norvane"])
    assert all(abs(difference) < 0.03 for difference in maker["Brask"])
    (note,) = [n.text for n in answers["calibration"].notes if n.code == "heterogeneity"]
    assert "service_console (calibration_refused)" in note


def test_nine_in_ten_intervals_cover_the_truth(answers):
    covered = {"model": [], "all": []}
    wrong = 0
    for result in answers.values():
        for row in result.rows:
            difference = true_difference(row)
            if difference is None or row["adjusted_low"] is None:
                continue
            inside = row["adjusted_low"] <= difference <= row["adjusted_high"]
            covered[row["scope"]].append(inside)
            claimed = row["adjusted_low"] * row["adjusted_high"] > 0
            wrong += claimed and row["adjusted_low"] * difference < 0
    assert len(covered["all"]) >= 25
    assert len(covered["model"]) >= 300
    for shares in covered.values():
        assert sum(shares) / len(shares) >= 0.9
    assert wrong == 0


def test_practised_rates_cover_the_truth_with_learning_behind(shop):
    rows = [
        row
        for row in shop.compare("battery_release", mode="flex_cut", at="practised").rows
        if row["option"] == "thread_cut"
    ]
    (row,) = rows
    assert (
        row["adjusted_low"] <= true_difference(row, "true_rate_practised") <= row["adjusted_high"]
    )
