"""Which recorded conditions an adjusted comparison takes into account, as coded columns.

A condition can only confound a comparison if its distribution differs between the options, and
each one kept multiplies the cells. So what hardly differs is left out, and said.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fixstats.stats.design import IntArray
from fixstats.stats.validators import FloatArray
from fixstats.tallies.coded import coded as coded_words

# The share of an option's jobs that would have to change their value to have the distribution
# of all jobs. Leaving the condition out moves a rate by at most this share times the difference
# that the condition makes: 0.02 of 0.3 is 0.006. No test of significance: what counts is the
# size of the imbalance in these jobs, not whether chance made it (Imai, King and Stuart 2008,
# J R Stat Soc A 171:481-502). The limit is ours.
HARDLY = 0.02
# Cells beyond which conditions are merged: the fit and its draws shall take two seconds.
MOST_CELLS = 20_000
LARGEST = 2**62  # of a code
# They stay whatever their distribution: their levels differ in more than was recorded.
ALWAYS = ("model", "technician")

ONE_VALUE = "one value only"
SAME_SHARE = "same share with every option"
TOO_MANY = "too many cells"


@dataclass(frozen=True)
class Column:
    """One condition over the cells: `codes` into `values` (None, not recorded, is the last).

    `label` is what it is called in the answer: a quarter may have been merged to a year.
    """

    key: str
    label: str
    values: tuple[Any, ...]
    codes: IntArray


@dataclass(frozen=True)
class Cells:
    """Counts by option (a code) and conditions, each combination once.

    `beside`: whatever else was counted in the same cells, added up where they are merged.
    """

    option: IntArray
    columns: Mapping[str, Column]
    failures: FloatArray
    opportunities: FloatArray
    beside: Mapping[str, FloatArray] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.option)


def coded(key: str, *values: Sequence[Any], label: str = "") -> Column:
    """Code the values, all under each other, in their order, None last."""
    own = coded_words(*values)
    return Column(key, label or key, own.levels, own.codes)


def cells_of(
    columns: Mapping[str, Sequence[Any]], choice: str, options: Sequence[str], keys: Sequence[str]
) -> Cells:
    """The cells of these options that have opportunities; all others are left out."""
    place = {option: code for code, option in enumerate(options)}
    option = np.array([place.get(value, -1) for value in columns[choice]], dtype=np.int64)
    failures = np.asarray(columns["failures"], dtype=np.float64)
    opportunities = np.asarray(columns["opportunities"], dtype=np.float64)
    rows = np.flatnonzero((option >= 0) & (opportunities > 0))
    kept = rows.tolist()
    own = {key: coded(key, [columns[key][row] for row in kept]) for key in keys}
    return Cells(option[rows], own, failures[rows], opportunities[rows])


def combined(codes: Sequence[IntArray]) -> IntArray:
    """One code for each combination that occurs, from 0."""
    both, size = np.zeros(len(codes[0]), dtype=np.int64), 1
    for one in codes:
        levels = int(one.max(initial=0)) + 1
        if size * levels > LARGEST:
            both = _dense(both)
            size = int(both.max(initial=0)) + 1
        both, size = both * levels + one, size * levels
    return _dense(both)


def _dense(codes: IntArray) -> IntArray:
    return np.unique(codes, return_inverse=True)[1].astype(np.int64)


def summed(codes: IntArray, values: FloatArray, levels: int) -> FloatArray:
    """Sum of the values by code."""
    return np.bincount(codes, values, levels).astype(np.float64)


def merged(cells: Cells, keys: Collection[str]) -> Cells:
    """The counts over these conditions only."""
    columns = {key: column for key, column in cells.columns.items() if key in keys}
    both = combined([cells.option, *(column.codes for column in columns.values())])
    _, first = np.unique(both, return_index=True)
    return Cells(
        option=cells.option[first],
        columns={
            key: Column(key, one.label, one.values, one.codes[first])
            for key, one in columns.items()
        },
        failures=summed(both, cells.failures, len(first)),
        opportunities=summed(both, cells.opportunities, len(first)),
        beside={name: summed(both, one, len(first)) for name, one in cells.beside.items()},
    )


def imbalance(cells: Cells, key: str) -> float:
    """How far the condition's distribution differs between an option's jobs and all: the largest
    total variation distance over options; over all jobs, and within models and technicians.

    Within: against what the option's jobs would have if, in each model, they had the
    distribution of all jobs of that model. Strata are averaged with their signs, so that chance
    in many small ones does not pile up.
    """
    others = [cells.columns[name].codes for name in ALWAYS if name in cells.columns]
    everything = np.zeros(len(cells), dtype=np.int64)
    return max(_distance(cells, cells.columns[key], strata) for strata in [everything, *others])


def _distance(cells: Cells, column: Column, strata: IntArray) -> float:
    n, levels = cells.opportunities, len(column.values)
    options, number = int(cells.option.max()) + 1, int(strata.max()) + 1

    def table(rows: IntArray, columns: IntArray, shape: tuple[int, int]) -> FloatArray:
        return summed(rows * shape[1] + columns, n, shape[0] * shape[1]).reshape(shape)

    in_stratum = table(strata, column.codes, (number, levels))
    share = in_stratum / in_stratum.sum(axis=1, keepdims=True)
    used = table(cells.option, strata, (options, number))
    observed = table(cells.option, column.codes, (options, levels))
    total = used.sum(axis=1)
    apart = np.abs(observed - used @ share).sum(axis=1) / 2
    return float((apart[total > 0] / total[total > 0]).max())


def chosen(
    cells: Cells, stay: Collection[str], limit: int = MOST_CELLS
) -> tuple[Cells, dict[str, str]]:
    """The cells over the conditions worth adjusting for, and why each other one was dropped.

    `stay`: conditions that are kept even where they hardly differ between the options.
    """
    dropped, apart = {}, {}
    for key, column in cells.columns.items():
        if len(np.unique(column.codes)) < 2:
            dropped[key] = ONE_VALUE
        elif key not in (*ALWAYS, *stay):
            apart[key] = imbalance(cells, key)
            if apart[key] < HARDLY:
                dropped[key] = SAME_SHARE
    cells = merged(cells, [key for key in cells.columns if key not in dropped])
    return _within(cells, apart, dropped, limit)


def _within(
    cells: Cells, apart: dict[str, float], dropped: dict[str, str], limit: int
) -> tuple[Cells, dict[str, str]]:
    """Merge until there are few enough cells: quarters first, then the least unbalanced."""
    for label, shorter in (("half-year", _half), ("year", _year)):
        if len(cells) > limit and "quarter" in cells.columns:
            cells = _relabelled(cells, "quarter", label, shorter)
            dropped["quarter"] = f"{TOO_MANY}; taken by {label}"
    free = sorted((key for key in apart if key in cells.columns), key=apart.__getitem__)
    for key in free:
        if len(cells) > limit:
            cells = merged(cells, [name for name in cells.columns if name != key])
            dropped[key] = TOO_MANY
    return cells, dropped


def _relabelled(cells: Cells, key: str, label: str, shorter: Callable[[str], str]) -> Cells:
    column = cells.columns[key]
    words = [None if value is None else shorter(str(value)) for value in column.values]
    levels = coded(key, words, label=label)
    fewer = Column(key, label, levels.values, levels.codes[column.codes])
    changed = replace(cells, columns={**cells.columns, key: fewer})
    return merged(changed, changed.columns)


def _half(quarter: str) -> str:
    return f"{quarter[:4]}-H{1 if quarter[-1] in '12' else 2}"


def _year(period: str) -> str:
    return period[:4]
