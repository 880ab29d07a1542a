"""Puts the jobs of a random shop straight into the tables of ``records``, without the importer.

It makes thousands of shops cheap, and tells a fault of the counting from one of the reading.
"""

from __future__ import annotations

from fixstats.engines.session import VIEWS, catalogue_tables, view_texts
from fixstats.folder.links import build_catalogue
from fixstats.resources import statement

from .twin import fold, read_jobs
from .twin_rows import cell, items

JOB = (
    "entry job branch finished model repair technician outcome return_of trial assigned covers "
    "batch plan"
)
COLUMNS = {
    "jobs": JOB,
    "attempts": "entry step attempt method",
    "pieces": "entry part piece grade supplier lot fitted",
    "failures": "entry mode place number",
    "unchecked": "entry mode",
    "preexisting": "entry mode",
    "factors": "entry factor value number",
    "covers": "covers mode",
    "plans": "plan step method",
    "names": "kind folded shown",
}


def catalogue_of(shop, where):
    """The checked catalogue of a shop."""
    return build_catalogue(shop["catalogue"], where)


def lay_out(con):
    """The empty tables of a shop's database."""
    con.execute("set threads = 1")  # for a few rows
    con.execute(statement("schema"))


def fill(con, shop, catalogue, *, views="table"):
    """Replace all records by those of the shop, and build the session's views, or lay them down.

    A dozen questions read each view, and DuckDB would plan it anew each time: as tables all
    takes two thirds of the time.
    """
    rows = {table: [] for table in COLUMNS}
    for entry, job in enumerate(read_jobs(shop), 1):
        rows["covers"] += [(entry, mode) for mode in sorted(job["covers"])]
        add_job(rows, shop["catalogue"], entry, job)
    for table, columns in COLUMNS.items():
        con.execute(f"delete from records.{table}")
        names, marks = columns.replace(" ", ", "), ", ".join("?" for _ in columns.split())
        if rows[table]:
            # One statement a table: many small ones take longer than all questions.
            every = ", ".join(f"({marks})" for _ in rows[table])
            values = [value for row in rows[table] for value in row]
            con.execute(f"insert into records.{table} ({names}) values {every}", values)
    catalogue_tables(con, catalogue)
    for text in view_texts(VIEWS).values():
        con.execute(text.replace(" temp view ", f" temp {views} "))


def add_job(rows, catalogue, entry, job):
    """One job's rows in every table; each job has a covers set of its own, which is allowed."""
    keys, content = job["keys"], job["content"]
    first = [(step, methods[0]) for step, methods in job["attempts"].items()]
    plan = "".join(f"{step}={method or ''};" for step, method in first)
    rows["plans"] += [(plan, *one) for one in first if (plan, *one) not in rows["plans"]]
    rows["jobs"].append(
        (entry, cell(content, "job"), keys["branch"], job["finished"], keys["model"],
         keys["repair"], keys["technician"], keys["outcome"], cell(content, "return_of") or None,
         keys["trial"], keys["assigned"], entry, 1, plan)
    )  # fmt: skip
    add_tries(rows, entry, job)
    for mode, place, number in sorted(job["failures"], key=str):
        rows["failures"].append((entry, mode, place or "", number or 0))
    everything = "all" in items(cell(content, "unchecked"), ";")
    unchecked = ["*"] if everything else sorted(job["unchecked"])
    rows["unchecked"] += [(entry, mode) for mode in unchecked]
    rows["preexisting"] += [(entry, mode) for mode in sorted(job["preexisting"])]
    for factor in catalogue["factor"]:
        text = cell(content, factor["code"])
        number = float(text) if text and factor["kind"] == "number" else None
        rows["factors"] += [(entry, factor["code"], text, number)] if text else []


def add_tries(rows, entry, job):
    """One job's attempts, pieces and names."""
    keys = job["keys"]
    names = [(kind, keys[kind]) for kind in ("model", "technician", "branch")]
    for step, methods in job["attempts"].items():
        for number, method in enumerate(methods, 1):
            rows["attempts"].append((entry, step, number, method))
    for part, pieces in job["pieces"].items():
        for number, piece in enumerate(pieces, 1):
            told = (piece["grade"], piece["supplier"], piece["lot"], piece["fitted"])
            rows["pieces"].append((entry, part, number, *told))
            names += [(kind, piece[kind]) for kind in ("supplier", "lot")]
    for kind, name in names:
        row = (kind, fold(name or ""), name)
        if name and row not in rows["names"]:
            rows["names"].append(row)
