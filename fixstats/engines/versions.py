"""A session in which every version of some jobs, also a replaced one, is a job of its own."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from fixstats.engines.session import build_session
from fixstats.folder import Catalogue
from fixstats.resources import statement

if TYPE_CHECKING:
    import duckdb

# Every table that has rows of an entry; in "records" as they stand, in "past" as they were.
ENTRY_TABLES = (
    "jobs", "attempts", "step_minutes", "pieces", "failures", "unchecked", "preexisting", "factors",
)  # fmt: skip
# What the views read beside them.
BESIDE = ("names", "plans", "covers", "trials", "trial_models")


@contextmanager
def versions_session(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, wanted: str
) -> Iterator[duckdb.DuckDBPyConnection]:
    """The catalogue and all views over the versions that a table names, and over nothing else.

    ``con``: a session on the shop. ``wanted``: a temporary table of it with a column ``entry``; it
    is there in the new session, too. What is asked of jobs there is answered for each version as
    if it stood: so what was known at an earlier moment is judged by the rules that judge today.
    Nothing of it is kept.
    """
    # Beside the shop's file, which may be open for reading only, and under a name of its own:
    # whoever else has the file open in this process would see it.
    aside = f"versions_{uuid.uuid4().hex}"
    con.execute(f"attach ':memory:' as {aside} (read_write)")
    try:
        con.execute(f"create schema {aside}.records")
        for table in ENTRY_TABLES:
            past = "* exclude (replaced_by)" if table == "jobs" else "*"
            slots = {"aside": aside, "table": table, "past": past, "wanted": wanted}
            con.execute(_filled(statement("records/versions_aside"), slots))
        for table in BESIDE:
            con.execute(f"create table {aside}.records.{table} as from records.{table}")
        con.execute(f"create table {aside}.{wanted} as from {wanted}")
        session = con.cursor()
        try:
            session.execute(f"use {aside}")
            build_session(session, catalogue)
            yield session
        finally:
            session.close()
    finally:
        con.execute(f"detach {aside}")


def _filled(text: str, slots: Mapping[str, str]) -> str:
    for slot, content in slots.items():
        text = text.replace(f"/*{slot}*/", content)
    return text
