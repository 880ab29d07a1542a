"""How strong would a hidden cause have to be to explain a ratio away?

A method may look bad because it is used on devices that would have failed anyway, for a reason
that nobody recorded. The answer is a ratio: a hidden cause that makes a failure at least so many
times as likely, and is at least so many times as common with one option as with the other, could
produce what was seen without any effect of the option; a weaker one could not.
Source: VanderWeele and Ding 2017, Ann Intern Med 167:268-274, who call it the E-value.
"""

import numpy as np
from numpy.typing import ArrayLike

from fixstats.stats.validators import FloatArray, as_ratios


def hidden_cause_needed(ratio: ArrayLike) -> FloatArray:
    """Strength needed to explain away a ratio of rates; 1 for a ratio of 1, infinite for 0.

    Takes a scalar or an array and answers in its shape; NaN stays NaN. A ratio below 1 counts as
    its inverse. Raises `ValueError` for a negative ratio.
    """
    given = as_ratios("ratio", ratio)
    with np.errstate(divide="ignore"):
        above = np.where(given < 1, 1 / given, given)
    needed: FloatArray = above + np.sqrt(above) * np.sqrt(above - 1)
    return needed[()]


def hidden_cause_needed_for_limit(low: ArrayLike, high: ArrayLike) -> FloatArray:
    """Strength needed to move an interval of a ratio until it holds 1; 1 if it does already.

    It is that of the end closer to 1. NaN where an end is NaN. Raises `ValueError` for an end
    that is negative, and for a low end above the high one.
    """
    lower, upper = as_ratios("low", low), as_ratios("high", high)
    if np.any(lower > upper):
        raise ValueError("low must not be greater than high")
    nearest = np.where(lower > 1, lower, np.where(upper < 1, upper, 1.0))
    missing = np.isnan(lower) | np.isnan(upper)
    return hidden_cause_needed(np.where(missing, np.nan, nearest))
