"""The picture of causes: what is drawn of hard cases."""

import pytest

from fixstats.charts import chart
from fixstats.charts.causes import MOST_ROWS

from .cause_cases import CAUSES, NO_CONTRAST, cause, causes


def layers(found):
    """What each layer draws: the line at 1, intervals, points, counts, their heading."""
    spec = chart(found).to_dict()
    named = [one["data"] for one in spec["layer"]]
    return [
        spec["datasets"][one["name"]] if "name" in one else one["values"] for one in named
    ], spec


def test_rows_stand_by_strength_with_counts_beside():
    (line, spans, points, counts, head), spec = layers(CAUSES["causes"])
    assert line == [{"from": 1}]
    assert [one["from"] for one in points] == [3, 1.2, 0.5]
    assert [(one["from"], one["to"]) for one in spans] == [(2, 5), (0.9, 1.6), (0.2, 1.4)]
    assert counts[0]["words"] == "9 of 60, 12 of 1,200"
    assert head[0]["words"] == "failures: with it, against"
    kinds = [one["kind"] for one in points]
    assert kinds[0] == "holds with all tests allowed for" and kinds[1] == kinds[2] != kinds[0]
    assert spec["layer"][1]["encoding"]["x"]["scale"]["type"] == "log"
    title = " ".join(spec["title"]["text"])
    assert title == (
        "Lines in the picture: 1 of 3 values of conditions goes with it; Charge at "
        "calibration, %: <20, not >=20: odds 3.00 times"
    )
    under = " ".join(spec["title"]["subtitle"])
    for words in (
        "21 failures of 1,260 opportunities (jobs), 1.7\u00a0%",
        "by first choice",
        "95\u00a0% intervals by profile",
        "up to 2025-06-17",
        "need not bring it about",
    ):
        assert words in under
    assert spec["description"].startswith(title)
    assert (
        "Highest: Charge at calibration, %: <20, not >=20: odds 3.00 times" in spec["description"]
    )


def test_an_interval_beyond_the_scale_ends_in_an_arrow():
    (_, spans, points, *_), spec = layers(causes(cause(2, 0.001, 5000, p=0.9)))
    low, high = spec["layer"][1]["encoding"]["x"]["scale"]["domain"]
    assert (low, high) == (0.5, 6)
    assert (spans[0]["from"], spans[0]["to"]) == (low, high)
    assert {one["sign"] for one in points} == {"ratio", "goes on below", "goes on above"}


def test_a_family_and_no_survivor_are_said_in_the_title():
    _, spec = layers(causes(cause(2, 0.9, 4, p=0.9, mode=None)))
    assert " ".join(spec["title"]["text"]) == (
        "Any of Lines in the picture: none of 1 value of conditions goes with it beyond chance"
    )


def test_many_rows_are_cut_to_the_most_certain():
    rows = [cause(1 + n / 100, 0.5, 3, p=(n + 0.5) / 100, level=str(n)) for n in range(70)]
    (_, spans, *_), spec = layers(causes(*rows))
    assert len(spans) == MOST_ROWS
    assert "5 of 70 values" in " ".join(spec["title"]["text"])
    assert "30 less certain values not drawn" in " ".join(spec["title"]["subtitle"])


def test_long_names_are_wrapped_and_nothing_of_them_is_run():
    nasty = "</script>" + "an extraordinarily long value with edition, market and colour " * 3
    _, spec = layers(causes(cause(2, 1, 4, condition="x" * 80, level=nasty)))
    assert "…" in str(spec["layer"][1]["encoding"]["y"]["axis"]["labelExpr"])


@pytest.mark.parametrize("rows", [(), (cause(None, None, None, p=None),)])
def test_nothing_to_draw_says_why(rows):
    spec = chart(causes(*rows, notes=(NO_CONTRAST,))).to_dict()
    assert " ".join(spec["title"]["text"]).startswith("No rows to draw")
    assert "It never occurred" in spec["description"]
