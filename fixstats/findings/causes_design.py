"""The columns of a fit that asks what goes with a failure: adjusters first, then the conditions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np

from fixstats.findings.causes_plan import FEW, ONE, SAME

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int64]

# Failures, and units without, for each column of a fit; so many are expected of each level that
# gets a column of its own. Source: Vittinghoff and McCulloch 2007, Am J Epidemiol 165:710-718.
A_COLUMN = 5
# Of a key with more levels (models, technicians, quarters), the largest have columns of their own.
MOST_LEVELS = 20
# A column that leaves less than this of itself, once those before it are told, follows from them.
DEPENDENT = 1e-6


@dataclass(frozen=True)
class Units:
    """Units of a fit, in cells; what ``tallies.condition_cells.Cells`` holds, as arrays.

    ``keys``: name -> value of each cell; None: not recorded, a level of its own.
    ``failures``, ``others``: units read. ``weight``: units of the records that a cell stands for.
    ``failed``: failures in the records.
    """

    keys: Mapping[str, Sequence[str | None]]
    failures: FloatArray
    others: FloatArray
    weight: FloatArray
    failed: float

    @property
    def fewer(self) -> float:
        """Failures or units without, whichever are fewer."""
        return float(min(self.failures.sum(), self.others.sum()))


def units_of(
    keys: Mapping[str, Sequence[str | None]],
    failures: Sequence[float],
    others: Sequence[float],
    failure_weight: float = 1.0,
    other_weight: float = 1.0,
) -> Units:
    """Cells as arrays; weights say how many units of the records one that was read stands for."""
    failed, fine = np.asarray(failures, dtype=float), np.asarray(others, dtype=float)
    weight = failed * failure_weight + fine * other_weight
    return Units(keys, failed, fine, weight, float(failed.sum()) * failure_weight)


def selected(units: Units, rows: NDArray[np.bool_]) -> Units:
    """Only these cells."""
    weight = units.failed / units.failures.sum() if units.failures.sum() else 1.0
    return Units(
        {key: [*compress(values, rows)] for key, values in units.keys.items()},
        units.failures[rows],
        units.others[rows],
        units.weight[rows],
        float(units.failures[rows].sum() * weight),
    )


@dataclass(frozen=True)
class Design:
    """Rows of cells that are alike in every column.

    ``x``: an intercept, the adjusters' columns, then one column for each condition asked for.
    ``own``: where those stand, None for one that follows from the columns before it.
    ``adjusted_for``: adjusters with a column. ``left_out``: adjuster -> why it has none.
    ``lumped``: adjuster -> how many of its levels were taken together.
    """

    x: FloatArray
    failures: FloatArray
    others: FloatArray
    weight: FloatArray
    failed: float
    own: tuple[int | None, ...]
    adjusted_for: tuple[str, ...]
    left_out: Mapping[str, str] = field(default_factory=dict)
    lumped: Mapping[str, int] = field(default_factory=dict)


def design_of(units: Units, adjusters: Sequence[str], own: Sequence[NDArray[np.bool_]]) -> Design:
    """The design: ``own`` are the columns of the conditions, True where a cell has them.

    An adjuster enters whole or not at all, in the order given, as long as there are ``A_COLUMN``
    failures for every column.
    """
    room = int(units.fewer // A_COLUMN) - 1 - len(own)
    codes: list[IntArray] = []
    named: list[str] = []
    left_out: dict[str, str] = {}
    lumped: dict[str, int] = {}
    for name in adjusters:
        code, together, levels = _levels(units, units.keys[name])
        width = int(code.max(initial=0))
        if not width or width > room:
            left_out[name] = ONE if levels < 2 else FEW
            continue
        room -= width
        codes.append(code)
        named.append(name)
        lumped |= {name: together} if together else {}
    rows, first = _alike([*codes, *(one.astype(np.int64) for one in own)], len(units.failures))
    columns, of = _columns([code[first] for code in codes], named)
    kept = _independent([*columns, *(one[first].astype(float) for one in own)])
    used = {of[place] for place in kept if place < len(of)}
    left_out |= {name: SAME for name in named if name not in used}
    places = {place: number for number, place in enumerate(kept, start=1)}
    stacked = [*columns, *(one[first].astype(float) for one in own)]
    return Design(
        x=np.column_stack([np.ones(len(first)), *(stacked[place] for place in kept)]),
        failures=_summed(rows, units.failures),
        others=_summed(rows, units.others),
        weight=_summed(rows, units.weight),
        failed=units.failed,
        own=tuple(places.get(len(columns) + number) for number in range(len(own))),
        adjusted_for=tuple(name for name in named if name in used),
        left_out=left_out,
        lumped={name: many for name, many in lumped.items() if name in used},
    )


def _summed(rows: IntArray, values: FloatArray) -> FloatArray:
    """Sums over the cells of each row."""
    return np.bincount(rows, weights=values).astype(np.float64)


def _levels(units: Units, values: Sequence[str | None]) -> tuple[IntArray, int, int]:
    """A number for each cell's level, how many levels were taken together, and how many there are.

    0 is the level of most units; levels that are too small, or too many, share a number, or that
    of the largest where they are too small even together.
    """
    numbers: dict[str | None, int] = {}
    given = np.array([numbers.setdefault(value, len(numbers)) for value in values], dtype=np.int64)
    read = np.bincount(given, weights=units.failures + units.others, minlength=len(numbers))
    rare = units.fewer / max(units.failures.sum() + units.others.sum(), 1.0)
    order = np.argsort(-read, kind="stable")
    large = [level for level in order[:MOST_LEVELS] if read[level] * rare >= A_COLUMN]
    alone = list(dict.fromkeys([*order[:1], *large]))
    rest = [level for level in order if level not in alone]
    new = np.zeros(len(numbers), dtype=np.int64)
    new[alone] = np.arange(len(alone))
    if rest and read[rest].sum() * rare >= A_COLUMN:
        new[rest] = len(alone)
    return new[given], len(rest) if len(rest) > 1 else 0, len(numbers)


def _alike(codes: Sequence[IntArray], cells: int) -> tuple[IntArray, IntArray]:
    """The row of each cell, and the first cell of each row: cells alike in all codes share one."""
    together = np.zeros(cells, dtype=np.int64)
    for code in codes:
        together = together * (int(code.max(initial=0)) + 1) + code
        _, together = np.unique(together, return_inverse=True)
    _, first, rows = np.unique(together, return_index=True, return_inverse=True)
    return rows, first


def _columns(codes: Sequence[IntArray], names: Sequence[str]) -> tuple[list[FloatArray], list[str]]:
    """A column for every level but the largest, and whose it is."""
    columns, of = [], []
    for code, name in zip(codes, names, strict=True):
        for level in range(1, int(code.max(initial=0)) + 1):
            columns.append((code == level).astype(float))
            of.append(name)
    return columns, of


def _independent(columns: Sequence[FloatArray]) -> list[int]:
    """Places of the columns that do not follow from those before them and the intercept."""
    kept: list[int] = []
    if not columns:
        return kept
    rows = len(columns[0])
    basis = np.full((rows, 1), 1 / np.sqrt(max(rows, 1)))
    for place, column in enumerate(columns):
        left = column
        for _ in range(2):  # a second time: rounding of the first
            left = left - basis @ (basis.T @ left)
        size = float(np.linalg.norm(left))
        if size > DEPENDENT * max(float(np.linalg.norm(column)), 1.0):
            kept.append(place)
            basis = np.column_stack([basis, left / size])
    return kept
