"""Pictures of findings as figures of a page."""

from __future__ import annotations

from fixstats.findings.base import Finding
from fixstats.report.blocks import Figure, Table


def figure(finding: Finding, behind: Table) -> Figure:
    """The picture that goes with a finding, and the table behind it."""
    from fixstats.charts import chart
    from fixstats.charts.save import svg_with_words

    return Figure(*svg_with_words(chart(finding)), behind)
