"""The picture of pooled rates draws both rates of a row, and says how much is borrowed."""

from __future__ import annotations

from fixstats.charts import chart

from .cases import FINDINGS, grid, months, pooled, records, row


def words(found, place="text"):
    return " ".join(chart(found).to_dict()["title"][place]).replace("\u00a0", " ")


def test_raw_and_pooled_stand_in_one_row():
    found = FINDINGS["pooled"]
    lines = [records(found, layer) for layer in (0, 2)]
    assert [len(one) for one in lines] == [4, 4]
    assert [one["place"] for one in lines[0]] == [one["place"] for one in lines[1]]
    spec = chart(found).to_dict()
    assert [spec["layer"][n]["mark"]["yOffset"] for n in (0, 1, 2, 3)] == [-4, -4, 4, 4]
    # One colour each, and another shape: colour is not alone.
    shapes = spec["layer"][1]["encoding"]["shape"]["scale"]
    signs = dict(zip(shapes["domain"], shapes["range"], strict=True))
    assert signs["at 0"] != signs["at 1"]
    (tarn,) = [one for one in found.rows if one["model"] == "Tarn 10"]
    assert tarn["pooled_low"] in [one["from"] for one in lines[1]]
    assert tarn["pooled_rate"] in [one["from"] for one in records(found, 3)]


def test_no_failure_is_a_limit_and_far_ends_are_arrows():
    found = FINDINGS["pooled"]
    dashes = [line["dash"] for line in records(found, 0)]
    assert sorted(dashes) == ["interval", "interval", "interval", "limit"]
    edge = chart(found).to_dict()["layer"][0]["encoding"]["x"]["scale"]["domain"][1]
    assert all(line["to"] <= edge for layer in (0, 2) for line in records(found, layer))
    assert [end["sign"] for end in records(found, 1) if end["from"] == edge] == ["more", "more"]
    assert "arrows go on beyond the scale" in words(found, "subtitle")
    assert "dashed: no failure seen" in words(found, "subtitle")


def test_title_and_counts_say_the_shrinking():
    assert words(FINDINGS["pooled"]).startswith(
        "Lines in the picture by model: raw from 3.3 % to 11.7 %, pooled from "
    )
    # 1 of 3 is no rate of 33.3 %
    assert "rows of 20 opportunities or more" in words(FINDINGS["pooled"], "subtitle")
    beside = [one["words"] for one in records(FINDINGS["pooled"], 4)]
    assert sorted(text.split(";")[0] for text in beside) == [
        "0 of 6", "1 of 3", "14 of 120", "3 of 90",
    ]  # fmt: skip
    assert all(text.endswith(" %") for text in beside)
    description = chart(FINDINGS["pooled"]).to_dict()["description"]
    assert "Moved most: Osier Tab" in description


def test_one_model_is_not_pooled_and_no_failure_anywhere_is_no_rate_of_zero():
    found = FINDINGS["pooled, one row"]
    assert words(found).endswith("too few models to borrow from, so nothing is pooled")
    assert records(found, 2) == [] and records(found, 4)[0]["words"] == "3 of 90; not pooled"
    assert "no failure seen in 3 rows, pooled from 0." in words(FINDINGS["pooled, zeros"])


def test_models_are_innermost_whatever_the_order_of_keys():
    rows = grid(["Tarn 9", "Alder 2", "Osier"], ["heat_gun", "heat_plate"])
    one, other = (
        str(chart(pooled(rows, keys)).to_dict()["layer"][0]["encoding"]["y"]["axis"]["labelExpr"])
        for keys in (("model", "opening"), ("opening", "model"))
    )
    assert one == other
    assert one.index("Heated plate") < one.index("Alder 2")
    # Pooled months are no lines over time.
    found = pooled([one for m in "ABC" for one in months(model=m)[:2]], ("month", "model"))
    assert "by month and model: raw from" in words(found)


def test_a_model_without_opportunities_has_the_prediction_only():
    found = pooled([row(3, 90, model="A"), row(1, 60, model="B"), row(0, 0, model="C")], ("model",))
    assert len(records(found, 0)) == 2 and len(records(found, 2)) == 3
    assert "no opportunity; 100 %" in [one["words"] for one in records(found, 4)]
