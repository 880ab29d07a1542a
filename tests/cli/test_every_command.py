"""What holds for every command: help with an example, a line in the README, one error door."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fixstats.cli.app import app
from fixstats.cli.door import through_the_door

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
COMMANDS = [info.name or info.callback.__name__ for info in app.registered_commands]


def test_the_commands_are_those_promised():
    assert set(COMMANDS) == {
        "demo", "init", "import", "heldback", "batches", "forget", "rates", "compare", "costs",
        "check", "practice", "causes", "comebacks", "watch", "query", "sql", "add", "amend", "show",
        "adopt", "explain", "brief", "decide", "report",
    }  # fmt: skip


@pytest.mark.parametrize("name", COMMANDS)
def test_help_has_an_example_and_the_readme_a_line(name, run):
    code, out, _ = run(name, "--help")
    assert code == 0
    assert re.search(rf"Examples:\n\s+fixstats {name}\b", out)
    assert f"| `fixstats {name}" in README


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_words(name, run):
    _, out, _ = run(name, "--help")
    options = out.split("Options:")[1]
    for line in re.findall(r"^  (-.*)$", options, flags=re.MULTILINE):
        assert re.search(r"\S\s{2,}\S", line) or re.search(
            re.escape(line) + r"\n\s{10,}\S", options
        ), line


@pytest.mark.parametrize(
    "name", [n for n in COMMANDS if n not in ("demo", "init", "sql", "forget", "explain")]
)
def test_without_a_shop_it_says_what_to_do(name, run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FIXSTATS_SHOP", raising=False)
    if name == "query":
        words = (name, "unchecked")
    else:
        given = {
            "import": ("x.csv",), "compare": ("opening",), "practice": ("opening",),
            "causes": ("calibration_refused",), "amend": ("1", "--set", "charge=5"), "show": ("1",),
            "add": ("--job", "1", "--none-seen"),
            "brief": ("--model", "x", "--repair", "battery_swap"),
        }  # fmt: skip
        words = (name, *given.get(name, ()))
    code, out, err = run(*words)
    assert (code, out) == (1, "")
    assert "no shop folder here or above" in err
    assert "fixstats init" in err
    assert err.count("\n") <= 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["rats"], "No such command 'rats'. Did you mean 'rates'?"),
        (["rates", "--bye", "x"], "No such option: --bye"),
        (
            ["rates", "--min-opportunities", "many"],
            "unable to parse string as an integer\nhelp: fixstats rates --help",
        ),
        (["forget"], "JOB"),
        (["sql"], "give one SELECT"),
        (["demo", "--jobs", "5"], "--jobs goes with --sheet FILE"),
    ],
)
def test_wrong_usage_is_exit_2_in_two_lines(words, told, run):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.startswith("fixstats: ")
    assert err.count("\n") <= 2


def test_a_fault_of_ours_ends_in_a_log(capsys, monkeypatch):
    def broken(**_):
        raise ZeroDivisionError("boom")

    assert through_the_door(broken) == 1
    err = capsys.readouterr().err
    assert "a fault in fixstats itself (ZeroDivisionError: boom)" in err
    log = Path(re.search(r"details are in (\S+)", err)[1])
    assert "Traceback" in log.read_text(encoding="utf-8")
    log.unlink()


def test_ctrl_c_is_said(capsys):
    def stopped(**_):
        raise KeyboardInterrupt

    assert through_the_door(stopped) == 130
    assert capsys.readouterr().err == "fixstats: stopped\n"


def test_version(run):
    from fixstats import __version__

    assert run("--version") == (0, f"fixstats {__version__}\n", "")
