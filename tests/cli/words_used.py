"""The words that the output uses: collected from what commands hand out, and from the code."""

from __future__ import annotations

import ast
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import pytest

from fixstats.cli import emit as emitting
from fixstats.cli.app import app
from fixstats.cli.door import through_the_door
from fixstats.findings.base import Finding

PACKAGE = Path(__file__).parents[2] / "fixstats"


@dataclass
class Used:
    """``words``: keys, settings, headings, codes, each with where it was met; ``texts``: all that
    was printed; ``lines``: exit codes of the command lines that were run."""

    words: dict[str, str] = field(default_factory=dict)
    texts: list[str] = field(default_factory=list)
    lines: dict[str, int] = field(default_factory=dict)

    def add(self, words: Sequence[str], where: str) -> None:
        for word in words:
            self.words.setdefault(word, where)

    def run(self, monkeypatch: pytest.MonkeyPatch, lines: Sequence[str]) -> None:
        """Run command lines and note the words of every finding that they show."""

        def shown(finding: Finding, text: emitting.TableText, **_: object) -> None:
            told = text(finding)
            self.texts.append(told)
            self.add(list(headings(told)), f"a heading of {finding.question}")
            self.add(list(keys_of(finding)), f"a key of {finding.question}")

        with monkeypatch.context() as patched:
            patched.setattr(emitting, "emit", shown)
            for line in lines:
                self.lines[line] = through_the_door(app, shlex.split(line))


def keys_of(finding: Finding) -> Iterator[str]:
    """Keys of the JSON: of rows and settings, and codes of notes."""
    told = finding.as_json()
    yield from (key for row in told["rows"] for key in row)
    yield from told["settings"]
    yield from (note["code"] for note in told["notes"])


def phrases() -> str:
    """All texts in the code that may be printed, as one."""
    files = [
        path for room in ("cli", "findings", "report") for path in (PACKAGE / room).glob("*.py")
    ]
    return "\n".join(path.read_text(encoding="utf-8") for path in files)


def headings(text: str) -> Iterator[str]:
    """What stands above the columns of tables: the line above a line of rules."""
    lines = text.split("\n")
    for heads, rules in pairwise(lines):
        if rules and set(rules) <= {"─", " "}:
            at = 0
            for rule in rules.split("  "):
                yield heads[at : at + len(rule)].strip()
                at += len(rule) + 2


def note_codes() -> dict[str, str]:
    """Every code that a note can have -> the file that writes it; read from the code.

    A code that is no text where the note is made is named by its variable, as ``{code}``.
    """
    found: dict[str, str] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Note":
                texts = [
                    part.value
                    for part in ast.walk(node.args[0])
                    if isinstance(part, ast.Constant) and isinstance(part.value, str)
                ]
                for text in texts or [f"{{{ast.unparse(node.args[0])}}}"]:
                    found.setdefault(text, path.name)
    return found
