"""Pictures of decisions: what is drawn is what the finding says."""

from __future__ import annotations

from typing import Any

import pytest

from fixstats.charts import chart

from .decide_cases import DECISIONS


def spec_of(name: str) -> dict[str, Any]:
    return chart(DECISIONS[name]).to_dict()


def title(name: str) -> str:
    return " ".join(spec_of(name)["title"]["text"])


def values(spec: dict[str, Any], *keys: str) -> list[dict[str, Any]]:
    """Records of all layers that have these keys."""
    found = []
    for layer in spec["layer"]:
        name = layer["data"].get("name")
        records = layer["data"]["values"] if name is None else spec["datasets"][name]
        found += [one for one in records if all(key in one for key in keys)]
    return found


def test_parts_lie_end_to_end_and_add_up_to_the_point():
    spec = spec_of("decided")
    bars = values(spec, "part")
    points = {one["place"]: one["at"] for one in values(spec, "at")}
    for place, cost in points.items():
        pieces = [one for one in bars if one["place"] == place]
        assert pieces[0]["from"] == 0
        assert [one["from"] for one in pieces[1:]] == [one["to"] for one in pieces[:-1]]
        assert pieces[-1]["to"] == pytest.approx(cost)


def test_what_is_ruled_out_is_pale_last_and_says_why():
    spec = spec_of("decided")
    words = [one["words"] for one in values(spec, "words") if one["words"].startswith("8.00")]
    assert words == ["8.00 (5.20 to 14.00); 31; ruled out: safety failures"]
    pale = {one["place"] for one in values(spec, "part") if one["pale"]}
    assert pale == {"3"}  # below the heading and the two that are not
    assert "no option may be recommended" in title("decided, all worse")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (
            "decided",
            "Opening the device: make Heated plate, timed the standard; 2.50 EUR a job less than "
            "Hot-air gun (0.60 to 4.70); of 2 models: standardise 1, lean 1",
        ),
        ("decided, only one", "Opening the device: only Heated plate, timed, nothing to compare"),
        ("decided, all equal", "Heated plate, timed or Hot-air gun, equal enough; 0.00 EUR a job"),
        ("decided, several choices", "2 choices: standardise 1, wait 1"),
        (
            "flips",
            "Opening the device: lowest expected cost with Heated plate, timed up to a labour rate "
            "of 110 EUR (60.00 now), beyond that with Hot-",
        ),
        ("flips, never", "on Tarn 9: lowest expected cost with Heated plate, timed, whatever the"),
        ("flips, not set", "up to a cost of Lines in the picture of 125 EUR (not set now)"),
    ],
)
def test_the_title_says_the_finding(name, said):
    assert said in title(name)


def test_several_choices_have_a_scale_each_and_models_are_left_to_one_choice():
    spec = spec_of("decided, several choices")
    assert len(spec["vconcat"]) == 2
    under = " ".join(spec["title"]["subtitle"])
    assert "2 of 4 rows not drawn: ask for one choice to see its models" in under
    assert "what if: labour_rate 90" in under


def test_of_many_models_those_with_the_most_jobs_are_drawn():
    under = " ".join(spec_of("decided, 300 rows")["title"]["subtitle"])
    assert "80 of 100 rows not drawn: fewest jobs" in under


def test_lines_cross_where_the_decision_flips():
    """The two lines, drawn through their ends, meet at the marked value."""
    spec = spec_of("flips")
    ends = values(spec, "from", "cost")
    lines = [
        [one for one in ends if one["about"] == name and "high" not in one]
        for name in ("Heated plate, timed", "Hot-air gun")
    ]
    (a0, a1), (b0, b1) = ([one["cost"] for one in line] for line in lines)
    right = lines[0][1]["from"]
    meet = right * (b0 - a0) / ((a1 - a0) - (b1 - b0))
    assert "flips at 110" in [one["words"] for one in values(spec, "words")]
    assert meet == pytest.approx(60 + 2.5 / 0.05)  # 11.60 - 9.10 apart, 0.14 - 0.09 an hour


def test_an_option_ruled_out_has_no_line():
    spec = spec_of("flips")
    assert "ruled out by safety failures: Warm pad" in " ".join(spec["title"]["subtitle"])
    assert not any("Warm pad" in str(one.get("about")) for one in values(spec, "from"))
