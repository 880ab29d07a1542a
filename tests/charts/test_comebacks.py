"""The picture of come-backs: what is drawn of whom, and what its title dares to say."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from fixstats.charts import chart

from .comeback_cases import COMEBACKS


@cache
def spec_of(name: str) -> dict[str, Any]:
    return dict(chart(COMEBACKS[name]).to_dict())


def title_of(name: str) -> str:
    return " ".join(spec_of(name)["title"]["text"]).replace("\u00a0", " ")


def under(name: str) -> str:
    return " ".join(spec_of(name)["title"]["subtitle"])


def records(name: str, mark: str) -> list[list[dict[str, Any]]]:
    """The records of each layer with this mark."""
    spec = spec_of(name)
    return [
        spec["datasets"][layer["data"]["name"]] if "name" in layer["data"]
        else layer["data"]["values"]
        for layer in spec["layer"]
        if layer["mark"]["type"] == mark
    ]  # fmt: skip


def words(name: str) -> list[str]:
    return [one["words"] for layer in records(name, "text") for one in layer]


def test_a_line_is_the_steps_of_its_group() -> None:
    (line,) = records("comebacks", "line")
    found = COMEBACKS["comebacks"]
    steps = [(row["days"], row["rate"]) for row in found.parts["curve"]]
    assert [(one["day"], one["rate"]) for one in line] == [(0, 0.0), *steps]
    assert steps[-1] == (90, found.rows[0]["rate"])
    rates = [rate for _, rate in steps]
    assert rates == sorted(rates) and rates[0] > 0
    (area,) = records("comebacks", "area")
    assert all(one["low"] <= one["rate"] <= one["high"] for one in area)


def test_numbers_at_risk_stand_under_the_axis() -> None:
    found = COMEBACKS["comebacks"]
    shown = [(row["day"], row["n_at_risk"]) for row in found.parts["at_risk"]]
    assert [day for day, _ in shown] == [0, 15, 30, 45, 60, 75, 90]
    assert shown[0][1] == 900 and shown[-1][1] == found.rows[0]["n_at_risk"]
    assert {f"{number:,}" for _, number in shown} <= set(words("comebacks"))
    assert "still followed:" in words("comebacks")


def test_groups_without_the_part_are_no_group() -> None:
    said = words("comebacks, three groups")
    assert not any("none fitted" in one for one in said)
    assert len(records("comebacks, three groups", "line")) == 3
    assert len(records("comebacks, three groups", "area")) == 3


def test_of_many_groups_those_that_differ_and_the_largest_are_drawn() -> None:
    found = COMEBACKS["comebacks, many long names"]
    assert len(found.rows) == 13
    drawn = {row["model"] for row in found.parts["curve"]}
    assert len(drawn) == 6 and None in drawn  # 700 jobs, and it differs
    largest = sorted((r for r in found.rows if r["model"]), key=lambda row: -row["jobs"])[:5]
    assert drawn - {None} == {row["model"] for row in largest}
    assert "drawn: 6 of 13 groups" in under("comebacks, many long names")
    assert records("comebacks, many long names", "area") == []  # bars at the end instead
    differ = sum(row["p_corrected"] < 0.05 for row in found.rows)
    assert f"{differ} of 13 groups differ" in title_of("comebacks, many long names")


def test_a_group_has_one_colour_in_all_panels() -> None:
    panels = spec_of("comebacks, two reasons")["vconcat"]
    assert len(panels) == 2
    looks = []
    for panel in panels:
        names = [
            spec_of("comebacks, two reasons")["datasets"][layer["data"]["name"]][0]["words"]
            for layer in panel["layer"]
            if layer["mark"]["type"] == "text" and layer["mark"].get("align") == "right"
        ]
        colours = [
            layer["mark"]["color"]
            for layer in panel["layer"]
            if layer["mark"]["type"] == "line"
        ]  # fmt: skip
        looks.append(dict(zip(names[1:], colours, strict=True)))
    assert looks[0] == looks[1]
    assert set(looks[0]) == {"North", "South"}


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("comebacks, nobody yet", "no come-back seen yet"),
        ("comebacks, one job", "too few jobs were followed for so long"),
        ("comebacks, two reasons", "Come-backs within 90 days by branch"),
        ("comebacks, alike", "no difference between groups could be shown"),
    ],
)
def test_titles_dare_no_more_than_was_seen(name: str, said: str) -> None:
    assert said in title_of(name)


def test_where_nobody_came_back_bars_say_how_many_may() -> None:
    bars = [one for one in records("comebacks, nobody yet", "rule") if "high" in one[0]]
    ends = [row["high"] for row in COMEBACKS["comebacks, nobody yet"].rows]
    assert [one[0]["high"] for one in bars] == ends and all(end > 0.05 for end in ends)


def test_one_group_is_told_with_its_counts() -> None:
    row = COMEBACKS["comebacks"].rows[0]
    assert f"{row['returns']} of {row['jobs']}" in title_of("comebacks")


def test_curves_end_where_too_few_are_followed() -> None:
    found = COMEBACKS["comebacks, too few followed"]
    assert all(row["rate"] is None for row in found.rows)
    north, south = records("comebacks, too few followed", "line")
    assert 0 < north[-1]["day"] < 40 and south == []
    assert "curves end where fewer than 10" in under("comebacks, too few followed")
    assert sum("too few followed" in one for one in words("comebacks, too few followed")) == 2


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("comebacks", "limits: shaded"),
        ("comebacks, three groups", "limits: shaded"),
        ("comebacks, nobody yet", "bars at the end (side by side, though all are of day 90)"),
        ("comebacks, alike", "bars at the end (side by side, though all are of day 90)"),
        ("comebacks, one of two", "limits: shaded, or a bar where nobody came back"),
        ("comebacks, one group yet none", "limits: bars at the end"),
        ("comebacks, two ends", "bars at the end (side by side, though each is of its curve's end"),
    ],
)
def test_bars_side_by_side_are_not_taken_for_different_days(name: str, said: str) -> None:
    assert said in under(name)
    assert ("side by side" in under(name)) == ("side by side" in said)
