"""Pictures of comparisons: which way is which, what is sure, and an order that turns round."""

from __future__ import annotations

import pytest

from fixstats.charts import chart, picture_name

from .compare_cases import COMPARISONS, STONES, comparison, models, versus


def words(found, place="text"):
    return " ".join(chart(found).to_dict()["title"][place]).replace("\u00a0", " ")


def drawn(found, layer):
    spec = chart(found).to_dict()
    data = spec["layer"][layer]["data"]
    return list(spec["datasets"][data["name"]] if "name" in data else data["values"])


BAND, ZERO, LESS, MORE, RAW, RAW_ENDS, FAIR, FAIR_ENDS, COUNTS = range(9)


def test_which_way_is_which_stands_in_words_on_its_side_of_zero():
    spec = chart(COMPARISONS["compared"]).to_dict()
    sides = [(spec["layer"][n]["encoding"]["text"]["value"], spec["layer"][n]["mark"]["align"])
             for n in (LESS, MORE)]  # fmt: skip
    assert sides == [("← fails less", "right"), ("fails more →", "left")]
    assert drawn(COMPARISONS["compared"], BAND) == [{"from": -0.02, "to": 0.02}]
    left, right = spec["layer"][RAW]["encoding"]["x"]["scale"]["domain"]
    assert left < 0 < right and min(-left, right) >= 0.15 * (right - left)


def test_raw_and_like_for_like_stand_in_one_row_with_both_counts():
    found = COMPARISONS["compared"]
    raw, fair = drawn(found, RAW), drawn(found, FAIR)
    assert [one["place"] for one in raw] == [one["place"] for one in fair] == ["0", "1"]
    assert (fair[0]["from"], fair[0]["to"]) == (0.01, 0.055)
    assert raw[0]["from"] == found.rows[0]["difference_low"]
    assert [one["words"] for one in drawn(found, COUNTS)] == [
        "60 of 700 | 30 of 900", "20 of 700 | 30 of 900",
    ]  # fmt: skip


def test_titles_follow_the_like_for_like_intervals():
    assert words(COMPARISONS["compared"]) == (
        "Lines in the picture, against Heated plate, timed: fails more: Hot-air gun; "
        "no difference shown: Warm pad"
    )
    assert words(COMPARISONS["compared, one row"]) == (
        "Lines in the picture: Hot-air gun fails more than Heated plate, timed, like for like: "
        "3.0 more in 100 jobs (1.0 to 5.5 more)"
    )
    assert "no difference shown: Hot-air gun and Warm pad" in words(COMPARISONS["compared, zeros"])
    rows = models(["A", "B", "C"])
    rows[0] |= {"adjusted_difference": -0.05, "adjusted_low": -0.09, "adjusted_high": -0.01}
    assert words(comparison(rows)).endswith(
        "; of 3 models with a failure the interval shows fewer on 1, more on none"
    )
    # None of a handful is no model that tells.
    rows[1] |= {"failures": 0, "baseline_failures": 0}
    assert "; of 2 models with a failure" in words(comparison(rows))


def test_what_is_missing_is_said_in_its_row():
    found = COMPARISONS["compared, no fit"]
    assert [one["words"].split("; ")[1:] for one in drawn(found, COUNTS)] == [
        ["within strata, no fit"],
        ["no like-for-like figure"],
        ["not used there", "no like-for-like figure"],
    ]
    assert len(drawn(found, RAW)) == 2 and len(drawn(found, FAIR)) == 1
    assert "within strata of model and technician" in str(chart(found).to_dict())
    assert "no like-for-like figure: Warm pad and" in words(found)
    by_model = COMPARISONS["compared, never used"]
    assert [one["words"] for one in drawn(by_model, COUNTS)] == [
        "9 of 80 | 5 of 60; may turn round", "0 of 0 | 5 of 60; not used there",
    ]  # fmt: skip
    # A model that never used it says nothing about how many models show a difference.
    assert "interval shows" not in words(by_model)


def test_small_rows_do_not_stretch_the_scale():
    rows = [*models([f"M{n}" for n in range(6)]), versus(((1, 2), (2, 2)), model="Small")]
    found = comparison(rows)
    left, right = chart(found).to_dict()["layer"][RAW]["encoding"]["x"]["scale"]["domain"]
    assert right < 0.3 and rows[-1]["difference_high"] > 0.6
    assert {"less", "more"} & {end["sign"] for end in drawn(found, RAW_ENDS)}
    assert all(left <= line["from"] <= line["to"] <= right for line in drawn(found, RAW))
    assert "arrows go on beyond the scale" in words(found, "subtitle")


# ---------------------------------------------------------------- an order that turns round

RULES, ARROWS, POINTS, BESIDE = range(4)


def test_strata_are_drawn_where_an_order_turns_and_models_are_not_asked_for():
    assert picture_name(COMPARISONS["turned round"]) == "compare reversal"
    assert picture_name(COMPARISONS["compared"]) == "compare"
    # By model, the differences show it: raw on one side of zero, like for like on the other.
    assert picture_name(COMPARISONS["compared, never used"]) == "compare"


def test_kidney_stones_turn_round():
    """Charig et al. 1986: better with small and with large stones, worse with all together."""
    found = COMPARISONS["turned round"]
    lines = drawn(found, RULES)
    ways = [(line["strong"], line["way"]) for line in lines]
    assert ways == [(True, "more"), (True, "less"), (False, "less"), (False, "less")]
    assert [one["who"] for one in drawn(found, ARROWS)] == [
        "arrow more", "arrow less", "arrow less", "arrow less",
    ]  # fmt: skip
    everything, _, small, large = lines
    assert (everything["from"], everything["to"]) == (61 / 350, 77 / 350)
    assert (small["from"], small["to"]) == (36 / 270, 6 / 87)
    assert (large["from"], large["to"]) == (25 / 80, 71 / 263)
    # Areas show why: the option has the hard cases, the baseline the easy ones.
    sizes = [one["size"] for one in drawn(found, POINTS)][4:]
    assert sizes == [STONES["small"][0][1], STONES["small"][1][1], 80, 263]
    assert words(found).startswith("Lines in the picture: Hot-air gun fails less like for like, ")


@pytest.mark.parametrize(
    ("counts", "adjusted", "turns", "said"),
    [
        (((30, 900), (60, 700)), (-0.02, -0.03, -0.01), "sure",
         "the order turns round. Hot-air gun fails more in all jobs together, but less like "
         "for like"),
        (((30, 900), (60, 700)), (-0.02, -0.05, 0.01), "sure",
         "Hot-air gun fails more in all jobs together, but that does not hold like for like"),
        (((9, 90), (12, 80)), (-0.02, -0.03, -0.01), "sure",
         "Hot-air gun fails less like for like, though all jobs together point the other way"),
        (((12, 80), (9, 90)), (0.03, -0.03, 0.07), "possible",
         "the order may turn round. Hot-air gun failed less in all jobs together, more like "
         "for like, and either may be chance"),
    ],
)  # fmt: skip
def test_the_title_is_as_sure_as_the_intervals(counts, adjusted, turns, said):
    assert words(comparison([versus(counts, adjusted, turns=turns)])) == (
        f"Lines in the picture: {said}"
    )


def test_an_order_that_turns_within_strata_only_says_so():
    row = versus(((30, 900), (60, 700)), (0.01, -0.01, 0.03), turns="sure",
                 strata=(-0.02, -0.04, -0.005))  # fmt: skip
    found = comparison([row])
    assert words(found).endswith("but less within strata")
    assert "within strata: 2.0 fewer (0.50 to 4.0 fewer)" in words(found, "subtitle")


def test_many_strata_are_taken_together_by_their_first_key():
    found = COMPARISONS["turned, 60 strata"]
    names = str(chart(found).to_dict()["layer"][0]["encoding"]["y"]["axis"]["labelExpr"])
    lines = [line for line in drawn(found, RULES) if not line["strong"]]
    assert len(lines) == 12 and '"Alder 11"' in names and "T1" not in names
    assert "strata of model and technician, drawn by model" in words(found, "subtitle")
    # Alder 9: 9 % 4 failures a technician; 5 * 3 + t and 27 + t // 2 jobs, t from 0 to 4.
    assert "20 of 139 | 5 of 85" in [one["words"] for one in drawn(found, BESIDE)]


def test_a_stratum_with_one_option_only_is_left_out_and_counted():
    row = versus(((30, 900), (60, 700)), (-0.02, -0.03, -0.01), turns="sure")
    found = comparison([row], {("A", "T1"): ((1, 9), (2, 9)), ("A", "T2"): ((1, 9), (0, 0))})
    assert len(drawn(found, RULES)) == 3
    assert "1 not drawn: one option only" in words(found, "subtitle")


def test_several_turned_rows_come_sure_ones_first():
    found = COMPARISONS["turned, several"]
    labels = str(chart(found).to_dict()["layer"][0]["encoding"]["y"]["axis"]["labelExpr"])
    assert labels.index("Hot-air gun against") < labels.index("Warm pad against")
    assert "1 more row that may turn round, not drawn" in words(found, "subtitle")
    beside = [one["words"] for one in drawn(found, BESIDE)]
    assert "20 of 700 | 30 of 900; within strata +1.0 in 100" in beside
