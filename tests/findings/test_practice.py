"""Practice: from made jobs to figures, sentences and notes."""

from __future__ import annotations

import re

import numpy as np
import pytest

from fixstats.findings.practice_figures import Method, method_figures
from fixstats.findings.practice_words import _learning
from fixstats.resources import statement
from fixstats.shop import open_shop
from fixstats.tallies.ask import Ask, lay_out
from fixstats.tallies.practice import practice_jobs

from ..charts.practice_cases import made_jobs, practice_finding, rates_by_uses

SUMMARY = ("practised_at", "practised_rate", "extra_failures", "extra_minutes", "learning_cost")


def figures(**more):
    return method_figures(made_jobs(**more), level=0.95, margin=0.02, labour_rate=60.0)


def only(**more):
    """Rows, sentences of the one method, and notes by code."""
    return told(practice_finding({"thread_cut": made_jobs(**more)}))


def told(found):
    (one,) = found.parts["methods"]
    return found.rows, " ".join(one["sentences"]), {note.code: note.text for note in found.notes}


# ---------------------------------------------------------------- figures


def test_the_bands_hold_the_made_rates():
    found = figures(technicians=12, uses=300)
    for band in found.bands:
        last = 299 if band["uses_to"] is None else band["uses_to"]
        true = rates_by_uses(np.arange(band["uses_from"], last + 1), 0.02, 0.15).mean()
        assert band["low"] <= true <= band["high"]
        assert band["fitted"] == pytest.approx(true, abs=0.02)
        assert band["technicians"] == 12
    assert [band["band"] for band in found.bands] == ["0-9", "10-29", "30-99", "100+"]
    assert sum(band["opportunities"] for band in found.bands) == 12 * 300


def test_the_summary_holds_the_made_shop():
    found = figures(technicians=12, uses=300).summary
    rates = rates_by_uses(np.arange(300), 0.02, 0.15)
    practised = next(n for n in range(300) if rates[n] - rates[n:].mean() <= 0.02)
    assert found["practised_at_low"] <= practised <= found["practised_at_high"]
    late = rates[found["practised_at"] :].mean()
    assert found["practised_low"] <= late <= found["practised_high"]
    assert found["learning_rate_low"] <= 0.85 <= found["learning_rate_high"]
    assert found["learning_jobs"] == 100
    extra = 100 * (rates[:100].mean() - rates[100:].mean())
    assert found["extra_failures_low"] <= extra <= found["extra_failures_high"]
    times = 12 * np.arange(1, 301) ** np.log2(0.85) * np.exp(0.2**2 / 2)
    minutes = 100 * (times[:100].mean() - times[100:].mean())
    assert found["extra_minutes_low"] <= minutes <= found["extra_minutes_high"]
    # A minute is a unit of money here, a failure 40.
    assert found["learning_cost"] == pytest.approx(
        found["extra_minutes"] + 40 * found["extra_failures"]
    )
    assert found["learning_cost_low"] <= minutes + 40 * extra <= found["learning_cost_high"]


def test_without_learning_there_is_hardly_ever_a_practised_number():
    reasons = [figures(end=0.05, begin=0.05, uses=60, seed=seed).reason for seed in range(20)]
    assert reasons.count("no_drop") >= 17


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"settled": 5}, "settled"),
        ({"technicians": 1}, "few_technicians"),
        ({"technicians": 3, "uses": 9}, "few_technicians"),
        ({"end": 0.05, "begin": 0.05}, "no_drop"),
        ({"end": 0.0, "begin": 0.0}, "no_drop"),
        ({"end": 0.3, "begin": 0.01}, "rises"),
        ({"technicians": 400, "uses": 60, "end": 0.005, "begin": 0.018}, "small_drop"),
        ({"technicians": 40, "uses": 25, "begin": 0.9}, "still_falling"),
    ],
)
def test_no_practised_number_has_its_reason(more, reason):
    found = figures(**more)
    assert found.reason == reason
    assert found.summary["practised_at"] is None
    assert found.summary["not_practised"] == reason
    if reason != "settled":
        assert found.summary["practised_rate"] is None


def test_early_jobs_that_were_not_asked_about_are_no_early_jobs():
    jobs = made_jobs()
    late = {name: values[jobs["uses"] >= 40] for name, values in jobs.items()}
    found = method_figures(late, level=0.95, margin=0.02, labour_rate=60.0)
    assert found.reason == "no_early"
    assert found.summary["practised_at"] is None and found.summary["extra_failures"] is None


def test_settled_technicians_are_practised_and_never_early():
    found = figures(settled=2)
    settled = next(band for band in found.bands if band["band"] == "settled")
    assert (settled["technicians"], settled["opportunities"]) == (2, 300)
    early = next(band for band in found.bands if band["band"] == "0-9")
    assert (early["technicians"], early["opportunities"]) == (3, 30)
    at = found.summary["practised_at"]
    assert found.summary["practised_technicians"] == 5
    failures = settled["failures"] + found.more["late"][0]
    jobs = settled["opportunities"] + 3 * (150 - at)
    assert found.summary["practised_rate"] == pytest.approx(failures / jobs)


def test_one_settled_technician_is_no_practised_rate():
    found = figures(technicians=1, settled=1)
    assert found.summary["practised_technicians"] == 1
    assert found.summary["practised_rate"] is None


def test_unknown_jobs_enter_no_rate():
    jobs = made_jobs()
    jobs["doubt"] = (jobs["uses"] % 3 == 0).astype(int)
    found = method_figures(jobs, level=0.95, margin=0.02, labour_rate=60.0)
    first = found.bands[0]
    assert (first["opportunities"], first["unknown"]) == (30, 20)
    doubtful = (jobs["doubt"] == 1) & (jobs["uses"] < 10)
    assert first["unknown_failed"] == jobs["seen"][doubtful].sum()


def test_the_same_jobs_give_the_same_figures():
    assert figures().summary == figures().summary


@pytest.mark.parametrize("step", ["opening", "battery_release", "glass_removal", "calibration"])
def test_the_short_way_to_the_results_is_the_long_one(demo_shop, step):
    shop = open_shop(demo_shop)
    catalogue = shop.folder.catalogue
    ask = Ask(tuple(one.code for one in catalogue.failure_modes if step in one.steps))
    with shop.session(digging=False) as con:
        jobs = practice_jobs(con, catalogue, ask, step, 60.0)
        here = con.execute("select * from practice_result order by entry").fetchall()
        units = lay_out(con, catalogue, ask).units
        con.execute(f"create or replace temp view asked_units as {units}")
        con.execute(statement("tallies/practice_result"))
        long = con.execute(
            "select r.* from practice_result as r inner join practice as p on p.entry = r.entry "
            "where p.step = $1 order by r.entry",
            [step],
        ).fetchall()
    assert here == long and len(here) > 300
    known = sum(int(one["applies"].sum()) for one in jobs.by_method.values())
    assert 0 < known <= len(here)


# ---------------------------------------------------------------- words


def test_the_first_sentence_gives_both_rates_and_the_number():
    rows, words, notes = only()
    at = rows[0]["practised_at"]
    assert f"failed while the technician had fewer than {at} earlier uses" in words
    assert f"practised after {at} uses (interval " in words
    assert "One technician's first " in words and " later ones: " in words
    assert {"rule", "not_adjusted", "resampled", "minutes", "learning_cost"} <= set(notes)
    assert "own_records" in notes and "not_practised" not in notes


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"settled": 5}, "in use by 5 technicians from the beginning of the records"),
        ({"technicians": 1}, "takes two with 10 uses or more"),
        ({"end": 0.05, "begin": 0.05}, "no fall of the failure rate with use"),
        ({"end": 0.3, "begin": 0.01}, "Practice does not do that"),
        ({"technicians": 40, "uses": 25, "begin": 0.9}, "was still falling"),
        (
            {"technicians": 400, "uses": 60, "end": 0.005, "begin": 0.018},
            "less than is worth knowing",
        ),
    ],
)
def test_without_a_number_the_sentence_says_why(more, words):
    _, sentence, notes = only(**more)
    assert words in sentence
    assert "practised after" not in sentence
    assert notes["not_practised"].startswith("no practised number for Thread drawn")


@pytest.mark.parametrize(
    ("failures", "minutes", "money", "words"),
    [
        (
            (1.9, 0.04, 4.1), (88, 60, 116), (158, 76, 251),
            "One technician's first 70 jobs cost 1.9 more failures (0.0 to 4.1) and 88 more "
            "minutes (60 to 116) than 70 later ones: 158 EUR (76 to 251).",
        ),
        (
            (-3.7, -7.3, -0.1), None, (-80, -160, -2),
            "No cost of learning shown: 3.7 fewer failures (7.3 to 0.1) in one technician's first "
            "70 jobs than in 70 later ones: -80 EUR (-160 to -2).",
        ),
        (
            (0.4, -0.6, 1.2), None, None,
            "No cost of learning shown: 0.4 more failures (0.6 fewer to 1.2 more) in one "
            "technician's first 70 jobs than in 70 later ones.",
        ),
        (
            (-0.4, -1.2, 0.6), (88, 60, 116), None,
            "One technician's first 70 jobs went with 0.4 fewer failures (1.2 fewer to 0.6 more) "
            "and 88 more minutes (60 to 116) than 70 later ones.",
        ),
        (None, None, None, ""),
    ],
)  # fmt: skip
def test_what_learning_cost_is_claimed_only_where_it_shows(failures, minutes, money, words):
    figures = {"extra_failures": failures, "extra_minutes": minutes, "learning_cost": money}
    summary = {
        f"{name}{end}": values[place] if values else None
        for name, values in figures.items()
        for place, end in enumerate(("", "_low", "_high"))
    }
    found = Method({**summary, "learning_jobs": 70}, "no_drop")
    assert _learning(found, {"currency": "EUR"}) == words


def test_a_doubling_is_told_as_the_share_of_time():
    _, words, _ = only()
    assert re.search(r"the number of uses doubles, the step takes \d+ % of the time \(\d", words)


def test_notes_on_the_rule_and_the_intervals_are_short():
    _, _, notes = only()
    assert notes["rule"] == (
        "practised: from this use on, the falling curve stays within 2 in 100 of all later jobs"
    )
    assert "where technicians differ they are too narrow" in notes["resampled"]
    assert max(len(notes[code].split()) for code in ("rule", "resampled")) < 40


@pytest.mark.parametrize(
    ("where", "said"),
    [
        ({"outcome": "completed"}, True),
        ({"battery_release_another_try": "no"}, True),
        ({"calibration_another_try": "no"}, True),
        ({"opening_another_try": "no"}, False),
        ({"rework": "no"}, False),
    ],
)
def test_jobs_picked_by_how_they_went_are_said_first(demo_shop, where, said):
    first, *_ = open_shop(demo_shop).practice("battery_release", where=where).notes
    assert (first.code == "picked_by_result") is said


def test_no_failure_is_told_as_a_limit():
    rows, sentence, notes = only(end=0.0, begin=0.0)
    assert "none of 750 (at most 0.4 %) failed" in sentence
    assert "zero_failures" in notes
    assert all(row["at_most"] > 0 for row in rows)


def test_without_minutes_the_cost_is_of_failures_only():
    rows, sentence, notes = only(timed=False)
    assert "No minutes of the step are recorded for it." in sentence
    assert rows[0]["extra_minutes"] is None and rows[0]["learning_rate"] is None
    assert rows[0]["learning_cost"] == pytest.approx(40 * rows[0]["extra_failures"])
    assert "without minutes, failures only, for Thread drawn" in notes["learning_cost"]
    assert "minutes" not in notes


def test_failures_without_a_cost_are_told():
    jobs = made_jobs()
    jobs["unpriced"] = jobs["seen"]
    _, _, notes = told(practice_finding({"thread_cut": jobs}))
    assert "without a cost in the catalogue left out for Thread drawn" in notes["learning_cost"]


def test_other_models_early_than_late_are_told():
    jobs = made_jobs()
    _, _, notes = told(practice_finding({"thread_cut": jobs}))
    assert "models_differ" not in notes
    jobs["model"] = np.where(jobs["uses"] < 40, 1, jobs["model"])
    _, _, notes = told(practice_finding({"thread_cut": jobs}))
    assert "models of early and later jobs differ" in notes["models_differ"]


def test_settled_technicians_who_differ_are_told():
    jobs = made_jobs(settled=2)
    jobs["seen"] = np.where(jobs["settled"], (jobs["uses"] % 4 == 0).astype(int), jobs["seen"])
    _, _, notes = told(practice_finding({"thread_cut": jobs}))
    assert "differ even when practised" in notes["settled_apart"]


def test_notes_of_conditions_and_of_what_was_left_out():
    found = practice_finding({"thread_cut": made_jobs()}, 7, where=(("model", "Quillon Q5"),))
    notes = {note.code: note.text for note in found.notes}
    assert notes["not_recorded"].startswith("7 jobs left out")
    assert "also those that the conditions leave out" in notes["uses"]


def test_nothing_to_show_has_its_reason():
    found = practice_finding({})
    assert (found.rows, found.notes[0].code) == ((), "nothing")
    assert "did 'battery_release'" in found.notes[0].text
    found = practice_finding({}, 5)
    assert "5 jobs of which method or technician was not written down" in found.notes[0].text


def test_nobody_is_named():
    """Technicians are counted, never named or ranked."""
    found = practice_finding({"thread_cut": made_jobs()})
    assert all(isinstance(row["technicians"], int) for row in found.rows)
    assert "technician" not in {key for rows in found.parts.values() for row in rows for key in row}
