"""``causes`` on the demo shop, against what the generator planted, and on small shops."""

import json
import re

import pytest

from fixstats.errors import UsageError
from fixstats.findings import causes as asking
from fixstats.findings.causes import CausesAsk
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.resources import resource
from fixstats.shop import open_shop
from fixstats.tallies import condition_cells
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_modes

KEYS = [
    "condition", "level", "reference", "mode", "family", "failures", "opportunities", "rate",
    "reference_failures", "reference_opportunities", "reference_rate", "odds_ratio", "odds_low",
    "odds_high", "risk_difference", "risk_low", "risk_high", "p_value", "p_corrected", "share_due",
    "share_low", "share_high", "adjusted_for",
]  # fmt: skip
# What the generator calls a condition -> the row that finds it.
PLANTED = {
    "charge_below_20": ("charge", "<20", ">=20"),
    "connection_hotspot": ("connection", "hotspot", "wifi"),
    "several_parts": ("parts_together", "2", "1"),
    "grades_mixed": ("grades_mixed", "yes", "no"),
}


@pytest.fixture(scope="module")
def shop(demo_shop):
    return open_shop(demo_shop)


@pytest.fixture(scope="module")
def refused(shop):
    return shop.causes("calibration_refused")


def noted(result):
    return {note.code: note.text for note in result.notes}


# ---------------------------------------------------------------- what was planted


def test_just_the_planted_conditions_survive(refused):
    found = {tuple(row[name] for name in ("condition", "level", "reference"))
             for row in refused.rows if row["p_corrected"] < 0.05}  # fmt: skip
    assert found == set(PLANTED.values())


def test_the_intervals_cover_the_truth(refused):
    """All signs are right; of 12 intervals of the demo's one draw, 11 cover what was planted."""
    text = (resource("demo_data") / "truth.json").read_text(encoding="utf-8")
    truths = json.loads(text)["planted"]["calibration_conditions"]["conditions"]
    rows = {(row["condition"], row["level"]): row for row in refused.rows}
    covered = []
    for name, (condition, level, _) in PLANTED.items():
        row = rows[condition, level]
        for true, figure, ends in (
            ("odds_ratio", "odds_ratio", "odds"),
            ("risk_difference", "risk_difference", "risk"),
            ("share_of_failures_due_to_it", "share_due", "share"),
        ):
            assert row[figure] > (1 if figure == "odds_ratio" else 0)
            covered.append(row[f"{ends}_low"] <= truths[name][true] <= row[f"{ends}_high"])
    assert sum(covered) >= 11


def test_counts_are_those_of_rates(shop, refused):
    rates = shop.rates(mode="calibration_refused", by="charge", view="first").rows
    counts = {row["charge"]: (row["failures"], row["opportunities"]) for row in rates}
    (row,) = [row for row in refused.rows if row["condition"] == "charge"]
    assert (row["failures"], row["opportunities"]) == counts["<20"]
    assert (row["reference_failures"], row["reference_opportunities"]) == counts[">=20"]
    assert f"charge {counts[None][1]:,}" in noted(refused)["not_recorded"]
    assert row["rate"] == row["failures"] / row["opportunities"]


def test_rows_have_the_stated_keys_and_order(refused):
    assert all([*row] == KEYS for row in refused.rows)
    p_values = [row["p_value"] for row in refused.rows]
    assert p_values == sorted(p_values)
    assert all(row["mode"] == "calibration_refused" for row in refused.rows)


def test_only_what_came_before_is_adjusted_for(refused):
    late = {"charge", "connection"}
    for row in refused.rows:
        used = set(row["adjusted_for"])
        assert not used & late and row["condition"] not in used
        assert {"model", "technician"} <= used
        if row["condition"] in late:
            assert {"grades_mixed", "parts_together", "swollen", "rework"} <= used
        if row["condition"] == "quarter":
            assert used == {"model", "technician"}


def test_holm_over_all_rows(refused):
    from statsmodels.stats.multitest import multipletests

    p_values = [row["p_value"] for row in refused.rows]
    expected = multipletests(p_values, method="holm")[1]
    assert [row["p_corrected"] for row in refused.rows] == pytest.approx(list(expected))


def test_no_pair_was_planted(refused):
    assert "6 pairs of conditions tested: none" in noted(refused)["no_pair"]


def test_practice_is_told_from_the_method_it_is_of(shop):
    """A new method has no tabs to snap: its few uses must not look as if they saved the tabs."""
    rows = [row for row in shop.causes("tab_snapped").rows
            if row["condition"] == "battery_release_practice"]  # fmt: skip
    assert {row["level"] for row in rows} == {"0-9", "10-29", "30-99"}
    assert all("battery_release" in row["adjusted_for"] for row in rows)
    assert all(row["failures"] == 0 and row["p_corrected"] > 0.5 for row in rows)


def test_few_failures_allow_few_adjusters_and_it_is_said(shop):
    """42 failures: eight columns. The method stands first, technicians do not fit in."""
    result = shop.causes("flex_cut")
    (row,) = [
        row
        for row in result.rows
        if (row["condition"], row["level"]) == ("battery_release_practice", "10-29")
    ]
    assert row["odds_ratio"] > 2
    assert row["adjusted_for"][0] == "battery_release"
    assert not [one for one in result.rows if "technician" in one["adjusted_for"]]
    assert re.search(r"technician \(for \d+ of \d+ conditions\)", noted(result)["not_adjusted"])


def test_a_part_is_judged_with_its_grade(shop):
    (row,) = [
        row for row in shop.causes("dead_on_arrival").rows if row["condition"] == "grades_mixed"
    ]
    assert "battery_grade" in row["adjusted_for"]
    assert row["p_corrected"] > 0.05


def test_mixed_parts_and_families(shop):
    mixed = shop.causes("mixed_part_conflicts")
    assert {(row["mode"], row["family"]) for row in mixed.rows} == {(None, "mixed_part_conflicts")}
    assert "rates --by pair" in noted(mixed)["by_pair"]
    assert "grades_mixed" in noted(mixed)["not_compared"]
    assert all(row["p_corrected"] > 0.05 for row in mixed.rows)
    (total,) = mixed.finding.parts["total"]
    (rates,) = shop.rates(family="mixed_part_conflicts").rows
    assert total == {name: rates[name] for name in ("failures", "opportunities", "unknown")}


@pytest.mark.parametrize("key", ["outcome=completed", "calibration_another_try=no"])
def test_jobs_picked_by_how_they_went_are_said_first(shop, key):
    where = dict([key.split("=")])
    first, *_ = shop.causes("calibration_refused", where=where).notes
    assert first.code == "picked_by_result"
    assert f"jobs were picked by how they went ({key.split('=')[0]})" in first.text


def test_what_was_known_before_picks_nothing_by_its_result(shop):
    result = shop.causes(
        "calibration_refused", where={"rework": "no", "battery_release_another_try": "no"}
    )
    assert "picked_by_result" not in noted(result)


def test_what_may_have_come_after_the_failure_is_said_where_it_may(shop, refused):
    # Charge and connection are recorded at calibration: before it was refused.
    assert "during" not in noted(refused)
    text = noted(shop.causes("dead_on_arrival"))["during"]
    assert text.startswith("connection and charge: recorded during the job; where that was after")


def test_corrected_within_one_answer_only(refused):
    assert "of this answer (Holm), not for other failure modes" in noted(refused)["adjusted"]


def test_where_leaves_out_what_it_fixes(shop):
    result = shop.causes("calibration_refused", where={"charge": "<20", "rework": "no"})
    assert {"charge", "rework"}.isdisjoint(row["condition"] for row in result.rows)
    assert "rework" not in noted(result)
    assert result.settings["where"] == ["charge=<20", "rework=no"]


def test_thinning_tells_the_same_story(shop, refused, monkeypatch):
    monkeypatch.setattr(condition_cells, "MOST", 1500)
    thinned = shop.causes("calibration_refused")
    assert "drawn evenly" in noted(thinned)["thinned"] and "thinned" not in noted(refused)
    whole, part = refused.rows[0], thinned.rows[0]
    counts = KEYS[:11]
    assert [whole[name] for name in counts] == [part[name] for name in counts]
    for figure, ends in (("odds_ratio", "odds"), ("risk_difference", "risk"),
                         ("share_due", "share")):  # fmt: skip
        assert part[f"{ends}_low"] < whole[figure] < part[f"{ends}_high"]
    width = [row["risk_high"] - row["risk_low"] for row in (whole, part)]
    assert width[1] > width[0]


def test_thinning_draws_evenly_and_keeps_totals(shop, monkeypatch):
    catalogue = shop.folder.catalogue
    ask = Ask(("calibration_refused",), by=("technician", "model"))
    with shop.session(digging=False) as con:
        counts = count_modes(con, catalogue, ask).columns
        monkeypatch.setattr(condition_cells, "MOST", 400)
        weights = condition_cells.lay_conditions(con, catalogue, ask)
        cells = condition_cells.cells_of(con, (), ("technician",))
    failures, others = (sum(one) for one in (cells.failures, cells.others))
    assert (failures, others) == (400, 400)
    all_failures = sum(counts["failures"])
    assert weights[0] * failures == pytest.approx(all_failures)
    assert weights[1] * others == pytest.approx(sum(counts["opportunities"]) - all_failures)
    by_technician = dict(zip(cells.keys["technician"], cells.failures, strict=True))
    for name, drawn in by_technician.items():
        rows = zip(counts["technician"], counts["failures"], strict=True)
        of = sum(k for technician, k in rows if technician == name)
        assert abs(drawn - of / weights[0]) < 1


def test_a_pair_that_does_more_together_is_named(tmp_path):
    """Odds of 1, 2, 2 and 40 to ten, 200 jobs each; the product of the two would be 4."""
    path = tmp_path / "bench"
    folder = make_folder(path, Settings(name="Bench"))
    failing = {
        ("60", "wifi"): 18,
        ("10", "wifi"): 33,
        ("60", "hotspot"): 33,
        ("10", "hotspot"): 160,
    }
    rows = [
        f"{charge}{connection}{n},2026-01-02,Alder 2,T1,battery_swap,on_device,"
        f"{charge},{connection},{'calibration_refused' if n < failed else ''}"
        for (charge, connection), failed in failing.items()
        for n in range(200)
    ]
    head = "job,finished,model,technician,repair,calibration,charge,connection,failures"
    (tmp_path / "sheet.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    (report,) = import_sheets(folder, [tmp_path / "sheet.csv"], covers="all").sheets
    assert report.added == 800
    result = open_shop(path).causes("calibration_refused")
    assert {row["condition"] for row in result.rows} == {"charge", "connection"}
    text = noted(result)["pair"]
    assert text.startswith(
        "Charge at calibration, % = <20 and Network at calibration = hotspot together go with more "
        "failures than the two apart would explain (160 of 200 failed; p "
    )
    assert "no_pair" not in noted(result)
    # One technician, one model: nothing to adjust for, so nothing is said to be missing.
    assert "not_adjusted" not in noted(result)


# ---------------------------------------------------------------- words


def test_never_seen_has_no_contrast(shop):
    result = shop.causes("button_flex_torn")
    assert {note.code for note in result.notes} == {"no_contrast", "own_records"}
    assert "never occurred in 5,573 opportunities" in noted(result)["no_contrast"]
    assert result.rows and all(row["odds_ratio"] is None for row in result.rows)
    assert result.finding.parts["sentences"] == []


def test_a_safety_mode_carries_its_caution(shop, refused):
    assert "stop first" in shop.causes("cell_bent").cautions[0]
    assert refused.cautions == ()


def test_sentences_say_no_more_than_the_numbers(refused):
    first, *_ = refused.finding.parts["sentences"]
    assert first["text"].startswith(
        "Charge at calibration, %: <20 goes with more failures than >=20 (203 of 585 against "
        "354 of 3,328). Like for like 25 more in 100 jobs (21 to 29). If it is the cause, about 25 "
        "in 100 of these failures (22 to 29) would not have happened without it."
    )
    assert len(refused.finding.parts["sentences"]) == len(PLANTED)


# ---------------------------------------------------------------- wrong questions


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        ({"mode": "calibration_refusd"}, r"mode or family .*; did you mean 'calibration_refused'"),
        ({"confidence": 95}, "confidence 95 must lie between"),
        ({"min_opportunities": 0}, "--min-opportunities 0 must be 1 or more"),
        ({"where": (("modle", "x"),)}, r"unknown key 'modle'; did you mean 'model'"),
    ],
)
def test_wrong_questions_are_refused(shop, ask, words):
    with pytest.raises(UsageError, match=words):
        shop.ask_causes(CausesAsk(**({"mode": "calibration_refused"} | ask)))


def test_levels_too_rare_are_named(shop):
    result = shop.causes("calibration_refused", min_opportunities=200)
    assert "fewer than 200: rework = yes" not in noted(result)["not_compared"]
    assert "rework" in noted(result)["not_compared"]
    assert all(row["opportunities"] >= 200 for row in result.rows)
    assert CausesAsk("x").min_opportunities == asking.FEWEST
