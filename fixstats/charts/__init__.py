"""A finding in, a picture out; computes nothing. Altair is loaded only when a picture is made."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from fixstats.errors import UsageError

if TYPE_CHECKING:
    from altair import FacetChart, LayerChart, VConcatChart

    from fixstats.findings.base import Finding

    Picture = FacetChart | LayerChart | VConcatChart

TIMES = ("month", "quarter", "year")
# The row keys of a rate by pair of parts.
PAIR_KEYS = ("part_a", "grade_a", "part_b", "grade_b")

# Name of a picture, see `picture_name` -> module and function, loaded when needed.
PICTURES = {
    "rates": ("fixstats.charts.intervals", "interval_chart"),
    "rates over time": ("fixstats.charts.months", "months_chart"),
    "rates pooled": ("fixstats.charts.pooled", "pooled_chart"),
    "rates by pair": ("fixstats.charts.pair_grid", "pair_grid"),
    "compare": ("fixstats.charts.differences", "differences_chart"),
    "compare reversal": ("fixstats.charts.strata", "strata_chart"),
    "costs": ("fixstats.charts.ranking", "ranking_chart"),
    "practice": ("fixstats.charts.practice", "practice_chart"),
    "causes": ("fixstats.charts.causes", "causes_chart"),
    "comebacks": ("fixstats.charts.comebacks", "comebacks_chart"),
    "watch": ("fixstats.charts.watch", "watch_chart"),
    "standards": ("fixstats.charts.standards", "standards_chart"),
    "decide": ("fixstats.charts.decide", "decide_chart"),
    "decide flips": ("fixstats.charts.flips", "flips_chart"),
    "trial status": ("fixstats.charts.trial", "trial_chart"),
}


def picture_name(finding: Finding) -> str:
    """The picture that fits: the question, and what in the finding asks for one of its own."""
    if finding.question == "rates" and finding.keys == PAIR_KEYS:
        return "rates by pair"
    if finding.question == "compare" and not finding.keys and _turns(finding):
        return "compare reversal"
    if finding.question == "decide" and finding.settings.get("along"):
        return "decide flips"
    if finding.question == "rates" and finding.settings.get("pool"):
        return "rates pooled"
    if finding.question == "rates" and any(key in TIMES for key in finding.keys):
        return "rates over time"
    return finding.question


def _turns(finding: Finding) -> bool:
    """Whether the order of two options turns round somewhere."""
    return any(row["reversal"] != "none" for row in finding.rows)


def chart(finding: Finding) -> Picture:
    """The picture that fits a finding.

    Raises
    ------
    UsageError
        If there is no picture for that question.
    """
    name = picture_name(finding)
    if name not in PICTURES:
        drawn = ", ".join(one for one in sorted(PICTURES) if " " not in one)
        raise UsageError(f"there is no picture of '{name}'; there is one of: {drawn}")
    module, function = PICTURES[name]
    picture: Picture = getattr(import_module(module), function)(finding)
    return picture
