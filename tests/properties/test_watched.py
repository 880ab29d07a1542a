"""The counts of watching, jobs by the one that stands in for them, against the naive twin.

Whether a job stands in for another is the whole point, so several jobs share what their sheets
covered, and months, technicians and pieces are all compared.
"""

from __future__ import annotations

import random
from collections import defaultdict
from datetime import date
from pathlib import Path

import duckdb
import pytest
from hypothesis import given, settings

from fixstats.tallies import watch

from . import store, twin
from .shops import random_shop, shops
from .test_counts import RELAXED
from .twin_rows import codes

BASELINE, SINCE = date(2000, 1, 1), date(2026, 1, 1)
FIGURES = ("failures", "opportunities", "unknown")
NO_REWORK = (("rework", "no"),)
GROUPS = (
    "select g.* exclude (subject), s.mode as subject "
    "from watched_groups as g join watched_subjects as s using (subject)"
)


@pytest.fixture(scope="module")
def con():
    with duckdb.connect() as con:
        store.lay_out(con)
        yield con


def laid_down(con, shop):
    """The catalogue; the shop's jobs lie in the tables, equal covers under one number."""
    catalogue = store.catalogue_of(shop, Path("catalogue.toml"))
    store.fill(con, shop, catalogue, views="view")  # watching puts tables in place of some
    first = {}
    for entry, job in enumerate(twin.read_jobs(shop), 1):
        same = first.setdefault(frozenset(job["covers"]), entry)
        con.execute("update records.jobs set covers = ? where entry = ?", [same, entry])
    families = {name: own for name, own in catalogue.families.items() if len(own) > 1}
    modes = tuple(catalogue.modes)
    watch.lay_watched(con, catalogue, modes, BASELINE, SINCE, None, families)
    return catalogue, families


def table(rows, keys):
    """Counts by subject and keys; what comes to nothing is left out."""
    found = defaultdict(lambda: [0, 0, 0])
    for row in rows:
        own = found[(row["subject"], *(row[key] for key in keys))]
        for place, name in enumerate(FIGURES):
            own[place] += row[name]
    return {key: tuple(own) for key, own in found.items() if any(own)}


def asked(con, text):
    cursor = con.execute(text)
    names = [column[0] for column in cursor.description]
    rows = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    return [{**row, "quarter": "{}-Q{}".format(*divmod(row["quarter"], 10))} for row in rows]


def by_twin(shop, catalogue, families, by, since=None):
    rows = twin.count_modes(shop, list(catalogue.modes), by, "first", NO_REWORK, since)
    found = [{**row, "subject": row["mode"]} for row in rows]
    for name, own in families.items():
        rows = twin.count_union(shop, own, by, NO_REWORK, since)
        found += [{**row, "subject": name} for row in rows]
    return found


def agree(con, shop):
    catalogue, families = laid_down(con, shop)
    columns = watch.months(con)
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    rows = [{**row, "subject": row["mode"] or row["family"]} for row in rows]
    by = ("model", "month")
    assert table(rows, by) == table(by_twin(shop, catalogue, families, by), by)

    by = ("technician", "model", "quarter")
    watch.count_groups(con, [watch.Group("technician", by[1:])])
    rows = asked(con, GROUPS)
    assert table(rows, by) == table(by_twin(shop, catalogue, {}, by, SINCE.isoformat()), by)

    for part in codes(shop["catalogue"], "part"):
        fields = {f"{part}_{name}": name for name in ("supplier", "lot", "grade")}
        watch.lay_part(con, part)
        watch.count_groups(con, [watch.Group(f"{part}_lot", ("model", "quarter"), part)])
        rows = asked(con, GROUPS)
        theirs = by_twin(shop, catalogue, {}, (*fields, *by[1:]), SINCE.isoformat())
        theirs = [{**row, **{new: row[old] for old, new in fields.items()}} for row in theirs]
        theirs = [row for row in theirs if row["lot"] != "-"]  # no such part was fitted
        keys = (*fields.values(), *by[1:])
        assert table(rows, keys) == table(theirs, keys)


@settings(RELAXED, max_examples=12)
@given(shop=shops())
def test_watched_counts_agree(con, shop):
    agree(con, shop)


@pytest.mark.parametrize("seed", range(6))
def test_larger_shops_agree(con, seed):
    agree(con, random_shop(random.Random(f"watched {seed}"), jobs=50))


def test_jobs_do_stand_in_for_each_other(con):
    laid_down(con, random_shop(random.Random("watched 0"), jobs=50))
    ((jobs, kinds),) = con.execute(
        "select count(*), count(distinct stand_in) from watched_jobs"
    ).fetchall()
    assert kinds < jobs
