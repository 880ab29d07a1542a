"""Each question on a handful of jobs, against rows worked out by hand.

``cases/<question>`` (or ``<question>-<variant>``) holds the job sheet, the settings if any, and the
expected rows; a rate is written as the fraction it is. The ends of intervals are not in the files:
they are compared with those of statsmodels for the expected counts, and so are upper limits.
"""

import csv
import datetime as dt
import json
import re
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from statsmodels.stats.proportion import proportion_confint

from fixstats.cli.query import query
from fixstats.errors import UsageError
from fixstats.folder.settings import Settings
from fixstats.folder.shopfolder import make_folder
from fixstats.records.importer import import_sheets
from fixstats.tallies.questions import all_questions, find_question, run_question

CASES = Path(__file__).parent / "cases"
NAMES = sorted(path.name for path in CASES.iterdir())


def shop_of(case, tmp_path):
    folder = make_folder(tmp_path / "bench", Settings(name="Bench"))
    for sheet, covers in (("sheet.csv", "all"), ("sheet_seen.csv", "seen")):
        path = CASES / case / sheet
        if path.exists():
            (report,) = import_sheets(folder, [path], covers=covers).sheets
            assert report.held_back == 0
    return folder


def settings_of(case):
    path = CASES / case / "settings.toml"
    return tomllib.loads(path.read_text(encoding="utf-8")) if path.exists() else {}


def expected_of(case):
    with (CASES / case / "expected.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def read_cell(text, unit):
    if text == "":
        return None
    if unit == "date":
        return dt.date.fromisoformat(text)
    if unit == "true or false":
        return {"true": True, "false": False}[text]
    if unit == "fraction":
        return pytest.approx(float(Fraction(text)), abs=1e-12)
    if unit in ("code", "codes", "name", "side"):
        return text
    return pytest.approx(float(text), abs=1e-12)


@pytest.mark.parametrize("case", NAMES)
def test_answers_are_those_worked_out_by_hand(case, tmp_path):
    answer = run_question(shop_of(case, tmp_path), case.split("-")[0], settings_of(case))
    expected = expected_of(case)
    units = {column.name: column.unit for column in answer.question.columns}
    ends = [name for name in units if re.search(r"(^|_)(low|high|at_most)$", name)]
    assert [*expected[0]] == [name for name in units if name not in ends]
    rows = [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]
    given = [{name: row[name] for name in row if name not in ends} for row in rows]
    assert given == [
        {name: read_cell(text, units[name]) for name, text in row.items()} for row in expected
    ]
    for row, hand in zip(rows, expected, strict=True):
        compare_ends(answer.question, row, hand)


def compare_ends(question, row, hand):
    """The interval of every rate, for the counts as they stand in the expected rows."""
    for column in question.columns:
        if not column.name.endswith("rate"):
            continue
        failures, opportunities = re.match(r"(\w+) of (\w+)", column.meaning).groups()
        prefix = column.name.removesuffix("rate")
        ends = (row[f"{prefix}low"], row[f"{prefix}high"])
        limit = row[f"{prefix}at_most"]
        if hand[opportunities] == "0":
            assert (*ends, limit) == (None, None, None)
            continue
        assert ends == pytest.approx(
            proportion_confint(int(hand[failures]), int(hand[opportunities]), method="wilson"),
            abs=1e-12,
        )
        if hand[failures] == "0":
            # One-sided at 95 % is the upper end of the exact two-sided interval at 90 %.
            exact = proportion_confint(0, int(hand[opportunities]), alpha=0.1, method="beta")
            assert limit == pytest.approx(exact[1], abs=1e-9)
        else:
            assert limit is None


def test_every_question_has_a_case():
    assert {name.split("-")[0] for name in NAMES} == set(all_questions())


# ---------------------------------------------------------------- settings


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    return shop_of("low_charge", tmp_path_factory.mktemp("shop"))


def test_settings_are_used_and_told(shop):
    answer = run_question(shop, "low_charge", {"mark": "81", "model": "quillon  q5"})
    assert answer.settings == {
        "mark": 81.0,
        "mode": "calibration_refused",
        "step": "calibration",
        "model": "Quillon Q5",
        "confidence_level": 0.95,
    }
    assert set(answer.frame["charge"]) == {"below", None}


def test_notes_are_printed_with_the_level_of_the_limit(shop, capsys):
    def notes(name, level):
        values = [f"confidence_level={level}"]
        query(name=name, values=values, form="json", out=None, shop=shop.path)
        return [(one["code"], one["text"]) for one in json.loads(capsys.readouterr().out)["notes"]]

    ((code, text),) = notes("low_charge", 0.9)
    assert code == "zero_failures" and "exact one-sided 90 % upper limit" in text
    assert notes("lots", 0.9)[0] == ("question", find_question("lots").notes[0])


def test_the_confidence_level_widens_the_interval(shop):
    for level, alpha in (("0.8", 0.2), ("0.99", 0.01)):
        answer = run_question(shop, "low_charge", {"confidence_level": level})
        row = answer.frame.row(0, named=True)
        expected = proportion_confint(2, 2, alpha=alpha, method="wilson")
        assert (row["low"], row["high"]) == pytest.approx(expected, abs=1e-9)
        # None of 2: twice in a row without a failure has the probability alpha.
        none = next(one for one in answer.frame.to_dicts() if one["failures"] == 0)
        assert none["opportunities"] == 2 and (1 - none["at_most"]) ** 2 == pytest.approx(alpha)


@pytest.mark.parametrize(
    ("name", "settings", "words"),
    [
        ("low_chrage", {}, r"unknown question 'low_chrage'; did you mean 'low_charge'\?"),
        ("low_charge", {"marks": "1"}, r"unknown parameter 'marks'; did you mean 'mark'\?"),
        ("low_charge", {"mark": "a lot"}, "mark=a lot: write a number"),
        ("low_charge", {"mark": "nan"}, "mark=nan: write a number"),
        ("low_charge", {"mark": "any"}, "mark=any: write a number"),
        ("low_charge", {"model": "Quilon Q5"}, r"no such model; did you mean 'Quillon Q5'\?"),
        ("low_charge", {"model": "x' or true --"}, "the records know no such model"),
        ("low_charge", {"mode": "calibration_refusd"}, r"did you mean 'calibration_refused'\?"),
        ("low_charge", {"step": "any"}, "step=any: the catalogue has no such step"),
        ("low_charge", {"model": " "}, "model is empty"),
        ("low_charge", {"confidence_level": "95"}, "between 0.5 and 1"),
        ("comebacks", {"days": "0"}, "whole number of days"),
        ("comebacks", {"days": "90.5"}, "whole number of days"),
        ("mixed_pairs", {"since": "31.12.2026"}, "write a date like"),
        ("lots", {"supplier": "Pinemark"}, "the records know no such supplier"),
        ("lots", {"part": "batery"}, r"did you mean 'battery'\?"),
    ],
)
def test_wrong_settings_are_told(shop, name, settings, words):
    with pytest.raises(UsageError, match=words) as caught:
        run_question(shop, name, settings)
    assert str(caught.value).count("\n") <= 1


def test_a_shop_without_records_has_no_rows(tmp_path):
    folder = make_folder(tmp_path / "new", Settings(name="New"))
    for name in all_questions():
        answer = run_question(folder, name)
        assert answer.rows == [] and answer.frame.height == 0
