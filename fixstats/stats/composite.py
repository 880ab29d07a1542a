"""Points and weights that integrate over a few parameters at little cost."""

import numpy as np

from fixstats.stats.validators import FloatArray

RADIUS = 1.1  # of the design's sphere, in units of the square root of the dimension


def composite_points(size: int) -> tuple[FloatArray, FloatArray]:
    """Points (points, size) in units of standard deviations, the centre first, and weights.

    One parameter: five points of Gauss and Hermite. More: a central composite design, the
    centre and a sphere that carries all corners and the ends of all axes, weighted so that a
    standard normal keeps its mean and variance. Weights sum to 1.
    Source: Rue, Martino and Chopin 2009, J R Stat Soc B 71:319-392, section 6.5.
    """
    if size == 1:
        nodes, weights = np.polynomial.hermite_e.hermegauss(5)
        order = np.argsort(np.abs(nodes), kind="stable")
        return nodes[order, None], weights[order] / weights.sum()
    corners = np.stack(np.meshgrid(*[(-1.0, 1.0)] * size), axis=-1).reshape(-1, size)
    axes = np.sqrt(size) * np.concatenate([np.eye(size), -np.eye(size)])
    sphere = RADIUS * np.concatenate([corners, axes])
    on_sphere = np.full(len(sphere), 1 / (RADIUS**2 * len(sphere)))
    points = np.concatenate([np.zeros((1, size)), sphere])
    return points, np.concatenate([[1 - 1 / RADIUS**2], on_sphere])


def standard_axes(information: FloatArray) -> FloatArray:
    """Columns: one standard deviation along each axis of this negative second derivative.

    An axis with hardly any information gets one unit, so that the points stay in reach.
    """
    values, vectors = np.linalg.eigh(information)
    axes: FloatArray = vectors / np.sqrt(np.clip(values, 1.0, None))
    return axes
