"""The grid of pairs says rate and counts in words, and looks unsure where there are few."""

from __future__ import annotations

from fixstats.charts import PAIR_KEYS, chart
from fixstats.charts.pair_grid import ENOUGH, FIRM, SHADES
from fixstats.tallies import keys

from .cases import FINDINGS, pair, pairs


def cells(found, grid=0):
    """Cells of a grid by (row, column), as they are drawn."""
    spec = chart(found).to_dict()
    layer = spec["vconcat"][grid]["layer"][0]
    values = spec["datasets"].get(layer["data"].get("name"), layer["data"].get("values"))
    return {(one["down"], one["across"]): one for one in values}


def axis(found, side, grid=0):
    return chart(found).to_dict()["vconcat"][grid]["layer"][0]["encoding"][side]["axis"]


def test_the_keys_are_those_of_the_rows():
    assert PAIR_KEYS == keys.PAIR_KEYS


def test_every_cell_says_rate_interval_and_counts():
    found = FINDINGS["pairs"]
    drawn = cells(found)
    assert len(drawn) == len(found.rows)
    # Grades in the order of the labels, not known last.
    assert '["New, from the maker"]' in axis(found, "y")["labelExpr"].replace(", [", "\n[")
    assert axis(found, "y")["labelExpr"].count("not known") == 1
    one = drawn["1", "0"]  # reworked with new: 3 of 50, Wilson 2.1 to 16.2 %
    assert (one["head"], one["lines"]) == ("6.0\u00a0%", ["2.1 to 16.2", "3 of 50"])
    none = drawn["2", "0"]
    assert none["head"] == "none seen" and none["lines"][0].startswith("at most 1.2")
    unknown = drawn["3", "0"]
    assert (unknown["head"], unknown["lines"]) == ("not known", ["no opportunity", "12 unknown"])
    assert drawn["2", "2"]["lines"] == ["0.9 to 11.4", "2 of 60", "80 unknown"]


def test_few_pairs_have_a_smaller_shade_or_none():
    drawn = cells(FINDINGS["pairs"])
    assert {place: (one["shade"] >= 0, one["firm"]) for place, one in drawn.items()} == {
        ("0", "1"): (False, False),  # 1 of 9
        ("1", "0"): (True, False),  # 3 of 50
        ("2", "0"): (True, True),  # none of 240
        ("2", "1"): (True, True),  # 40 of 300
        ("2", "2"): (True, False),  # 2 of 60
        ("3", "0"): (False, False),  # nobody knows
    }
    assert ENOUGH < FIRM
    layers = chart(FINDINGS["pairs"]).to_dict()["vconcat"][0]["layer"]
    assert layers[2]["mark"]["width"] == {"band": 0.76} and "width" not in layers[1]["mark"]


def test_shades_rise_with_the_rate_and_words_stay_readable():
    rows = [pair(k, 200, f"g{k}", "original") for k in (0, 10, 20, 30, 40)]
    drawn = [cells(pairs(*rows))[str(n), "0"] for n in range(5)]
    assert [one["shade"] for one in drawn] == [0, 1, 2, 3, 4]
    assert [one["ink"] for one in drawn] == ["#222222"] * 4 + ["white"]
    assert all(ratio(shade, ink) > 4.5 for shade, ink in zip(
        SHADES, ["#222222"] * 4 + ["#FFFFFF"], strict=True))  # fmt: skip


def ratio(one, other):
    """Contrast of two colours (Web Content Accessibility Guidelines 2.1, 1.4.3: 4.5 for text)."""
    lights = sorted(map(_light, (one, other)), reverse=True)
    return (lights[0] + 0.05) / (lights[1] + 0.05)


def _light(colour):
    channels = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(part * c for part, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_modes_and_parts_have_a_grid_each_and_wide_grids_are_turned():
    spec = chart(FINDINGS["two grids"]).to_dict()
    assert [one["title"]["text"] for one in spec["vconcat"]] == [
        ["Lines in the picture: Battery with Display"],
        ["Front glass cracked: Battery with Display"],
    ]
    wide = FINDINGS["60 pairs"]  # six grades of the battery, ten of the display
    assert (axis(wide, "x")["title"], axis(wide, "y")["title"]) == ("Battery", "Display")
    assert len(cells(wide)) == 60


def test_what_is_left_out_is_said():
    rows = [
        pair(1, 30 * (1 + c), f"a{n}", f"b{m}", mode=f"mode_{c}")
        for c in range(3) for n in range(7) for m in range(7)
    ]  # fmt: skip
    spec = chart(pairs(*rows)).to_dict()
    assert [one["title"]["text"] for one in spec["vconcat"]] == [
        ["Mode 1: Battery with Display"], ["Mode 2: Battery with Display"],
    ]  # fmt: skip
    assert "1 grid not drawn: fewest pairs" in " ".join(spec["title"]["subtitle"])


def test_titles_say_no_more_than_is_known():
    def title(name):
        return " ".join(chart(FINDINGS[name]).to_dict()["title"]["text"])

    assert title("pairs, no opportunity").endswith("so there is no rate")
    assert title("pairs, zeros").endswith("no conflict seen in 1 pair of grades")
    # The highest rate of the title is not that of nine pairs, nor of an unknown grade.
    assert "up to 13.3\u00a0% (40 of 300)" in title("pairs")
    assert "which overlap" in " ".join(chart(FINDINGS["pairs"]).to_dict()["title"]["subtitle"])
