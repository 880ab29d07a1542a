"""What the numeric functions accept, checked in one place.

Every refusal is a `ValueError` that names the argument, the rule and the value that came.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def as_numbers(name: str, values: ArrayLike) -> FloatArray:
    """Return `values` as a float array; refuse what is not a number, or not a finite one."""
    numbers = _parse(name, values)
    refuse(name, "must be finite numbers", numbers, ~np.isfinite(numbers))
    return numbers


def as_rates(name: str, values: ArrayLike) -> FloatArray:
    """Return `values` as a float array; refuse what lies outside 0 to 1. NaN, no rate, passes."""
    rates = _parse(name, values)
    refuse(name, "must lie between 0 and 1", rates, (rates < 0) | (rates > 1))
    return rates


def as_ratios(name: str, values: ArrayLike) -> FloatArray:
    """Return `values` as a float array; refuse what is negative. NaN and infinity pass."""
    ratios = _parse(name, values)
    refuse(name, "must not be negative", ratios, ratios < 0)
    return ratios


def _parse(name: str, values: ArrayLike) -> FloatArray:
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be numbers, got {values!r}") from None


def refuse(name: str, rule: str, values: FloatArray, broken: NDArray[np.bool_]) -> None:
    """Raise if any value is broken, naming the first one and, in an array, where it stands."""
    if not broken.any():
        return
    first = np.argwhere(broken)[0]
    place = f" at position {', '.join(map(str, first))}" if values.ndim else ""
    raise ValueError(f"{name} {rule}, got {values[tuple(first)]:g}{place}")


def as_counts(
    failures: ArrayLike, opportunities: ArrayLike, *, prefix: str = ""
) -> tuple[FloatArray, FloatArray]:
    """Return both as float arrays of one shape; refuse counts that cannot be.

    Counts need not be whole: an effective number of opportunities seldom is. `prefix` stands
    before the names of the arguments in a refusal, `baseline_` for the other group.
    """
    some, all_of = f"{prefix}failures", f"{prefix}opportunities"
    k = as_numbers(some, failures)
    n = as_numbers(all_of, opportunities)
    try:
        k, n = np.broadcast_arrays(k, n)
    except ValueError:
        raise ValueError(
            f"{some} and {all_of} must have shapes that fit, got {k.shape} and {n.shape}"
        ) from None
    refuse(some, "must not be negative", k, k < 0)
    refuse(all_of, "must not be negative", n, n < 0)
    if (k > n).any():
        first = tuple(np.argwhere(k > n)[0])
        raise ValueError(
            f"{some} must not be greater than {all_of}, got {k[first]:.17g} of {n[first]:.17g}"
        )
    return k, n


def as_two_groups(
    failures: ArrayLike,
    opportunities: ArrayLike,
    baseline_failures: ArrayLike,
    baseline_opportunities: ArrayLike,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the counts of an option and of its baseline as float arrays of one shape."""
    x1, n1 = as_counts(failures, opportunities)
    x2, n2 = as_counts(baseline_failures, baseline_opportunities, prefix="baseline_")
    try:
        x1, n1, x2, n2 = np.broadcast_arrays(x1, n1, x2, n2)
    except ValueError:
        raise ValueError(
            f"counts and baseline counts must have shapes that fit, got {x1.shape} and {x2.shape}"
        ) from None
    return x1, n1, x2, n2


def as_level(confidence_level: float, *, above: float = 0.0) -> float:
    """Return one confidence level strictly between `above` and 1."""
    try:
        level = float(confidence_level)
    except (TypeError, ValueError):
        level = float("nan")
    if not above < level < 1:
        raise ValueError(
            f"confidence_level must be a number between {above:g} and 1, got {confidence_level!r}"
        )
    return level
