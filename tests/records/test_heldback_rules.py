"""Rows that are held back: which, with which words, and that the rest gets in."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from fixstats.folder import Settings, make_folder

# changes to a good row -> words of the reason
BAD_ROWS = {
    "31/02": ({"finished": "2026-02-31"}, "there is no day '2026-02-31'"),
    "no date": ({"finished": "soon"}, "'soon' is no date that can be read"),
    "typing error": ({"finished": "1926-03-14"}, "1926-03-14 is before 1970: likely a typing err"),
    "far future": ({"finished": "2926-03-14"}, "2926-03-14 lies in the future"),
    "finished first": (
        {"received": "2026-03-20"},
        r"finished before it was received \(2026-03-20\)",
    ),
    "returned first": (
        {"returned": "2026-03-01", "return_reason": "drains_fast"},
        r"came back before it was finished \(2026-03-14\)",
    ),
    "negative minutes": ({"minutes": "-5"}, "below 0"),
    "negative money": ({"price": "-1.50"}, "below 0"),
    "negative cost": ({"battery_cost": "-3"}, "below 0"),
    "impossible minutes": ({"minutes": "100001"}, "more than 100,000 minutes: likely a typing"),
    "impossible minutes of a step": (
        {"opening_minutes": "1234567890123456789"},
        "more than 100,000 minutes: likely a typing error",
    ),
    "impossible money": ({"failure_cost": "1e31"}, "more than 1,000,000,000 in money: likely"),
    "impossible price": ({"price": "1000000000.5"}, "more than 1,000,000,000 in money: likely"),
    "impossible cost": ({"battery_cost": "3000000000"}, "more than 1,000,000,000 in money"),
    "unreadable number": ({"minutes": "ten"}, "'ten' is no number that can be read"),
    "not a number": ({"minutes": "nan"}, "'nan' is no number"),
    "unknown method": (
        {"opening": "heat_plates"},
        "unknown method of opening 'heat_plates'; did you mean 'heat_plate'?",
    ),
    "method of another step": (
        {"opening": "pull_tab"},
        "'pull_tab' is a method of step battery_release, not of opening",
    ),
    "second attempt unknown": (
        {"opening": "heat_plate > heat_gunn"},
        "unknown method of opening 'heat_gunn'; did you mean 'heat_gun'",
    ),
    "dash beside": ({"opening": "heat_plate > -"}, "'-' beside another entry"),
    "hole": ({"opening": "heat_plate > "}, "nothing beside '>'"),
    "unknown grade": ({"battery_grade": "orignal"}, "unknown grade 'orignal'; did you mean 'orig"),
    "unknown repair": ({"repair": "batery_swap"}, "unknown repair 'batery_swap'; did you mean 'b"),
    "unknown mode": (
        {"failures": "tab_snaped"},
        "unknown failure mode 'tab_snaped'; did you mean 'tab_snapped'",
    ),
    "unknown outcome": ({"outcome": "done"}, "unknown outcome 'done'"),
    "flag": ({"swollen": "maybe"}, "'maybe' is neither yes nor no"),
    "category": ({"connection": "telegraph"}, "value not allowed for connection: 'telegraph'"),
    "factor number": ({"charge": "full"}, "'full' is no number that can be read"),
    "itself": ({"return_of": "1001"}, "a job cannot be the come-back of itself"),
    "no job": ({"job": ""}, "the job number is blank"),
    "no model": ({"model": "-"}, "the model is blank"),
    "no repair": ({"repair": ""}, "the repair is blank"),
    "no date at all": ({"finished": ""}, "the date of hand-over is blank"),
    "formula": ({"model": "=A1&B1"}, "a formula, not a value"),
    "formula as job": ({"job": "=ROW()"}, "a formula, not a value"),
    "suppliers": (
        {"battery_grade": "original > original", "battery_supplier": "a > b > c"},
        "3 entries for 2 pieces",
    ),
    "supplier of nothing": (
        {"battery_grade": "-", "battery_supplier": "a"},
        r"filled in though the part was not fitted \(grade '-'\)",
    ),
    "mode without its step": (
        {"failures": "coil_damaged"},
        "coil_damaged cannot occur in this repair: none of glass_removal was done or fitted",
    ),
    "no such attempt": (
        {"failures": "tab_snapped@2"},
        "tab_snapped: there is no attempt or piece 2, only 1",
    ),
    "other methods only": (
        {"battery_release": "thread_cut", "failures": "tab_snapped"},
        "tab_snapped occurs only with pull_tab",
    ),
    "named attempt of another method": (
        {"battery_release": "pull_tab > thread_cut", "failures": "tab_snapped@2"},
        "tab_snapped occurs only with pull_tab",
    ),
    "wrong place": (
        {"failures": "tab_snapped@opening"},
        "tab_snapped cannot occur at 'opening'; it can at battery_release",
    ),
    "place not done": (
        {"failures": "clip_snapped@resealing", "resealing": "-"},
        "clip_snapped cannot have occurred: nothing was done at resealing",
    ),
    "attempt zero": ({"failures": "tab_snapped@0"}, "after @ stands an attempt"),
    "mixed with a place": ({"failures": "restart_conflict@battery"}, "between parts and takes no"),
    "mixed of one origin": (
        {"display_grade": "original_pulled", "failures": "restart_conflict"},
        "restart_conflict cannot occur: the grades of battery, display are of one origin",
    ),
    "mixed without parts": (
        {
            "repair": "charge_port_swap", "battery_release": "", "battery_grade": "",
            "failures": "restart_conflict",
        },
        "restart_conflict cannot occur: no piece of battery, display on this job",
    ),
    "limited grades": (
        {"failures": "unknown_part_shown"},
        "unknown_part_shown occurs only with aftermarket_high",
    ),
    "e-mail": ({"technician": "ann@bench.example"}, "an e-mail address is kept out of the records"),
    "telephone": ({"branch": "+34 600 123 456"}, "a telephone number is kept out"),
    "telephone with a stroke": ({"branch": "+49 (0)170/1234567"}, "a telephone number is kept"),
    "area code and stroke": ({"assigned": "call 0170/1234567"}, "a telephone number is kept out"),
    "device number in pairs": ({"assigned": "49-01-54-20-32-37-51-8"}, "a 15-digit device number"),
    "device number, strokes": ({"assigned": "490154/203237/518"}, "a 15-digit device number"),
    "device number, spaces": ({"assigned": "490 154 203 237 518"}, "a 15-digit device number"),
    "turned writing": ({"model": "Velum \u202e3"}, "has a sign that cannot be printed"),
    "control sign": ({"technician": "t\x1b[31m"}, "has a sign that cannot be printed"),
    "control sign in a job": ({"job": "10\x0701"}, "has a sign that cannot be printed"),
    "device number": ({"assigned": "490154203237518"}, "a 15-digit device number is kept out"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD_ROWS)
def test_held_back_with_its_words(shop, base, name):
    change, words = BAD_ROWS[name]
    good = {**base, "job": "2000"}
    report = shop.take([good, {**base, **change}])
    assert report.exit_code == 3
    sheet = report.sheets[0]
    assert (sheet.rows_read, sheet.added, sheet.held_back) == (2, 1, 1)
    assert shop.sql("select job from records.jobs") == [("2000",)]
    assert any(re.search(words, reason) for reason in shop.reasons()), shop.reasons()
    assert {row for row, *_ in sheet.preview} == {3}


GOOD_ROWS = {
    "15 digits without the check digit": {"assigned": "490154203237519"},
    "a date with a zero in front": {"assigned": "01/02/2026 10:30"},
    "tab and newline in notes": {"notes": "one\ttwo\nthree"},
    "digits in a lot": {"battery_lot": "+34 600 123 456"},
    "a job like a telephone number": {"job": "600 123 4567"},
    "a date like a number": {"received": "2026-03-01"},
    "spelling of codes": {"opening": "Heat Plate", "repair": "Battery-Swap"},
    "label of a code": {"battery_release": "Pull tabs"},
    "none": {"failures": "none", "unchecked": "-"},
    "mixed with one grade unknown": {"failures": "restart_conflict"},
    "mixed of two origins": {"display_grade": "aftermarket_low", "failures": "restart_conflict"},
    "unrecorded attempt": {"battery_release": "? > thread_cut", "failures": "tab_snapped@1"},
    "blank step of a limited mode": {"battery_release": "", "failures": "tab_snapped"},
    "percent": {"battery_health": "78 %"},
    "dead part, abandoned": {
        "outcome": "abandoned", "battery_grade": "", "failures": "drains_fast",
    },
    "family unchecked": {"unchecked": "broken_tabs; cell_bent"},
}  # fmt: skip


@pytest.mark.parametrize("name", GOOD_ROWS)
def test_let_in(shop, base, name):
    report = shop.take([{**base, **GOOD_ROWS[name]}])
    assert report.sheets[0].preview == ()
    assert report.exit_code == 0
    assert report.sheets[0].added == 1


def test_all_reasons_of_a_row_are_collected(shop, base):
    bad = {**base, "minutes": "-5", "opening": "heat_plates", "received": "2026-04-01"}
    report = shop.take([bad, {**base, "job": "2"}])
    assert [column for _, column, _, _ in report.sheets[0].preview] == [
        "finished", "minutes", "opening",
    ]  # fmt: skip
    assert report.sheets[0].held_back == 1


def test_job_twice_with_different_content_is_held_back_whole(shop, base):
    report = shop.take([base, {**base, "model": "Velum 4"}, {**base, "job": "2"}])
    assert (report.sheets[0].added, report.sheets[0].held_back) == (1, 2)
    assert "stands in this file 2 times with different content (rows 2 and 3)" in shop.reasons()[0]


def test_identical_rows_count_once(shop, base):
    report = shop.take([base, base, base])
    sheet = report.sheets[0]
    assert (sheet.rows_read, sheet.added, sheet.repeated, sheet.held_back) == (3, 1, 2, 0)


def test_same_job_number_in_two_branches_is_two_jobs(shop, base):
    report = shop.take([{**base, "branch": "north"}, {**base, "branch": "south"}])
    assert report.sheets[0].added == 2


def test_blank_rows_are_no_rows(shop, base):
    report = shop.take([base, dict.fromkeys(base, ""), {**base, "job": "2"}])
    assert (report.sheets[0].rows_read, report.sheets[0].added) == (2, 2)


def test_same_bad_row_again_is_held_back_once(shop, base):
    for _ in range(2):
        report = shop.take([{**base, "minutes": "-5"}, {**base, "job": "2"}])
        assert report.sheets[0].held_back == 1
    assert len(shop.reasons()) == 1


@pytest.mark.parametrize(
    ("name", "cell", "secret"),
    [
        ("failures", "call 0170 1234567", "1234567"),
        ("failures", "tab_snapped@0170 1234567", "1234567"),
        ("failures", "jo@example.org", "jo"),
        ("opening", "jo@example.org", "jo@"),
        ("finished", "0170 1234567", "1234567"),
        ("minutes", "12 345678 901234 5", "901234"),
    ],
)
def test_reasons_show_no_personal_data(shop, base, name, cell, secret):
    report = shop.take([base, {**base, "job": "2", name: cell}])
    ((reason, line, value),) = shop.sql("select reason, line, value from records.heldback")
    assert "masked]" in value
    shown = (reason.replace("job", ""), line.replace("job", ""), value, report.sheets[0].preview[0])
    assert all(secret not in str(text) for text in shown), shown


@pytest.mark.parametrize("days", [1, 2])
def test_tomorrow_is_let_in_and_the_day_after_held_back(shop, base, days):
    day = datetime.now(UTC).date() + timedelta(days=days)
    # its only date is absurd, not unreadable: the row is held back, the sheet is read
    report = shop.take([{**base, "finished": day.isoformat()}])
    assert report.sheets[0].held_back == days - 1
    assert shop.reasons() == [f"{day} lies in the future"] * (days - 1)


@pytest.mark.parametrize(
    ("stamp", "day"),
    [
        ("2026-03-31T23:30:00Z", "2026-04-01"),  # summer time: two hours ahead of UTC
        ("2026-01-31 22:30+00", "2026-01-31"),  # winter time: one hour
        ("2026-04-01T00:30:00+05:00", "2026-03-31"),
        ("2026-03-31T23:30:00", "2026-03-31"),
        ("03/31/2026 11:30 PM", "2026-03-31"),
    ],
)
def test_a_stamp_with_an_offset_is_the_day_of_the_shop(shop, tmp_path, base, stamp, day):
    folder = make_folder(tmp_path / "madrid", Settings(name="Bench", time_zone="Europe/Madrid"))
    shop = type(shop)(folder)
    shop.take([{**base, "finished": stamp}])
    assert shop.sql("select cast(finished as varchar) from records.jobs") == [(day,)]


@pytest.mark.parametrize(
    ("cells", "read", "reasons"),
    [
        (("12,5", "1.250"), [12.5], ["1.250 could be 1250 or 1.25"]),
        (("12.5", "1,250"), [12.5], ["1,250 could be 1250 or 1.25"]),
        (("2.012,5", "1.250"), [2012.5, 1250], []),
        (("2.012,5", "1.25", "2,5"), [2012.5, 2.5], ["'1.25' is no number that can be read"]),
        (("2,012.5", "1,25"), [2012.5], ["'1,25' is no number that can be read"]),
    ],
)
def test_the_other_sign_is_thousands_or_held_back(shop, base, cells, read, reasons):
    shop.take([{**base, "job": str(n), "price": cell} for n, cell in enumerate(cells)])
    assert [row[0] for row in shop.sql("select price from records.jobs order by job")] == read
    assert shop.reasons() == reasons
