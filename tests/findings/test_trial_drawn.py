"""Which jobs are in a trial, and for which option they count."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from fixstats.cli.trial_text import handed_text
from fixstats.errors import UsageError
from fixstats.records.amend import amend
from fixstats.records.trials import NewTrial, next_assignment, schedule, start_trial

from .trial_shop import FIRST, MODELS, NEW, START, begun, job_row, shop_with, take_in, trial_jobs

T1 = ("T1", "Tarn 9")


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
    shop = begun(tmp_path)
    for number, option in enumerate(drawn[:5]):
        name = f"j{number}" if number == 4 else f"J{number}"
        handed = next_assignment(shop.folder, "pads", *T1, job=name, new_names=True, now=START)
        assert handed.slot.assigned == option
    take_in(shop, [job_row(n, (drawn * 2)[n], **slip) for n, slip in enumerate(slips)])
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


def test_jobs_handed_over_before_the_start_are_left_out(tmp_path):
    """The sheet says that they were drawn, and it cannot be: only those since then count."""
    rows = trial_jobs(60, {"heat_plate": 0.3, "heat_pad": 0.3}, unchecked=0, harm={"heat_pad": 0.2})
    start = date(2026, 1, 10)
    late = [row for row in rows if row["finished"] >= start]
    # Of those that count some had come in before: their option was drawn before they were done.
    assert len(late) < len(rows) and min(row["received"] for row in late) < start
    shops = []
    for name, mine in (("all", rows), ("late", late)):
        (tmp_path / name).mkdir()
        shop = begun(tmp_path / name, now=datetime(2026, 1, 10, 9, tzinfo=UTC))
        take_in(shop, mine)
        shops.append(shop)
    whole, without = (shop.trial("pads") for shop in shops)
    assert whole.rows == without.rows and whole.rows[0]["jobs"] > 0
    assert whole.finding.parts == without.finding.parts
    assert shops[0].trials().rows == shops[1].trials().rows
    early = len(rows) - len(late)
    (text,) = [note.text for note in whole.notes if note.code == "before_start"]
    assert text.startswith(
        f"{early} jobs recorded for this trial were handed over before it started on 2026-01-10: "
        "left out"
    )
    assert "before_start" not in {note.code for note in without.notes}


def test_the_day_of_the_start_is_that_of_the_shop(tmp_path):
    """At nine in the evening of the 9th in Lima it is the 10th in Greenwich."""
    evening = datetime(2026, 1, 10, 2, tzinfo=UTC)
    days = [{"finished": date(2026, 1, day), "received": FIRST} for day in (8, 9, 10)]
    counted = []
    for zone in ("America/Lima", "UTC"):
        (tmp_path / zone[:3]).mkdir()
        shop = begun(tmp_path / zone[:3], now=evening, time_zone=zone)
        take_in(shop, [job_row(n, "heat_pad", **day) for n, day in enumerate(days)])
        counted.append(shop.trial("pads").rows[-1]["jobs"])
    assert counted == [2, 1]


def test_a_draw_after_the_hand_over_does_not_count(tmp_path):
    """The day of the draw is what counts where there is one; on the same day it is in time."""
    shop = begun(tmp_path)
    drawn = [slot.assigned for slot in schedule(NEW, "T1", "easier", 3)][:3]
    noon = START + timedelta(days=2, hours=5)
    for name in ("J1", "J2", "J3"):
        next_assignment(shop.folder, "pads", *T1, job=name, new_names=True, now=noon)
    # Handed over on the day after the start, two days after it, and three.
    take_in(shop, [job_row(n, drawn[n - 1]) for n in (1, 2, 3)])
    status = shop.trial("pads")
    counted = {row["option"]: row["jobs"] for row in status.rows}
    in_time = [drawn[1], drawn[2]]
    assert counted == {option: in_time.count(option) for option in counted}
    (text,) = [note.text for note in status.notes if note.code == "before_start"]
    assert text.startswith(
        "1 job recorded for this trial was handed over before an option was drawn for them"
    )
    # Mended, it counts as it was handed out.
    amend(shop.folder, "J1", {"finished": "2026-01-07"})
    assert sum(row["jobs"] for row in shop.trial("pads").rows) == 3


def test_nothing_is_drawn_for_a_job_handed_over_before(tmp_path):
    shop = begun(tmp_path)
    take_in(shop, [job_row(1, "", trial="", technician="t1"), job_row(2, "", trial="")])
    noon = START + timedelta(days=2, hours=5)
    with pytest.raises(
        UsageError, match=r"job J1 was handed over on 2026-01-06.*nothing was drawn"
    ):
        next_assignment(shop.folder, "pads", "T1", "Tarn 9", job="J1", now=noon)
    # On the same day it may be; and another technician may have a job of the same number.
    for who, job in (("T1", "J2"), ("T2", "J1")):
        handed = next_assignment(
            shop.folder, "pads", who, "Tarn 9", job=job, new_names=True, now=noon
        )
        assert handed.slot.number == 1


def test_a_trial_ends_with_what_is_recorded_not_with_what_is_handed_out(tmp_path):
    shop = begun(tmp_path)
    start_trial(shop.folder, NewTrial(**vars(NEW) | {"trial": "short", "max_jobs": 2}), {}, MODELS)
    for _ in range(2):
        next_assignment(shop.folder, "short", *T1, new_names=True)
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


def test_an_option_that_is_ruled_out_meanwhile_is_not_drawn(tmp_path):
    rows = trial_jobs(20, {"heat_plate": 0, "heat_pad": 0}, unchecked=0, switched=0)
    shop = shop_with(tmp_path, rows)
    names = [f"D{number}" for number in range(6)]
    drawn = {
        name: shop.trial_next("pads", technician="T1", model="Tarn 9", job=name).slot.assigned
        for name in names
    }
    assert {*drawn.values()} == {"heat_pad", "heat_plate"}
    # As many jobs outside the trial, half of them with a pierced cell.
    beside = {"trial": "", "assigned": ""}
    harm = [
        row | beside | {"job": f"B{row['job']}", "failures": "cell_pierced" if n % 2 else ""}
        for n, row in enumerate(row for row in rows if row["opening"] == "heat_pad")
    ]
    take_in(shop, [*rows, *harm])
    status = shop.trial("pads")
    assert status.rows[-1]["verdict"] == "go on"
    told = {note.code: note.text for note in status.notes}["ruled_out"]
    assert told.startswith("heat_pad: ruled out by all records") and "do not use it" in told
    with pytest.raises(UsageError, match="heat_pad is ruled out by all records"):
        shop.trial_next("pads", technician="T1", model="Tarn 9")
    for name, option in drawn.items():
        if option == "heat_plate":
            again = shop.trial_next("pads", technician="T1", model="Tarn 9", job=name)
            assert again.slot.assigned == option
        else:
            with pytest.raises(UsageError, match="heat_pad is ruled out"):
                shop.trial_next("pads", technician="T1", model="Tarn 9", job=name)
