"""What many tests only read (the demo shop, reports) is made once; the longest tests come first."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Callable
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


# Begun first: the longest tests, and those that share what takes long to make.
LONGEST = ("browser", "report", "notebooks", "test_readme.py", "demo", "charts", "cli")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Two processes end together if what is left at the end is short."""
    here = Path(__file__).parent

    def place(item: pytest.Item) -> int:
        room = item.path.relative_to(here).parts[0]
        return LONGEST.index(room) if room in LONGEST else len(LONGEST)

    items.sort(key=place)


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Have a folder made by the first of the test processes that needs it; the others wait."""
    base = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent

    def once(name: str, make: Callable[[Path], object]) -> Path:
        folder, done = base / name, base / f"{name}.done"
        with (base / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not done.exists():
                shutil.rmtree(folder, ignore_errors=True)  # where making it failed before
                folder.mkdir()
                make(folder)
                done.touch()
        return folder

    return once


@pytest.fixture(scope="session")
def demo_shop(made_once: Callable[..., Path]) -> Path:
    """The folder of a demo shop; read it, don't write to it."""
    from fixstats.demo.run import make_demo

    return made_once("demo", lambda folder: make_demo(folder / "shop")) / "shop"


@pytest.fixture(scope="session")
def demo_report(made_once: Callable[..., Path], demo_shop: Path) -> Path:
    """The folder of the demo's last monthly report."""
    return made_once("report", lambda folder: _report(demo_shop, folder / "2026-09")) / "2026-09"


@pytest.fixture(scope="session")
def hostile_report(made_once: Callable[..., Path]) -> Path:
    """The report of a shop whose records, labels and files hold markup and formulas."""
    from tests.report.hostile import hostile_shop

    def make(folder: Path) -> None:
        _report(hostile_shop(folder / "shop"), folder / "report")

    return made_once("hostile", make) / "report"


def _report(shop: Path, folder: Path) -> None:
    from fixstats.report.files import write_report
    from fixstats.shop import open_shop

    write_report(open_shop(shop).report(), folder)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]):
    """Run a command line in this process: exit code, standard output, standard error."""

    def command(*words: object) -> tuple[int, str, str]:
        code = through_the_door(app, [str(word) for word in words])
        told = capsys.readouterr()
        return code, told.out, told.err

    return command
