"""The questions of ``queries/questions``: what there is to ask, and the answer to one.

A question is one SQL file. Its header says what it asks, which parameters it takes and what its
columns mean; this module reads the header, so that a new file is a new question and nothing else.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from fixstats.engines.duck import reading
from fixstats.engines.session import build_session
from fixstats.errors import UsageError
from fixstats.folder import ShopFolder
from fixstats.resources import resource, statement
from fixstats.tallies.question_values import value_of
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb
    import polars as pl

SECTIONS = ("Question", "Grain", "Reads", "Parameters", "Columns", "Notes", "Source")
# A confidence level reaches the statement under the first name (for one-sided limits), and as its
# two-sided normal quantile under the second.
LEVEL, QUANTILE = "level", "z"


@dataclass(frozen=True)
class Parameter:
    """What a person can set: ``kind`` as in ``question_values``; default 'any' means no limit."""

    name: str
    kind: str
    default: str
    meaning: str


@dataclass(frozen=True)
class Column:
    """A column of the answer: its unit and what it means."""

    name: str
    unit: str
    meaning: str


@dataclass(frozen=True)
class Question:
    """One file of ``queries/questions`` as its header describes it.

    ``notes`` is what to know when reading the answer, a sentence each; most have none.
    """

    name: str
    question: str
    grain: str
    reads: tuple[str, ...]
    parameters: tuple[Parameter, ...]
    columns: tuple[Column, ...]
    notes: tuple[str, ...]

    @property
    def sql(self) -> str:
        """The statement."""
        return statement(f"questions/{self.name}")


@dataclass(frozen=True)
class Answer:
    """Rows of a question.

    Attributes
    ----------
    question
        What was asked.
    settings
        Every parameter with the value that was used; None for no limit.
    types, rows
        Types of the columns as the engine names them; tuples in the order of
        ``question.columns``, None for null.
    """

    question: Question
    settings: Mapping[str, Any]
    types: tuple[str, ...]
    rows: list[tuple[Any, ...]]

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns."""
        return tuple(column.name for column in self.question.columns)

    @property
    def frame(self) -> pl.DataFrame:
        """The rows as a Polars frame."""
        from fixstats.engines.frames import frame_of

        return frame_of(self.columns, self.types, self.rows)


def read_header(text: str) -> dict[str, list[str]]:
    """Section -> its lines, of the comment at the top of an SQL file."""
    sections: dict[str, list[str]] = {}
    current: list[str] = []
    for line in text.splitlines():
        if not line.startswith("--"):
            break
        begin = re.match(rf"-- ({'|'.join(SECTIONS)}): *(.*)", line)
        if begin:
            current = sections.setdefault(begin[1], [])
        current.append(begin[2] if begin else line[2:])
    return {name: [line for line in lines if line.strip()] for name, lines in sections.items()}


def _entries(lines: list[str]) -> list[tuple[str, str, str]]:
    """(name, what stands in brackets, meaning) of each entry; deeper lines continue it."""
    entries: list[list[str]] = []
    for line in lines:
        begin = re.match(r" {3}(\w+) \(([^)]*)\): (.*)", line)
        if begin:
            entries.append([begin[1], begin[2], begin[3]])
        elif entries:
            entries[-1][2] += f" {line.strip()}"
    return [(name, brackets, meaning) for name, brackets, meaning in entries]


def _notes(lines: list[str]) -> tuple[str, ...]:
    """One text for each note; deeper lines continue it."""
    parts = re.split(r"^ {3}(?! )", "\n".join(lines), flags=re.MULTILINE)
    return tuple(_joined(part.splitlines()) for part in parts[1:])


def _joined(lines: list[str]) -> str:
    return " ".join(line.strip() for line in lines)


@cache
def all_questions() -> Mapping[str, Question]:
    """Every question by name, in the order of names."""
    folder = resource("queries") / "questions"
    return {path.stem: _read_question(path.stem) for path in sorted(folder.glob("*.sql"))}


def _read_question(name: str) -> Question:
    header = read_header(statement(f"questions/{name}"))
    parameters = []
    for one, brackets, meaning in _entries(header["Parameters"]):
        kind, default = (word.strip() for word in brackets.split(","))
        parameters.append(Parameter(one, kind, default, meaning))
    return Question(
        name=name,
        question=_joined(header["Question"]),
        grain=_joined(header["Grain"]),
        reads=tuple(re.findall(r"[a-z_]+(?:\.[a-z_]+)*", _joined(header["Reads"]))),
        parameters=tuple(parameters),
        columns=tuple(Column(*entry) for entry in _entries(header["Columns"])),
        notes=_notes(header.get("Notes", [])),
    )


def find_question(name: str) -> Question:
    """The question of that name; UsageError with the nearest one if there is none."""
    questions = all_questions()
    if name not in questions:
        near = did_you_mean(name, questions)
        raise UsageError(
            f"unknown question '{name}'{near}\nfixstats query lists them with their parameters"
        )
    return questions[name]


def run_question(
    folder: ShopFolder,
    name: str,
    settings: Mapping[str, str] | None = None,
    con: duckdb.DuckDBPyConnection | None = None,
) -> Answer:
    """Ask one question of the shop's records.

    Parameters
    ----------
    folder
        The shop.
    name
        A question, by the name of its file.
    settings
        Parameter -> value as a person writes it; ``any`` for no limit. Left out: the default.
    con
        A session with the views of ``folder``; without it the database is opened for this question.

    Raises
    ------
    UsageError
        If the question, a parameter or a value is unknown or makes no sense.
    StoreError
        If the database cannot be read just now.
    """
    question = find_question(name)
    known = [parameter.name for parameter in question.parameters]
    for given in settings or {}:
        if given not in known:
            raise UsageError(f"{name}: unknown parameter '{given}'{did_you_mean(given, known)}")
    with nullcontext(con) if con is not None else reading(folder.database) as session:
        if con is None:
            build_session(session, folder.catalogue)
        values = {
            one.name: value_of(session, folder, one.kind, one.name, (settings or {}).get(one.name),
                               one.default)
            for one in question.parameters
        }  # fmt: skip
        cursor = session.execute(question.sql, _bound(question, values))
        types = tuple(str(column[1]) for column in cursor.description or ())
        return Answer(question, values, types, cursor.fetchall())


def _bound(question: Question, values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by the names they have in the statement."""
    from statistics import NormalDist

    bound = dict(values)
    for one in question.parameters:
        if one.kind == "level":
            bound[LEVEL] = bound.pop(one.name)
            bound[QUANTILE] = NormalDist().inv_cdf((1 + bound[LEVEL]) / 2)
    return bound
