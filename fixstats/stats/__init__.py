"""Pure numeric functions over NumPy arrays; they know nothing of tables, files or settings."""

from fixstats.stats.clusters import ClusteredRate, rao_scott, rao_scott_by_group
from fixstats.stats.proportion import (
    INTERVALS,
    Interval,
    agresti_coull,
    at_most,
    clopper_pearson,
    interval,
    jeffreys,
    lower_limit,
    mid_p,
    one_in,
    upper_limit,
    wilson,
    wilson_cc,
)

__all__ = [
    "INTERVALS",
    "ClusteredRate",
    "Interval",
    "agresti_coull",
    "at_most",
    "clopper_pearson",
    "interval",
    "jeffreys",
    "lower_limit",
    "mid_p",
    "one_in",
    "rao_scott",
    "rao_scott_by_group",
    "upper_limit",
    "wilson",
    "wilson_cc",
]
