"""Watching made-up shops: which day and which number goes with which alarm, and what is said."""

from __future__ import annotations

import csv
import re
from datetime import date, timedelta

import numpy as np
import pytest

from fixstats.cli.watch import watch_text
from fixstats.errors import UsageError
from fixstats.findings.watch_words import CELLS, alarm_words, look_words, thin_words
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

FIRST = date(2024, 1, 1)
HEADS = ("job", "finished", "model", "repair", "failures")
WORSE = {"battery": date(2025, 3, 15), "display": date(2025, 8, 1)}


def sheet(path, days: int):
    """Two parts, each from three suppliers; each part of Corvo worse from a day of its own."""
    rng = np.random.default_rng(3)
    rows = []
    for n in range(3 * days):
        day, part = FIRST + timedelta(days=n // 3), ("battery", "display")[n % 2]
        supplier = ("Corvo", "Pine", "Hald")[int(rng.integers(3))]
        bad = supplier == "Corvo" and day >= WORSE[part]
        failed = "dead_on_arrival" if rng.random() < (0.4 if bad else 0.02) else ""
        rows.append(
            dict(zip(HEADS, (f"J{n}", day, "Brask One", f"{part}_swap", failed), strict=True))
            | {f"{part}_grade": "original", f"{part}_supplier": supplier}
        )
    fields = [*HEADS, *(f"{part}_{one}" for part in WORSE for one in ("grade", "supplier"))]
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fields)
        writer.writeheader()
        writer.writerows(rows)
    return path


def made(folder, days: int):
    shop = make_folder(folder / "shop", Settings(name="Made up"))
    (report,) = import_sheets(shop, [sheet(folder / "sheet.csv", days)], covers="all").sheets
    assert report.held_back == 0
    return shop.path


@pytest.fixture(scope="module")
def two_parts(tmp_path_factory):
    return made(tmp_path_factory.mktemp("two_parts"), 700)


def told(finding, code):
    return [note.text for note in finding.notes if note.code == code]


@pytest.fixture(scope="module")
def found(two_parts):
    return open_shop(two_parts).watch().finding


def corvo(rows, part):
    (one,) = [
        row
        for row in rows
        if (row["group"], row["value_of_group"]) == (f"{part}_supplier", "Corvo")
        and row["mode"] == "dead_on_arrival"
    ]
    return one


@pytest.mark.parametrize("part", WORSE)
def test_a_supplier_of_two_parts_has_the_day_of_each(found, part):
    for rows in (found.rows, found.parts["alarms"]):
        since = date.fromisoformat(corvo(rows, part)["since"])
        assert abs((since - WORSE[part]).days) <= 21


def test_groups_beyond_the_most_dated_say_that_they_have_no_day(two_parts, found, monkeypatch):
    out = [one for one in found.parts["alarms"] if one["group"]]
    assert len(out) > 1 and not told(found, "not_dated") and all(one["since"] for one in out)
    monkeypatch.setattr("fixstats.findings.watch.MOST_DATED", 1)
    few = open_shop(two_parts).watch().finding
    assert sum(one["since"] is None for one in few.parts["alarms"]) == len(out) - 1
    (text,) = told(few, "not_dated")
    assert f"{len(out) - 1} alarm" in text
    assert "not dated" in watch_text(few) and "None" not in watch_text(few)


@pytest.mark.parametrize("part", WORSE)
def test_an_alarm_has_one_expected_number(found, part):
    row, alarm = corvo(found.rows, part), corvo(found.parts["alarms"], part)
    assert row["centre"] * row["opportunities"] == pytest.approx(alarm["expected"])
    assert row["value"] / row["centre"] == pytest.approx(alarm["ratio"])
    assert 0.01 < row["centre"] < 0.04  # the 0.02 of the others; with its own it is 0.06 and more


def test_limits_of_groups_are_around_what_is_expected(found):
    rows = [row for row in found.rows if row["chart"] == "funnel"]
    assert len(rows) >= 6
    for row in rows:
        assert row["lower_limit"] <= row["centre"] <= row["upper_limit"]
        if row["alarm"]:
            assert row["value"] > row["upper_limit"]


# ---------------------------------------------------------------- records too young, or too few


def test_a_young_shop_is_told_so_and_is_no_error(tmp_path):
    path = made(tmp_path, 12)
    finding = open_shop(path).watch().finding
    assert (finding.rows, finding.parts["alarms"]) == ((), [])
    (text,) = told(finding, "young")
    assert text.startswith("the records begin on 2024-01-01: there is no time before yet")
    with pytest.raises(UsageError, match="nothing was recorded before 2023-12-01"):
        open_shop(path).watch(since=date(2023, 12, 1))


def test_a_thin_time_before_is_said(two_parts, found):
    shop = open_shop(two_parts)
    assert told(found, "thin") == []
    (text,) = told(shop.watch(mode="dead_on_arrival", since=date(2024, 1, 15)).finding, "thin")
    assert re.fullmatch(
        r"the time before is 14 days with \d failures?: only large changes can be told", text
    )


def test_what_makes_a_time_before_thin():
    assert thin_words(200, 400) == ""
    assert thin_words(200, 3).startswith("the time before has 3 failures only: only large")
    assert thin_words(31, 400).startswith("the time before is 31 days with 400 failures: only")


# ---------------------------------------------------------------- words


def test_words_of_a_group_say_failed_or_came_back(found):
    one = corvo(found.parts["alarms"], "battery")
    words = alarm_words(one, found.labels)
    assert re.search(
        r": \d+ of \d+ failed; [\d.]+ would have, had they done like similar jobs of others: "
        r"[\d.]+ times as often \([\d.]+ to [\d.]+\)$",
        words,
    )
    assert " came back; " in alarm_words({**one, "charts": ["comebacks"]}, found.labels)
    (how,) = told(found, "groups_how")
    assert "on average at most 5 in 100 of such alarms about groups are false" in how


def test_doubtful_cells_are_stored_as_local_rules_say(found):
    one = corvo(found.parts["alarms"], "battery")
    assert look_words({**one, "group": "battery_lot"}, {}).endswith(CELLS)
    assert CELLS not in look_words({**one, "group": "display_lot"}, {})


def test_nothing_out_says_what_it_is_compared_with(two_parts):
    shop = open_shop(two_parts)
    (text,) = told(shop.watch(mode="dead_on_arrival", until=date(2025, 1, 31)).finding, "no_alarm")
    assert text.endswith("what began before 2024-08-01 is part of what it is compared with")
    (text,) = told(shop.watch(group="technician").finding, "nothing")


# ---------------------------------------------------------------- who looked, and months that vary


def looked(path, *, unchecked: float, turns: bool):
    """One mode over two years; ``unchecked``: share of the first year's jobs nobody looked at.

    ``turns``: its rate is high and low from month to month; else it rises in the second year.
    """
    rng = np.random.default_rng(8)
    rows = []
    for n in range(4 * 731):
        day = FIRST + timedelta(days=n // 4)
        late = day.year > FIRST.year
        rate = (0.25 if day.month % 2 else 0.05) if turns else (0.3 if late else 0.1)
        row = dict(zip(HEADS, (f"J{n}", day, "Brask One", "display_swap", ""), strict=True))
        if not late and rng.random() < unchecked:
            row["unchecked"] = "seal_lifts"
        elif rng.random() < rate:
            row["failures"] = "seal_lifts"
        rows.append(row)
    sheet = path / "sheet.csv"
    with sheet.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [*HEADS, "unchecked"])
        writer.writeheader()
        writer.writerows(rows)
    shop = make_folder(path / "shop", Settings(name="Looked"))
    (report,) = import_sheets(shop, [sheet], covers="all").sheets
    assert report.held_back == 0
    return open_shop(shop.path).watch(mode="seal_lifts").finding


def test_an_alarm_says_where_looking_changed(tmp_path, found):
    rising = looked(tmp_path, unchecked=0.6, turns=False)
    (one,) = rising.parts["alarms"]
    assert one["mode"] == "seal_lifts" and one["ratio"] > 2
    (text,) = told(rising, "unknown_moved")
    assert re.fullmatch(
        r"[^:]+: nobody looked in (5[6-9]|6[0-4]) % of the jobs before and in 0 % since; who looks "
        r"only where something is wrong raises the rate without any change",
        text,
    )
    assert told(found, "unknown_moved") == []


def test_a_rate_that_always_varies_raises_no_alarm(tmp_path):
    varying = looked(tmp_path, unchecked=0.0, turns=True)
    assert varying.parts["alarms"] == []
    charts = {row["chart"] for row in varying.rows}
    assert "p_prime" in charts and "p" not in charts
    # A p-chart of the same months would cry wolf again and again.
    months = [row for row in varying.rows if row["chart"] == "p_prime"]
    assert len(months) == 12
    wide = [
        row["value"]
        > row["centre"] + 3 * (row["centre"] * (1 - row["centre"]) / row["opportunities"]) ** 0.5
        for row in months
    ]
    assert sum(wide) >= 2
