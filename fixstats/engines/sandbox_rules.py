"""What a person's own SQL may be: one SELECT over tables, and no function that reaches further.

The connection is locked and the process has no right to open anything; these rules come before
that, for clear words, and because some of the engine's table functions read raw memory.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fixstats.errors import QueryError
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

# Table functions that read nothing but their arguments or the names of what is there. Everything
# else is refused: many read files, some take statements as text, a few take memory addresses.
TABLE_FUNCTIONS = frozenset(
    {"unnest", "range", "generate_series", "repeat", "repeat_row", "json_each", "json_tree",
     "duckdb_columns", "duckdb_tables", "duckdb_views", "duckdb_functions", "pragma_table_info"}
)  # fmt: skip
# Scalar functions that read settings or write.
FUNCTIONS = frozenset(
    {"current_setting", "getvariable", "write_log", "getenv", "nextval", "setseed"}
)
# Tables of the engine about itself: settings, log, where files lie.
TABLES = frozenset({"pg_settings", "duckdb_logs", "duckdb_databases", "pragma_database_list",
                    "pg_prepared_statements"})  # fmt: skip
SHOWN = frozenset({"tables", "__show_tables_expanded"})
_TOO_DEEP = "the SELECT is nested too deeply; write it in steps, with CTEs"


def check_statement(con: duckdb.DuckDBPyConnection, sql: str) -> None:
    """Refuse everything but one SELECT that keeps to tables.

    Raises
    ------
    QueryError
        Naming what is not allowed.
    duckdb.ParserException
        If the text is no SQL.
    """
    kinds = [one.type.name for one in con.extract_statements(sql)]
    if not kinds:
        raise QueryError("there is no SQL to run; write one SELECT")
    if len(kinds) > 1:
        raise QueryError(f"{len(kinds)} statements given; write exactly one SELECT")
    if kinds[0] != "SELECT":
        kind = "PIVOT" if kinds[0] == "MULTI" else kinds[0]
        raise QueryError(f"{kind} is not allowed here; write one SELECT (records are only read)")
    try:
        text = con.execute("select json_serialize_sql($1)", [sql]).fetchall()[0][0]
        tree = json.loads(text)
    except RecursionError as trouble:
        raise QueryError(_TOO_DEEP) from trouble
    if tree["error"]:
        raise QueryError(f"this SELECT cannot be checked: {tree['error_message']}")
    for node in _nodes(tree["statements"]):
        _check_node(node)


def _nodes(tree: Any) -> Iterator[dict[str, Any]]:
    """Every object of the parsed statement."""
    left = [tree]
    while left:
        node = left.pop()
        if isinstance(node, dict):
            yield node
            left.extend(node.values())
        elif isinstance(node, list):
            left.extend(node)


def _check_node(node: dict[str, Any]) -> None:
    kind = node.get("type")
    if kind == "TABLE_FUNCTION":
        name = str(node["function"].get("function_name", "?")).lower()
        if name not in TABLE_FUNCTIONS:
            raise QueryError(
                f"{name}() is not allowed after FROM: a query reads the shop's tables only, "
                "no files, settings or network"
            )
    if str(node.get("function_name", "")).lower() in FUNCTIONS:
        raise QueryError(f"{node['function_name']}() is not allowed in a query")
    name = str(node.get("table_name", "")).lower()
    if kind == "BASE_TABLE" and name in TABLES:
        raise QueryError(f"the table {name} is not open to queries")
    if kind == "SHOW_REF" and not node.get("query") and name.strip('"') not in SHOWN:
        raise QueryError("settings are not open to queries; SHOW TABLES and DESCRIBE work")


def sql_words(sql: str, message: str) -> str:
    """One or two lines for what the engine said: what, the near names, and where in the SQL.

    ``message`` is an error in the engine's JSON form (setting ``errors_as_json``).
    """
    _, _, content = message.partition(": ")
    try:
        told = json.loads(content)
    except ValueError:
        return message.strip().splitlines()[0]
    lines = [line.strip() for line in told["exception_message"].splitlines() if line.strip()]
    if lines[0].lower().startswith("max expression depth"):
        return _TOO_DEEP
    words: str = lines[0].rstrip("!.")
    if words[1:2].islower():
        words = words[0].lower() + words[1:]
    more = [line for line in lines[1:] if re.match("did you mean|candidate bindings", line, re.I)]
    if "candidates" in told and more:
        names = [name.strip() for name in told["candidates"].split(",")]
        near = did_you_mean(told.get("name", ""), names)
        words += near if near.startswith("; did") else f"; near: {', '.join(names[:5])}"
    return words + _position(sql, told.get("position"))


def _position(sql: str, offset: str | None) -> str:
    """The line, the column and the words there; offsets count bytes."""
    if not (offset or "").isdigit():
        return ""
    before = sql.encode()[: int(offset or 0)].decode(errors="ignore")
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    rest = sql[len(before) :].split("\n", maxsplit=1)[0][:40].strip()
    return f"\nline {line}, column {column}, at: {rest}" if rest else f"\nline {line}"
