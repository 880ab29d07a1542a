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

# (question, shown over time?) -> module and function, loaded when needed.
PICTURES = {
    ("rates", False): ("fixstats.charts.intervals", "interval_chart"),
    ("rates", True): ("fixstats.charts.months", "months_chart"),
    ("costs", False): ("fixstats.charts.ranking", "ranking_chart"),
}


def chart(finding: Finding) -> Picture:
    """The picture that fits a finding: by its question, and by whether it runs over time.

    Raises
    ------
    UsageError
        If there is no picture for that question.
    """
    kind = (finding.question, any(key in TIMES for key in finding.keys))
    if kind not in PICTURES:
        drawn = ", ".join(sorted({question for question, _ in PICTURES}))
        raise UsageError(f"there is no picture of '{finding.question}'; there is one of: {drawn}")
    module, function = PICTURES[kind]
    picture: Picture = getattr(import_module(module), function)(finding)
    return picture
