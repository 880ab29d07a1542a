"""Benchmarks: ratios against bare DuckDB or a plain script in one run, with the core count.

    python tests/benchmarks/run.py [--jobs 1000000] [--rounds 3] [--only start,decide,...]

Run by hand, not by the test suite. Every figure is the least of several rounds; a ratio compares
two figures of the same run, so a slow machine does not matter. Where others use the cores, too,
read the processor seconds: these hardly wait.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
DEMO = HERE.parents[1] / "demo_data" / "catalogue.toml"
FIXSTATS = [sys.executable, "-m", "fixstats"]
# Unions at steps, at steps and parts, of mixed parts.
FAMILIES = ("broken_tabs", "display_damage", "mixed_part_conflicts")
ONE_COMMAND = """
import typer
app = typer.Typer()
@app.command()
def hello(name: str = "you"):
    "Say hello."
    print(name)
app()
"""


def least(rounds: int, work: Callable[[], object]) -> float:
    """Seconds of the fastest round."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def process(*words: object, tool: list[str] | None = None) -> str:
    """Run a process to its end; what it printed."""
    command = [*(FIXSTATS if tool is None else tool), *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 3):
        raise SystemExit(f"{' '.join(command)}\n{done.stderr}")
    return done.stdout


@dataclass(frozen=True)
class Spent:
    """Seconds on the clock, seconds of processors, and GB at the peak of all processes together.

    Pages that two of them share are counted twice. Where the system does not tell which processes
    another has started, the peak is that of the largest.
    """

    clock: float
    processor: float
    peak: float


def resident(process: int) -> int:
    """Bytes that a process and all that it started hold in memory; 0 where nobody tells."""
    own = Path("/proc") / str(process)
    try:
        pages = int((own / "statm").read_text().split()[1])
        started = [(task / "children").read_text().split() for task in (own / "task").iterdir()]
    except OSError:  # it has just ended, or this system has no such files
        return 0
    children = sum(resident(int(child)) for each in started for child in each)
    return pages * resource.getpagesize() + children


class Watched:
    """The most that a process and all that it started held, looked at twenty times a second."""

    def __init__(self, process: int) -> None:
        self.peak = 0
        self._process, self._ended = process, threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    def _look(self) -> None:
        while not self._ended.wait(0.05):
            self.peak = max(self.peak, resident(self._process))

    def end(self) -> None:
        """Look no more."""
        self._ended.set()
        self._thread.join()


def spend(rounds: int, *words: object, tool: list[str] | None = None) -> Spent:
    """The least of each over the rounds, of a process and all that it starts."""
    command = [*(FIXSTATS if tool is None else tool), *map(str, words)]
    found = []
    for _ in range(rounds):
        start = time.perf_counter()
        running = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        watched = Watched(running.pid)
        _, status, usage = os.wait4(running.pid, 0)
        running.returncode = os.waitstatus_to_exitcode(status)
        if running.returncode:
            raise SystemExit(f"{' '.join(command)}: ended with {running.returncode}")
        clock = time.perf_counter() - start
        watched.end()
        peak = max(watched.peak / 1e9, usage.ru_maxrss / 1e6)
        found.append((clock, usage.ru_utime + usage.ru_stime, peak))
    return Spent(*(min(column) for column in zip(*found, strict=True)))


def python(*words: object) -> list[str]:
    """A command line of this Python."""
    return [sys.executable, *map(str, words)]


def show(what: str, ours: float, bare: float, limit: float) -> None:
    """One line: both figures, their ratio and the limit that was set for it."""
    ratio = ours / bare
    verdict = "within" if ratio <= limit else "MISSED"
    print(
        f"{what:<42} {ours:8.3f} s  {bare:8.3f} s  {ratio:5.2f}  ({verdict} {limit:g})", flush=True
    )


def show_seconds(what: str, seconds: float, limit: float) -> None:
    """One line where the limit is a time: for figures that nothing bare does."""
    verdict = "within" if seconds <= limit else "MISSED"
    print(f"{what:<42} {seconds:8.3f} s  {'':10} {'':5}  ({verdict} {limit:.2f} s)", flush=True)


def importing(folder: Path, jobs: int, rounds: int) -> Path:
    """Import of a clean sheet against a bare read of the same file."""
    sheet = folder / "sheet.csv"
    process("demo", "--jobs", jobs, "--seed", 1, "--sheet", sheet)
    columns = sheet.open(encoding="utf-8").readline().count(",") + 1
    print(f"sheet: {jobs:,} jobs, {columns} columns, {sheet.stat().st_size / 1e6:.0f} MB")
    shop, bare_file = folder / "shop", folder / "bare.duckdb"
    fresh = folder / "fresh"
    process("init", fresh, "--name", "Benchmark", "--currency", "EUR")
    shutil.copyfile(DEMO, fresh / "catalogue.toml")

    def ours() -> None:
        shutil.rmtree(shop, ignore_errors=True)
        shutil.copytree(fresh, shop)
        process("import", sheet, "--covers", "all", "--shop", shop)

    def bare() -> None:
        bare_file.unlink(missing_ok=True)
        process(bare_file, sheet, tool=python(HERE / "bare_read.py"))

    start_up = least(rounds, lambda: process("--version"))
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    seconds = least(rounds, ours) - start_up
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    show("import", seconds, least(rounds, bare), 3.0)
    print(f"{'  peak memory of the import':<42} {max(peak, before) / 1e6:8.2f} GB  (limit 3)")
    return shop


def counting(folder: Path, shop: Path, rounds: int) -> None:
    """Rates and the comparison of openings against the best SQL by hand."""
    empty = folder / "empty"
    process("init", empty, "--name", "Empty")
    shutil.copyfile(shop / "catalogue.toml", empty / "catalogue.toml")

    def ours(where: Path) -> Callable[[], None]:
        return lambda: process("rates", "--by", "model,opening", "--format", "csv", "--shop", where)

    def by_hand(where: Path) -> Callable[[], None]:
        return lambda: process(where / "shop.duckdb", tool=python(HERE / "by_hand.py"))

    seconds = least(rounds, ours(shop)) - least(rounds, ours(empty))
    bare = least(rounds, by_hand(shop)) - least(rounds, by_hand(empty))
    show("rates --by model,opening, less start-up", seconds, bare, 1.5)
    for family in FAMILIES:
        ask = ("rates", "--family", family, "--by", "model,opening", "--format", "csv")
        seconds = least(rounds, lambda ask=ask: process(*ask, "--shop", shop))
        print(f"{f'  rates --family {family}':<42} {seconds:8.3f} s", flush=True)
    # The comparison against its bare counting, as whole processes: 2.5 times that and 2 s.
    ask = ("compare", "opening", "--by", "model", "--format", "csv")
    bare = least(rounds, by_hand(shop))
    seconds = least(rounds, lambda: process(*ask, "--shop", shop))
    show_seconds("compare opening --by model", seconds, 2.5 * bare + 2)


def following(folder: Path, shop: Path, rounds: int) -> None:
    """Come-backs against the at-risk table by hand; start-up is that of the demo shop."""

    def ours(where: Path) -> Callable[[], object]:
        ask = ("comebacks", "--by", "battery_grade", "--format", "json", "--shop", where)
        return lambda: process(*ask)

    def by_hand(where: Path) -> Callable[[], object]:
        tool = python(HERE / "by_hand_followups.py")
        return lambda: process(where / "shop.duckdb", tool=tool)

    demo = demo_shop(folder)
    seconds = least(rounds, ours(shop)) - least(rounds, ours(demo))
    bare = least(rounds, by_hand(shop)) - least(rounds, by_hand(demo))
    show("comebacks --by battery_grade, less start-up", seconds, bare, 1.5)


def watching(folder: Path, rounds: int) -> None:
    """The whole command on 60 months, 40 modes, 50 technicians and more than 200 lots."""
    sheet, catalogue = folder / "sheet.csv", folder / "fresh" / "catalogue.toml"
    wide, shop = folder / "wide.csv", folder / "wide"
    process("init", shop, "--name", "Wide", "--currency", "EUR")
    tool = python(HERE / "wide_sheet.py")
    process(sheet, catalogue, wide, shop / "catalogue.toml", tool=tool)
    process("import", wide, "--covers", "all", "--shop", shop)
    ask = ("watch", "--format", "json", "--shop", shop)
    seconds = least(rounds, lambda: process(*ask))
    show_seconds("watch, the last of five years", seconds, 5.0)
    # All but the first year, which the others are watched against.
    first = "select cast(min(finished) + interval 1 year as date) as day from jobs"
    (row,) = json.loads(process("sql", first, "--format", "json", "--shop", shop))["rows"]
    seconds = least(rounds, lambda: process(*ask, "--since", row["day"]))
    show_seconds("watch, the last four of five years", seconds, 5.0)


def fitting(rounds: int) -> None:
    """The heavy statistics, without start-up."""
    for name, what, limit in (
        ("pool", "10,000 pooled groups", 1.0),
        ("multilevel", "multilevel fit on 20,000 cells", 3.0),
    ):
        tool = python(HERE / "fits.py", name)
        seconds = min(float(process(tool=tool)) for _ in range(rounds))
        show_seconds(what, seconds, limit)


def starting(folder: Path, rounds: int) -> None:
    """Start-up of the help and of rates on the demo."""
    one = folder / "one.py"
    one.write_text(ONE_COMMAND, encoding="utf-8")
    demo = demo_shop(folder)
    bare = least(rounds, lambda: process("--help", tool=python(one)))
    show("fixstats --help", least(rounds, lambda: process("--help")), bare, 1.5)
    bare = least(rounds, lambda: process("-c", "import duckdb", tool=python()))
    rates = least(rounds, lambda: process("rates", "--shop", demo))
    show("fixstats rates on the demo", rates, bare, 3.0)


def show_spent(what: str, ours: Spent, theirs: Spent, seconds: float, memory: float = 0) -> None:
    """Clock against its limit, processor seconds of both and their ratio, memory where limited."""
    show_seconds(what, ours.clock, seconds)
    ratio = ours.processor / theirs.processor
    print(
        f"{'  processor seconds; by a plain script':<42} {ours.processor:8.3f} s  "
        f"{theirs.processor:8.3f} s  {ratio:5.2f}",
        flush=True,
    )
    if memory:
        verdict = "within" if ours.peak <= memory else "MISSED"
        told = f"{ours.peak:8.2f} GB {theirs.peak:8.2f} GB"
        print(
            f"{'  peak memory, its processes together':<42} {told}  {'':5}  "
            f"({verdict} {memory:.2f} GB)",
            flush=True,
        )


def by_script(*sheets: Path) -> list[str]:
    """The script that makes the same tables from the same sheets."""
    return python(HERE / "by_script.py", DEMO, *sheets)


def deciding(folder: Path, rounds: int) -> None:
    """Decisions and the report of the demo shop, whole processes."""
    demo = demo_shop(folder)
    script = by_script(*(demo / f"{branch}_bench.csv" for branch in ("harbour", "mill")))
    theirs = spend(rounds, "--only", "costs", tool=script)
    show_spent("decide on the demo", spend(rounds, "decide", "--shop", demo), theirs, 3)
    out = ("--out", folder / "report")
    theirs = spend(rounds, tool=script)
    show_spent("report on the demo", spend(rounds, "report", *out, "--shop", demo), theirs, 8)


def reporting(folder: Path, shop: Path) -> None:
    """The report of the large shop, once: it is long."""
    theirs = spend(1, tool=by_script(folder / "sheet.csv"))
    ours = spend(1, "report", "--out", folder / "large report", "--shop", shop)
    show_spent("report", ours, theirs, 40, 2)


def demo_shop(folder: Path) -> Path:
    """The demo shop, made once."""
    demo = folder / "demo"
    if not demo.exists():
        process("demo", demo)
    return demo


PARTS = ("start", "fit", "decide", "import", "count", "follow", "watch", "report")


def main() -> None:
    """Run all benchmarks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--only", default=",".join(PARTS), help=f"some of {', '.join(PARTS)}")
    options = parser.parse_args()
    asked, rounds = options.only.split(","), options.rounds
    if unknown := set(asked) - set(PARTS):
        parser.error(f"unknown part {', '.join(unknown)}; known: {', '.join(PARTS)}")
    load = os.getloadavg()[0]
    print(f"cores: {os.cpu_count()}, load before: {load:.1f}; the least of {rounds} rounds")
    print(f"{'':<42} {'ours':>10}  {'bare':>10}  ratio")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        small = {
            "start": lambda: starting(folder, 3 * rounds),
            "fit": lambda: fitting(rounds),
            "decide": lambda: deciding(folder, rounds),
        }
        large = {
            "count": lambda shop: counting(folder, shop, rounds),
            "follow": lambda shop: following(folder, shop, rounds),
            "watch": lambda _: watching(folder, rounds),
            "report": lambda shop: reporting(folder, shop),
        }
        for part in filter(small.get, asked):
            small[part]()
        if set(asked) - set(small):  # every part of these reads the shop that the import makes
            shop = importing(folder, options.jobs, rounds)
            for part in filter(large.get, asked):
                large[part](shop)


if __name__ == "__main__":
    main()
