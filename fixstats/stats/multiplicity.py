"""Several tests at once: p-values corrected so that a false alarm stays as rare as one test's.

An array of any shape is one family of tests. NaN, a test that could not be made, stays NaN and
does not count. Raises `ValueError` for a p-value outside 0 to 1.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_rates


def holm(p_values: ArrayLike) -> FloatArray:
    """Corrected p-values: below alpha, the chance of any false alarm in the family is too.

    The smallest of m is multiplied by m, the next by m - 1, and so on; none may fall below one
    that was smaller.
    Source: Holm 1979, Scand J Stat 6:65-70.
    """
    p = as_rates("p_values", p_values)
    order, count = _order(p)
    factors = count - np.arange(count)
    return _placed(p, order, np.maximum.accumulate(p.ravel()[order] * factors))


def benjamini_hochberg(p_values: ArrayLike) -> FloatArray:
    """Corrected p-values: of those below q, no more than the share q are false on average.

    The k-th smallest of m is multiplied by m / k; none may exceed one that was larger.
    Source: Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300.
    """
    p = as_rates("p_values", p_values)
    order, count = _order(p)
    scaled = p.ravel()[order] * count / np.arange(1, count + 1)
    return _placed(p, order, np.minimum.accumulate(scaled[::-1])[::-1])


def _order(p: FloatArray) -> tuple[NDArray[np.intp], int]:
    """Where the p-values stand from small to large, and how many there are, without NaN."""
    count = int(np.isfinite(p).sum())
    return np.argsort(p, axis=None, kind="stable")[:count], count


def _placed(p: FloatArray, order: NDArray[np.intp], corrected: FloatArray) -> FloatArray:
    answer = np.full(p.size, np.nan)
    answer[order] = np.minimum(corrected, 1.0)
    return answer.reshape(p.shape)[()]
