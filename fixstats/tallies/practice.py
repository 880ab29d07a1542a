"""Jobs of a step with the technician's earlier uses of its method, as NumPy columns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats.folder import Catalogue
from fixstats.resources import statement
from fixstats.tallies.ask import Ask, lay_out

if TYPE_CHECKING:
    import duckdb

# column -> what stands for a missing value
MISSING = {
    "technician": 0, "model": 0, "uses": 0, "settled": False, "doubt": 1, "seen": 0,
    "cost": 0.0, "unpriced": 0, "minutes": float("nan"),
}  # fmt: skip


@dataclass(frozen=True)
class PracticeJobs:
    """Jobs on which a step was done.

    Attributes
    ----------
    by_method
        Method -> column -> array with one entry a job whose method and technician were recorded:
        ``technician``, ``model`` (numbers), ``uses``, ``settled``, ``applies`` (any of the modes
        could happen), ``doubt``, ``seen``, ``cost``, ``unpriced``, ``minutes`` (NaN: not
        recorded).
    unrecorded
        Jobs whose method or technician was not written down.
    """

    by_method: Mapping[str, Mapping[str, Any]]
    unrecorded: int


def practice_jobs(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: Ask, step: str, labour_rate: float
) -> PracticeJobs:
    """The jobs asked about on which ``step`` was done, by method first chosen.

    Raises
    ------
    UsageError
        If a mode, key, value or date is unknown or makes no sense.
    """
    import numpy as np

    layout = lay_out(con, catalogue, ask)
    if all(step in catalogue.modes[mode].steps for mode in ask.modes):
        con.execute(statement("tallies/practice_result_here"), {"step": step})
    else:
        con.execute(f"create or replace temp view asked_units as {layout.units}")
        con.execute(statement("tallies/practice_result"))
    found = con.execute(
        statement("tallies/practice"), {"step": step, "labour_rate": labour_rate}
    ).fetchnumpy()
    known = ~np.ma.getmaskarray(found["uses"])
    columns = {name: np.ma.filled(found[name], empty) for name, empty in MISSING.items()}
    columns["applies"] = ~np.ma.getmaskarray(found["doubt"])
    methods = np.ma.getdata(found["method"])
    by_method = {}
    for method in catalogue.methods_of(step):
        these = known & (methods == method)
        if these.any():
            by_method[method] = {name: values[these] for name, values in columns.items()}
    return PracticeJobs(by_method, int((~known).sum()))
