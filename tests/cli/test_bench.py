"""add, amend and show from the command line: by options, by answers, stopped, hostile."""

from __future__ import annotations

import io
import json
import re

import pytest

from fixstats.cli.ask import completer, picked
from fixstats.cli.complete import cells, repairs
from fixstats.errors import UsageError
from fixstats.folder import find_folder
from fixstats.records.bench import record
from fixstats.records.trials import NewTrial, start_trial

BY_OPTIONS = (
    "add", "--job", "1", "--model", "Orca", "--technician", "T1", "--repair", "camera_swap",
    "--finished", "2026-03-14",
)  # fmt: skip
EARLIER = {
    "job": "0", "finished": "2026-03-10", "model": "Orca", "technician": "T1",
    "repair": "camera_swap", "opening": "heat_pad", "camera_fitting": "camera_module_swap",
    "isolation": "battery_unplugged", "display_handling": "display_on_stand",
    "adhesive_cleaning": "scrape_dry", "reconnection": "-", "dry_test": "-", "resealing": "-",
    "calibration": "-", "camera_grade": "original", "camera_supplier": "Kestrel",
    "camera_lot": "L9", "failures": "none", "swollen": "yes",
}  # fmt: skip


@pytest.fixture
def shop(run, tmp_path, monkeypatch):
    path = tmp_path / "shop"
    assert run("init", path, "--name", "Test", "--labour-rate", "50")[0] == 0
    monkeypatch.chdir(path)
    monkeypatch.delenv("FIXSTATS_SHOP", raising=False)
    return find_folder(path)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def answer(run, monkeypatch):
    """Run a command line with these lines typed at a terminal."""

    def command(words, *lines):
        monkeypatch.setattr("fixstats.cli.ask._readline", lambda: None)
        monkeypatch.setattr("sys.stdin", Terminal("".join(f"{line}\n" for line in lines)))
        return run(*words)

    return command


def entry(folder):
    (path,) = folder.waiting
    return json.loads(path.read_text(encoding="utf-8"))


# ---------------------------------------------------------------- by options


def test_entirely_by_options_then_taken_in_amended_and_shown(run, shop):
    code, out, err = run(
        *BY_OPTIONS, "--set", "opening=heat_pad > heat_plate", "--set", "swollen=no",
        "--failures", "heat_mark@2", "--unchecked", "calibration_failures",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "kept job 1 in inbox/" in out
    assert entry(shop)["opening"] == "heat_pad > heat_plate"
    assert run("import")[0] == 0
    code, out, _ = run("amend", "1", "--set", "failures=", "--set", "charge=55")
    assert (code, "failures: heat_mark@2 -> none" in out) == (0, True)
    code, out, _ = run("show", "1")
    assert code == 0
    assert "opening            heat_pad, then heat_plate" in out
    assert "failed             none seen" in out
    assert "replaced by import 2" in out and "charge: not recorded -> 55" in out
    told = json.loads(run("show", "1", "--format", "json")[1])
    assert [row["state"] for row in told["rows"]] == ["replaced", "standing"]
    assert told["rows"][0]["cells"]["failures"] == "heat_mark@2"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "what failed? Say --none-seen"),
        (("--none-seen", "--failures", "heat_mark"), "contradict each other"),
        (("--none-seen", "--set", "opening=heat_pd"), "did you mean 'heat_pad'"),
        (("--none-seen", "--set", "camera_grad=original"), "did you mean 'camera_grade'"),
        (("--none-seen", "--set", "job=2"), "job is said twice"),
        (("--failures", "heat_mrk"), "did you mean 'heat_mark'"),
        (("--none-seen", "--as-last"), "there is no earlier job of this model"),
    ],
)
def test_wrong_options_keep_nothing(run, shop, words, told):
    code, out, err = run(*BY_OPTIONS, *words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") <= 2
    assert shop.waiting == []


def test_as_last_is_asked_for_and_never_says_how_it_went(run, shop):
    record(shop, EARLIER)
    assert run("import")[0] == 0
    code, out, _ = run(*BY_OPTIONS, "--none-seen", "--as-last")
    assert (code, "as on job 0 (2026-03-10)" in out) == (0, True)
    kept = entry(shop)
    assert (kept["camera_supplier"], kept["opening"]) == ("Kestrel", "heat_pad")
    assert not {"camera_lot", "swollen", "unchecked"} & set(kept)


def test_a_name_like_a_known_one_must_be_said_to_be_new(run, shop):
    record(shop, EARLIER)
    words = [word if word != "Orca" else "Orka" for word in BY_OPTIONS]
    code, _, err = run(*words, "--none-seen")
    assert (code, "did you mean 'Orca'" in err, "add --new" in err) == (2, True, True)
    assert run(*words, "--none-seen", "--new")[0] == 0


def test_hostile_text_is_inert(run, shop):
    # ">" would part two pieces, so a whole tag cannot stand in a supplier
    nasty = "<img src=x onerror=alert(1)"
    code, _, _ = run(*BY_OPTIONS, "--none-seen", "--set", f"camera_supplier={nasty}")
    assert code == 0
    for text in ("Orca\x1b[2J", "\u202eacrO", "=1+1"):
        code, _, err = run(*BY_OPTIONS, "--none-seen", "--set", f"camera_lot={text}")
        assert code == 2
        assert "\x1b" not in err and "\u202e" not in err
    assert run("import")[0] == 0
    markdown = run("show", "1", "--format", "markdown")[1]
    assert re.search(r"(?<!\\)<", markdown) is None
    assert nasty in run("show", "1")[1]


# ---------------------------------------------------------------- by answers

DEVICE = ("2", "Orca", "T1", "camera_swap")
WENT = ("n", "", "", "", "", "n", "n", "42")


def test_an_ordinary_job_by_answers(answer, shop):
    """With an earlier job: twenty short answers, most of them one key."""
    record(shop, EARLIER)
    shop.waiting[0].rename(shop.path / "inbox" / "0.jsonl")
    lines = (*DEVICE, "y", "", "", "", "L10", *WENT, "")
    code, out, err = answer(["add", "--finished", "2026-03-14"], *lines)
    assert (code, err) == (0, "")
    assert out.index("did the first choice work") < out.index("first choices of job 0")
    kept = json.loads(shop.waiting[-1].read_text(encoding="utf-8"))
    assert kept["opening"] == "heat_pad"
    assert (kept["camera_grade"], kept["camera_lot"]) == ("original", "L10")
    assert (kept["swollen"], kept["failures"], kept["minutes"]) == ("no", "none", "42")
    # only what belongs to the repair is asked for
    assert "bent_frame" in out and "back_cracked" not in out and "Battery health" not in out
    assert "glass_removal" not in out


def test_an_enter_never_means_that_nothing_was_seen(answer, shop):
    steps = ("1", "1", "1", "1", "", "", "", "", "")
    lines = (
        *DEVICE, "", "1", *steps, "2 > 3", "1", "", "", "1 3?", "", "", "", "", "", "heat_mrk",
        "heat_mark@1", "", "n", "", "",
    )  # fmt: skip
    code, out, err = answer(["add", "--finished", "2026-03-14"], *lines)
    assert (code, err) == (0, "")
    assert "y if it did; else the steps" in out
    assert "did you mean 'heat_mark'" in out
    assert "n if none seen" in out and "n if all was looked for" in out
    kept = entry(shop)
    methods = shop.catalogue.methods_of("opening")
    assert kept["opening"] == " > ".join(methods[:3])
    assert kept["failures"] == "heat_mark@1"
    assert (kept["swollen"], kept["prior_repair"], "liquid" in kept) == ("yes", "no", False)


def test_what_an_import_would_refuse_is_asked_again(answer, shop):
    lines = (*DEVICE, "y", *("",) * 9, "1", "", "", "n", "", "150x", "", "n", "n", "", "", "55",
             "price=80", "prize=9", "opening=heat_pd", "")  # fmt: skip
    code, out, err = answer(["add", "--finished", "2026-03-14"], *lines)
    assert (code, err) == (0, "")
    assert "charge: '150x' is no number that can be read" in out
    assert "did you mean 'price'" in out and "did you mean 'heat_pad'" in out
    assert (entry(shop)["charge"], entry(shop)["price"]) == ("55", "80")
    assert "opening" not in entry(shop)


@pytest.mark.parametrize("lines", [(), ("2",), (*DEVICE, "y"), (*DEVICE, "y", *("",) * 10)])
def test_stopped_before_the_end_nothing_is_left(answer, shop, lines):
    code, _, err = answer(["add"], *lines)
    assert (code, err) == (130, "fixstats: stopped; nothing of this job was kept\n")
    assert list((shop.path / "inbox").iterdir()) == []


def test_ctrl_c_keeps_nothing(answer, shop, monkeypatch):
    def interrupted(prompt):
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", interrupted)
    code, _, err = answer(["add"])
    assert (code, "nothing of this job was kept" in err) == (130, True)
    assert shop.waiting == []


def test_a_trial_is_asked_about_before_the_work(answer, shop, monkeypatch):
    record(shop, EARLIER)
    new = NewTrial("pads", "opening", "heat_plate", "heat_pad", None, None, ("heat_mark",), 0.05,
                   20, "7")  # fmt: skip
    start_trial(shop, new, {("T1", "middle"): 8}, {})
    lines = (*DEVICE, "d", "y", "", "3", "", "", "L10", *WENT, "")
    code, out, err = answer(["add", "--finished", "2026-03-14"], *lines)
    assert (code, err) == (0, "")
    assert "trial pads runs: opening, heat_plate or heat_pad" in out
    kept = entry(shop)
    assert kept["trial"] == "pads" and f"use {kept['assigned']}" in out
    # what was really used is asked, not filled in from the job before
    assert out.index("opening: first choice") > out.index("first choices of job 0")
    assert kept["opening"] == shop.catalogue.methods_of("opening")[2]


def test_what_was_drawn_before_a_stop_is_taken_over(answer, shop):
    record(shop, EARLIER)
    new = NewTrial("pads", "opening", "heat_plate", "heat_pad", None, None, ("heat_mark",), 0.05,
                   20, "7")  # fmt: skip
    start_trial(shop, new, {("T1", "middle"): 8}, {})
    code, _, err = answer(["add"], *DEVICE, "d")
    assert code == 130
    assert re.search("kept; heat_(pad|plate) stays drawn for it in trial pads", err)
    assert shop.waiting == []
    _, out, _ = answer(["add"], *DEVICE, "y")
    assert "was drawn for this job" in out and "d draws now" not in out


def test_amend_asks_where_nothing_is_said(answer, shop):
    record(shop, EARLIER)
    code, out, _ = answer(["amend", "0"], "opening=heat_plat", "opening=heat_plate", "lot", "")
    assert code == 0
    assert "did you mean 'heat_plate'" in out and "write COLUMN=VALUE" in out
    assert "opening: heat_pad -> heat_plate" in out
    assert "nothing was changed" in answer(["amend", "0"], "")[1]


# ---------------------------------------------------------------- completion


def test_completion_and_numbers(shop):
    assert cells("camera_gra") == ["camera_grade="]
    assert "camera_grade=original" in cells("camera_grade=orig")
    assert repairs("cam") == ["camera_swap"]
    complete = completer(["Brask One", "Brask Two", "Orca"])
    assert [complete("bra", n) for n in range(3)] == ["Brask One", "Brask Two", None]
    assert complete(" or", 0) == " Orca"
    assert picked("3; a", ["a", "b", "c"]) == ["a", "c"]
    with pytest.raises(UsageError, match="'4' is none of these"):
        picked("4", ["a", "b", "c"])
