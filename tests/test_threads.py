"""Sums are made one way in every environment, and benchmarks compute with one thread, too."""

import os
import subprocess
import sys
from pathlib import Path

from fixstats.cli.main import add_up_one_way

HERE = Path(__file__).resolve().parent
ASK = "import os, runpy, sys; runpy.run_path(sys.argv[1]); print(os.environ.get(sys.argv[2]))"
NAME = "OPENBLAS_NUM_THREADS"


def threads(path, **given):
    """The number that a file leaves in the environment once it is loaded."""
    clean = {name: value for name, value in os.environ.items() if name != NAME}
    words = [sys.executable, "-c", ASK, str(path), NAME]
    ran = subprocess.run(words, env=clean | given, capture_output=True, text=True, check=True)
    return ran.stdout.strip()


def test_the_timed_fits_use_one_thread_unless_told_otherwise():
    path = HERE / "benchmarks" / "fits.py"
    assert threads(path) == "1"
    assert threads(path, **{NAME: "2"}) == "2"
    # Once NumPy is loaded it is too late.
    text = path.read_text(encoding="utf-8")
    assert text.index(NAME) < text.index("import numpy")


def test_the_command_settles_how_sums_are_made(monkeypatch):
    said = {NAME: "2", "OPENBLAS_CORETYPE": "Prescott", "NPY_DISABLE_CPU_FEATURES": "X86_V3"}
    for name, value in said.items():
        monkeypatch.setenv(name, value)
    add_up_one_way()
    assert {name: os.environ.get(name) for name in said} == dict.fromkeys(said) | {NAME: "1"}
