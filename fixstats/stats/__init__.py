"""Pure numeric functions over NumPy arrays; they know nothing of tables, files or settings.

Each file is loaded when one of its names is first asked for: who only wants an interval should not
wait for the fits.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fixstats.stats.adjusted import AdjustedRates, CellsAt, adjusted_rates
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
    from fixstats.stats.exact_tests import TESTS, boschloo, fisher, fisher_mid_p
    from fixstats.stats.firth import FirthFit, FirthProfile, firth, firth_profile, firth_test
    from fixstats.stats.hidden_cause import hidden_cause_needed, hidden_cause_needed_for_limit
    from fixstats.stats.learning import (
        LAST,
        LearningCurve,
        Resampled,
        Trend,
        falling_rates,
        learning_curve,
        mean_difference,
        median_interval,
        practised_from,
        resample_falling,
        same_mix,
        sum_interval,
        trend_in_groups,
    )
    from fixstats.stats.multilevel import MultilevelFit, fit_multilevel
    from fixstats.stats.multiplicity import benjamini_hochberg, holm
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
    from fixstats.stats.survival import (
        CURVE_LIMITS,
        Curve,
        Hazard,
        aalen_johansen,
        kaplan_meier,
        nelson_aalen,
    )
    from fixstats.stats.survival_cost import MeanCost, mean_cost
    from fixstats.stats.survival_effects import (
        CurveDifference,
        RestrictedMean,
        curve_difference,
        restricted_mean,
    )
    from fixstats.stats.survival_table import AtRisk, at_risk, n_at_risk_at
    from fixstats.stats.survival_tests import CurveTest, gray_test, log_rank
    from fixstats.stats.two_proportions import (
        DIFFERENCES,
        RATIOS,
        Contrast,
        koopman_ratio,
        miettinen_nurminen_difference,
        miettinen_nurminen_ratio,
        newcombe_difference,
    )

# file -> its public names
_FILES = {
    "adjusted": "AdjustedRates CellsAt adjusted_rates",
    "clusters": "ClusteredRate rao_scott rao_scott_by_group",
    "design": "Design Grouping contrasts fixed_columns group_means grouping intercept side_by_side",
    "exact_tests": "TESTS boschloo fisher fisher_mid_p",
    "firth": "FirthFit FirthProfile firth firth_profile firth_test",
    "hidden_cause": "hidden_cause_needed hidden_cause_needed_for_limit",
    "learning": "LAST LearningCurve Resampled Trend falling_rates learning_curve mean_difference "
    "median_interval practised_from resample_falling same_mix sum_interval trend_in_groups",
    "multilevel": "MultilevelFit fit_multilevel",
    "multiplicity": "benjamini_hochberg holm",
    "pooling": "Pooled draw_rates pool_rates",
    "proportion": "INTERVALS Interval agresti_coull at_most clopper_pearson interval jeffreys "
    "lower_limit mid_p one_in upper_limit wilson wilson_cc",
    "standardise": "Standardised standardised_difference standardised_rate",
    "strata": "StrataEffect greenland_robins_difference mantel_haenszel_odds_ratio "
    "mantel_haenszel_ratio sato_difference",
    "strata_tests": "StrataTest breslow_day cochran_mantel_haenszel cochran_mantel_haenszel_cc "
    "tarone",
    "survival": "CURVE_LIMITS Curve Hazard aalen_johansen kaplan_meier nelson_aalen",
    "survival_cost": "MeanCost mean_cost",
    "survival_effects": "CurveDifference RestrictedMean curve_difference restricted_mean",
    "survival_table": "AtRisk at_risk n_at_risk_at",
    "survival_tests": "CurveTest gray_test log_rank",
    "two_proportions": "DIFFERENCES RATIOS Contrast koopman_ratio miettinen_nurminen_difference "
    "miettinen_nurminen_ratio newcombe_difference",
}
_HOMES = {name: file for file, names in _FILES.items() for name in names.split()}

__all__ = [
    "CURVE_LIMITS",
    "DIFFERENCES",
    "INTERVALS",
    "LAST",
    "RATIOS",
    "TESTS",
    "AdjustedRates",
    "AtRisk",
    "CellsAt",
    "ClusteredRate",
    "Contrast",
    "Curve",
    "CurveDifference",
    "CurveTest",
    "Design",
    "FirthFit",
    "FirthProfile",
    "Grouping",
    "Hazard",
    "Interval",
    "LearningCurve",
    "MeanCost",
    "MultilevelFit",
    "Pooled",
    "Resampled",
    "RestrictedMean",
    "Standardised",
    "StrataEffect",
    "StrataTest",
    "Trend",
    "aalen_johansen",
    "adjusted_rates",
    "agresti_coull",
    "at_most",
    "at_risk",
    "benjamini_hochberg",
    "boschloo",
    "breslow_day",
    "clopper_pearson",
    "cochran_mantel_haenszel",
    "cochran_mantel_haenszel_cc",
    "contrasts",
    "curve_difference",
    "draw_rates",
    "falling_rates",
    "firth",
    "firth_profile",
    "firth_test",
    "fisher",
    "fisher_mid_p",
    "fit_multilevel",
    "fixed_columns",
    "gray_test",
    "greenland_robins_difference",
    "group_means",
    "grouping",
    "hidden_cause_needed",
    "hidden_cause_needed_for_limit",
    "holm",
    "intercept",
    "interval",
    "jeffreys",
    "kaplan_meier",
    "koopman_ratio",
    "learning_curve",
    "log_rank",
    "lower_limit",
    "mantel_haenszel_odds_ratio",
    "mantel_haenszel_ratio",
    "mean_cost",
    "mean_difference",
    "median_interval",
    "mid_p",
    "miettinen_nurminen_difference",
    "miettinen_nurminen_ratio",
    "n_at_risk_at",
    "nelson_aalen",
    "newcombe_difference",
    "one_in",
    "pool_rates",
    "practised_from",
    "rao_scott",
    "rao_scott_by_group",
    "resample_falling",
    "restricted_mean",
    "same_mix",
    "sato_difference",
    "side_by_side",
    "standardised_difference",
    "standardised_rate",
    "sum_interval",
    "tarone",
    "trend_in_groups",
    "upper_limit",
    "wilson",
    "wilson_cc",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'fixstats.stats' has no attribute '{name}'")
    file = _HOMES[name]
    module = import_module(f"fixstats.stats.{file}")
    # All names of the file at once: loading it has made the file an attribute of the package, and
    # one of its functions may have the same name.
    globals().update({one: getattr(module, one) for one in _FILES[file].split()})
    return globals()[name]


def __dir__() -> list[str]:
    return sorted(__all__)
