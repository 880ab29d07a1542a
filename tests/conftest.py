"""The demo shop, made once for all tests of a process that only read it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

from fixstats.cli.app import app
from fixstats.cli.door import through_the_door
from fixstats.cli.main import add_up_one_way

# As the command does; nothing above loads NumPy. Two test processes with two threads each wait.
add_up_one_way()

# A build must tell the same story twice; HYPOTHESIS_PROFILE=roam looks for new ones.
settings.register_profile("steady", derandomize=True)
settings.register_profile("roam", derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))


@pytest.fixture(scope="session")
def demo_shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a demo shop; read it, don't write to it."""
    from fixstats.demo.run import make_demo

    path = tmp_path_factory.mktemp("demo") / "shop"
    make_demo(path)
    return path


@pytest.fixture(scope="session")
def demo_report(demo_shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the demo's last monthly report."""
    return _report(demo_shop, tmp_path_factory.mktemp("report") / "2026-09")


@pytest.fixture(scope="session")
def hostile_report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of a shop whose records, labels and files hold markup and formulas."""
    from tests.report.hostile import hostile_shop

    base = tmp_path_factory.mktemp("hostile")
    return _report(hostile_shop(base / "shop"), base / "report")


def _report(shop: Path, folder: Path) -> Path:
    from fixstats.report.files import write_report
    from fixstats.shop import open_shop

    write_report(open_shop(shop).report(), folder)
    return folder


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]):
    """Run a command line in this process: exit code, standard output, standard error."""

    def command(*words: object) -> tuple[int, str, str]:
        code = through_the_door(app, [str(word) for word in words])
        told = capsys.readouterr()
        return code, told.out, told.err

    return command
