"""The guide can't go stale: every command in it runs, and prints what the guide says it prints."""

from __future__ import annotations

import re

import pytest

from . import readme

TEXT = readme.README.read_text(encoding="utf-8")
STALE = "README.md is not up to date: python tests/readme.py"


@pytest.fixture
def workshop(demo_shop, tmp_path, monkeypatch):
    """The folder in which a reader of the guide works."""
    readme.lay_out(tmp_path, demo_shop)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FIXSTATS_SHOP", str(tmp_path / "demo-shop"))
    return tmp_path


def test_every_command_runs_and_prints_what_the_guide_shows(workshop, demo_shop):
    faults, number = [], 0
    for _, told in readme.answers(TEXT, demo_shop):
        for shown, code, printed in told:
            number += 1
            if code != shown.exit_code:
                faults.append(f"{shown.command}: exit code {code}\n" + "\n".join(printed))
            elif not shown.matches(printed):
                now = readme.shortened(printed, shown.lines)
                faults.append(f"{shown.command}\n{readme.difference(shown.lines, now)}")
    assert number > 20
    assert not faults, "\n\n".join([STALE, *faults])

    pictures = re.findall(r"\]\(demo_data/pictures/(\S+)\)", TEXT)
    assert pictures
    assert sorted(set(pictures)) == sorted(one.name for one in readme.PICTURES.iterdir())
    for name in pictures:
        assert readme.words_of(workshop / name) == readme.words_of(readme.PICTURES / name), STALE


def test_the_python_of_the_guide_runs(workshop):
    (code,) = readme.blocks(TEXT, "python")
    exec(compile(code, "README.md", "exec"), {})


def test_the_table_of_options_is_that_of_help():
    begin, end = (TEXT.index(mark) for mark in readme.OPTIONS)
    told = TEXT[begin + len(readme.OPTIONS[0]) : end]
    true = readme.option_table()
    assert told == true, f"{STALE}\n{readme.difference(told.splitlines(), true.splitlines())}"


def test_links_of_the_guide_lead_somewhere():
    heads = re.findall(r"^#+ (.*)$", TEXT, flags=re.MULTILINE)
    anchors = {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}
    assert set(re.findall(r"\]\(#([^)]*)\)", TEXT)) <= anchors
    for path in re.findall(r"\]\(([^)#:]+)\)", TEXT):
        assert (readme.ROOT / path).exists(), path
