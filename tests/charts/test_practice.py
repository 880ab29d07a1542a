"""The picture of practice: what is drawn of whom, and what its title dares to say."""

from __future__ import annotations

from functools import cache
from typing import Any

from fixstats.charts import chart

from .practice_cases import PRACTICES


@cache
def spec_of(name: str) -> dict[str, Any]:
    return dict(chart(PRACTICES[name]).to_dict())


def title_of(name: str) -> str:
    return " ".join(spec_of(name)["title"]["text"])


def under(name: str) -> str:
    return " ".join(spec_of(name)["title"]["subtitle"])


def panels(name: str) -> list[dict[str, Any]]:
    """The panels of each method: rates, and minutes where there are any."""
    return [row["hconcat"] for row in spec_of(name)["vconcat"]]


def drawn(name: str, panel: dict[str, Any], mark: str) -> list[dict[str, Any]]:
    """The records of all layers of a panel with this mark."""
    spec = spec_of(name)
    found = []
    for layer in panel["layer"]:
        if layer["mark"]["type"] == mark:
            data = layer["data"]
            found += spec["datasets"][data["name"]] if "name" in data else data["values"]
    return found


def test_one_method_is_told_with_its_counts() -> None:
    (one,) = PRACTICES["practice"].parts["methods"]
    early, late = one["early"], one["late"]
    words = title_of("practice").replace("\u00a0", " ")
    assert f"({early[0]} of {early[1]}) up to {one['practised_at']} uses" in words
    assert f"({late[0]} of {late[1]}) after" in words
    assert early[0] / early[1] > late[0] / late[1]


def test_the_dashed_line_stands_at_the_practised_number() -> None:
    (one,) = PRACTICES["practice"].parts["methods"]
    ((rates, minutes),) = panels("practice")
    for panel in (rates, minutes):
        lines = [one for one in drawn("practice", panel, "rule") if one.keys() == {"job"}]
        assert lines == [{"job": one["practised_at"] + 1}]


def test_points_are_the_rates_of_the_bands() -> None:
    ((rates, minutes),) = panels("practice")
    rows = PRACTICES["practice"].rows
    assert [one["at"] for one in drawn("practice", rates, "point")] == [r["rate"] for r in rows]
    assert [one["at"] for one in drawn("practice", minutes, "point")] == [
        row["minutes"] for row in rows
    ]


def test_of_many_methods_those_with_learners_are_drawn() -> None:
    name = "practice of many methods"
    rows = panels(name)
    assert len(rows) == 4
    assert title_of(name).endswith("4 methods taken up during the records")
    untimed = [row[0]["title"] for row in rows if len(row) == 1]
    assert [heading["text"] for heading in untimed] == [["Solvent dripped under the cell"]]
    assert "no minutes recorded" in " ".join(untimed[0]["subtitle"])
    # Who used it from the beginning stands beyond the last job of those who learned it.
    pull_tab = next(row[0] for row in rows if row[0]["title"]["text"] == ["Pull tabs"])
    points = drawn(name, pull_tab, "point")
    (settled,) = [one for one in points if one["who"] == "settled"]
    assert settled["job"] > max(one["job"] for one in points if one["who"] == "band")


def test_no_failure_is_drawn_as_a_limit_and_no_curve_at_zero() -> None:
    name = "practice, zeros"
    assert "triangle: no failure seen" in under(name)
    ((rates, _),) = panels(name)
    points = drawn(name, rates, "point")
    assert {one["shape"] for one in points} == {"limit"}
    assert all(one["at"] > 0.02 for one in points)
    assert drawn(name, rates, "line") == []


def test_where_nobody_learned_it_says_so() -> None:
    name = "practice of nobody"
    assert title_of(name).endswith("all methods were in use from the beginning of the records")
    assert "not drawn: Prying tool, cold" in under(name)
