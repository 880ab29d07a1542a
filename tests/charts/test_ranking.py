"""The ranking claims a first place only where the intervals leave it one."""

from __future__ import annotations

from fixstats.charts import chart
from fixstats.findings.base import Finding

from .cases import FINDINGS, cost, costs, records


def title(found: Finding) -> str:
    return " ".join(chart(found).to_dict()["title"]["text"]).replace("\u00a0", " ")


def test_first_place_only_if_clear() -> None:
    clear = costs(cost("display_lines", 90, 900, 100), cost("glass_cracked", 5, 900, 100))
    near = costs(cost("display_lines", 9, 900, 100), cost("glass_cracked", 5, 900, 100))
    assert title(clear).startswith("Most money goes to Lines in the picture: 9,000 EUR (")
    assert title(near).startswith("Lines in the picture: 900 EUR (")
    assert title(near).endswith("; 1 other mode overlaps its interval")
    assert title(FINDINGS["costs, zeros"]).startswith(
        "Cost of failures: no failure seen in 2 modes"
    )
    assert title(FINDINGS["costs unknown"]).startswith("Cost of failures: no mode has a cost")


def test_order_counts_and_missing_costs() -> None:
    spec = chart(FINDINGS["costs"]).to_dict()
    assert [one["words"] for one in records(FINDINGS["costs"], 2)] == [
        "34 of 1,900", "12 of 1,900", "0 of 1,900", "3 of 90, no cost in the catalogue",
    ]  # fmt: skip
    drawn = records(FINDINGS["costs"], 0)
    assert [round(one["money"]) for one in drawn] == [5100, 720, 0]
    assert "1 mode without a known cost or rate" in spec["description"]
    assert "none of the cost" in " ".join(spec["title"]["subtitle"])


def test_more_than_forty_modes() -> None:
    found = costs(*(cost(f"mode_{n}", n + 1, 900, 10) for n in range(50)))
    spec = chart(found).to_dict()
    assert len(records(found, 2)) == 40
    assert "10 rows of least money not drawn" in " ".join(spec["title"]["subtitle"])
