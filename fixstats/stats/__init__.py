"""Pure numeric functions over NumPy arrays; they know nothing of tables, files or settings."""

from fixstats.stats.clusters import ClusteredRate, rao_scott, rao_scott_by_group
from fixstats.stats.exact_tests import TESTS, boschloo, fisher, fisher_mid_p
from fixstats.stats.firth import FirthFit, FirthProfile, firth, firth_profile, firth_test
from fixstats.stats.hidden_cause import hidden_cause_needed, hidden_cause_needed_for_limit
from fixstats.stats.multiplicity import benjamini_hochberg, holm
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
from fixstats.stats.standardise import Standardised, standardised_difference, standardised_rate
from fixstats.stats.strata import (
    StrataEffect,
    greenland_robins_difference,
    mantel_haenszel_odds_ratio,
    mantel_haenszel_ratio,
    sato_difference,
)
from fixstats.stats.strata_tests import (
    StrataTest,
    breslow_day,
    cochran_mantel_haenszel,
    cochran_mantel_haenszel_cc,
    tarone,
)
from fixstats.stats.two_proportions import (
    DIFFERENCES,
    RATIOS,
    Contrast,
    koopman_ratio,
    miettinen_nurminen_difference,
    miettinen_nurminen_ratio,
    newcombe_difference,
)

__all__ = [
    "DIFFERENCES",
    "INTERVALS",
    "RATIOS",
    "TESTS",
    "ClusteredRate",
    "Contrast",
    "FirthFit",
    "FirthProfile",
    "Interval",
    "Standardised",
    "StrataEffect",
    "StrataTest",
    "agresti_coull",
    "at_most",
    "benjamini_hochberg",
    "boschloo",
    "breslow_day",
    "clopper_pearson",
    "cochran_mantel_haenszel",
    "cochran_mantel_haenszel_cc",
    "firth",
    "firth_profile",
    "firth_test",
    "fisher",
    "fisher_mid_p",
    "greenland_robins_difference",
    "hidden_cause_needed",
    "hidden_cause_needed_for_limit",
    "holm",
    "interval",
    "jeffreys",
    "koopman_ratio",
    "lower_limit",
    "mantel_haenszel_odds_ratio",
    "mantel_haenszel_ratio",
    "mid_p",
    "miettinen_nurminen_difference",
    "miettinen_nurminen_ratio",
    "newcombe_difference",
    "one_in",
    "rao_scott",
    "rao_scott_by_group",
    "sato_difference",
    "standardised_difference",
    "standardised_rate",
    "tarone",
    "upper_limit",
    "wilson",
    "wilson_cc",
]
