"""Every statement says what it asks, and says the truth; a new file cannot be forgotten."""

import re

import duckdb
import pytest
import sqlglot
from sqlglot import exp

from fixstats.engines.session import TABLES, build_session
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.folder.settings import Settings
from fixstats.folder.shopfolder import make_folder
from fixstats.resources import statement
from fixstats.tallies.question_values import ANY, KINDS, SHOP
from fixstats.tallies.questions import all_questions, read_header, run_question

from .statements import (
    FILES,
    body,
    in_room,
    name_of,
    select_of,
    view_paths,
    with_slots_filled,
)

ids = name_of
QUESTIONS = list(all_questions().values())


def by_name(question):
    return question.name


@pytest.fixture(scope="module")
def session():
    with duckdb.connect() as con:
        con.execute(statement("schema"))
        con.execute(statement("macros/wilson"))
        build_session(con, read_catalogue(DEFAULT_CATALOGUE))
        yield con


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return make_folder(tmp_path_factory.mktemp("shop") / "bench", Settings(name="Bench"))


# ---------------------------------------------------------------- all statements


@pytest.mark.parametrize("path", in_room("views", "tallies", "questions", "macros"), ids=ids)
def test_header_is_complete_and_in_order(path):
    header = read_header(path.read_text(encoding="utf-8"))
    order = [name for name in header if name not in ("Notes", "Source")]
    assert order == ["Question", "Grain", "Reads", "Parameters", "Columns"]
    assert all("".join(lines).strip() for lines in header.values())
    assert "?" in " ".join(header["Question"])


STATEMENT = re.compile(r"(select|with|from|create|insert|update|delete|copy)\b")


@pytest.mark.parametrize("path", in_room("records"), ids=ids)
def test_statements_that_store_say_what_they_do(path):
    """They make no number; pieces of statements that fill slots are no statements."""
    text = path.read_text(encoding="utf-8")
    if STATEMENT.match(body(path).lstrip()) and path.stem != "macros":
        assert re.match(r"-- (Question|Does|Grain): ", text)


@pytest.mark.parametrize("path", FILES, ids=ids)
def test_keywords_are_lower_case(path):
    text = path.read_text(encoding="utf-8")
    starts = duckdb.tokenize(text)
    ends = [start for start, _ in starts[1:]] + [len(text)]
    words = [
        re.match(r"\w*", text[start:end])[0]
        for (start, kind), end in zip(starts, ends, strict=True)
        if kind == duckdb.token_type.keyword
    ]
    assert words, "no keyword found: the check sees nothing"
    assert [word for word in words if word != word.lower()] == []


@pytest.mark.parametrize("path", in_room("views", "tallies", "questions"), ids=ids)
def test_each_cte_says_what_its_rows_are(path):
    lines = body(path).splitlines()
    heads = [n for n, line in enumerate(lines) if re.match(r"\w+ as (materialized )?\($", line)]
    silent = [lines[n] for n in heads if not lines[n - 1].startswith("-- ")]
    assert silent == []
    assert bool(heads) == any(line == "with" for line in lines)


@pytest.mark.parametrize("path", in_room("views", "tallies", "questions"), ids=ids)
def test_the_last_select_reads_the_last_cte(path):
    tree = sqlglot.parse_one(with_slots_filled(select_of(path)), read="duckdb")
    ctes = [cte.alias for cte in tree.ctes]
    if ctes:
        tree.args["with_"].pop()
        assert ctes[-1] in {table.name for table in tree.find_all(exp.Table)}


@pytest.mark.parametrize("path", in_room("views", "tallies"), ids=ids)
def test_parameters_of_views_and_tallies_are_declared(path):
    declared = " ".join(read_header(path.read_text(encoding="utf-8"))["Parameters"])
    used = set(re.findall(r"\$(\w+)", body(path)))
    slots = set(re.findall(r"/\*(\w+)\*/", body(path)))
    assert {name for name in used | slots if not re.search(rf"\b{name}\b", declared)} == set()
    assert declared.startswith("none") == (not used)


# ---------------------------------------------------------------- views


ALL_VIEWS = tuple(view_paths())


@pytest.mark.parametrize("name", ALL_VIEWS)
def test_columns_of_views_are_declared(session, name):
    text = " ".join(read_header(view_paths()[name].read_text(encoding="utf-8"))["Columns"])
    for other in re.findall(r"\bas (\w+)", text):
        if other in ALL_VIEWS:
            header = read_header(view_paths()[other].read_text(encoding="utf-8"))
            text += " ".join(header["Columns"])
    columns = [column for column, *_ in session.execute(f"describe {name}").fetchall()]
    assert [column for column in columns if not re.search(rf"\b{column}\b", text)] == []


@pytest.mark.parametrize("path", in_room("views", "questions"), ids=ids)
def test_reads_are_what_the_statement_reads(path):
    words = " ".join(read_header(path.read_text(encoding="utf-8"))["Reads"])
    declared = set(re.findall(r"[a-z_]+(?:\.[a-z_]+)*", words))
    tree = sqlglot.parse_one(with_slots_filled(select_of(path)), read="duckdb")
    ctes = {cte.alias for cte in tree.find_all(exp.CTE)}
    tables = {
        f"{table.db}.{table.name}" if table.db else table.name for table in tree.find_all(exp.Table)
    }
    assert declared == tables - ctes
    known = {*ALL_VIEWS, *TABLES}
    assert {name for name in declared if "." not in name} <= known


def test_every_view_file_is_built_in_a_session():
    assert set(in_room("views")) == set(view_paths().values())


# ---------------------------------------------------------------- questions


def test_there_are_questions():
    assert len(QUESTIONS) >= 10


@pytest.mark.parametrize("question", QUESTIONS, ids=by_name)
def test_parameters_are_those_in_the_text(question):
    names = [one.name for one in question.parameters if one.kind != "level"]
    # A confidence level goes in as itself and as its normal quantile.
    names += ["level", "z"] * (len(question.parameters) - len(names))
    text = "\n".join(line for line in question.sql.splitlines() if not line.startswith("--"))
    assert len(set(names)) == len(names)
    assert set(names) == set(re.findall(r"\$(\w+)", text))
    for one in question.parameters:
        assert one.kind in KINDS and one.meaning
        assert one.default != SHOP or one.kind in ("level", "days")
        assert one.default != ANY or one.kind not in ("level", "days", "number")


UNITS = {
    "fraction": "DOUBLE", "minutes": "DOUBLE", "percent": "DOUBLE", "date": "DATE",
    "true or false": "BOOLEAN", "code": "VARCHAR", "codes": "VARCHAR", "name": "VARCHAR",
    "side": "VARCHAR", "jobs": "BIGINT", "pieces": "BIGINT", "pairs": "BIGINT", "parts": "BIGINT",
    "technicians": "BIGINT", "models": "BIGINT", "money": "DOUBLE",
    "attempts": ("BIGINT", "SMALLINT"),
}  # fmt: skip


@pytest.mark.parametrize("question", QUESTIONS, ids=by_name)
def test_columns_are_what_the_statement_gives(session, folder, question):
    answer = run_question(folder, question.name, con=session)
    assert answer.rows == []
    given = [column[0] for column in session.description]
    assert list(answer.columns) == given
    for column, kind in zip(question.columns, answer.types, strict=True):
        assert kind in UNITS[column.unit], column.name
        assert column.meaning


@pytest.mark.parametrize("question", QUESTIONS, ids=by_name)
def test_rates_come_with_counts_both_ends_and_a_limit(question):
    names = [column.name for column in question.columns]
    units = [column.unit for column in question.columns]
    rates = [number for number, name in enumerate(names) if name.endswith("rate")]
    for number in rates:
        prefix = names[number].removesuffix("rate")
        assert names[number + 1 : number + 4] == [
            f"{prefix}{end}" for end in ("low", "high", "at_most")
        ]
        assert "confidence_level" in question.columns[number + 3].meaning
        meaning = question.columns[number].meaning
        failures, opportunities = re.match(r"(\w+) of (\w+)", meaning).groups()
        assert {failures, opportunities} <= set(names[:number])
        assert units[names.index(failures)] == units[names.index(opportunities)]
    assert bool(rates) == any(one.kind == "level" for one in question.parameters)


@pytest.mark.parametrize("question", QUESTIONS, ids=by_name)
def test_the_last_line_selects_the_last_cte(question):
    last = question.sql.rstrip().splitlines()[-1]
    ctes = re.findall(r"^(\w+) as \($", question.sql, re.MULTILINE)
    assert re.fullmatch(rf"select \* from {ctes[-1]}( order by [a-z_, ]+)?", last)


def test_notes_are_read_one_by_one():
    notes = {question.name: question.notes for question in QUESTIONS}
    assert notes["minutes_by_method"] == ()
    assert len(notes["comebacks"]) == 2
    assert notes["comebacks"][0].endswith("are not, so the true rate may be higher")
    assert "by chance alone" in notes["lots"][0]
    assert "follow a failed one" in notes["first_against_attempted"][0]
