"""House standards on a small shop: counts by a plain loop, intervals by statsmodels, words."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from random import Random

import pytest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from fixstats.errors import UsageError
from fixstats.findings.compare_plan import Choice
from fixstats.findings.standards import KEYS, Held, conclude, holding
from fixstats.findings.standards_words import sentence
from fixstats.folder import Settings, make_folder
from fixstats.folder.catalogue import Standard
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

START = date(2025, 1, 1)
JOBS = 400
MODELS = ("Alder 5", "Elm 2", "Larch")


def on(day):
    return START + timedelta(days=day)


CATALOGUE = f"""
format = 1
step = [{{code = "opening", label = "Opening", order = 2}},
        {{code = "release", label = "Release", order = 1}}]
method = [{{step = "opening", code = "heat", label = "Heat", cautions = ["Hot."]}},
          {{step = "opening", code = "cold", label = "Cold"}},
          {{step = "release", code = "pull", label = "Pull"}}]
part = [{{code = "battery", label = "Battery"}}]
grade = [{{code = "original", label = "Original"}}, {{code = "copy", label = "Copy"}}]
repair = [{{code = "swap", label = "Swap", steps = ["opening", "release"], parts = ["battery"]}},
          {{code = "clean", label = "Clean", steps = ["release"]}}]
failure_mode = [
  {{code = "lines", label = "L", family = "display_damage", severity = 3, steps = ["opening"]}},
  {{code = "torn", label = "T", family = "broken_tabs", severity = 2, steps = ["release"]}},
  {{code = "pierced", label = "P", family = "cell_damage", severity = 5, safety = true, \
    steps = ["opening"]}},
  {{code = "loose", label = "L", family = "calibration_failures", severity = 2, \
    steps = ["release"]}},
  {{code = "clash", label = "C", family = "mixed_part_conflicts", severity = 3, part = "any"}},
]
standard = [
  {{choice = "opening", option = "cold", since = {on(20)}}},
  {{choice = "opening", option = "heat", since = {on(250)}}},
  {{choice = "opening", option = "cold", since = {on(300)}, model = "elm  2"}},
  {{choice = "opening", option = "cold", since = {on(2000)}, model = "Larch"}},
  {{choice = "battery_grade", option = "original", since = {on(350)}}},
  {{choice = "battery_supplier", option = "Corvo", since = {on(60)}, model = "Yew"}},
  {{choice = "release", option = "pull", since = {on(150)}}},
]
"""


def job(n):
    chance = Random(n)
    late = n >= 250
    opening = chance.choices(["heat", "cold", ""], [8, 2, 1] if late else [2, 8, 1])[0]
    failures = [
        *(["lines"] if chance.random() < (0.08 if late else 0.35) else []),
        *(["torn"] if chance.random() < 0.1 else []),
    ]
    return {
        "job": f"J{n}",
        "finished": str(on(n)),
        "model": MODELS[n % 3],
        "repair": "clean" if n % 9 == 4 else "swap",
        "opening": "-" if n % 9 == 4 else opening,
        "release": "pull",
        "battery_grade": "" if n % 9 == 4 else "original" if n % 2 else "copy",
        "failures": "; ".join(one for one in failures if n % 9 != 4 or one == "torn"),
        "unchecked": "lines" if n % 10 == 5 and "lines" not in failures and n % 9 != 4 else "",
        "return_of": f"J{n - 1}" if n % 50 == 49 else "",
    }


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    path = tmp_path_factory.mktemp("small")
    (path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    folder = make_folder(path / "shop", Settings(name="Small"), path / "c.toml")
    rows = [job(n) for n in range(JOBS)]
    with (path / "s.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    (sheet,) = import_sheets(folder, [path / "s.csv"], covers="all").sheets
    assert (sheet.added, sheet.held_back) == (JOBS, 0)
    return open_shop(folder.path)


@pytest.fixture(scope="module")
def found(shop):
    return shop.standards()


def plain(first, last, models, *, option, mode="lines"):
    """Jobs with an option, those with this one, failures, opportunities: one job after another."""
    found = [0, 0, 0, 0]
    for n in range(max(first, 0), min(last, JOBS - 1) + 1):
        row = job(n)
        if row["return_of"] or row["opening"] == "-" or row["model"] not in models:
            continue
        found[0] += row["opening"] != ""
        found[1] += row["opening"] == option
        if not row["unchecked"]:
            found[2] += mode in row["failures"]
            found[3] += 1
    return found


def by_place(found):
    return {(row["choice"], row["model"]): row for row in found.rows}


def test_rows_are_those_that_hold_and_those_to_come_in_bench_order(found):
    assert all(tuple(row) == KEYS for row in found.rows)
    assert [(row["choice"], row["model"], row["option"]) for row in found.rows] == [
        ("release", None, "pull"),
        ("opening", None, "heat"),
        ("opening", "elm  2", "cold"),
        ("opening", "Larch", "cold"),
        ("battery_grade", None, "original"),
        ("battery_supplier", "Yew", "Corvo"),
    ]
    assert [row["scope"] for row in found.rows] == ["all", "all", "model", "model", "all", "model"]


@pytest.mark.parametrize(
    ("model", "since", "option", "models"),
    [(None, 250, "heat", ("Alder 5", "Larch")), ("elm  2", 300, "cold", ("Elm 2",))],
    ids=["all but those with one of their own", "its own"],
)
def test_counts_are_those_of_a_plain_loop(found, model, since, option, models):
    row = by_place(found)["opening", model]
    length = JOBS - since
    used, followed, failures, opportunities = plain(since, JOBS, models, option=option)
    assert (row["jobs_since"], row["followed"]) == (used, followed)
    assert (row["failures_after"], row["opportunities_after"]) == (failures, opportunities)
    before = plain(since - length, since - 1, models, option=option)
    assert (row["failures_before"], row["opportunities_before"]) == tuple(before[2:])
    low, high = proportion_confint(followed, used, alpha=0.05, method="wilson")
    assert (row["share_low"], row["share_high"]) == pytest.approx((low, high), abs=1e-12)
    ends = confint_proportions_2indep(
        failures, opportunities, *before[2:], compare="diff", method="newcomb", alpha=0.05
    )
    given = row["difference_low"], row["difference_high"]
    assert given == pytest.approx(ends, abs=1e-9)


def test_as_it_was_on_an_earlier_day(shop):
    found = shop.standards("opening", until=on(200))
    (row,) = found.rows
    assert (row["option"], row["since"]) == ("cold", str(on(20)))
    used, followed, failures, opportunities = plain(20, 200, MODELS, option="cold")
    assert (row["jobs_since"], row["followed"]) == (used, followed)
    assert (row["failures_after"], row["opportunities_after"]) == (failures, opportunities)
    before = plain(0, 19, MODELS, option="cold")
    assert (row["failures_before"], row["opportunities_before"]) == tuple(before[2:])
    codes = {note.code for note in found.notes}
    assert {"before_after", "few_jobs", "short_before", "own_records"} <= codes


def test_words_say_no_more_than_the_interval(found):
    sentences = found.finding.parts["sentences"]
    told = {(one["choice"], one["model"]): one["text"] for one in sentences}
    assert "in 100 fewer (" in told["opening", None]
    assert told["opening", None].endswith("with whatever else changed")
    assert "that may be chance" in told["release", None]
    assert told["opening", "Larch"].endswith("so nothing to tell yet")
    assert told["battery_supplier", "Yew"].endswith("so nothing to tell yet")
    codes = {note.code: note.text for note in found.notes}
    assert "opening (Larch) and battery_supplier (Yew)" in codes["no_jobs_since"]
    assert codes["own_standard"].endswith("opening (elm  2)")
    assert "heat: Hot." in found.cautions


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ((100, 90, 30, 200, 10, 200), "10.0 in 100 fewer (4.2 to 16.0), with whatever else"),
        ((100, 90, 10, 200, 30, 200), "10.0 in 100 more (4.2 to 16.0), with whatever else"),
        ((100, 90, 30, 200, 29, 200), "that may be chance (7.5 fewer to 6.5 more in 100"),
        ((100, 90, 20, 29, 0, 900), "20 of 29 jobs before, 0 of 900 since: too few jobs"),
        ((100, 90, 0, 0, 3, 90), "3 of 90 since, and nothing before to hold that against"),
        ((100, 90, 0, 90, 0, 90), "that may be chance"),
    ],
)
def test_sentences(counts, said):
    standard = Standard("opening", "heat", START)
    names = ("jobs_since", "followed", "failures_before", "opportunities_before",
             "failures_after", "opportunities_after")  # fmt: skip
    row = conclude(standard, dict(zip(names, counts, strict=True)), 0.95)
    assert said in sentence(Held(standard, Choice("opening", "opening", True), row))


def test_nothing_adopted_is_said(shop, tmp_path):
    folder = make_folder(tmp_path / "new", Settings(name="New"))
    found = open_shop(folder.path).standards()
    assert (found.rows, [note.code for note in found.notes]) == ((), ["nothing"])
    assert holding(folder.catalogue, None, to_come=True) == []


def test_a_standard_without_a_job_recorded(tmp_path):
    (tmp_path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    folder = make_folder(tmp_path / "new", Settings(name="New"), tmp_path / "c.toml")
    rows = open_shop(folder.path).standards().rows
    assert len(rows) == 7 and {row["jobs_since"] for row in rows} == {0}


@pytest.mark.parametrize(
    ("words", "told"),
    [({"choice": "openin"}, "did you mean 'opening'"), ({"confidence": 95}, "--confidence 95")],
)
def test_what_makes_no_sense(shop, words, told):
    with pytest.raises(UsageError, match=told):
        shop.standards(**words)
