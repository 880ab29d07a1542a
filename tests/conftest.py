"""The demo shop, made once for all tests of a process that only read it."""

from __future__ import annotations

import os
from pathlib import Path

# As the command does, before NumPy is loaded: two test processes with two threads each wait.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

from fixstats.cli.app import app
from fixstats.cli.door import through_the_door

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


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]):
    """Run a command line in this process: exit code, standard output, standard error."""

    def command(*words: object) -> tuple[int, str, str]:
        code = through_the_door(app, [str(word) for word in words])
        told = capsys.readouterr()
        return code, told.out, told.err

    return command
