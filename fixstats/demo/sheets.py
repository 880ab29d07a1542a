"""Writes the workshop's jobs as a job sheet: one CSV row a job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fixstats.demo import truth
from fixstats.demo.cases import REPAIRS, Columns, has
from fixstats.demo.generator import REASONS, batches

if TYPE_CHECKING:
    import polars as pl

ROWS_AT_ONCE = 100_000
BRANCH_LETTERS = ("H", "M")
OUTCOMES = ("completed", "abandoned", "returned_unrepaired")
# Modes that the catalogue lets happen at several steps: the sheet says at which.
SEVERAL_STEPS = {
    "display_lines", "glass_cracked", "clip_snapped", "dust_under_glass", "flex_cut",
    "cell_pierced",
}  # fmt: skip


def write_sheet(path: Path, jobs: int, seed: int) -> None:
    """Write one clean UTF-8 CSV job sheet of ``jobs`` jobs; the same seed, the same bytes.

    Raises
    ------
    OSError
        If ``path`` cannot be written.
    """
    with Path(path).open("wb") as out:
        out.write((",".join(COLUMNS) + "\n").encode())
        for columns in batches(jobs, seed):
            for start in range(0, len(columns["number"]), ROWS_AT_ONCE):
                part = slice(start, start + ROWS_AT_ONCE)
                sheet_frame(columns, part).write_csv(out, include_header=False)


def sheet_frame(c: Columns, part: slice = slice(None)) -> pl.DataFrame:
    """The job sheet of some rows as a Polars frame, columns as in ``COLUMNS``."""
    import polars as pl

    ids = _job_ids(c)
    rows = {key: value[part] for key, value in c.items()}
    cells: dict[str, Any] = _head_cells(rows)
    cells["job"] = ids[part]
    cells["return_of"] = _at(ids, rows["of_row"])
    cells |= _step_cells(rows) | _part_cells(rows) | _factor_cells(rows) | _return_cells(rows)
    cells["failures"] = _failure_cells(rows)
    cells["preexisting"] = _joined(
        len(rows["model"]),
        [
            ("display_lines", rows["display_lines_before"]),
            ("glass_cracked", rows["glass_cracked_before"]),
        ],
    )
    cells["unchecked"] = _at(pl.Series([*truth.UNCHECKED, ""]), rows["unchecked"])
    frame = pl.DataFrame({name: cells[name] for name in COLUMNS})
    return frame.with_columns(pl.col(pl.String).replace("", None))


COLUMNS = (
    "job", "received", "finished", "branch", "technician", "model", "repair", "outcome",
    "minutes", "price",
    "opening", "display_handling", "battery_release", "glass_removal", "resealing", "calibration",
    "opening_minutes", "battery_release_minutes",
    "battery_grade", "battery_supplier", "battery_lot", "battery_cost", "battery_fitted",
    "display_grade", "display_cost", "display_fitted",
    "swollen", "prior_repair", "battery_health", "charge", "connection",
    "failures", "unchecked", "preexisting", "returned", "return_reason", "return_of",
)  # fmt: skip


def _at(values: Any, index: Any) -> pl.Series:
    """``values`` at ``index``; null where the index is negative."""
    import numpy as np
    import polars as pl

    series = pl.Series(values, dtype=pl.String)
    with_null = pl.concat([series, pl.Series([None], dtype=pl.String)])
    return with_null.gather(np.where(index < 0, len(series), index))


def _where(mask: Any, series: Any, other: Any = None) -> pl.Series:
    """``series`` where the mask holds, else ``other`` (null)."""
    import polars as pl

    frame = pl.DataFrame({"mask": pl.Series(mask), "yes": series})
    return frame.select(pl.when("mask").then("yes").otherwise(pl.lit(other))).to_series()


def _chain(first: pl.Series, second: pl.Series) -> pl.Series:
    """``a > b`` where there is a second, else ``a``."""
    import polars as pl

    frame = pl.DataFrame({"a": first.cast(pl.String), "b": second.cast(pl.String)})
    return frame.select(pl.concat_str("a", "b", separator=" > ", ignore_nulls=True)).to_series()


def _job_ids(c: Columns) -> pl.Series:
    import polars as pl

    frame = pl.DataFrame({"letter": _at(BRANCH_LETTERS, c["branch"]), "number": c["number"] + 1})
    number = pl.col("number").cast(pl.String).str.zfill(7)
    return frame.select(pl.concat_str("letter", number)).to_series()


def _head_cells(c: Columns) -> dict[str, Any]:
    import numpy as np

    price = np.array([*truth.PRICE.values()])[c["repair"]]
    price = price * np.array([model.price for model in truth.MODELS])[c["model"]]
    return {
        "received": c["received"],
        "finished": c["finished"],
        "branch": _at(truth.BRANCHES, c["branch"]),
        "technician": _at([f"T{k + 1}" for k in range(truth.MOST_TECHNICIANS)], c["technician"]),
        "model": _at([model.name for model in truth.MODELS], c["model"]),
        "repair": _at(REPAIRS, c["repair"]),
        "outcome": _at(OUTCOMES, c["outcome"]),
        "minutes": c["minutes"],
        "price": np.where(c["outcome"] == 0, np.round(price), 0.0).astype(int),
    }


def _step_cells(c: Columns) -> dict[str, Any]:
    import numpy as np

    cells: dict[str, Any] = {}
    for step, names in truth.METHODS.items():
        # -1 does not belong to the repair, -2 was not reached: "-"
        words = [*names, "-"]
        cell = _at(words, np.where(c[step] == -2, len(names), c[step]))
        if f"{step}_again" in c:
            cell = _chain(cell, _at(names, c[f"{step}_again"]))
        if f"blank:{step}" in c:
            cell = _where(~c[f"blank:{step}"], cell)
        cells[step] = cell
    for step in truth.STEP_MINUTES:
        cells[f"{step}_minutes"] = _where(c[step] >= 0, c[f"{step}_minutes"])
    return cells


def _part_cells(c: Columns) -> dict[str, Any]:
    import numpy as np

    cells: dict[str, Any] = {}
    for part, costs in truth.PIECE_COST.items():
        new, grade = c[f"{part}_new"], c[f"{part}_grade"]
        # A dead piece is followed by the maker's own, of the first supplier.
        second = np.where(c[f"dead:{part}"], 0, -1)
        noted = ~has(c, f"{part}_swap") & c["prior_repair"] & c["in_device_noted"]
        noted &= has(c, "battery_swap") | has(c, "display_swap")
        cells[f"{part}_grade"] = _chain(
            _at(truth.GRADES, np.where(new | noted, grade, -1)), _at(truth.GRADES, second)
        )
        money = [f"{cost:.2f}" for cost in costs]
        cells[f"{part}_cost"] = _chain(_at(money, np.where(new, grade, -1)), _at(money, second))
        cells[f"{part}_fitted"] = _at(["no"], np.where(noted, 0, -1))
    second = np.where(c["dead:battery"], 0, -1)
    first = np.where(c["battery_new"], c["supplier"], -1)
    cells["battery_supplier"] = _chain(_at(truth.SUPPLIERS, first), _at(truth.SUPPLIERS, second))
    base = int(c["lot"].min(initial=0))
    months = range(base, int(c["lot"].max(initial=0)) + 1)
    dates = [f"{(70 + month // 12) % 100:02d}{month % 12 + 1:02d}" for month in months]
    names = [f"{prefix}-{yymm}" for prefix in truth.LOT_PREFIX for yymm in dates]
    within = c["lot"] - base
    lots = (np.where(i < 0, -1, i.astype(int) * len(months) + within) for i in (first, second))
    cells["battery_lot"] = _chain(*(_at(names, index) for index in lots))
    return cells


def _factor_cells(c: Columns) -> dict[str, Any]:
    battery, calibrated = has(c, "battery_swap"), c["calibration"] >= 0
    flags = {name: _at(["no", "yes"], c[name].astype(int)) for name in ("swollen", "prior_repair")}
    return {
        "swollen": _where(~c["blank:swollen"], flags["swollen"]),
        "prior_repair": _where(~c["blank:prior_repair"], flags["prior_repair"]),
        "battery_health": _where(battery & ~c["blank:battery_health"], c["battery_health"]),
        "charge": _where(calibrated & ~c["blank:charge"], c["charge"]),
        "connection": _where(
            calibrated & ~c["blank:connection"], _at([*truth.CONNECTIONS], c["connection"])
        ),
    }


def _return_cells(c: Columns) -> dict[str, Any]:
    import numpy as np

    return {
        "returned": _where(c["back"], c["returned"]),
        "return_reason": _at(REASONS, np.where(c["back"], c["reason"], -1)),
    }


def _joined(n: int, words: list[tuple[str, Any]]) -> pl.Series:
    """The words whose mask holds, ``; `` between them."""
    import polars as pl

    masks = pl.DataFrame({f"{k}": mask for k, (_, mask) in enumerate(words)})
    cells = [pl.when(pl.col(f"{k}")).then(pl.lit(word)) for k, (word, _) in enumerate(words)]
    if n == 0:
        return pl.Series([], dtype=pl.String)
    return masks.select(pl.concat_str(cells, separator="; ", ignore_nulls=True)).to_series()


def _failure_cells(c: Columns) -> pl.Series:
    words: list[tuple[str, Any]] = []
    for step, modes in truth.STEP_MODES.items():
        tried_again = c.get(f"{step}_again", c["model"] * 0 - 1) >= 0
        for mode in modes:
            seen, later = c[f"fail:{mode}"], c.get(f"again:{mode}")
            place = f"{mode}@{step}" if mode in SEVERAL_STEPS else mode
            dot = "." if mode in SEVERAL_STEPS else "@"
            # Only a snapped tab tells by itself which try it belongs to.
            counted = tried_again if mode != "tab_snapped" else tried_again & False
            words += [(place, seen & ~counted), (f"{place}{dot}1", seen & counted)]
            if later is not None:
                words.append((f"{place}{dot}2", later))
    both = c["battery_new"] & c["display_new"]
    for part in truth.DEAD_ON_ARRIVAL:
        dead = c[f"dead:{part}"]
        words += [
            ("dead_on_arrival@1", dead & ~both),
            (f"dead_on_arrival@{part}.1", dead & both),
        ]
    words += [(mode, c[f"fail:{mode}"]) for mode in ("restart_conflict", "charging_conflict")]
    return _joined(len(c["model"]), words)
