"""``fixstats trial``: a trial planned, begun, followed and stopped from the command line alone."""

from __future__ import annotations

import csv
import json
import re
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from fixstats.cli.trial import trial
from fixstats.findings.trial import KEYS, LIST_KEYS
from fixstats.findings.trial_size import KEYS as PLAN_KEYS

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
NAMES = [info.name or info.callback.__name__ for info in trial.registered_commands]
OPTIONS = ("opening", "--options", "heat_plate,heat_pad", "--mode", "display_damage")

ASKED = ("--technician", "T1", "--model", "Brask One")


@pytest.fixture
def own_shop(demo_shop, tmp_path):
    return shutil.copytree(demo_shop, tmp_path / "shop")


def test_the_commands_are_those_promised():
    assert NAMES == ["plan", "start", "next", "status", "list"]
    assert "| `fixstats trial plan CHOICE" in README


@pytest.mark.parametrize("name", NAMES)
def test_help_has_an_example(name, run):
    code, out, _ = run("trial", name, "--help")
    assert code == 0
    assert re.search(rf"Examples:\n\s+fixstats trial {name}\b", out)


def test_help_of_all(run):
    code, out, _ = run("trial", "--help")
    assert code == 0 and "fixstats trial plan opening" in out


def test_from_plan_to_verdict(run, own_shop, tmp_path, monkeypatch):
    # The trial is begun on the day after the last job of the demo.
    start = datetime(2026, 10, 1, 8, tzinfo=UTC)
    monkeypatch.setattr("fixstats.records.trials._clock", lambda: start)
    shop = ("--shop", own_shop)
    code, out, err = run("trial", "plan", *OPTIONS, "--difference", "0.05", *shop)
    assert (code, err) == (0, "")
    assert "looked at every week (the rule here)" in out and "jobs a week" in out
    assert "caution: A swollen, hot, bent or pierced cell: stop first" in out

    sheet = tmp_path / "lines.csv"
    code, out, err = run(
        "trial", "start", "pads", *OPTIONS, "--difference", "0.3", "--seed", "7", "--sheet", sheet,
        "--max-jobs", "900", *shop,
    )  # fmt: skip
    assert (code, err) == (0, "") and "seed 7" in out and f"wrote {sheet}" in out
    with sheet.open(newline="") as file:
        lines = [line for line in csv.DictReader(file) if line["technician"] == "T1"]
    group = next(iter(re.findall(r"(\w+) devices", run("trial", "next", "pads", *ASKED, *shop)[1])))
    drawn = [line["assigned"] for line in lines if line["model_group"] == group][:26]
    assert len(drawn) == 26

    # The bench asks for the second and third, and goes by the printed lines from then on.
    for number in (1, 2):
        code, out, err = run("trial", "next", "pads", *ASKED, "--job", f"P{number}", *shop)
        assert (code, err) == (0, "")
        assert f"opening: use {drawn[number]} (" in out and "stop first" in out
        assert f"trial = pads, assigned = {drawn[number]}" in out
    rows = ["job,received,finished,model,repair,technician,opening,failures,trial,assigned"]
    for number, option in enumerate(drawn):
        day = date(2026, 10, 1) + timedelta(days=number)
        failed = "display_lines" if option == "heat_plate" else ""
        rows.append(
            f"P{number},{day},{day},Brask One,battery_swap,T1,{option},{failed},pads,{option}"
        )
    again = run("trial", "next", "pads", *ASKED, "--job", "P2", *shop)[1]
    assert "drawn before for this job" in again and "3 of 900" in again
    code, out, _ = run("trial", "next", "pads", *ASKED, "--exclude", "swollen cell", *shop)
    assert code == 0 and "kept out of trial pads: swollen cell; nothing was drawn" in out
    assert run("trial", "status", "pads", *shop)[1].startswith("trial pads: go on")

    done = tmp_path / "pads.csv"
    done.write_text("\n".join(rows) + "\n")
    code, out, err = run("import", done, "--covers", "all", *shop)
    assert (code, "26 new" in out) == (0, True), out
    code, out, err = run("trial", "status", "pads", "--chart", tmp_path / "pads.svg", *shop)
    assert (code, err) == (0, "")
    assert out.startswith("trial pads: stop (shown)")
    assert "heat_pad has fewer such failures" in out and "1 device kept out" in out
    assert "confidence sequence" in (tmp_path / "pads.svg").read_text(encoding="utf-8")
    code, out, err = run("trial", "next", "pads", *ASKED, *shop)
    assert code == 2 and "stop (shown): no more devices go into it" in err
    code, out, _ = run("trial", "list", *shop)
    assert code == 0 and "heat_pad against heat_plate" in out
    assert "any of display_damage" in out


def test_json(run, own_shop):
    shop = ("--shop", own_shop, "--format", "json")
    plan = json.loads(run("trial", "plan", *OPTIONS, "--difference", "0.05", *shop)[1])
    assert list(plan) == ["question", "settings", "rows", "notes"]
    assert plan["question"] == "trial plan"
    assert all(tuple(row) == PLAN_KEYS for row in plan["rows"])
    nothing = json.loads(run("trial", "list", *shop)[1])
    assert nothing["rows"] == [] and nothing["notes"][0]["code"] == "nothing"
    run("trial", "start", "pads", *OPTIONS, "--difference", "0.1", "--shop", own_shop)
    page = (own_shop / "reports" / "trial_pads.html").read_text(encoding="utf-8")
    assert page.count("<section>") == 15 and "Warm pad" in page
    listed = json.loads(run("trial", "list", *shop)[1])
    assert all(tuple(row) == LIST_KEYS for row in listed["rows"])
    status = json.loads(run("trial", "status", "pads", *shop)[1])
    assert [tuple(row) for row in status["rows"]] == [KEYS, KEYS]
    assert [row["role"] for row in status["rows"]] == ["baseline", "option"]
    for name in (
        "confidence_level",
        "view",
        "since",
        "until",
        "as_of",
        "catalogue_hash",
        "batches",
    ):
        assert name in status["settings"] and name in plan["settings"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("plan", "openin", "--options", "a,b"), "did you mean 'opening'"),
        (("plan", "opening", "--options", "heat_plate"), "a trial has two options"),
        (("plan", "opening"), "options"),
        (("status", "pads"), "there is no trial 'pads'"),
        (("next", "pads", "--technician", "T1", "--model", "X"), "there is no trial 'pads'"),
        (
            ("start", "pads", *OPTIONS, "--difference", "0.1", "--sheet", "pads.docx"),
            "end it in .html (to print) or .csv",
        ),
        (
            ("start", "pads", *OPTIONS, "--difference", "0.1", "--max-jobs", "1"),
            "at least 2 jobs",
        ),
        (("start", "Pads 1", *OPTIONS, "--difference", "0.1"), "cannot name a trial"),
        (("statsu",), "No such command 'statsu'. Did you mean 'status'"),
    ],
)
def test_wrong_usage_is_exit_2_in_two_lines(words, told, run, demo_shop):
    shop = () if words[0] == "statsu" else ("--shop", demo_shop)
    code, out, err = run("trial", *words, *shop)
    assert (code, out) == (2, "")
    assert told in err
    assert err.startswith("fixstats: ") and err.count("\n") <= 2


def test_without_a_shop_it_says_what_to_do(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FIXSTATS_SHOP", raising=False)
    for words in (("list",), ("status", "pads"), ("plan", "opening", "--options", "a,b")):
        code, _, err = run("trial", *words)
        assert code == 1 and "no shop folder here or above" in err
