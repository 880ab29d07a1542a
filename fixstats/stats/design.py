"""What a multilevel fit is made of: columns with names, and groups with levels.

One row is one cell: all opportunities that share every value. A fit adds up the columns it is
given and knows nothing of options or technicians; the functions here make the columns.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_numbers

IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Design:
    """Fixed effects: `columns` (cells, columns), one name each, and which are penalised.

    `penalised`: True for contrasts that a normal prior may draw towards 0; never the intercept,
    which would draw every rate towards one half.
    """

    columns: FloatArray
    names: tuple[str, ...]
    penalised: NDArray[np.bool_]

    def __post_init__(self) -> None:
        if self.columns.ndim != 2 or self.columns.shape[1] != len(self.names):
            raise ValueError(
                f"columns must have one column a name, got shape {self.columns.shape} "
                f"and {len(self.names)} names"
            )
        if len(set(self.names)) != len(self.names):
            raise ValueError(f"names must be different, got {', '.join(self.names)}")
        if self.penalised.shape != (len(self.names),):
            raise ValueError(f"penalised must have one entry a name, got {self.penalised.shape}")


@dataclass(frozen=True)
class Grouping:
    """Random effects of one factor: the level of each cell as a code from 0 to `levels` - 1.

    A level without cells is allowed: its effect is drawn from the distribution of the others.
    """

    name: str
    codes: IntArray
    levels: int


def grouping(name: str, codes: ArrayLike, levels: int | None = None) -> Grouping:
    """Check codes and return them as a `Grouping`; `levels` defaults to the highest code + 1."""
    given = np.asarray(codes)
    if given.ndim != 1 or (given.size and not np.issubdtype(given.dtype, np.integer)):
        raise ValueError(f"codes of {name} must be whole numbers, one for each cell")
    whole = given.astype(np.int64)
    highest = int(whole.max()) + 1 if whole.size else 0
    size = highest if levels is None else levels
    if (whole.size and whole.min() < 0) or highest > size:
        raise ValueError(f"codes of {name} must lie between 0 and {size - 1}")
    return Grouping(name, whole, size)


def fixed_columns(columns: Any, names: Sequence[str], *, penalised: Sequence[str] = ()) -> Design:
    """Columns as they are, (cells, columns), dense or a SciPy sparse array.

    They are held dense: there are few, and the groups with many levels are no columns.
    """
    dense = columns.toarray() if hasattr(columns, "toarray") else columns
    unknown = set(penalised) - set(names)
    if unknown:
        raise ValueError(f"penalised must be among the names, got {', '.join(sorted(unknown))}")
    wanted = set(penalised)
    return Design(
        as_numbers("columns", dense), tuple(names), np.array([n in wanted for n in names], bool)
    )


def intercept(cells: int) -> Design:
    """The column of ones, never penalised."""
    return Design(np.ones((cells, 1)), ("intercept",), np.zeros(1, dtype=bool))


def contrasts(name: str, codes: ArrayLike, levels: int, *, baseline: int = 0) -> Design:
    """One penalised column for each level but the baseline: 1 where a cell has that level.

    The columns are named `name[level]`.
    """
    group = grouping(name, codes, levels)
    others = [level for level in range(levels) if level != baseline]
    return Design(
        (group.codes[:, None] == np.array(others, dtype=np.int64)).astype(np.float64),
        tuple(f"{name}[{level}]" for level in others),
        np.ones(len(others), dtype=bool),
    )


def group_means(design: Design, group: Grouping, opportunities: ArrayLike) -> Design:
    """The group's mean of each column, the same for all its cells: within-between.

    Where careful technicians get the hard jobs and choose their own method, a technician's
    random effect alone leaves part of the technician in the method's coefficient. With the
    technician's mean use of the method beside it, that coefficient compares jobs of the same
    technician only. Columns are named `column by group`, and penalised: with two or three
    groups their means are hardly told apart from the groups' effects.

    Source: Mundlak 1978, Econometrica 46:69-85; Neuhaus and Kalbfleisch 1998, Biometrics
    54:638-645.
    """
    n = as_numbers("opportunities", opportunities)
    total = np.bincount(group.codes, n, group.levels)
    sums = np.zeros((group.levels, design.columns.shape[1]))  # of one option: no column at all
    for column, values in enumerate(design.columns.T):
        sums[:, column] = np.bincount(group.codes, n * values, group.levels)
    means = sums / np.where(total > 0, total, 1)[:, None]
    return Design(
        means[group.codes],
        tuple(f"{name} by {group.name}" for name in design.names),
        np.ones(len(design.names), dtype=bool),
    )


def side_by_side(*designs: Design) -> Design:
    """All columns of several designs over the same cells."""
    return Design(
        np.concatenate([design.columns for design in designs], axis=1),
        tuple(name for design in designs for name in design.names),
        np.concatenate([design.penalised for design in designs]),
    )


def one_each(values: ArrayLike, number: int) -> FloatArray:
    """One value for all of them, or one each: (number,). Raises `ValueError` for another length."""
    given = as_numbers("values", values)
    if given.shape not in ((), (number,)):
        raise ValueError(f"values must be one or {number}, got shape {given.shape}")
    return np.broadcast_to(given, (number,))
