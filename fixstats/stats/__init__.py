"""Pure numeric functions over NumPy arrays; they know nothing of tables, files or settings.

Each file is loaded when one of its names is first asked for: who only wants an interval should not
wait for the fits.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fixstats.stats.adjusted import AdjustedRates, CellsAt, adjusted_rates, rate_draws
    from fixstats.stats.anytime import (
        evidence_above,
        pair_evidence,
        pair_evidence_above,
        pair_sequence,
        proportion_sequence,
    )
    from fixstats.stats.clusters import ClusteredRate, rao_scott, rao_scott_by_group
    from fixstats.stats.control_charts import (
        CHART_LIMITS,
        THREE_SIGMA_TAIL,
        ControlLimits,
        Gaps,
        centre_rate,
        g_limits,
        jobs_between,
        laney_sigma,
        median_rate,
        p_limits,
    )
    from fixstats.stats.control_rules import (
        beyond_limits,
        four_of_five_beyond_one_sigma,
        run_of_trend,
        run_on_one_side,
        two_of_three_beyond_two_sigma,
    )
    from fixstats.stats.cusum_jobs import (
        CusumAlarms,
        cusum,
        cusum_alarms,
        cusum_scores,
        plain_cusum_scores,
    )
    from fixstats.stats.cusum_run_length import (
        ScoreMix,
        average_run_length,
        bernoulli_run_length,
        cusum_threshold,
        false_alarm_probabilities,
        false_alarm_probability,
        score_mix,
    )
    from fixstats.stats.decision import (
        Saving,
        TrialValue,
        chance_best,
        expected_regret,
        jobs_to_know,
        perfect_information,
        sample_information,
        saving,
        stretched,
        trial_value,
    )
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
    from fixstats.stats.funnel import (
        Dispersion,
        dispersion,
        expected_p_values,
        funnel_limits,
        rest_p_values,
    )
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
    from fixstats.stats.levels import LevelsFit, fit_levels
    from fixstats.stats.minutes import MinutesFit, fit_minutes, mean_minutes, pooled_cv
    from fixstats.stats.multilevel import MultilevelFit, fit_multilevel
    from fixstats.stats.multiplicity import benjamini_hochberg, holm
    from fixstats.stats.pooling import Pooled, draw_rates, pool_rate_of, pool_rates
    from fixstats.stats.power import (
        boschloo_power,
        exact_size,
        fisher_power,
        normal_power,
        normal_size,
        precision_size,
    )
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
    from fixstats.stats.quantiles import Quantile, sample_quantiles
    from fixstats.stats.standardise import Standardised, standardised_difference, standardised_rate
    from fixstats.stats.strata import (
        StrataEffect,
        greenland_robins_difference,
        mantel_haenszel_odds_ratio,
        mantel_haenszel_ratio,
        sato_difference,
    )
    from fixstats.stats.strata_score import score_difference
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
    from fixstats.stats.trial_rule import (
        VERDICTS,
        JobsToStop,
        Pairs,
        harm_evidence,
        jobs_to_stop,
        stopping_rule,
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

# file -> its public names
_FILES = {
    "adjusted": "AdjustedRates CellsAt adjusted_rates rate_draws",
    "anytime": "evidence_above pair_evidence pair_evidence_above pair_sequence proportion_sequence",
    "clusters": "ClusteredRate rao_scott rao_scott_by_group",
    "control_charts": "CHART_LIMITS THREE_SIGMA_TAIL ControlLimits Gaps centre_rate g_limits "
    "jobs_between laney_sigma median_rate p_limits",
    "control_rules": "beyond_limits four_of_five_beyond_one_sigma run_of_trend run_on_one_side "
    "two_of_three_beyond_two_sigma",
    "cusum_jobs": "CusumAlarms cusum cusum_alarms cusum_scores plain_cusum_scores",
    "cusum_run_length": "ScoreMix average_run_length bernoulli_run_length cusum_threshold "
    "false_alarm_probabilities false_alarm_probability score_mix",
    "decision": "Saving TrialValue chance_best expected_regret jobs_to_know "
    "perfect_information sample_information saving stretched trial_value",
    "design": "Design Grouping contrasts fixed_columns group_means grouping intercept side_by_side",
    "exact_tests": "TESTS boschloo fisher fisher_mid_p",
    "firth": "FirthFit FirthProfile firth firth_profile firth_test",
    "funnel": "Dispersion dispersion expected_p_values funnel_limits rest_p_values",
    "hidden_cause": "hidden_cause_needed hidden_cause_needed_for_limit",
    "learning": "LAST LearningCurve Resampled Trend falling_rates learning_curve mean_difference "
    "median_interval practised_from resample_falling same_mix sum_interval trend_in_groups",
    "levels": "LevelsFit fit_levels",
    "minutes": "MinutesFit fit_minutes mean_minutes pooled_cv",
    "multilevel": "MultilevelFit fit_multilevel",
    "multiplicity": "benjamini_hochberg holm",
    "pooling": "Pooled draw_rates pool_rate_of pool_rates",
    "power": "boschloo_power exact_size fisher_power normal_power normal_size precision_size",
    "proportion": "INTERVALS Interval agresti_coull at_most clopper_pearson interval jeffreys "
    "lower_limit mid_p one_in upper_limit wilson wilson_cc",
    "quantiles": "Quantile sample_quantiles",
    "standardise": "Standardised standardised_difference standardised_rate",
    "strata": "StrataEffect greenland_robins_difference mantel_haenszel_odds_ratio "
    "mantel_haenszel_ratio sato_difference",
    "strata_score": "score_difference",
    "strata_tests": "StrataTest breslow_day cochran_mantel_haenszel cochran_mantel_haenszel_cc "
    "tarone",
    "survival": "CURVE_LIMITS Curve Hazard aalen_johansen kaplan_meier nelson_aalen",
    "survival_cost": "MeanCost mean_cost",
    "survival_effects": "CurveDifference RestrictedMean curve_difference restricted_mean",
    "survival_table": "AtRisk at_risk n_at_risk_at",
    "survival_tests": "CurveTest gray_test log_rank",
    "trial_rule": "VERDICTS JobsToStop Pairs harm_evidence jobs_to_stop stopping_rule",
    "two_proportions": "DIFFERENCES RATIOS Contrast koopman_ratio miettinen_nurminen_difference "
    "miettinen_nurminen_ratio newcombe_difference",
}
_HOMES = {name: file for file, names in _FILES.items() for name in names.split()}

__all__ = [
    "CHART_LIMITS", "CURVE_LIMITS", "DIFFERENCES", "INTERVALS", "LAST", "RATIOS", "TESTS",
    "THREE_SIGMA_TAIL", "VERDICTS", "AdjustedRates", "AtRisk", "CellsAt", "ClusteredRate",
    "Contrast", "ControlLimits", "Curve", "CurveDifference", "CurveTest", "CusumAlarms", "Design",
    "Dispersion", "FirthFit", "FirthProfile", "Gaps", "Grouping", "Hazard", "Interval",
    "JobsToStop", "LearningCurve", "LevelsFit", "MeanCost", "MinutesFit", "MultilevelFit", "Pairs",
    "Pooled", "Quantile", "Resampled", "RestrictedMean", "Saving", "ScoreMix", "Standardised",
    "StrataEffect", "StrataTest", "Trend", "TrialValue", "aalen_johansen", "adjusted_rates",
    "agresti_coull", "at_most", "at_risk", "average_run_length",
    "benjamini_hochberg", "bernoulli_run_length", "beyond_limits", "boschloo", "boschloo_power",
    "breslow_day", "centre_rate", "chance_best", "clopper_pearson", "cochran_mantel_haenszel",
    "cochran_mantel_haenszel_cc", "contrasts", "curve_difference", "cusum", "cusum_alarms",
    "cusum_scores", "cusum_threshold", "dispersion", "draw_rates", "evidence_above", "exact_size",
    "expected_p_values", "expected_regret", "falling_rates", "false_alarm_probabilities",
    "false_alarm_probability", "firth", "firth_profile", "firth_test", "fisher", "fisher_mid_p",
    "fisher_power", "fit_levels", "fit_minutes", "fit_multilevel", "fixed_columns",
    "four_of_five_beyond_one_sigma",
    "funnel_limits", "g_limits", "gray_test", "greenland_robins_difference", "group_means",
    "grouping", "harm_evidence", "hidden_cause_needed", "hidden_cause_needed_for_limit", "holm",
    "intercept", "interval", "jeffreys", "jobs_between", "jobs_to_know", "jobs_to_stop",
    "kaplan_meier", "koopman_ratio", "laney_sigma", "learning_curve", "log_rank", "lower_limit",
    "mantel_haenszel_odds_ratio", "mantel_haenszel_ratio", "mean_cost", "mean_difference",
    "mean_minutes", "median_interval", "median_rate", "mid_p", "miettinen_nurminen_difference",
    "miettinen_nurminen_ratio", "n_at_risk_at", "nelson_aalen", "newcombe_difference",
    "normal_power", "normal_size", "one_in", "p_limits", "pair_evidence", "pair_evidence_above",
    "pair_sequence", "perfect_information", "plain_cusum_scores", "pool_rate_of", "pool_rates",
    "pooled_cv", "practised_from", "precision_size", "proportion_sequence", "rao_scott",
    "rao_scott_by_group", "rate_draws", "resample_falling", "rest_p_values", "restricted_mean",
    "run_of_trend", "run_on_one_side", "same_mix", "sample_information", "sample_quantiles",
    "sato_difference", "saving", "score_difference", "score_mix", "side_by_side",
    "standardised_difference", "standardised_rate", "stopping_rule", "stretched", "sum_interval",
    "tarone", "trend_in_groups", "trial_value", "two_of_three_beyond_two_sigma",
    "upper_limit", "wilson", "wilson_cc",
]  # fmt: skip


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
