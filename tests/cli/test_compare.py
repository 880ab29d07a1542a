"""``fixstats compare`` on the demo shop: words first, then figures, then what could mislead."""

from __future__ import annotations

import csv
import io
import json

import polars as pl
import pytest

from fixstats.cli.compare import _signed, _told
from fixstats.findings.base import Finding
from fixstats.findings.compare import KEYS


@pytest.fixture
def ask(run, demo_shop):
    def compare(*words):
        return run("compare", *words, "--shop", demo_shop)

    return compare


TORN = ("display_handling", "--mode", "display_flex_torn", "--strata", "model,technician")


def test_words_figures_warnings_in_this_order(ask):
    code, out, err = ask(*TORN)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].startswith("display_detached fails less than display_on_stand, like for like: ")
    assert lines[1] == ""
    assert lines[2].startswith("display_handling: Display flex torn, by first choice, against ")
    assert "95 % intervals" in lines[2]
    heads = ["option", "failed", "baseline", "raw", "p (corrected)", "within strata", "adjusted"]
    assert [head for head in heads if head in lines[4]] == heads
    assert lines[6].startswith("display_detached  115 of 1,8")
    first = next(line for line in lines if line.startswith("note: "))
    assert first.startswith("note: reversal, display_detached against display_on_stand: ")
    assert "note: These figures describe this shop's own records only" in out


def test_json_has_the_stated_keys_and_the_reason_of_every_null(ask):
    code, out, _ = ask("battery_release", "--mode", "cell_pierced,tab_snapped", "--format", "json")
    assert code == 0
    found = json.loads(out)
    assert list(found) == ["question", "settings", "rows", "notes"]
    assert all(tuple(row) == KEYS for row in found["rows"])
    wanted = {"confidence_level", "view", "since", "until", "as_of", "catalogue_hash", "batches"}
    assert wanted | {"baseline", "baseline_because"} <= set(found["settings"])
    codes = {note["code"] for note in found["notes"]}
    for row in found["rows"]:
        if row["homogeneity_p"] is None:
            assert "no_strata" in codes
        if row["ratio"] is None:
            assert "no_ratio" in codes
        if row["adjusted_rate"] is None:
            assert "no_fit" in codes
    assert "limited_mode" in codes


def test_the_same_records_give_the_same_bytes(ask):
    words = ("calibration", "--mode", "calibration_refused", "--by", "model", "--format", "json")
    assert ask(*words) == ask(*words)


def test_by_model_has_a_sentence_and_a_line_each(ask):
    code, out, _ = ask("calibration", "--mode", "calibration_refused", "--by", "model")
    assert code == 0
    lines = out.splitlines()
    blank = lines.index("")
    assert all(line.startswith("on ") for line in lines[: blank - 1])
    assert lines[blank - 1].startswith("service_console ")
    table = lines[blank + 5 :]
    assert [line.split("  ")[0] for line in table[:2]] == ["Brask One", "Brask Tab"]
    assert table[blank - 1].startswith("all ")


def test_other_formats(ask, tmp_path):
    code, out, err = ask(*TORN, "--format", "csv")
    assert code == 0
    (row,) = csv.DictReader(io.StringIO(out))
    assert tuple(row) == KEYS
    assert "note: reversal" in err
    code, out, _ = ask(*TORN, "--format", "markdown")
    assert out.startswith("| choice | option |")
    target = tmp_path / "torn.parquet"
    assert ask(*TORN, "--out", target)[0] == 0
    assert tuple(pl.read_parquet(target).columns) == KEYS


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("openin",), "'openin' is no choice; did you mean 'opening'?"),
        (("opening", "--baseline", "heatplate"), "did you mean 'heat_plate'?"),
        (("opening", "--mode", "display_line"), "did you mean 'display_lines'?"),
        (("opening", "--adjust", "charge"), "--adjust charge: it is measured during the job"),
        (("opening", "--strata", "outcome"), "--strata outcome: it is known at the end of the job"),
        (("opening", "--by", "branch"), "--by branch: a comparison goes by model"),
        (("opening", "--at", "then"), "--at then: say now or practised"),
        (("opening", "--confidence", "95"), "--confidence 95: must lie between 0.5 and 1"),
        (("opening", "--strata", "none"), "--strata none: unknown key 'none'"),
        (("battery_grade", "--adjust", "battery_lot"), "it comes with the battery chosen"),
        (("opening", "--where", "model=Quilon"), "model=Quilon: not in the records"),
        (("opening", "--format", "xml"), "unknown format 'xml'"),
        ((), "CHOICE"),
    ],
)
def test_wrong_words_are_refused_in_two_lines(ask, words, told):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.startswith("fixstats: ")
    assert err.count("\n") <= 2


def test_practice_behind_the_figures_is_said(ask):
    _, out, _ = ask("battery_release", "--mode", "flex_cut")
    assert "; everybody as practised as they have become" in out
    _, out, _ = ask("battery_release", "--mode", "flex_cut", "--at", "practised")
    assert "; all practised" in out
    _, out, _ = ask("opening", "--mode", "display_lines", "--adjust", "none")
    assert "practised" not in out.split("note:")[0]


def test_dangers_are_told_in_the_sentence_and_picked_jobs_first(ask):
    _, out, _ = ask("battery_release", "--adjust", "none")
    (told,) = [line for line in out.splitlines() if line.startswith("pry_tool ")][:1]
    assert "; but cell_bent or cell_pierced more often with pry_tool (" in told
    _, out, _ = ask("battery_release", "--adjust", "none", "--where", "outcome=completed")
    notes = [line for line in out.splitlines() if line.startswith("note: ")]
    assert notes[0].startswith("note: the jobs were picked by how they went")


@pytest.mark.parametrize(
    ("difference", "told"),
    [(0.0, "0"), (1e-5, "+<0.01"), (-1e-5, "-<0.01"), (0.0042, "+0.42"), (-0.174, "-17.4")],
)
def test_a_difference_has_no_false_zero(difference, told):
    assert _signed(difference) == told


def told_of(*rows, adjusted_for=("model",)):
    common = {"mode": None, "family": None, "option": "gun", "met": True, "unused": ()}
    sentences = [common | {"sentence": f"on {row.get('model')}"} | row for row in rows]
    settings = {"baseline": "plate", "adjusted_for": list(adjusted_for)}
    figures = [{"mode": None, "family": None}]
    return _told(Finding("compare", settings, figures, parts={"sentences": sentences}))


def test_models_that_never_had_an_option_share_a_sentence():
    rows = [{"model": name, "unused": ("plate",)} for name in "ABCDEF"]
    rows[1] = {"model": "B", "unused": ("gun",)}
    found = told_of({"model": "0"}, *rows, {"model": None, "sentence": "over all"})
    assert found == [
        "on 0",
        "on A, C, D, E and 1 more: gun against plate: plate never used there; the table has what "
        "the other models suggest",
        "on B",
        "over all",
    ]
    assert told_of(*rows[2:], adjusted_for=())[0].endswith("never used there; no figure there")


def test_models_are_not_told_one_by_one_where_none_had_both():
    rows = [{"model": name, "unused": ("plate",), "met": False} for name in "AB"]
    last = {"model": None, "met": False, "sentence": "no model has had both"}
    assert told_of(*rows, last) == ["no model has had both"]
