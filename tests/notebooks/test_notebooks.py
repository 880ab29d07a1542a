"""The notebooks run from top to bottom, use the public entry alone, and carry no traces."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "notebooks"
NAMES = ("explore", "question_to_decision")


def content(name):
    return json.loads((FOLDER / f"{name}.ipynb").read_text(encoding="utf-8"))


def sources(name, kind):
    return ["".join(c["source"]) for c in content(name)["cells"] if c["cell_type"] == kind]


def test_there_are_two():
    assert sorted(path.stem for path in FOLDER.glob("*.ipynb")) == sorted(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_it_is_stored_without_outputs_and_traces(name):
    found = content(name)
    code = [cell for cell in found["cells"] if cell["cell_type"] == "code"]
    assert all(cell["outputs"] == [] and cell["execution_count"] is None for cell in code)
    assert set(found["metadata"]) == {"kernelspec", "language_info"}
    assert not re.search(r"/(home|root|work|tmp|Users)/", json.dumps(found))


@pytest.mark.parametrize("name", NAMES)
def test_it_uses_the_public_entry_alone(name):
    tree = ast.parse("\n".join(sources(name, "code")))
    imported = {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    }
    from_ = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert imported <= {"os", "fixstats", "polars"}
    assert from_ <= {"pathlib", "tempfile"}
    private = {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr.startswith("_")
    }
    assert private == set()


@pytest.mark.parametrize("name", NAMES)
def test_its_words_say_that_the_shop_is_invented_and_stay_honest(name):
    words = " ".join(sources(name, "markdown"))
    assert "**invented**" in words
    assert "local rules and licensed practice" in words


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.filterwarnings("default")  # those of Jupyter itself
def test_it_runs(name, tmp_path, monkeypatch):
    nbclient = pytest.importorskip("nbclient", reason="comes with pip install fixstats[test]")
    nbformat = pytest.importorskip("nbformat")
    pytest.importorskip("ipykernel")
    for variable in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_RUNTIME_DIR"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    notebook = nbformat.read(FOLDER / f"{name}.ipynb", as_version=4)
    nbclient.NotebookClient(notebook, timeout=120, kernel_name="python3").execute(cwd=tmp_path)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    outputs = [output for cell in code for output in cell.outputs]
    assert len(outputs) >= 8
    told = json.dumps(outputs)
    assert str(tmp_path) not in told
    assert not any(output.get("name") == "stderr" for output in outputs), told[:2000]
    assert list(tmp_path.glob("*.ipynb")) == []
