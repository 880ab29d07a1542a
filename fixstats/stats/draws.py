"""Joint draws of all coefficients of a fit from a mixture of normal distributions."""

from collections.abc import Sequence

import numpy as np

from fixstats.stats import blocks
from fixstats.stats.laplace import Summit
from fixstats.stats.validators import FloatArray


def mixture_moments(
    layout: blocks.Layout, points: Sequence[Summit], weights: FloatArray
) -> tuple[FloatArray, FloatArray, list[FloatArray]]:
    """Mean and standard deviation of the columns' coefficients, mean of each group's effects."""
    m = layout.grouped
    rests = np.stack([point.rest + point.shift[0] for point in points])
    mean = weights @ rests
    columns = rests[:, m:] - mean[m:]
    variances = np.stack([_column_variances(layout, point) for point in points])
    spread = weights @ (variances + columns * columns)
    big = weights @ np.stack([point.big + point.shift[1] for point in points])
    return mean[m:], np.sqrt(spread), _split(layout, mean, big)


def _column_variances(layout: blocks.Layout, point: Summit) -> FloatArray:
    from scipy import linalg

    # The columns stand last: their block of the inverse is that of the factor's last corner.
    m = layout.grouped
    corner = linalg.solve_triangular(
        point.curved.lower[m:, m:], np.eye(layout.dense - m), lower=True, check_finite=False
    )
    variances: FloatArray = (corner * corner).sum(axis=0)
    return variances


def draw_coefficients(
    layout: blocks.Layout, points: Sequence[Summit], weights: FloatArray, draws: int, seed: int
) -> tuple[FloatArray, list[FloatArray]]:
    """Columns' coefficients (columns, draws) and effects (levels, draws) in the layout's order.

    The points share the draws by weight without chance, and each draw has its mirror image
    about the mean beside it: both take noise out of averages.
    """
    random = np.random.default_rng(seed)
    pairs = (draws + 1) // 2
    ends = np.rint(np.cumsum(weights) * pairs).astype(np.int64)
    rest = np.empty((layout.dense, 2 * pairs))
    big = np.empty((layout.big.shape[0], 2 * pairs))
    # One and the same mixture in any order: shuffled, so that any part of the draws is a mixture.
    places = random.permutation(pairs)
    for point, first, last in zip(points, [0, *ends[:-1]], ends, strict=True):
        at = 2 * places[first:last]
        off_rest, off_big = _deviations(layout, point, last - first, random)
        centre = (point.rest + point.shift[0])[:, None], (point.big + point.shift[1])[:, None]
        rest[:, at], rest[:, at + 1] = centre[0] + off_rest, centre[0] - off_rest
        big[:, at], big[:, at + 1] = centre[1] + off_big, centre[1] - off_big
    effects = _split(layout, rest, big)
    return rest[layout.grouped :, :draws], [effect[:, :draws] for effect in effects]


def _deviations(
    layout: blocks.Layout, point: Summit, number: int, random: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Normal draws whose precision is the point's curvature: solve factor' x = noise."""
    from scipy import linalg

    curved = point.curved
    noise = random.standard_normal((layout.dense, number))
    rest = linalg.solve_triangular(curved.lower, noise, lower=True, trans="T", check_finite=False)
    big = random.standard_normal((len(curved.diagonal), number))
    big -= curved.coupling @ rest
    return rest, big / np.sqrt(curved.diagonal)[:, None]


def _split(layout: blocks.Layout, rest: FloatArray, big: FloatArray) -> list[FloatArray]:
    small = [rest[i:j] for i, j in zip(layout.starts[:-1], layout.starts[1:], strict=True)]
    return [*small, big] if layout.order else []
