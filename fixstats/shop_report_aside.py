"""A part of a report's questions, asked by a process of its own: on two cores, half the time."""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb

    from fixstats.findings.base import Finding
    from fixstats.folder import ShopFolder

# The child reads where our modules are, which shop, and the last day.
_START = (
    "import json, sys; path, shop, day = json.loads(sys.stdin.readline()); sys.path[:] = path; "
    "from fixstats.shop_report_aside import answer; answer(shop, day)"
)


@dataclass(frozen=True)
class Aside:
    """What is asked aside: a comparison for each choice, alarms, what the records lack."""

    compared: tuple[Finding, ...]
    watched: Finding
    checked: Finding


@contextmanager
def asked_aside(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, until: date
) -> Iterator[Callable[[], Aside]]:
    """Begin to ask; the function that is handed out waits for the answers.

    While ``con`` is open nobody can write, so both processes read the same records. Where there is
    one core only, or the child comes to grief, the same is asked here.
    """
    child = _begin(folder.path, until) if (os.cpu_count() or 1) > 1 else None

    def wait() -> Aside:
        answers = _read(child) if child else None
        return answers or ask(con, folder, until)

    try:
        yield wait
    finally:
        if child:
            child.kill()
            child.communicate()


def ask(con: duckdb.DuckDBPyConnection, folder: ShopFolder, until: date) -> Aside:
    """The questions; ``con`` is a session with all views."""
    from fixstats.findings.check import check
    from fixstats.findings.watch import watch
    from fixstats.findings.watch_plan import WatchAsk

    return Aside(
        compared=_compared(con, folder, until),
        watched=watch(con, folder, WatchAsk(until=until)),
        checked=check(con, folder),
    )


def _compared(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, until: date
) -> tuple[Finding, ...]:
    """A comparison for every choice at which two options were used and something can fail."""
    from fixstats.findings.compare import compare
    from fixstats.findings.compare_plan import PART_CHOICES, CompareAsk, can_occur, find_choice

    catalogue = folder.catalogue
    parts = [f"{part}_{field}" for field in PART_CHOICES for part in catalogue.part_codes]
    choices = [find_choice(name, catalogue) for name in (*catalogue.step_codes, *parts)]
    asked = [
        choice.name
        for choice in choices
        if any(can_occur(mode, choice) for mode in catalogue.failure_modes)
    ]
    found = (compare(con, folder, CompareAsk(name, until=until)) for name in asked)
    return tuple(one for one in found if one.rows)


# ---------------------------------------------------------------- parent and child


def _begin(shop: Path, until: date) -> subprocess.Popen[bytes] | None:
    try:
        child = subprocess.Popen(
            [sys.executable, "-c", _START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        if child.stdin:
            child.stdin.write(f"{json.dumps([sys.path, str(shop), str(until)])}\n".encode())
            child.stdin.flush()
    except OSError:
        return None
    return child


def _read(child: subprocess.Popen[bytes]) -> Aside | None:
    """What the child, which is our own code, found; None where it failed."""
    told, _ = child.communicate()
    found = pickle.loads(told) if child.returncode == 0 and told else None
    return found if isinstance(found, Aside) else None


def answer(shop: str, day: str) -> None:
    """The child: asks the shop, writes what it found to standard output."""
    from fixstats.engines.duck import give_memory_back
    from fixstats.folder import find_folder
    from fixstats.shop_open import OpenShop

    opened = OpenShop(find_folder(shop))
    with opened.session() as con:
        give_memory_back(con)
        found = ask(con, opened.folder, date.fromisoformat(day))
    sys.stdout.buffer.write(pickle.dumps(found))
