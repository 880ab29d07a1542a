"""Rates over time: gaps stay gaps, the month that is not over is marked."""

from __future__ import annotations

import json
from typing import Any

import pytest

from fixstats.charts import chart
from fixstats.charts.periods import filled
from fixstats.findings.base import Finding, Note

from .cases import FINDINGS, PARTIAL, finding, months, row


def panels(found: Finding) -> list[dict[str, Any]]:
    return list(chart(found).to_dict()["vconcat"])


def labels(panel: dict[str, Any]) -> dict[str, list[str]]:
    expression = panel["layer"][0]["encoding"]["x"]["axis"]["labelExpr"]
    return dict(json.loads(expression.removesuffix("[datum.value]")))


def test_gaps_and_counts() -> None:
    (panel,) = panels(FINDINGS["18 months"])
    below = labels(panel)
    assert len(below) == 18
    assert below["2024-05"] == ["2024-05", "0 of", "0"]
    assert below["2024-04"] == ["2024-04", "3 of", "43"]
    assert below["2025-06"][0] == "2025-06 *"
    few = finding(months((4,)), ("month",), min_opportunities=20)
    assert labels(panels(few)[0])["2024-05"] == ["2024-05", "too few"]


def test_month_not_over_is_said_only_where_noted() -> None:
    under = " ".join(chart(FINDINGS["18 months"]).to_dict()["title"]["subtitle"])
    assert "* 2025-06 is not over" in under
    over = finding(months(), ("month",))
    assert "not over" not in str(chart(over).to_dict())


@pytest.mark.parametrize(
    ("key", "value", "note"),
    [
        ("quarter", "2025-Q2", "2025-Q2 is not over: the records end on 2025-06-17"),
        ("year", "2025", "2025 is not over: the records end on 2025-06-17"),
    ],
)
def test_quarters_and_years(key: str, value: str, note: str) -> None:
    found = finding([row(3, 60, **{key: value})], (key,), [Note("partial", note)])
    assert labels(panels(found)[0]) == {value: [f"{value} *", "3 of", "60"]}


def test_filled() -> None:
    assert filled(["2024-11", "2025-02"], "month") == ["2024-11", "2024-12", "2025-01", "2025-02"]
    assert filled(["2025-Q1", "2024-Q3"], "quarter") == ["2024-Q3", "2024-Q4", "2025-Q1"]
    assert filled(["2023", "2025"], "year") == ["2023", "2024", "2025"]
    assert filled([], "month") == []


def test_panels_share_scale_and_legend() -> None:
    two = panels(FINDINGS["months of models"])
    assert [panel["title"]["text"] for panel in two] == [["Tarn 9"], ["Model: not recorded"]]
    scales = [panel["layer"][2]["encoding"]["y"]["scale"]["domain"] for panel in two]
    dashes = [panel["layer"][2]["encoding"]["strokeDash"]["scale"] for panel in two]
    assert scales[0] == scales[1] and dashes[0] == dashes[1]
    title = " ".join(chart(FINDINGS["months of models"]).to_dict()["title"]["text"])
    assert "by month and model" in title and "overlap in both panels" in title


def test_families_have_panels_in_the_order_asked_for() -> None:
    rows = [row(1, 60, mode=None, month="2025-01") | {"family": f} for f in ("tabs", "lines")]
    drawn = panels(finding(rows, ("month",)))
    assert [panel["title"]["text"] for panel in drawn] == [["Tabs"], ["Lines"]]


def test_small_months_do_not_stretch_the_scale() -> None:
    found = finding([*months()[:6], row(1, 1, month="2024-07")], ("month",))
    assert panels(found)[0]["layer"][2]["encoding"]["y"]["scale"]["domain"][1] < 0.3
    assert "go on beyond the scale" in str(chart(found).to_dict()["title"]["subtitle"])


def test_many_panels_and_months() -> None:
    found = finding(
        [row(1, 10 + n, model=f"M {n}", month="2025-01") for n in range(20)], ("month", "model")
    )
    drawn = panels(found)
    assert [panel["title"]["text"][0] for panel in drawn] == [f"M {n}" for n in range(8, 20)]
    assert "8 of 20 panels not drawn" in str(chart(found).to_dict()["title"]["subtitle"])
    long = finding([row(1, 9, month=f"{y}-{m:02d}") for y in (2023, 2024, 2025)
                    for m in range(1, 13)], ("month",), [PARTIAL])  # fmt: skip
    assert labels(panels(long)[0])["2025-06"] == "2025-06 *: 1 of 9"


def test_months_without_failures_have_limits() -> None:
    title = " ".join(chart(FINDINGS["months, zeros"]).to_dict()["title"]["text"])
    # At most 1 - 0.05 ** (1 / 1) = 95 % after a single job without failure.
    assert title.replace("\u00a0", " ").endswith("no failure seen; highest upper limit 95.0 %")
