"""Pure numeric functions over NumPy arrays; they know nothing of tables, files or settings."""

from fixstats.stats.clusters import ClusteredRate, rao_scott, rao_scott_by_group
from fixstats.stats.design import (
    Design,
    Grouping,
    contrasts,
    fixed_columns,
    group_means,
    grouping,
    intercept,
    side_by_side,
)
from fixstats.stats.multilevel import MultilevelFit, fit_multilevel
from fixstats.stats.pooling import Pooled, draw_rates, pool_rates
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
from fixstats.stats.adjusted import CellsAt, AdjustedRates, adjusted_rates

__all__ = [
    "INTERVALS",
    "CellsAt",
    "ClusteredRate",
    "Design",
    "Grouping",
    "Interval",
    "MultilevelFit",
    "Pooled",
    "AdjustedRates",
    "agresti_coull",
    "at_most",
    "clopper_pearson",
    "contrasts",
    "draw_rates",
    "fit_multilevel",
    "fixed_columns",
    "group_means",
    "grouping",
    "intercept",
    "interval",
    "jeffreys",
    "lower_limit",
    "mid_p",
    "one_in",
    "pool_rates",
    "rao_scott",
    "rao_scott_by_group",
    "side_by_side",
    "adjusted_rates",
    "upper_limit",
    "wilson",
    "wilson_cc",
]
