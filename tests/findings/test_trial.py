"""A trial from plan to verdict on a small shop: pairs against a naive twin, and what is said."""

from __future__ import annotations

import csv
import random
import re
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta

import pytest

import fixstats
from fixstats import stats
from fixstats.cli.trial_text import begun_text, handed_text, status_text
from fixstats.errors import UsageError
from fixstats.findings.trial_plan import model_groups
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.records.trials import NewTrial, next_assignment, schedule, start_trial

MODELS = {"Tarn 9": "easier", "Tarn 12": "harder", "Fell 3": "middle"}
MODES = ("display_lines", "glass_cracked")
NEW = NewTrial(
    "pads", "opening", "heat_plate", "heat_pad", None, None, MODES, 0.2, 400, "7",
)  # fmt: skip
COLUMNS = (
    "job", "received", "finished", "model", "repair", "technician", "opening", "failures",
    "unchecked", "trial", "assigned",
)  # fmt: skip
PADS = ["heat_plate", "heat_pad"]
FIRST = date(2026, 1, 5)


def trial_jobs(jobs, rates, *, seed=1, unchecked=0.1, switched=0.05, harm=None):
    """Rows of a job sheet: options in the order of the schedule, outcomes by lot."""
    rng = random.Random(seed)
    queues = {
        (who, group): iter(schedule(NEW, who, group, jobs))
        for who in ("T1", "T2")
        for group in MODELS.values()
    }
    rows = []
    for number in range(jobs):
        who, model = rng.choice(("T1", "T2")), rng.choice([*MODELS])
        drawn = next(queues[who, MODELS[model]]).assigned
        day = FIRST + timedelta(days=number // 6)
        failed = [mode for mode in MODES if rng.random() < rates[drawn] / 2]
        failed += ["cell_pierced"] if rng.random() < (harm or {}).get(drawn, 0) else []
        rows.append({
            "job": f"J{number}", "received": day, "finished": day + timedelta(rng.randint(0, 4)),
            "model": model, "repair": "battery_swap", "technician": who, "trial": "pads",
            "opening": "heat_gun" if rng.random() < switched else drawn, "assigned": drawn,
            "failures": "; ".join(failed),
            "unchecked": "glass_cracked" if rng.random() < unchecked else "",
        })  # fmt: skip
    return [
        row
        for row in rows
        if row["unchecked"] not in row["failures"].split("; ") or not row["unchecked"]
    ]


def shop_with(tmp_path, rows):
    folder = make_folder(tmp_path / "bench", Settings(name="Bench"))
    sheet = tmp_path / "jobs.csv"
    with sheet.open("w", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(rows)
    (report,) = import_sheets(folder, [sheet], covers="all").sheets
    assert report.held_back == 0, report.preview
    strata = {(who, group): 8 for who in ("T1", "T2") for group in MODELS.values()}
    start_trial(folder, NEW, strata, MODELS)
    return fixstats.open(folder.path)


def naive_pairs(rows):
    """The same in plain Python: (day, option failed, baseline failed) of each pair."""
    queues = defaultdict(list)
    for row in sorted(rows, key=lambda row: (row["received"], row["finished"], row["job"])):
        if not row["unchecked"]:
            queue = row["technician"], MODELS[row["model"]], row["assigned"]
            queues[queue].append(row)
    pairs = []
    for (who, group, drawn), mine in queues.items():
        if drawn == NEW.option:
            for one, other in zip(mine, queues[who, group, NEW.baseline], strict=False):
                failed = [
                    any(mode in MODES for mode in row["failures"].split("; "))
                    for row in (one, other)
                ]
                pairs.append((max(one["finished"], other["finished"]), *failed))
    return pairs


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    rows = trial_jobs(320, {"heat_plate": 0.6, "heat_pad": 0.15})
    return shop_with(tmp_path_factory.mktemp("shown"), rows), rows


def test_pairs_are_those_of_the_naive_twin(shown):
    shop, rows = shown
    pairs = naive_pairs(rows)
    row = shop.trial("pads").rows[-1]
    more = sum(failed and not other for _, failed, other in pairs)
    fewer = sum(other and not failed for _, failed, other in pairs)
    assert row["pairs"] == len(pairs) > 100
    assert row["difference"] == pytest.approx((more - fewer) / len(pairs))
    evidence = stats.pair_evidence(more, fewer, len(pairs) - more - fewer)
    assert row["evidence"] == pytest.approx(float(evidence))


def test_counts_are_by_what_was_drawn(shown):
    shop, rows = shown
    for row in shop.trial("pads").rows:
        drawn = [one for one in rows if one["assigned"] == row["option"]]
        known = [one for one in drawn if not one["unchecked"]]
        assert row["jobs"] == len(drawn)
        assert row["used_as_drawn"] == sum(one["opening"] == row["option"] for one in drawn)
        assert row["used_otherwise"] == row["jobs"] - row["used_as_drawn"] > 0
        assert row["unknown"] == len(drawn) - len(known) > 0
        assert row["failures"] == sum(bool(one["failures"]) for one in known)
        assert row["low"] < row["rate"] < row["high"]


def test_the_union_counts_as_rates_do(shown):
    shop, _ = shown
    rates = {row["assigned"]: row for row in shop.rates(any=MODES, by="assigned").rows}
    for row in shop.trial("pads").rows:
        same = rates[row["option"]]
        for name in ("failures", "opportunities", "unknown"):
            assert row[name] == same[name]


def test_a_shown_difference(shown):
    shop, _ = shown
    status = shop.trial("pads")
    row = status.rows[-1]
    assert row["verdict"] == "stop (shown)"
    assert row["difference_low"] <= row["difference_high"] < 0
    first = status.notes[0].text
    assert first.startswith("stop since 2026-") and "heat_pad has fewer such failures" in first
    assert {"by_drawing", "unknown", "how_to_read"} <= {note.code for note in status.notes}
    assert any("stop first" in text for text in status.cautions)
    told = status_text(status.finding)
    assert " (25 stops the trial), of harm 0." in told and " (100 stops it)" in told
    path = status.finding.parts["path"]
    lows = [point["low"] for point in path]
    assert lows == sorted(lows) and path[-1]["jobs"] == 2 * row["pairs"]
    with pytest.raises(UsageError, match=r"stop \(shown\): no more devices go into it"):
        shop.trial_next("pads", technician="T1", model="Tarn 9")


@pytest.mark.parametrize(
    ("jobs", "rates", "harm", "verdict"),
    [
        (320, {"heat_plate": 0.05, "heat_pad": 0.05}, None, "stop (no difference worth having)"),
        (200, {"heat_plate": 0.3, "heat_pad": 0.3}, {"heat_pad": 0.3}, "stop (harm)"),
        (20, {"heat_plate": 0.3, "heat_pad": 0.3}, None, "go on"),
        (400, {"heat_plate": 0.5, "heat_pad": 0.5}, None, "ended (not shown)"),
    ],
)
def test_verdicts(tmp_path, jobs, rates, harm, verdict):
    shop = shop_with(tmp_path, trial_jobs(jobs, rates, unchecked=0, harm=harm))
    status = shop.trial("pads")
    assert status.rows[-1]["verdict"] == verdict
    words = {"go on": "go on", "ended (not shown)": "nothing is shown"}
    assert words.get(verdict, "stop since") in status.notes[0].text
    small = verdict == "stop (no difference worth having)"
    assert ("worth having (with 96 % confidence)" in status.notes[0].text) == small
    assert [row["trial"] for row in shop.trials().rows] == ["pads"]


def test_a_danger_seen_counts_though_another_was_not_looked_for(tmp_path):
    rows = trial_jobs(60, {"heat_plate": 0, "heat_pad": 0}, unchecked=0, switched=0)
    seen = [row for row in rows if row["assigned"] == "heat_pad"][:3]
    for row in seen:
        row |= {"failures": "cell_pierced", "unchecked": "cell_hot"}
    option = shop_with(tmp_path, rows).trial("pads").rows[-1]
    pads = sum(row["assigned"] == "heat_pad" for row in rows)
    assert option["safety_failures"] == 3
    # Half of the evidence is that all jobs drawn for the option are above the limit.
    alone = float(stats.evidence_above(3, pads, 0.02)) / 2
    assert alone < option["harm_evidence"] < alone + float(stats.pair_evidence_above(3, 0, 10))
    assert option["harm_evidence"] > 1 > float(stats.evidence_above(0, pads, 0.02))


def test_nothing_recorded_yet(tmp_path):
    rows = trial_jobs(6, {"heat_plate": 0, "heat_pad": 0})
    shop = shop_with(tmp_path, [row | {"trial": "", "assigned": ""} for row in rows])
    assert shop.trial_next("pads", technician="T1", model="Tarn 9").slot.number == 1
    status = shop.trial("pads")
    row = status.rows[-1]
    assert (row["verdict"], row["pairs"], row["difference"], row["rate"]) == (
        "go on",
        0,
        None,
        None,
    )
    assert (row["evidence"], row["harm_evidence"]) == (1, 1)
    assert "not_yet_recorded" in {note.code for note in status.notes}
    with pytest.raises(UsageError, match="there is no trial 'pad'; did you mean 'pads'"):
        shop.trial("pad")


def test_what_was_handed_out_goes_before_what_the_sheet_says(tmp_path):
    """Each slip of the pen at a job: it may not change sides, and may not go without a word."""
    other = {"heat_plate": "heat_pad", "heat_pad": "heat_plate"}
    drawn = [slot.assigned for slot in schedule(NEW, "T1", "easier", 5)]
    slips = [
        {"assigned": other[drawn[0]]},
        {"assigned": ""},
        {"trial": "", "assigned": ""},
        {"assigned": "heat_gun"},
        {"trial": "t22"},
        # From here on nothing is handed out: the printed sheet, read well and badly.
        {"assigned": "heat_pad"},
        {"assigned": "heat_gun"},
        {"assigned": ""},
        {"trial": "t22", "assigned": "heat_pad"},
    ]
    rows = [
        {
            "job": f"J{n}", "received": FIRST, "finished": FIRST + timedelta(days=n),
            "model": "Tarn 9", "repair": "battery_swap", "technician": "T1", "opening": "heat_pad",
            "failures": "", "unchecked": "", "trial": "pads", "assigned": (drawn * 2)[n],
        }
        | slip
        for n, slip in enumerate(slips)
    ]  # fmt: skip
    shop = shop_with(tmp_path, rows)
    for number, option in enumerate(drawn[:5]):
        name = f"j{number}" if number == 4 else f"J{number}"
        handed = next_assignment(shop.folder, "pads", "T1", "Tarn 9", job=name)
        assert handed.slot.assigned == option
    status = shop.trial("pads")
    counted = {row["option"]: row["jobs"] for row in status.rows}
    expected = [*drawn[:5], "heat_pad"]
    assert counted == {option: expected.count(option) for option in other}
    assert status.rows[0]["pairs"] == min(counted.values())
    assert [row["jobs"] for row in shop.trials().rows] == [6]
    notes = {note.code: note.text for note in status.notes}
    assert (
        "2 jobs with another option under assigned than was handed out"
        in (notes["contradicts_draw"])
    )
    assert "2 jobs handed out with trial or assigned left blank" in notes["contradicts_draw"]
    assert "1 job handed out and recorded under another trial" in notes["contradicts_draw"]
    assert "1 job with something under assigned that is no option" in notes["contradicts_draw"]
    assert "1 job with nothing under assigned" in notes["contradicts_draw"]
    assert "'t22' (2 jobs)" in notes["unknown_trial"]
    assert "'t22' (2 jobs)" in shop.trials().notes[0].text
    assert [(row["what"], row["units"]) for row in shop.check().rows if
            row["topic"] == "unknown_trial"] == [("t22", 2)]  # fmt: skip


def test_jobs_from_before_the_beginning_are_told(tmp_path, monkeypatch):
    monkeypatch.setattr("fixstats.records.trials._now", lambda: datetime(2026, 1, 10, 9))
    rows = trial_jobs(18, {"heat_plate": 0, "heat_pad": 0}, unchecked=0)
    status = shop_with(tmp_path, rows).trial("pads")
    # The 9th may still be the day of the beginning, far enough west.
    early = sum(row["finished"] < date(2026, 1, 9) for row in rows)
    assert 1 < early < 18
    (text,) = [note.text for note in status.notes if note.code == "before_start"]
    assert text.startswith(f"{early} jobs of this trial left the bench before it began")
    assert sum(row["jobs"] for row in status.rows) == 18


def test_a_trial_ends_with_what_is_recorded_not_with_what_is_handed_out(tmp_path):
    rows = trial_jobs(1, {"heat_plate": 0, "heat_pad": 0})
    shop = shop_with(tmp_path, [rows[0] | {"trial": "", "assigned": ""}])
    names = ("T1", "Tarn 9")
    start_trial(shop.folder, NewTrial(**vars(NEW) | {"trial": "short", "max_jobs": 2}), {}, MODELS)
    for _ in range(2):
        next_assignment(shop.folder, "short", *names, new_names=True)
    status = shop.trial("short")
    assert status.rows[-1]["verdict"] == "go on"
    assert status.notes[0].text == "2 of 2 jobs are handed out, 0 recorded: go on recording"
    told = {note.code: note.text for note in status.notes}["all_handed_out"]
    assert told == "all slots are handed out; 2 jobs are not recorded yet"


def test_a_bench_can_ask_again_after_the_stop(tmp_path):
    rows = trial_jobs(
        200, {"heat_plate": 0.3, "heat_pad": 0.3}, unchecked=0, harm={"heat_pad": 0.3}
    )
    shop = shop_with(tmp_path, rows)
    drawn = next_assignment(shop.folder, "pads", "T1", "Tarn 9", job="N1")
    assert shop.trial("pads").rows[-1]["verdict"] == "stop (harm)"
    again = shop.trial_next("pads", technician="T1", model="Tarn 9", job="N1")
    assert (again.slot, again.again, again.harmful) == (drawn.slot, True, True)
    told = handed_text(again, shop.folder.catalogue)
    assert "stopped for harm: use the present option, heat_plate (" in told
    assert f"assigned = {drawn.slot.assigned}" in told
    with pytest.raises(UsageError, match=r"stop \(harm\): no more devices go into it"):
        shop.trial_next("pads", technician="T1", model="Tarn 9", job="N2")


def test_a_shop_without_technicians_starts_no_trial(tmp_path):
    rows = trial_jobs(40, {"heat_plate": 0.3, "heat_pad": 0.3}, unchecked=0)
    blank = {"technician": "", "trial": "", "assigned": ""}
    shop = shop_with(tmp_path, [row | blank for row in rows])
    with pytest.raises(UsageError, match="no technician is recorded in the last year"):
        shop.trial_start("more", "opening", options=PADS, difference=0.4, max_jobs=6)
    assert [row["trial"] for row in shop.trials().rows] == ["pads"]


def test_no_page_has_many_more_lines_than_the_trial_has_jobs(tmp_path):
    rows = trial_jobs(40, {"heat_plate": 0.3, "heat_pad": 0.3}, unchecked=0)
    shop = shop_with(tmp_path, [row | {"trial": "", "assigned": ""} for row in rows])
    begun = shop.trial_start("tiny", "opening", options=PADS, difference=0.4, max_jobs=2)
    lines = Counter((slot.technician, slot.model_group) for slot in begun.slots)
    # Whole blocks of two or four.
    assert max(lines.values()) <= 4
    told = begun_text(begun)
    assert "never both ways for one technician" in told
    assert "it ends with 2 jobs on all pages together, whatever lines are left" in told


# ---------------------------------------------------------------- the plan


def test_groups_are_thirds_of_recent_jobs_by_how_often_they_fail():
    counts = {
        "model": [*"abcdef"] * 2,
        "failures": [0, 5, 10, 20, 30, 60] * 2,
        "opportunities": [100] * 12,
    }
    groups = model_groups(counts, [("T1", model, 10) for model in "abcdef"])
    assert [groups[model] for model in "abcdef"] == [
        "easier", "easier", "middle", "middle", "harder", "harder",
    ]  # fmt: skip
    one = {"model": ["a"], "failures": [1], "opportunities": [9]}
    assert model_groups(one, []) == {"a": "middle"}


def test_the_plan_of_the_demo_shop(demo_shop):
    shop = fixstats.open(demo_shop)
    plan = shop.trial_plan(
        "opening", options=["heat_plate", "heat_pad"], mode="display_damage", difference=0.05
    )
    rows = {row["method"]: row for row in plan.rows}
    assert list(rows) == ["fisher", "boschloo", "precision", "sequential"]
    own = shop.rates(family="display_damage", by="opening", where={"rework": "no"}).rows
    now = next(row for row in own if row["opening"] == "heat_plate")
    fisher = rows["fisher"]
    assert fisher["baseline_rate"] == pytest.approx(now["rate"])
    assert fisher["rate"] == pytest.approx(now["rate"] - 0.05)
    size = stats.exact_size(fisher["rate"], fisher["baseline_rate"])
    assert (fisher["jobs_per_option"], fisher["jobs"]) == (size, 2 * size)
    assert rows["boschloo"]["jobs"] <= fisher["jobs"]
    assert fisher["weeks"] == pytest.approx(2 * size / plan.settings["jobs_a_week"])
    rule = rows["sequential"]
    assert rule["jobs"] < rule["jobs_90"] and rule["power"] > 0.8
    assert {row["cost"] is None for row in plan.rows} == {False}
    assert plan.rows[0]["safety"] == "cleared"


def test_the_pace_of_a_young_shop_is_that_since_its_records_began(shown):
    shop, rows = shown
    plan = shop.trial_plan("opening", options=PADS, difference=0.4)
    days = (max(row["finished"] for row in rows) - min(row["finished"] for row in rows)).days + 1
    assert 28 < days < 100
    assert plan.settings["jobs_a_week"] == pytest.approx(len(rows) * 7 / days)
    rule = plan.rows[-1]
    assert rule["weeks"] == pytest.approx(rule["jobs"] / plan.settings["jobs_a_week"])


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"choice": "openin"}, "did you mean 'opening'"),
        ({"options": ["heat_plate"]}, "a trial has two options"),
        ({"options": ["heat_plate", "heat_padd"]}, "no option of opening; did you mean 'heat_pad'"),
        ({"options": ["heat_pad", "heat_pad"]}, "two different options"),
        ({"options": ["thin_blade", "heat_pad"]}, "nothing is recorded of thin_blade yet"),
        ({"mode": "display_line"}, "did you mean 'display_lines'"),
        ({"difference": 0}, "--difference 0"),
        ({"power": 1}, "--power 1"),
    ],
)
def test_plans_that_make_no_sense(demo_shop, changed, words):
    asked = {"choice": "opening", "options": ["heat_plate", "heat_pad"], **changed}
    with pytest.raises(UsageError, match=words):
        fixstats.open(demo_shop).trial_plan(asked.pop("choice"), **asked)


def test_a_mode_known_from_comebacks_is_told(demo_shop):
    shop = fixstats.open(demo_shop)
    asked = {"options": ["original", "aftermarket_low"], "difference": 0.3}
    plan = shop.trial_plan("battery_grade", mode="drains_fast", **asked)
    note = next(note for note in plan.notes if note.code == "seen_after")
    assert re.search(r"drains_fast \(\d+ come-backs, 0 seen at the bench\)", note.text)
    plan = shop.trial_plan("battery_grade", mode="dead_on_arrival", **asked)
    assert "seen_after" not in {note.code for note in plan.notes}


def test_an_unproven_option_needs_the_harm_stop(demo_shop):
    plan = fixstats.open(demo_shop).trial_plan(
        "opening", options=["heat_gun", "thin_blade"], difference=0.1
    )
    assert plan.rows[0]["safety"] == "unproven"
    note = next(note for note in plan.notes if note.code == "harm_stop")
    assert "149 further jobs without a safety failure would clear it" in note.text


def test_an_option_that_is_worse_is_refused(tmp_path):
    rows = trial_jobs(200, {"heat_plate": 0.1, "heat_pad": 0.1}, harm={"heat_pad": 0.2}, switched=0)
    shop = shop_with(tmp_path, rows)
    for options in (["heat_plate", "heat_pad"], ["heat_pad", "heat_plate"]):
        with pytest.raises(UsageError, match="heat_pad is worse in safety"):
            shop.trial_plan("opening", options=options)
    with pytest.raises(UsageError, match="heat_pad is worse in safety"):
        shop.trial_start("more", "opening", options=["heat_plate", "heat_pad"])
    assert [row["trial"] for row in shop.trials().rows] == ["pads"]
