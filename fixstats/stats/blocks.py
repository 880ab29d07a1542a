"""The curvature of a multilevel fit, factorised by blocks.

Coefficients stand in the order [small groups, columns | big group]. Each cell belongs to one
level of the big group (the one with most levels), so its block is diagonal and is eliminated
first; the rest is dense and small. With 1,000 option-by-model effects, 500 technicians and 200
models that leaves a matrix of 700 instead of 1,700.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixstats.stats.design import Grouping, IntArray
from fixstats.stats.validators import FloatArray


@dataclass(frozen=True)
class Layout:
    """Where everything stands: made once for a fit, used at every step.

    `small` and `big` are indicator matrices (levels, cells), `members` all of them under each
    other, `wide` the columns after one of ones; `order` the places of the groups in the order
    given by the caller: small groups first, the big one last. `first`, `second` (pairs of small
    groups, cells): the coefficients of both that a cell has; `outer` (small groups, cells): those
    that it has beside its level of the big group.
    """

    columns: FloatArray
    wide: FloatArray
    small: tuple[Any, ...]
    big: Any
    members: Any
    codes: tuple[IntArray, ...]
    order: tuple[int, ...]
    starts: tuple[int, ...]
    first: IntArray
    second: IntArray
    outer: IntArray

    @property
    def grouped(self) -> int:
        """How many coefficients the small groups have: where the columns start."""
        return self.starts[-1]

    @property
    def dense(self) -> int:
        """How many coefficients stand outside the big group."""
        return self.grouped + int(self.columns.shape[1])


@dataclass(frozen=True)
class Curvature:
    """Negative second derivative at some place: `diagonal` of the big group, `lower` Cholesky
    factor of the rest after elimination, and the coupling of both (big, rest), its rows scaled by
    the root of the diagonal."""

    diagonal: FloatArray
    lower: FloatArray
    coupling: FloatArray


def lay_out(columns: FloatArray, groups: Sequence[Grouping]) -> Layout:
    """Order the groups by size and find which levels meet in which cells."""
    from scipy import sparse

    cells = len(columns)
    order = sorted(range(len(groups)), key=lambda i: groups[i].levels)
    ordered = [groups[i] for i in order]

    def indicator(codes: IntArray, levels: int) -> Any:
        place = (codes, np.arange(len(codes)))
        return sparse.csr_array((np.ones(len(codes)), place), shape=(levels, cells))

    each = [indicator(group.codes, group.levels) for group in ordered] or [
        sparse.csr_array((0, cells))
    ]
    starts = tuple(np.cumsum([0, *(group.levels for group in ordered[:-1])]).tolist())
    places = [group.codes + start for group, start in zip(ordered[:-1], starts, strict=False)]
    pairs = [(one, other) for i, one in enumerate(places) for other in places[i + 1 :]]
    return Layout(
        columns=columns,
        wide=np.concatenate([np.ones((cells, 1)), columns], axis=1),
        small=tuple(each[:-1]),
        big=each[-1],
        members=sparse.csr_array(sparse.vstack(each)),
        codes=tuple(group.codes for group in ordered),
        order=tuple(order),
        starts=starts,
        first=_stacked([one for one, _ in pairs], cells),
        second=_stacked([other for _, other in pairs], cells),
        outer=_stacked(places, cells),
    )


def _stacked(places: Sequence[IntArray], cells: int) -> IntArray:
    return np.array(places, dtype=np.int64).reshape(-1, cells)


def predict(layout: Layout, rest: FloatArray, big: FloatArray) -> FloatArray:
    """Each cell's sum of its coefficients."""
    eta: FloatArray = layout.columns @ rest[layout.grouped :]
    if layout.codes:
        eta += big[layout.codes[-1]]
    for codes, start in zip(layout.codes[:-1], layout.starts, strict=False):
        eta += rest[codes + start]
    return eta


def gather(layout: Layout, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Sum of the cells' values for each coefficient: the transpose of `predict`."""
    sizes = [indicator.shape[0] for indicator in (*layout.small, layout.big)]
    parts = [
        np.bincount(codes, values, size).astype(np.float64)
        for codes, size in zip(layout.codes, sizes, strict=False)
    ]
    big = parts.pop() if parts else np.zeros(0)
    return np.concatenate([*parts, layout.columns.T @ values]), big


def curvature(
    layout: Layout, weights: FloatArray, precision: tuple[FloatArray, FloatArray]
) -> Curvature:
    """Factorise design' weights design + precision; `precision` of the rest and of the big group.

    Raises `numpy.linalg.LinAlgError` where it is not positive definite.
    """
    m, size, levels = layout.grouped, layout.dense, layout.big.shape[0]
    weighted = weights[:, None] * layout.wide
    sums = layout.members @ weighted
    # Upper triangle only: where two small groups meet, then the columns' parts.
    matrix = _met(layout.first * size + layout.second, weights, (size, size))
    matrix[:m, m:] = sums[:m, 1:]
    matrix[m:, m:] = layout.columns.T @ weighted[:, 1:]
    matrix[np.arange(m), np.arange(m)] = sums[:m, 0]
    matrix[np.diag_indices(size)] += precision[0]
    diagonal = sums[m:, 0] + precision[1]
    coupling = np.zeros((levels, size))
    if layout.codes:
        coupling = _met(layout.codes[-1] * size + layout.outer, weights, (levels, size))
    coupling[:, m:] = sums[m:, 1:]
    coupling /= np.sqrt(diagonal)[:, None]
    matrix -= coupling.T @ coupling
    return Curvature(diagonal, _factor(matrix), coupling)


def _met(places: IntArray, weights: FloatArray, shape: tuple[int, int]) -> FloatArray:
    """Sums of the cells' weights in the places of a matrix, (any number, cells), row by row."""
    repeated = np.broadcast_to(weights, places.shape).ravel()
    sums = np.bincount(places.ravel(), repeated, shape[0] * shape[1])
    return sums.astype(np.float64, copy=False).reshape(shape)


def _factor(matrix: FloatArray) -> FloatArray:
    """Lower Cholesky factor of a symmetric matrix whose upper triangle is filled."""
    from scipy import linalg

    # Row by row the upper triangle is what LAPACK, column by column, takes for the lower one.
    lower, wrong = linalg.lapack.dpotrf(matrix.T, lower=1, clean=1, overwrite_a=1)
    if wrong:
        raise np.linalg.LinAlgError("the curvature is not positive definite")
    factor: FloatArray = lower
    return factor


def solve(
    layout: Layout, curved: Curvature, rest: FloatArray, big: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve curvature x = right-hand side, both in two parts."""
    from scipy import linalg

    scale = 1 / np.sqrt(curved.diagonal)
    scaled = big * scale
    answer, _ = linalg.lapack.dpotrs(curved.lower, rest - scaled @ curved.coupling, lower=1)
    return answer, (scaled - curved.coupling @ answer) * scale


def log_determinant(curved: Curvature, rest: int) -> float:
    """Of the big group and the first `rest` of the other coefficients."""
    return float(np.log(curved.diagonal).sum() + 2 * np.log(np.diag(curved.lower)[:rest]).sum())


@dataclass(frozen=True)
class Inverse:
    """Parts of the inverse of a curvature: `rest` (dense), the big group's `diagonal`, their
    `coupling` (big, rest), and the variance of each cell's prediction in `cells`."""

    rest: FloatArray
    diagonal: FloatArray
    coupling: FloatArray
    cells: FloatArray


def invert(layout: Layout, curved: Curvature, *, columns: bool) -> Inverse:
    """The parts of the inverse that a fit needs; without `columns`, those are held fixed."""
    from scipy import linalg

    size = layout.dense if columns else layout.grouped
    rest = np.zeros((0, 0))
    if size:
        lower, _ = linalg.lapack.dpotri(curved.lower[:size, :size], lower=1)
        rest = lower + lower.T
        rest[np.diag_indices(size)] /= 2
    scale = 1 / np.sqrt(curved.diagonal)
    coupling = curved.coupling[:, :size] @ rest
    own = np.einsum("lj,lj->l", curved.coupling[:, :size], coupling)
    coupling *= -scale[:, None]
    diagonal = (1 + own) * scale**2
    return Inverse(rest, diagonal, coupling, _cell_variances(layout, rest, diagonal, coupling))


def _cell_variances(
    layout: Layout, rest: FloatArray, diagonal: FloatArray, coupling: FloatArray
) -> FloatArray:
    x, m, size = layout.columns, layout.grouped, len(rest)
    total = np.zeros(len(x))
    if layout.codes:
        big = layout.codes[-1]
        total += np.concatenate([np.diag(rest)[:m], diagonal]) @ layout.members
        total += 2 * coupling.ravel()[big * size + layout.outer].sum(axis=0)
        total += 2 * rest.ravel()[layout.first * size + layout.second].sum(axis=0)
    if size > m:
        beside = np.concatenate([rest[:m, m:], coupling[:, m:]])
        cross = x @ rest[m:, m:] + 2 * (layout.members.T @ beside)
        total += np.einsum("ij,ij->i", cross, x)
    return total
