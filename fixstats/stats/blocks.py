"""The curvature of a multilevel fit, factorised by blocks.

Coefficients stand in the order [small groups, columns | big group]. Each cell belongs to one
level of the big group (the one with most levels), so its block is diagonal and is eliminated
first; the rest is dense and small. With 1,000 option-by-model effects, 500 technicians and 200
models that leaves a matrix of 700 instead of 1,700, and the products that lead there are sparse.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixstats.stats.design import Grouping, IntArray
from fixstats.stats.validators import FloatArray

# Numbers of a matrix up to which its zeros cost less than handling it as sparse.
DENSE = 100_000


@dataclass(frozen=True)
class Layout:
    """Where everything stands: made once for a fit, used at every step.

    `small` and `big` are indicator matrices (levels, cells), `order` the places of the groups
    in the order given by the caller: small groups first, the big one last.
    """

    columns: FloatArray
    small: tuple[Any, ...]
    big: Any
    codes: tuple[IntArray, ...]
    order: tuple[int, ...]
    starts: tuple[int, ...]
    pairs: tuple[tuple[IntArray, IntArray, IntArray], ...]

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
    factor of the rest after elimination, and the coupling of both, sparse and dense part.

    The sparse part is an array where it is small: handling it costs more than its zeros.
    """

    diagonal: FloatArray
    lower: FloatArray
    sparse: Any
    dense: FloatArray


def lay_out(columns: FloatArray, groups: Sequence[Grouping]) -> Layout:
    """Order the groups by size and find which levels meet in which cells."""
    from scipy import sparse

    cells = len(columns)
    order = sorted(range(len(groups)), key=lambda i: groups[i].levels)
    ordered = [groups[i] for i in order]

    def indicator(codes: IntArray, levels: int) -> Any:
        place = (codes, np.arange(len(codes)))
        return sparse.csr_array((np.ones(len(codes)), place), shape=(levels, cells))

    if groups:
        big_codes, big_levels = ordered[-1].codes, ordered[-1].levels
        big = indicator(big_codes, big_levels)
    else:
        big = sparse.csr_array((0, cells))
    starts = tuple(np.cumsum([0, *(group.levels for group in ordered[:-1])]).tolist())
    pairs = []
    for group, start in zip(ordered[:-1], starts, strict=False):
        met, which = np.unique(group.codes * big_levels + big_codes, return_inverse=True)
        pairs.append((met // big_levels + start, met % big_levels, which))
    return Layout(
        columns=columns,
        small=tuple(indicator(group.codes, group.levels) for group in ordered[:-1]),
        big=big,
        codes=tuple(group.codes for group in ordered),
        order=tuple(order),
        starts=starts,
        pairs=tuple(pairs),
    )


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
    from scipy import linalg, sparse

    m, size = layout.grouped, layout.dense
    weighted = weights[:, None] * layout.columns
    matrix = np.zeros((size, size))
    blocks = list(zip(layout.small, layout.codes, layout.starts, strict=False))
    for i, (indicator, codes, start) in enumerate(blocks):
        own = slice(start, start + indicator.shape[0])
        matrix[own, m:] = indicator @ weighted
        np.fill_diagonal(matrix[own, own], indicator @ weights)
        for other, other_codes, other_start in blocks[i + 1 :]:
            shape = (indicator.shape[0], other.shape[0])
            both = np.bincount(codes * shape[1] + other_codes, weights, shape[0] * shape[1])
            matrix[own, other_start : other_start + shape[1]] = both.reshape(shape)
    matrix[m:, m:] = layout.columns.T @ weighted
    matrix[np.diag_indices(size)] += precision[0]
    diagonal = layout.big @ weights + precision[1]
    scale = 1 / np.sqrt(diagonal)
    dense = (layout.big @ weighted).T * scale
    met = [np.bincount(which, weights, len(rows)) for rows, _, which in layout.pairs]
    places = np.concatenate([np.zeros((2, 0), int), *(np.stack(p[:2]) for p in layout.pairs)], 1)
    values = np.concatenate([np.zeros(0), *met]) * scale[places[1]]
    thin: Any
    if m * len(diagonal) <= DENSE:
        thin = np.zeros((m, len(diagonal)))
        thin[tuple(places)] = values
    else:
        thin = sparse.csr_array((values, tuple(places)), shape=(m, len(diagonal)))
    if m:
        product = thin @ thin.T
        matrix[:m, :m] -= product if isinstance(product, np.ndarray) else product.toarray()
        matrix[:m, m:] -= thin @ dense.T
    matrix[m:, m:] -= dense @ dense.T
    # The upper triangle of the symmetric matrix was filled; LAPACK reads no more than that.
    upper = linalg.cholesky(matrix, lower=False, check_finite=False)
    return Curvature(diagonal, upper.T, thin, dense)


def solve(
    layout: Layout, curved: Curvature, rest: FloatArray, big: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve curvature x = right-hand side, both in two parts."""
    from scipy import linalg

    m, scale = layout.grouped, 1 / np.sqrt(curved.diagonal)
    scaled = big * scale
    reduced = rest - np.concatenate([curved.sparse @ scaled, curved.dense @ scaled])
    answer = linalg.cho_solve((curved.lower, True), reduced, check_finite=False)
    back = curved.sparse.T @ answer[:m] + curved.dense.T @ answer[m:]
    return answer, (scaled - back) * scale


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

    m = layout.grouped
    size = layout.dense if columns else m
    rest = np.zeros((0, 0))
    if size:
        rest, _ = linalg.lapack.dpotri(curved.lower[:size, :size], lower=1)
        rest = np.tril(rest) + np.tril(rest, -1).T
    scale = 1 / np.sqrt(curved.diagonal)
    coupling = curved.sparse.T @ rest[:m]
    if columns:
        coupling += curved.dense.T @ rest[m:]
    if isinstance(curved.sparse, np.ndarray):
        own = np.einsum("jl,lj->l", curved.sparse, coupling[:, :m])
    else:
        own = np.asarray(curved.sparse.T.multiply(coupling[:, :m]).sum(axis=1)).ravel()
    if columns:
        own = own + np.einsum("jl,lj->l", curved.dense, coupling[:, m:])
    coupling *= -scale[:, None]
    diagonal = (1 + own) * scale**2
    return Inverse(rest, diagonal, coupling, _cell_variances(layout, rest, diagonal, coupling))


def _cell_variances(
    layout: Layout, rest: FloatArray, diagonal: FloatArray, coupling: FloatArray
) -> FloatArray:
    x, m = layout.columns, layout.grouped
    columns = rest.shape[0] > m
    cross = x @ rest[m:, m:] if columns else None
    total = np.zeros(len(x))
    small = list(zip(layout.codes, layout.starts, strict=False))[: len(layout.small)]
    for i, (codes, start) in enumerate(small):
        place = codes + start
        total += rest[place, place] + 2 * coupling[layout.codes[-1], place]
        for other, other_start in small[i + 1 :]:
            total += 2 * rest[place, other + other_start]
        if cross is not None:
            cross += 2 * rest[place, m:]
    if layout.codes:
        total += diagonal[layout.codes[-1]]
        if cross is not None:
            cross += 2 * coupling[layout.codes[-1], m:]
    if cross is not None:
        total += np.einsum("ij,ij->i", cross, x)
    return total
