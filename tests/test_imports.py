"""The direction of imports: one table, and what start-up may load."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "fixstats"
BASE = {"errors", "resources", "words", "spreadsheet"}

# room -> rooms it may import, beside itself; in the order of the flow.
ROOMS: dict[str, set[str]] = {
    "errors": set(),
    "resources": set(),
    "words": set(),
    "glossary": BASE,
    "spreadsheet": set(),
    "folder": BASE,
    "engines": BASE | {"folder"},
    "records": BASE | {"folder", "engines"},
    "tallies": BASE | {"folder", "engines"},
    "stats": set(),
    "findings": BASE | {"folder", "engines", "tallies", "stats"},
    "charts": BASE | {"folder", "findings"},
    "report": BASE | {"folder", "tallies", "findings", "charts"},
    "shop_result": BASE | {"folder", "findings", "charts"},
    "shop_open": BASE | {"folder", "engines", "records", "findings", "shop_result"},
    "shop_time": BASE | {"folder", "tallies", "findings", "shop_open", "shop_result"},
    "shop_decide": BASE | {"folder", "tallies", "findings", "shop_open", "shop_result"},
    "shop_trial": BASE | {"folder", "records", "findings", "shop_open", "shop_result"},
    "shop_standards": BASE
    | {"folder", "records", "tallies", "findings", "shop_open", "shop_result"},
    "shop_brief": BASE | {"folder", "findings", "shop_open", "shop_result"},
    "shop_bench": BASE | {"folder", "records", "findings", "shop_trial", "shop_result"},
    "shop_report_aside": BASE | {"folder", "engines", "findings", "shop_open"},
    "shop_report": BASE
    | {"shop_report_aside"}
    | {"folder", "engines", "tallies", "findings", "report", "shop_open", "shop_result"},
    "shop": BASE
    | {"folder", "engines", "records", "tallies", "findings", "charts"}
    | {"shop_open", "shop_result", "shop_time", "shop_trial", "shop_bench"}
    | {"shop_standards", "shop_decide", "shop_brief", "shop_report"},
    "demo": BASE | {"folder", "engines", "records", "shop"},
    "cli": BASE
    | {"folder", "engines", "records", "tallies", "findings", "charts", "report", "shop", "demo"}
    | {"glossary"},
    "__init__": BASE | {"stats", "shop", "demo"},
    "__main__": {"cli"},
}
# A findings file may use another that stands before it.
FINDINGS = (
    "base", "rates_notes", "rates_pool", "rates", "month", "costs", "twins", "check",
    "adjusting_columns", "adjusting",
    "compare_plan", "compare_figures", "compare_beside", "compare_words", "compare_use_notes",
    "compare_empty_notes", "compare_notes",
    "compare", "safety", "verdicts", "costing", "weighing",
    "standards_words", "standards",
    "practice_figures", "practice_words", "practice_notes", "practice",
    "causes_plan", "causes_design", "causes_fit", "causes_words", "causes_notes", "causes",
    "comebacks_figures", "comebacks_plan", "comebacks_answers", "comebacks_adjusted",
    "comebacks_words", "comebacks_notes", "comebacks",
    "decide_plan", "decide_cells", "decide_costs", "decide_fit", "decide_draws",
    "decide_figures",
    "decide_rows", "decide_lines", "decide_words", "decide_count", "decide",
    "watch_plan", "watch_figures", "watch_time", "watch_groups", "watch_alarms", "watch_words",
    "watch",
    "trial_words", "trial_size", "trial_wait", "trial_notes", "trial_plan", "trial_settled",
    "trial",
    "brief_plan", "brief_odds", "brief_choices", "brief_sections", "brief_money", "brief_notes",
    "brief",
)  # fmt: skip
# What the numeric core may import at the top of a file.
NUMERIC = {
    "numpy",
    "fixstats",
    "collections",
    "dataclasses",
    "importlib",
    "math",
    "statistics",
    "types",
    "typing",
}


def _modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imported(path: Path, *, top_only: bool = False) -> set[str]:
    """Dotted names that a file imports; without those for type checking only."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if top_only else list(_running(tree))
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            if node.module == "fixstats":
                found.update(f"fixstats.{alias.name}" for alias in node.names)
    return found - {"__future__"}


def _running(tree: ast.AST):
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        yield node
        yield from _running(node)


@pytest.mark.parametrize("path", _modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_one_way(path):
    room = _room(path)
    assert room in ROOMS, f"{room} is no room of the house: give it a place in the table"
    used = {name.split(".")[1] for name in _imported(path) if name.startswith("fixstats.")}
    used.discard("__version__")
    assert used - {room} <= ROOMS[room]


@pytest.mark.parametrize("path", sorted((PACKAGE / "findings").glob("*.py")), ids=lambda p: p.stem)
def test_findings_use_only_earlier_findings(path):
    if path.stem == "__init__":
        return
    place = FINDINGS.index(path.stem)
    used = {n.split(".")[2] for n in _imported(path) if n.startswith("fixstats.findings.")}
    assert used <= set(FINDINGS[:place])


@pytest.mark.parametrize("path", sorted((PACKAGE / "stats").glob("*.py")), ids=lambda p: p.stem)
def test_the_numeric_core_stands_alone(path):
    names = _imported(path, top_only=True)
    assert {name.split(".")[0] for name in names} <= NUMERIC
    assert all(name.startswith("fixstats.stats") for name in names if name.startswith("fixstats"))


HEAVY = (
    "duckdb",
    "numpy",
    "scipy",
    "polars",
    "altair",
    "rich",
    "pandas",
    "fastexcel",
    "xlsxwriter",
)


def _loaded(code: str) -> set[str]:
    script = f"import sys\n{code}\nprint(*[m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    )
    return set(done.stdout.splitlines()[-1].split())


def test_help_loads_nothing_heavy():
    code = (
        "from fixstats.cli.app import app\nfrom fixstats.cli.door import through_the_door\n"
        "assert through_the_door(app, ['--help']) == 0"
    )
    assert _loaded(code) == set()


def test_importing_the_package_loads_nothing_heavy():
    assert _loaded("import fixstats") == set()
