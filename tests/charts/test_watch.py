"""Pictures of what is out: which panels, and what each marks."""

from __future__ import annotations

import re
from typing import Any

from fixstats.charts import chart

from .watch_cases import WATCHED


def spec(name: str) -> dict[str, Any]:
    return dict(chart(WATCHED[name]).to_dict())


def points(panel: dict[str, Any], found: dict[str, Any]) -> list[dict[str, Any]]:
    """Records of the layer of points."""
    marks = [one for one in panel["layer"] if "mark" in one]
    (layer,) = [one for one in marks if one["mark"]["type"] == "point"]
    data = layer.get("data", panel.get("data", found.get("data")))
    return list(data["values"] if "values" in data else found["datasets"][data["name"]])


def test_a_panel_for_each_thing_that_is_out() -> None:
    found = spec("watch")
    heads = [" ".join(panel["title"]["text"]) for panel in found["vconcat"]]
    assert heads[0].startswith("Dust or print under the glass")
    assert heads[1].startswith("Each battery lot against the shop, come-backs for any reason")


def test_months_out_are_marked_and_those_of_the_baseline_are_not() -> None:
    found = spec("watch")
    states = [record["state"] for record in points(found["vconcat"][0], found)]
    assert states == ["baseline"] * 7 + ["not out"] * 2 + ["out"] * 4


def test_only_groups_that_are_out_are_named() -> None:
    found = spec("watch")
    names = {record["words"] for record in points(found["vconcat"][1], found)}
    assert names == {"", "LOT-4"}


def test_the_day_of_the_change_stands_at_its_place_in_its_month() -> None:
    text = str(spec("watch"))
    (at,) = {float(one) for one in re.findall(r"'at': ([\d.]+)", text)}
    assert at == 9 + 3 / 31  # 2025-03 is the tenth month, the 4th its fourth day


def test_what_does_not_fit_is_said() -> None:
    found = spec("watch, more than fit")
    assert len(found["vconcat"]) == 6
    assert "5 panels not drawn" in " ".join(found["title"]["subtitle"])


def test_what_was_asked_for_is_drawn_although_nothing_is_out() -> None:
    found = spec("watch, nothing out of what was asked")
    assert " ".join(found["title"]["text"]).startswith("Nothing is out, which is no proof")
    assert len(found["vconcat"]) == 1


def test_the_legend_has_no_state_that_is_not_drawn() -> None:
    for name, states in (("watch", 3), ("watch, people", 2)):
        scales = re.findall(r"'domain': (\[[^\]]*'out'\])", str(spec(name)))
        assert scales and {one.count("'") // 2 for one in scales} == {states}


def test_a_picture_of_people_says_what_it_cannot_tell() -> None:
    words = " ".join(spec("watch, people")["title"]["subtitle"])
    assert "no ranking" in words and "it may be chance, failures that others did not" in words
    assert "technicians" not in " ".join(spec("watch")["title"]["subtitle"])


def test_a_title_begins_with_a_capital() -> None:
    assert " ".join(spec("watch, people")["title"]["text"]).startswith("Technician A name")


def test_a_group_is_drawn_where_no_other_failed() -> None:
    found = spec("watch, no others failed")
    drawn = points(found["vconcat"][0], found)
    (out,) = [one for one in drawn if one["state"] == "out"]
    assert out["ratio"] > max(one["ratio"] for one in drawn if one is not out)
    assert "no other failures to compare with" in " ".join(found["title"]["text"])


def test_wide_limits_leave_room_for_the_points() -> None:
    panel = spec("watch")["vconcat"][1]
    (top,) = {float(one) for one in re.findall(r"'domain': \[0, ([\d.]+)\]", str(panel))}
    assert top < 1.3 * 14 / 4.3  # the highest point; the limit of a small lot is beyond 10
