"""What the error door says of a stopped command and of a fault: no more than is known."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixstats.cli.app import app
from fixstats.cli.door import through_the_door


@pytest.mark.parametrize(
    ("stop", "told"),
    [
        (KeyboardInterrupt("the records are stored"), "stopped; the records are stored"),
        (KeyboardInterrupt("nothing was changed"), "stopped; nothing was changed"),
        (KeyboardInterrupt(), "stopped"),
    ],
)
def test_a_stopped_command_says_what_became_of_the_records(stop, told, capsys, monkeypatch):
    def stopped(*_, **__):
        raise stop

    # through the whole parser, which has its own way with Ctrl-C
    monkeypatch.setattr("fixstats.folder.find_folder", stopped)
    assert through_the_door(app, ["forget", "1"]) == 130
    assert capsys.readouterr().err == f"fixstats: {told}\n"


def test_a_fault_promises_nothing_about_the_records(capsys):
    def broken(**_):
        raise ZeroDivisionError("boom")

    assert through_the_door(broken) == 1
    err = capsys.readouterr().err
    Path(err.split("details are in ")[1].strip()).unlink()
    assert "changed" not in err
