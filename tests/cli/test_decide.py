"""``fixstats decide``: what to do first, then the figures, then what could mislead."""

from __future__ import annotations

import csv
import io
import json

import pytest

from fixstats.cli import complete
from fixstats.cli.decide_text import _money, decide_text
from fixstats.findings.decide_rows import KEYS
from tests.charts.decide_cases import DECISIONS, EQUAL, PAD, PLATE, decided, decision, many_models


@pytest.fixture
def ask(run, demo_shop):
    return lambda *words: run("decide", *words, "--shop", demo_shop)


ONE = ("battery_release", "--model", "Brask One")


def test_words_figures_warnings_in_this_order(ask, tmp_path):
    code, out, err = ask(*ONE, "--chart", tmp_path / "cost.svg")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].startswith("Releasing the battery on Brask One: use Pull tabs and keep count")
    assert lines[2].startswith("expected cost per job in EUR, by first choice, 95 % intervals, up ")
    assert lines[6].startswith("Brask One  lean ")
    behind = lines.index("battery_release on Brask One, a job of each option")
    heads = lines[behind + 2].split("  ")
    assert heads[0] == "option" and "come-backs" in lines[behind + 2]
    worse = next(line for line in lines if line.startswith("pry_tool"))
    assert worse.endswith("worse")
    change = lines.index(
        "battery_release on Brask One, what would change the leader, one at a time"
    )
    assert lines[change + 1].startswith("  labour_rate ") and "(now 54.00): then " in out
    note = next(line for line in lines if line.startswith("note: "))
    assert note.startswith("note: ruled out, whatever it would save: Prying tool, cold (")
    assert "caution: pull_tab: Pull slowly" in out
    assert "note: These figures describe this shop's own records only" in out
    assert "lean to Pull tabs" in (tmp_path / "cost.svg").read_text(encoding="utf-8")


def test_json_has_the_stated_keys_and_what_if_is_said(ask, demo_shop):
    before = {path.name: path.read_bytes() for path in demo_shop.glob("*.toml")}
    what_if = ("--labour-rate", "90", "--cost", "tab_snapped=20", "--limit", "tolerance=1")
    code, out, _ = ask(*ONE, *what_if, "--price", "battery:original=9", "--format", "json")
    assert code == 0
    found = json.loads(out)
    assert [tuple(row) for row in found["rows"]] == [KEYS]
    settings = found["settings"]
    assert (settings["labour_rate"], settings["tolerance"]) == (90, 1)
    assert len(settings["changed"]) == 4 and "along" not in settings
    wanted = {"confidence_level", "view", "since", "until", "as_of", "catalogue_hash", "batches"}
    assert wanted <= set(settings)
    assert "what_if" in {note["code"] for note in found["notes"]}
    assert {path.name: path.read_bytes() for path in demo_shop.glob("*.toml")} == before


def test_along_draws_where_it_flips(ask, tmp_path):
    code, _, _ = ask(*ONE, "--along", "labour_rate", "--chart", tmp_path / "flip.svg")
    assert code == 0
    text = (tmp_path / "flip.svg").read_text(encoding="utf-8")
    assert "lowest expected cost with Pull tabs down to a labour rate of" in text
    assert "flips at" in text and "now 54.00" in text
    code, out, err = ask(*ONE, "--along", "labor", "--chart", tmp_path / "x.svg")
    assert (code, out) == (2, "")
    assert err == "fixstats: --along labor: no such input here; did you mean 'labour_rate'?\n"


def test_suppliers_are_weighed_within_one_grade(ask):
    code, out, _ = ask("battery_supplier", "--where", "battery_grade=aftermarket_high",
                       "--format", "csv", "--model", "Brask One")  # fmt: skip
    assert code == 0
    (row,) = csv.DictReader(io.StringIO(out))
    assert tuple(row) == KEYS and row["choice"] == "battery_supplier"
    code, out, err = ask("battery_supplier")
    assert (code, out) == (2, "")
    assert err.endswith("hold one grade fixed: --where battery_grade=GRADE\n")
    two = ("--where", "battery_grade=original", "--where", "battery_grade=refurbished")
    assert ask("battery_supplier", *two)[0] == 2


def test_jobs_picked_by_how_they_went_are_said_first(ask):
    _, out, _ = ask("opening", "--model", "Brask Tab", "--where", "outcome=completed")
    notes = [line for line in out.splitlines() if line.startswith("note: ")]
    assert notes[0].startswith("note: the jobs were picked by how they went, after the choice: ")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("openin",), "'openin' is no choice; did you mean 'opening'?"),
        (("opening", "--model", "Norvane 2l"), "did you mean 'Norvane 2"),
        (("opening", "--price", "battery=3"), "write it as PART:GRADE=MONEY, such as"),
        (("opening", "--price", "battery:original"), "write it as PART:GRADE=MONEY, such as"),
        (("opening", "--price", "battery:original=3,5"), "write it as PART:GRADE=MONEY, such as"),
        (("opening", "--price", "battery:origin=3"), "unknown grade 'origin'"),
        (("opening", "--cost", "tab_snaped=3"), "did you mean 'tab_snapped'?"),
        (("opening", "--cost", "tab_snapped=1", "--cost", "tab_snapped=2"), "is said twice"),
        (("opening", "--cost", "tab_snapped=inf"), "--cost tab_snapped inf: is not allowed"),
        (("opening", "--limit", "tolernce=3"), "did you mean 'tolerance'?"),
        (("opening", "--limit", "standardise_at=2"), "a number between 0 and 1"),
        (("opening", "--labour-rate", "-1"), "money per hour, 0 or more"),
        (("opening", "--along", "labour_rate"), "is for a picture, add --chart FILE"),
        (("--along", "labour_rate", "--chart", "x.svg"), "draws one choice: fixstats decide CHOI"),
        (("opening", "--confidence", "95"), "such as 0.95"),
        (("opening", "--format", "xml"), "unknown format 'xml'"),
    ],
)
def test_wrong_words_are_refused_in_two_lines(ask, words, told):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert err.startswith("fixstats: ") and told in err
    assert err.count("\n") <= 2


def test_nothing_to_show_is_said(ask):
    code, out, _ = ask("opening", "--since", "2027")
    assert (code, out) == (0, "note: no job asked about has an option of such a choice\n")


# ---------------------------------------------------------------- words on decisions made by hand


def test_of_one_choice_every_row_is_told():
    lines = decide_text(DECISIONS["decided"]).splitlines()
    assert [line.split(": ")[0] for line in lines[:3]] == ["opening", "  opening", "  opening"]
    assert any(line.startswith("Alder 2  lean (borderline)") for line in lines)


def test_of_several_choices_models_are_told_that_differ():
    other = [("heat_gun", *PLATE[1:]), ("heat_plate", (20.0, 19.0, 21.0), *PLATE[2:])]
    rows = [
        decided([PLATE]), decided([PLATE], model="A", verdict="lean"), decided([PLATE], model="B"),
        decided(other, model="C"), decided(EQUAL, choice="calibration"),
        decided(EQUAL, choice="calibration", model="A"),
    ]  # fmt: skip
    out = decide_text(decision(rows))
    lines = out.splitlines()
    assert lines[1] == "  heat_plate leads on 2 of 3 models: lean 1, standardise 1"
    assert lines[2].startswith("  opening: on C: ")
    assert lines[4] == "  heat_plate leads on 1 of 1 model: standardise 1"
    assert "3 rows of models with the same leader are not shown; every row: fixstats" in out
    table = [line for line in lines if line.startswith(("opening  ", "calibration  "))]
    assert [line.split()[1] for line in table] == ["all", "C", "all"]


def test_commands_to_go_on_with_are_those_not_done_yet():
    other = [("heat_gun", *PLATE[1:]), ("heat_plate", (20.0, 19.0, 21.0), *PLATE[2:])]
    rows = [
        decided([PLATE]),
        decided([PLATE], model="same"),
        decided(other, model="It's one", borderline=False),
        decided(other, model="edge", borderline=True),
        decided([PLATE], choice="calibration"),
        decided(other, choice="release", verdict="trial", current="heat_plate"),
    ]
    rows[4][2]["adopted"] = True
    rows.append(decided([PLATE], choice="battery_grade"))
    out = decide_text(decision(rows))
    told = out.split("if you agree:\n")[1].split("\n\n")[0].splitlines()
    assert told == [
        "  fixstats adopt opening heat_plate",
        """  fixstats adopt opening heat_gun --model 'It'"'"'s one'""",
        "  fixstats trial plan release --options heat_plate,heat_gun",
        "  fixstats adopt battery_grade heat_plate  # by the shop's cost alone",
    ]
    assert "if you agree" not in decide_text(decision(rows, changed=["labour_rate=9"]))


@pytest.mark.parametrize(
    ("current", "pair"), [("warm_pad", "heat_gun,steam"), ("steam", "steam,heat_gun")]
)
def test_a_trial_is_of_the_two_that_the_verdict_names(current, pair):
    """Not of the one in use, which may be ruled out, nor always of the runner-up."""
    other = [("heat_gun", *PLATE[1:]), ("heat_plate", (20.0, 19.0, 21.0), *PLATE[2:]), PAD]
    row, options, told = decided(other, verdict="trial", current=current)
    out = decide_text(decision([(row, options, told | {"rival": "steam"})]))
    assert out.endswith(f"fixstats trial plan opening --options {pair}")


def test_no_option_may_be_recommended():
    out = decide_text(DECISIONS["decided, all worse"])
    row = next(line for line in out.splitlines() if line.startswith("all "))
    assert row.split() == ["all", "unproven", "none", "heat_gun", "·", "·", "·", "·"]


@pytest.mark.parametrize(
    ("value", "told"),
    [(0.0, "0.00"), (0.001, "<0.01"), (-0.001, "-<0.01"), (12.345, "12.35"), (None, "·"),
     (1234.5, "1,234")],
)  # fmt: skip
def test_money_has_no_false_zero(value, told):
    assert _money(value) == told


def test_names_of_the_records_cannot_steer_a_terminal():
    out = decide_text(decision([decided([PLATE], model="\x1b[31mred")]))
    assert "\x1b" not in out


def test_many_models_are_one_table():
    lines = decide_text(many_models(19)).splitlines()
    assert sum(line.startswith("Tarn ") for line in lines) == 19


def test_the_tab_key_offers_prices_and_inputs(demo_shop, monkeypatch):
    monkeypatch.setenv("FIXSTATS_SHOP", str(demo_shop))
    assert complete.prices("battery:orig") == ["battery:original=", "battery:original_pulled="]
    assert complete.inputs("lab") == ["labour_rate"]
    assert "tab_snapped" in complete.inputs("tab")
