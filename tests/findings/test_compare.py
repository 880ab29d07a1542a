"""Comparisons on a small shop with one trap of each kind: what is counted and warned of."""

import csv
from datetime import date, timedelta
from random import Random

import pytest

from fixstats.errors import UsageError
from fixstats.findings.compare import KEYS
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

CATALOGUE = """
format = 1
step = [{code = "opening", label = "Opening", order = 1},
        {code = "release", label = "Release", order = 2},
        {code = "closing", label = "Closing", order = 3}]
method = [{step = "opening", code = "heat", label = "Heat", cautions = ["Hot."]},
          {step = "opening", code = "cold", label = "Cold"},
          {step = "release", code = "pull", label = "Pull"},
          {step = "release", code = "thread", label = "Thread"},
          {step = "closing", code = "tape", label = "Tape"},
          {step = "closing", code = "glue", label = "Glue"}]
part = [{code = "battery", label = "Battery"}, {code = "display", label = "Display"}]
grade = [{code = "original", label = "Original"}, {code = "copy", label = "Copy"}]
factor = [{code = "liquid", label = "Liquid", kind = "flag"}]
repair = [{code = "swap", label = "Swap", steps = ["opening", "release", "closing"], \
           parts = ["battery"], factors = ["liquid"]}]
failure_mode = [
  {code = "lines", label = "Lines", family = "display_damage", severity = 3, steps = ["opening"]},
  {code = "torn", label = "Torn", family = "broken_tabs", severity = 2, steps = ["release"], \
   methods = ["pull"]},
  {code = "pierced", label = "Pierced", family = "cell_damage", severity = 5, safety = true, \
   cautions = ["Stop."], steps = ["release"]},
  {code = "loose", label = "Loose", family = "calibration_failures", severity = 2, \
   steps = ["closing"]},
  {code = "clash", label = "Clash", family = "mixed_part_conflicts", severity = 3, \
   mixed = ["battery", "display"]},
  {code = "dead", label = "Dead", family = "part_failure", severity = 2, part = "any"},
]
"""
START = date(2025, 1, 6)
JOBS = 360


def job(n):
    """Alder and Elm; T1 opens cold, T2 hot; thread replaces pull in one day, in June."""
    day = START + timedelta(days=n)
    careful = n % 2 == 0
    chance = Random(n)
    # Both begin with both in the first days; later few jobs change hands.
    cold = careful if chance.random() > 0.05 and n > 3 else not careful
    failures = [
        *(["lines"] if chance.random() < (0.08 if cold else 0.30) else []),
        *(["torn"] if n < 150 and chance.random() < 0.1 else []),
        *(["loose"] if chance.random() < 0.1 else []),
    ]
    return {
        "job": f"J{n}",
        "finished": str(day),
        "model": "Elm 2" if n % 3 == 0 else "Alder 5",
        "repair": "swap",
        "technician": "T1" if careful else "T2",
        "opening": "" if n % 40 == 7 else "cold" if cold else "heat",
        "release": "pull" if n < 150 else "thread",
        "closing": "tape" if n % 4 < 2 else "glue",
        "battery_grade": "copy" if n % 7 == 0 else "original",
        "liquid": "no",
        "failures": "; ".join(failures),
        "unchecked": "lines" if n % 3 == 1 else "",
        "return_of": "",
    }


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("small")
    (path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    folder = make_folder(path / "shop", Settings(name="Small"), path / "c.toml")
    rows = [job(n) for n in range(JOBS)]
    rows += [
        job(n) | {"job": f"R{n}", "return_of": f"J{n - 20}", "failures": "lines", "unchecked": ""}
        for n in range(200, 212)
    ]
    with (path / "sheet.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    (report,) = import_sheets(folder, [path / "sheet.csv"], covers="all").sheets
    assert (report.added, report.held_back) == (len(rows), 0)
    return open_shop(folder.path)


@pytest.fixture(scope="module")
def opened(small):
    return small.compare("opening", baseline="cold")


def texts(result, code):
    return [note.text for note in result.notes if note.code == code]


def test_the_counts_are_those_of_the_sheet(opened):
    (row,) = opened.rows
    jobs = [job(n) for n in range(JOBS)]
    known = [one for one in jobs if one["opening"] and not one["unchecked"]]
    for side, option in (("", "heat"), ("baseline_", "cold")):
        mine = [one for one in known if one["opening"] == option]
        assert row[f"{side}opportunities"] == len(mine)
        assert row[f"{side}failures"] == sum("lines" in one["failures"] for one in mine)
    assert (row["option"], row["baseline"], row["mode"]) == ("heat", "cold", None)
    assert row["family"] == "display_damage"
    assert row["scope"] == "all"
    assert row["model"] is None


def test_rows_have_the_stated_keys(opened, small):
    by_model = small.compare("opening", baseline="cold", by="model")
    for row in (*opened.rows, *by_model.rows):
        assert tuple(row) == KEYS
    assert [(row["scope"], row["model"]) for row in by_model.rows] == [
        ("model", "Alder 5"), ("model", "Elm 2"), ("all", None),
    ]  # fmt: skip


def test_come_backs_count_only_when_asked_for(small, opened):
    with_them = small.compare("opening", baseline="cold", include_rework=True)
    more = with_them.rows[0]["failures"] + with_them.rows[0]["baseline_failures"]
    fewer = opened.rows[0]["failures"] + opened.rows[0]["baseline_failures"]
    assert more == fewer + 12 - (207 in range(200, 212))  # J207's method was left blank
    assert "12 jobs in the records that are themselves come-backs" in texts(opened, "rework")[0]
    assert texts(with_them, "rework") == []
    only = small.compare("opening", baseline="cold", where={"rework": "yes"})
    assert only.rows[0]["failures"] + only.rows[0]["baseline_failures"] == 11


def test_figures_agree_with_the_rates(small):
    rates = {
        (row["model"], row["opening"]): row
        for row in small.rates(mode="lines", by=["model", "opening"], where={"rework": "no"}).rows
    }
    for row in small.compare("opening", mode="lines", by="model").rows[:2]:
        mine = rates[row["model"], row["option"]]
        assert row["failures"] == mine["failures"]
        assert row["opportunities"] == mine["opportunities"]


def test_strata_for_pictures_add_up(opened):
    strata = opened.finding.parts["strata"]
    row = opened.rows[0]
    for option, name in (("heat", "opportunities"), ("cold", "baseline_opportunities")):
        assert sum(one["opportunities"] for one in strata if one["option"] == option) == row[name]
    assert {(one["model"], one["technician"]) for one in strata} == {
        (model, who) for model in ("Alder 5", "Elm 2") for who in ("T1", "T2")
    }
    assert all(one["low"] <= one["rate"] <= one["high"] for one in strata)


def test_one_technician_holding_an_option_is_named(opened):
    notes = texts(opened, "one_technician")
    assert any(note.startswith("cold: ") and "are by T1" in note for note in notes)


def test_options_that_never_overlapped(small, opened):
    (note,) = texts(small.compare("release"), "never_overlapped")
    # a job a day: 150 from 6 January on with one, the other 210 with the other
    assert "pull (2025-01-06 to 2025-06-04) and thread (2025-06-05 to 2025-12-31)" in note
    assert texts(opened, "never_overlapped") == []


def test_unknown_outcomes_that_could_turn_the_sign(opened):
    assert opened.rows[0]["adjusted_low"] > 0
    (note,) = texts(opened, "unknown_sign")
    assert "could turn its sign" in note
    row = opened.rows[0]
    jobs = [job(n) for n in range(JOBS)]
    unknown = sum(one["opening"] != "" and one["unchecked"] != "" for one in jobs)
    assert f"{unknown} outcomes unknown" in note
    assert row["difference"] > 0


def test_blank_first_choices_are_left_out_and_said(opened):
    blank = sum(job(n)["opening"] == "" for n in range(JOBS))
    assert texts(opened, "not_recorded") == [f"{blank} jobs left out: opening was not recorded"]


def test_modes_that_the_choice_cannot_cause(small):
    found = small.compare("closing", mode=["lines", "loose"])
    (note,) = texts(found, "earlier_mode")
    assert note.startswith("lines: happens before closing")
    sentences = [one["sentence"] for one in found.finding.parts["sentences"]]
    assert [sentence.split(":")[0] for sentence in sentences] == ["lines", "loose"]


def test_modes_limited_to_some_methods(small):
    (note,) = texts(small.compare("release", mode="torn"), "limited_mode")
    assert "torn (pull)" in note


def test_a_union_with_dangers_says_so(small):
    found = small.compare("release")
    assert "look at pierced apart" in texts(found, "dangers")[0]
    assert found.notes[0].code == "dangers"
    assert texts(found, "modes") == ["any failure here: torn and pierced"]
    assert texts(small.compare("release", mode=["torn", "pierced"]), "dangers") == []


def test_many_rows_are_said_to_miss_by_chance(small, opened):
    found = small.compare("closing", mode=["lines", "loose"], by="model", adjust="none")
    (note,) = texts(found, "many_rows")
    assert note == (
        "6 rows: about 0.3 intervals would miss the truth by chance alone. p (corrected) is of "
        "the raw counts, within one mode; the sentences are not corrected"
    )
    found = small.compare("closing", mode=["lines", "loose"], by="model", confidence=0.6)
    assert "about 2 intervals would miss" in texts(found, "many_rows")[0]
    assert texts(opened, "many_rows") == []


def test_practice_that_is_still_gained(small):
    """Thread was begun in June: each technician has 100 earlier uses only for their last jobs."""
    found = small.compare("release", adjust=["release_practice", "model"], at="practised")
    (note,) = texts(found, "practice_not_reached")
    assert note.startswith("thread: ")
    assert found.settings["at"] == "practised"
    usual = small.compare("release").settings
    assert "release_practice" in usual["adjust"]
    opening = small.compare("opening").settings
    assert "opening_practice" not in opening["adjust"]
    assert opening["dropped"]["opening_practice"] == "everybody was practised from the start"


def test_a_factor_with_one_value_is_not_adjusted_for(opened):
    assert "liquid" not in opened.settings["adjust"]
    assert opened.settings["dropped"]["liquid"] == "same share with every option"
    assert {"model", "technician"} <= set(opened.settings["adjust"])
    (note,) = texts(opened, "adjusted_for")
    assert "liquid (same share with every option)" in note


def test_without_a_fit_the_strata_lead(small):
    found = small.compare("opening", baseline="cold", adjust="none")
    (row,) = found.rows
    assert row["adjusted_difference"] is None
    assert row["adjusted_rate"] is None
    assert row["hidden_cause_needed"] is None
    assert "none was asked for" in texts(found, "no_fit")[0]
    (told,) = found.finding.parts["sentences"]
    assert "within strata of model and technician (no fit)" in told["sentence"]


def test_no_failure_at_all(small):
    found = small.compare("release", mode="pierced")
    (row,) = found.rows
    assert (row["failures"], row["baseline_failures"]) == (0, 0)
    assert row["ratio"] is None
    codes = {note.code for note in found.notes}
    assert {"no_fit", "zero_failures", "no_ratio", "no_strata"} <= codes
    assert "no failure in these jobs" in texts(found, "no_fit")[0]
    (told,) = found.finding.parts["sentences"]
    assert "fails" not in told["sentence"]
    assert "Stop." not in found.cautions  # a mode's own caution is the brief's affair
    assert any("stop first" in text for text in found.cautions)


def test_cautions_are_those_of_the_methods_named(opened):
    assert opened.cautions[0] == "heat: Hot."


def test_grades_and_downstream_harm(small):
    found = small.compare("battery_grade", mode=["dead", "loose"])
    assert [row["mode"] for row in found.rows] == ["dead", "loose"]
    copies = sum(job(n)["battery_grade"] == "copy" for n in range(JOBS))
    assert found.rows[1]["opportunities"] == copies
    with pytest.raises(UsageError, match="practice belongs to steps, battery_grade is none"):
        small.compare("battery_grade", at="practised")
    with pytest.raises(UsageError, match="add opening_practice to --adjust"):
        small.compare("opening", at="practised", adjust="model")


def test_one_option_is_nothing_to_compare(small):
    found = small.compare("opening", where={"opening": "heat"})
    assert found.rows == ()
    assert texts(found, "one_option") == ["every job asked about has heat: nothing to compare"]
    found = small.compare("opening", since=date(2027, 1, 1))
    assert texts(found, "nothing") == ["no job asked about has an option of opening recorded"]
    assert found.settings["baseline"] is None


def test_an_empty_shop(tmp_path):
    (tmp_path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    folder = make_folder(tmp_path / "shop", Settings(name="New"), tmp_path / "c.toml")
    found = open_shop(folder.path).compare("opening")
    assert found.rows == ()
    assert [note.code for note in found.notes] == ["no_records"]


def test_the_same_records_give_the_same_answer(small):
    first, second = (small.compare("opening", by="model").finding for _ in range(2))
    assert first.as_json() == second.as_json()


def test_the_baseline_turns_the_sign_round(small, opened):
    other = small.compare("opening", baseline="heat").rows[0]
    row = opened.rows[0]
    for name in ("difference", "strata_difference"):
        assert other[name] == pytest.approx(-row[name])
    assert other["adjusted_difference"] == pytest.approx(-row["adjusted_difference"], abs=0.01)
