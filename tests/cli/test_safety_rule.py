"""The safety rule can't be bought: small shops, asked on the command line only.

Their catalogue marks a mode of mixed parts as a danger: it follows from the grade fitted, which is
cheap and meets the maker's own display in the device.
"""

from __future__ import annotations

import csv
import json
import shutil
from datetime import date, timedelta

import pytest

from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.report.brief_page import choice_words

CATALOGUE = """
format = 1
step = [{code = "opening", label = "Opening", order = 1}]
method = [{step = "opening", code = "heat", label = "Heat"}]
part = [{code = "battery", label = "Battery"}, {code = "display", label = "Display"}]
grade = [{code = "original", label = "Original"}, {code = "copy", label = "Copy"}]
repair = [{code = "swap", label = "Swap", steps = ["opening"], parts = ["battery"]}]
price = [{part = "battery", grade = "original", money = 40, since = 2024-01-01},
         {part = "battery", grade = "copy", money = 10, since = 2024-01-01}]
failure_mode = [
  {code = "torn", label = "Torn", family = "broken_tabs", severity = 2, steps = ["opening"]},
  {code = "dark", label = "Dark", family = "display_damage", severity = 2, part = "display"},
  {code = "refused", label = "Refused", family = "calibration_failures", severity = 2, \
   steps = ["opening"]},
  {code = "dead", label = "Dead", family = "power", severity = 3, cost_money = 5, \
   part = "battery"},
  {code = "runaway", label = "Runaway", family = "mixed_part_conflicts", severity = 5, \
   cost_money = 20, safety = true, cautions = ["Stop."], mixed = ["battery", "display"]},
]
"""


def make(path, *, copies, bad=0, came_back=0, display="original", covers="all", elm=10**6):
    """A shop of 400 jobs with original batteries, and copies, of which ``bad`` run away.

    All of these are on the model Elm, of which there are at most ``elm`` jobs with copies;
    ``came_back`` devices, of either model, run away at home.
    """
    path.mkdir()
    (path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
    folder = make_folder(path / "shop", Settings(name="Small", labour_rate=60.0), path / "c.toml")
    total = 400 + copies
    rows = [
        {
            "job": f"J{number}", "finished": date(2025, 1, 1) + timedelta(days=number // 4),
            "model": ("Elm", "Oak")[number // 3 % 2], "technician": ("t1", "t2")[number // 5 % 2],
            "repair": "swap", "opening": "heat",
            "battery_grade": "copy" if number * copies % total < copies else "original",
            "display_grade": display, "display_fitted": "no",
            "failures": "dead" if number % 31 == 5 else "", "returned": "", "return_reason": "",
        }
        for number in range(total)
    ]  # fmt: skip
    fitted = [row for row in rows if row["battery_grade"] == "copy"]
    on_elm = [row for row in fitted if row["model"] == "Elm"]
    for row in on_elm[:bad]:
        row["failures"] = "runaway"
    for row in on_elm[elm:]:
        row["model"] = "Oak"
    for row in fitted[:came_back]:
        row |= {"returned": row["finished"] + timedelta(days=5), "return_reason": "runaway"}
    with (path / "sheet.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, [*rows[0]])
        writer.writeheader()
        writer.writerows(rows)
    (report,) = import_sheets(folder, [path / "sheet.csv"], covers=covers).sheets
    assert (report.added, report.held_back) == (len(rows), 0)
    return folder.path


@pytest.fixture(scope="module")
def dangerous(tmp_path_factory):
    return make(tmp_path_factory.mktemp("rule") / "bad", copies=200, bad=15)


@pytest.fixture(scope="module")
def few(tmp_path_factory):
    return make(tmp_path_factory.mktemp("rule") / "few", copies=40)


@pytest.fixture(scope="module")
def one_model(tmp_path_factory):
    """Eleven of the copies on Elm run away, which 1,200 copies in all would hide."""
    return make(tmp_path_factory.mktemp("rule") / "elm", copies=1200, bad=11, elm=60)


def decided(run, shop, *words):
    code, out, err = run("decide", "battery_grade", *words, "--shop", shop, "--format", "json")
    assert (code, err) == (0, "")
    return json.loads(out)["rows"]


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--model", "Oak"),
        ("--where", "model=Oak"),
        ("--since", "2025-05-01"),
        ("--confidence", "0.6"),
        ("--cost", "runaway=0", "--price", "battery:copy=0"),
        ("--limit", "safety_limit=0.9"),  # more than with original ones all the same
    ],
    ids=" ".join,
)
def test_nothing_asked_makes_a_dangerous_grade_look_safe(run, dangerous, words):
    for row in decided(run, dangerous, *words):
        assert (row["verdict"], row["option"], row["runner_up"]) == ("only_one", "original", None)
        assert "Copy ruled out by safety failures" in row["reason"]


def test_no_command_names_a_dangerous_grade(run, dangerous, tmp_path):
    _, out, _ = run("decide", "battery_grade", "--shop", dangerous)
    assert "ruled out, whatever it would save: Copy (Battery grade, 15 of " in out
    code, _, err = run("trial", "plan", "battery_grade", "--options", "original,copy",
                       "--shop", dangerous)  # fmt: skip
    assert code != 0 and "copy is worse in safety (15 of " in err
    code, _, err = run("adopt", "battery_grade", "copy", "--shop", dangerous)
    assert code == 2 and "copy is not adopted: it has more safety failures" in err
    _, out, _ = run("brief", "--model", "Oak", "--repair", "swap", "--shop", dangerous)
    assert "Battery: Original (only one used)" in out and "Copy" not in out
    run("report", "--shop", dangerous, "--out", tmp_path / "report")
    text = (tmp_path / "report" / "report.md").read_text(encoding="utf-8")
    assert "1. **Stop**: Do not use Copy for battery grade." in text
    assert text.count("make Copy") == 0


def test_a_danger_on_one_model_rules_an_option_out_there(run, one_model, tmp_path):
    rows = {row["model"]: row for row in decided(run, one_model)}
    assert rows["Elm"]["option"] == "original" and "Copy ruled out" in rows["Elm"]["reason"]
    assert {rows[model]["option"] for model in (None, "Oak")} == {"copy"}
    _, out, _ = run("decide", "battery_grade", "--shop", one_model)
    assert "ruled out, whatever it would save: Copy (Battery grade on Elm, 11 of 60 jobs" in out
    assert "): do not use it on Elm\n" in out and "off the bench" not in out
    code, _, err = run("adopt", "battery_grade", "copy", "--model", "elm", "--shop", one_model)
    assert code == 2 and "copy is not adopted on Elm" in err
    assert rows[None]["reason"].startswith("NOT ON Elm, ruled out there by safety failures; ")
    assert "NOT ON" not in rows["Oak"]["reason"]
    own = tmp_path / "own"
    shutil.copytree(one_model, own)
    code, _, err = run("adopt", "battery_grade", "copy", "--shop", own)
    assert code == 0 and "warning: on Elm copy is ruled out by safety failures: fixstats ad" in err
    _, out, _ = run("brief", "--model", "Elm", "--repair", "swap", "--shop", one_model)
    assert "Battery: Original (only one used)" in out


@pytest.mark.parametrize(("bad", "option"), [(1, "copy"), (2, "original")])
def test_a_single_failure_rules_nothing_out_on_one_model(run, tmp_path, bad, option):
    """1 of 2 has a lower limit of 0.013 at 97.5 %, 1 of 1 has 0.025: above 0.02 by one event."""
    shop = make(tmp_path / "new", copies=1200, bad=bad, elm=bad)
    rows = {row["model"]: row for row in decided(run, shop)}
    assert (rows["Elm"]["option"], rows["Oak"]["option"]) == (option, "copy")


def test_a_trial_says_on_which_models_an_option_is_ruled_out(run, one_model, tmp_path):
    own, sheet = tmp_path / "own", tmp_path / "sheet.html"
    shutil.copytree(one_model, own)
    ask = ("battery_grade", "--options", "original,copy", "--shop", own)
    told = "copy: ruled out on Elm by all records, of the trial or not (11 of 60 jobs with a"
    code, plan, _ = run("trial", "plan", *ask)
    assert code == 0 and told in plan and "do not use it on Elm" in plan
    assert "count devices of the models ruled out, too" in plan and "on Oak" not in plan
    assert run("trial", "start", "grades", *ask, "--max-jobs", "40", "--sheet", sheet)[0] == 0
    assert "ruled out on Elm by all records" in sheet.read_text(encoding="utf-8")
    code, status, _ = run("trial", "status", "grades", "--shop", own)
    assert code == 0 and told in status and "no such devices go into the trial" in status


def test_another_name_of_a_model_hides_no_danger(run, one_model, tmp_path):
    own = tmp_path / "own"
    shutil.copytree(one_model, own)
    with (own / "catalogue.toml").open("a", encoding="utf-8") as catalogue:
        catalogue.write('[[alias]]\nkind = "model"\nis = "Elm"\nalso = ["E 1"]\n')
    words = ("battery_grade", "--options", "original,copy", "--max-jobs", "40", "--shop", own)
    assert run("trial", "start", "grades", *words)[0] == 0
    for model in ("elm", "e 1"):
        code, out, err = run("trial", "next", "grades", "--technician", "t1", "--model", model,
                             "--shop", own)  # fmt: skip
        assert (code, out) == (2, "") and "copy is ruled out on Elm" in err
        code, _, err = run("adopt", "battery_grade", "copy", "--model", model, "--shop", own)
        assert code == 2 and "copy is not adopted on Elm" in err
    _, out, _ = run("brief", "--model", "E 1", "--repair", "swap", "--shop", own)
    assert "Swap: Elm" in out and "draw no more for the trial grades: Copy ruled out" in out
    code, out, _ = run("trial", "next", "grades", "--technician", "t1", "--model", "Oak",
                       "--shop", own)  # fmt: skip
    assert code == 0 and "1 of 40 handed out" in out


@pytest.mark.parametrize(
    ("option", "trial", "verdict", "said"),
    [
        ("Copy", None, "lean", "Copy (word)"),
        (None, "t1", "lean", "as drawn by lot (word)"),
        (None, None, None, "as you judge (word)"),
        (None, None, "unproven", "none of those used (word)"),  # all are ruled out
    ],
)
def test_a_brief_without_an_option_says_why(option, trial, verdict, said):
    row = {"option": option, "option_label": option, "trial": trial, "verdict": verdict}
    assert choice_words(row | {"word": "word"}) == said


def test_few_jobs_without_a_danger_clear_nothing(run, few):
    rows = decided(run, few)
    assert {row["verdict"] for row in rows} == {"unproven"}
    assert {row["option"] for row in rows} == {"copy"}
    assert rows[0]["safety"] == "unproven" and rows[0]["jobs_needed"] == 149 - 40
    _, out, _ = run("brief", "--model", "Elm", "--repair", "swap", "--shop", few)
    assert "Battery: Original (not settled)" in out
    assert "Copy may cost less, its safety is not shown" in out
    _, out, _ = run("trial", "plan", "battery_grade", "--options", "original,copy", "--shop", few)
    assert (
        "copy is unproven in safety (0 of 40 jobs" in out and "only run with its harm stop" in out
    )


def test_a_milder_limit_is_said_beside_every_verdict(run, few):
    for row in decided(run, few, "--limit", "safety_limit=0.5"):
        assert (row["verdict"], row["option"]) == ("standardise", "copy")
        assert row["reason"].startswith("BY THE SHOP'S OWN safety_limit Copy is unproven: not to")
    _, out, _ = run("decide", "battery_grade", "--limit", "safety_limit=0.5", "--shop", few)
    assert "fixstats adopt" not in out


@pytest.mark.parametrize(
    ("how", "state"),
    [
        ({"copies": 200, "came_back": 15}, "worse"),
        # nobody looked for anything else, so that no job is known to have gone well
        ({"copies": 200, "bad": 15, "covers": "runaway"}, "worse"),
        ({"copies": 200, "display": ""}, "unproven"),
        ({"copies": 200, "bad": 3, "display": ""}, "unproven"),
    ],
    ids=["came back", "not all looked for", "grades not known", "grades not known, some seen"],
)
def test_dangers_that_are_seen_late_or_little_known(run, tmp_path, how, state):
    shop = make(tmp_path / "one", **how)
    for row in decided(run, shop):
        told = "ruled out" if state == "worse" else "the safety of Copy is not shown"
        assert row["verdict"] != "standardise" and told in row["reason"]
