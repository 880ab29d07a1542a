"""Rules of judgement on a control chart: which points say that something has changed.

Each rule is one function over a vector of points in order of time and answers with a boolean
vector: true at the point that completes the pattern. Arrays with more axes are many charts, one
per vector along the last axis. NaN is a point that could not be made (a month without jobs): it is
beyond nothing and breaks every pattern, so that a rule never joins what lies on both sides of it.
The rules that count sigmas take points to be about normal: many failures a period. Centre, limits
and sigma are scalars or arrays that broadcast against the points.

Every further rule adds false alarms: for independent normal points one point in 370 lies beyond
three sigma by chance, one in 92 completes one of the first four Western Electric rules (Champ and
Woodall 1987, Technometrics 29:393-399). Sources of the rules: Western Electric 1956, Statistical
Quality Control Handbook, and Nelson 1984, J Qual Technol 16:237-239.

All raise `ValueError` for values that are no numbers and shapes that do not fit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray

Flags = NDArray[np.bool_]


def beyond_limits(values: ArrayLike, lower_limit: ArrayLike, upper_limit: ArrayLike) -> Flags:
    """A point outside the limits; one on a limit is not outside. Western Electric 1, Nelson 1.

    A missing limit is NaN, and nothing is beyond it.
    """
    points, lower, upper = _fitting(values=values, lower_limit=lower_limit, upper_limit=upper_limit)
    return (points < lower) | (points > upper)


def run_on_one_side(values: ArrayLike, centre: ArrayLike, *, length: int = 9) -> Flags:
    """The last of `length` or more points in a row on one side of the centre.

    Nine is Nelson's rule 2, eight that of Western Electric. A point on the centre is on no side:
    it ends the run. The rule takes a point to be above as often as below. Rates of rare failures
    are not: most months have none and lie below the mean, again and again. Around their median
    (`median_rate`) neither side has more than half the chance, and the rule keeps its promise.
    """
    points, middle = _fitting(values=values, centre=centre)
    return _runs(points > middle, length) | _runs(points < middle, length)


def run_of_trend(values: ArrayLike, *, length: int = 6) -> Flags:
    """The last of `length` or more points in a row, each higher (or lower) than the one before.

    Nelson's rule 3: six points, thus five steps.
    """
    (points,) = _fitting(values=values)
    steps = np.diff(points, axis=-1, prepend=np.nan)
    return _runs(steps > 0, length - 1) | _runs(steps < 0, length - 1)


def two_of_three_beyond_two_sigma(values: ArrayLike, centre: ArrayLike, sigma: ArrayLike) -> Flags:
    """The second of two points among three in a row that lie beyond two sigma on one side.

    `sigma`: standard deviation of the point. Western Electric 2, Nelson 5.
    """
    return _some_beyond(values, centre, sigma, times=2, some=2, of=3)


def four_of_five_beyond_one_sigma(values: ArrayLike, centre: ArrayLike, sigma: ArrayLike) -> Flags:
    """The fourth of four points among five in a row that lie beyond one sigma on one side.

    `sigma`: standard deviation of the point. Western Electric 3, Nelson 6.
    """
    return _some_beyond(values, centre, sigma, times=1, some=4, of=5)


# --- patterns of true and false along the last axis -------------------------------------------


def _some_beyond(
    values: ArrayLike, centre: ArrayLike, sigma: ArrayLike, *, times: float, some: int, of: int
) -> Flags:
    points, middle, spread = _fitting(values=values, centre=centre, sigma=sigma)
    distance = (points - middle) / np.where(spread > 0, spread, np.nan)
    known = np.isfinite(distance)
    found = np.zeros(points.shape, dtype=bool)
    for beyond in (distance > times, distance < -times):
        within = _count_back(beyond, known, of)
        found |= beyond & (within >= some)
    return found


def _runs(true: Flags, length: int) -> Flags:
    """Where at least `length` in a row are true, up to and with the place itself."""
    if length < 1:
        raise ValueError(f"length must be at least 2 points, got {length}")
    place = np.arange(true.shape[-1])
    last_false = np.maximum.accumulate(np.where(true, -1, place), axis=-1)
    answer: Flags = place - last_false >= length
    return answer


def _count_back(beyond: Flags, known: Flags, of: int) -> NDArray[np.int64]:
    """How many of the last `of` places are true, none counted from before an unknown point."""
    counted = beyond.astype(np.int64)
    unbroken = known.copy()
    for back in range(1, min(of, beyond.shape[-1])):
        unbroken[..., back:] &= known[..., :-back]
        counted[..., back:] += beyond[..., :-back] & unbroken[..., back:]
    return counted


def _fitting(**arguments: ArrayLike) -> list[FloatArray]:
    """All as float arrays of one shape, at least vectors; NaN passes."""
    arrays = []
    for name, given in arguments.items():
        try:
            arrays.append(np.asarray(given, dtype=np.float64))
        except (TypeError, ValueError):
            raise ValueError(f"{name} must be numbers, got {given!r}") from None
    shapes = [array.shape for array in arrays]
    try:
        return [np.atleast_1d(one) for one in np.broadcast_arrays(*arrays)]
    except ValueError:
        raise ValueError(
            f"{' and '.join(arguments)} must have shapes that fit, got "
            + " and ".join(map(str, shapes))
        ) from None
