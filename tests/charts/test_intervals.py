"""The interval chart says what the rows carry, and draws each as what it is."""

from __future__ import annotations

import json

from fixstats.charts import chart, names
from fixstats.charts.layout import groups, kept
from fixstats.findings.base import Finding, Note
from fixstats.tallies import keys

from .cases import FINDINGS, LONG, MODELS, finding, grid, records, row


def title(found: Finding) -> str:
    return " ".join(chart(found).to_dict()["title"]["text"]).replace("\u00a0", " ")


def under(found: Finding) -> str:
    return " ".join(chart(found).to_dict()["title"]["subtitle"])


def test_one_row_gives_its_figures() -> None:
    # 6 of 193 by Wilson at 95 %: 3.1 % (1.4 to 6.6), the worked example of the design.
    assert title(FINDINGS["one row"]) == "Lines in the picture: 3.1 % (1.4 to 6.6), 6 of 193"


def test_overlap_is_said_and_nothing_is_called_worse() -> None:
    alike = [row(3, 60, opening="heat_gun"), row(5, 60, opening="heat_plate")]
    apart = [row(3, 600, opening="heat_gun"), row(90, 600, opening="heat_plate")]
    assert title(finding(alike, ("opening",))) == (
        "Lines in the picture by opening the device: "
        "5.0 % (3 of 60) to 8.3 % (5 of 60); all intervals overlap"
    )
    assert title(finding(apart, ("opening",))).endswith("; not all intervals overlap")
    both = [one | {"model": "A"} for one in alike] + [one | {"model": "B"} for one in apart]
    assert title(finding(both, ("model", "opening"))).endswith("intervals overlap in 1 of 2 models")


def test_zeros_have_limits_not_points() -> None:
    found = FINDINGS["all zeros"]
    # No failure in 9: at most 1 - 0.05 ** (1 / 9) = 28.3 % (exact one-sided limit).
    assert title(found) == (
        "Lines in the picture by model: no failure seen in 4 rows; "
        "upper limits from 22.1 % to 28.3 %"
    )
    lines = records(found, 0)
    assert {line["kind"] for line in lines} == {"no failure seen: one-sided 95\u00a0% upper limit"}
    assert sorted(line["to"] for line in lines) == sorted(one["at_most"] for one in found.rows)
    assert all(point["sign"] == "limit" for point in records(found, 1))


def test_a_rate_of_zero_is_never_the_start_of_a_range() -> None:
    some = [row(0, 60, model="A"), row(5, 60, model="B")]
    assert ": up to 8.3 % (5 of 60);" in title(finding(some, ("model",)))


def test_titles_are_not_taken_from_the_noisiest_rows() -> None:
    some = [
        row(3, 60, opening="heat_gun"), row(5, 60, opening="heat_plate"),
        row(4, 5, opening="suction_frame"), row(40, 50, opening=None), row(45, 50, opening="-"),
    ]  # fmt: skip
    found = finding(some, ("opening",))
    assert ": 5.0 % (3 of 60) to 8.3 % (5 of 60); not all intervals overlap" in title(found)
    # Without the small one, only the two that were not chosen lie apart.
    apart = finding([*some[:2], *some[3:]], ("opening",))
    assert title(apart).endswith("(5 of 60); all intervals overlap")
    assert "rates in the title: rows of 20 opportunities or more" in under(apart)
    assert "rates in the title" not in under(finding(some[:2], ("opening",)))
    # Where no large row has a failure, all rows speak.
    small = finding([row(0, 60, model="A"), row(2, 8, model="B")], ("model",))
    assert ": up to 25.0 % (2 of 8);" in title(small)


def test_technicians_who_differ_are_hinted_at() -> None:
    rows = [row(3, 60, model="A"), row(5, 60, model="B")]
    noted = finding(rows, ("model",), [Note("clustered", "in 1 row ...")])
    assert "technicians differ, which may widen the intervals" in under(noted)
    assert "technicians" not in under(finding(rows, ("model",)))


def test_bounds_only_where_over_a_tenth_is_unknown() -> None:
    lines = [line for line in records(FINDINGS["unknown"], 0) if "unknown" in line["kind"]]
    (line,) = lines  # 5 of 55 is under a tenth, 60 of 110 is not
    assert line["from"] == 2 / 110
    # They would reach 62 of 110: cut at the edge of the scale, with an arrow.
    (arrow,) = (one for one in records(FINDINGS["unknown"], 1) if one["sign"] == "goes on")
    assert line["to"] == arrow["from"] < 62 / 110
    words = [count["words"] for count in records(FINDINGS["unknown"], 2)]
    assert sorted(words) == ["2 of 50", "2 of 50, 60 unknown"]


def test_small_rows_do_not_stretch_the_scale() -> None:
    counts = {"A": (4, 100), "B": (9, 100), "C": (0, 1), "D": (2, 2), "E": (5, 90)}
    found = finding([row(k, n, model=m) for m, (k, n) in counts.items()], ("model",))
    edge = chart(found).to_dict()["layer"][0]["encoding"]["x"]["scale"]["domain"][1]
    highest = max(found.rows[n]["high"] for n in (0, 1, 4))
    assert highest < edge < 1.1 * highest
    # Their intervals end in an arrow at the edge; their counts are there; nothing is drawn beyond.
    signs = [one["sign"] for one in records(found, 1) if one["from"] == edge]
    assert signs == ["goes on", "goes on"]
    assert all(one["to"] <= edge for one in records(found, 0))
    assert {"0 of 1", "2 of 2"} < {one["words"] for one in records(found, 2)}
    assert "arrows go on beyond the scale" in str(chart(found).to_dict()["title"]["subtitle"])


def test_unions_keep_the_order_asked_for() -> None:
    rows = [
        row(1, 60, mode=None, technician=t) | {"family": f}
        for t in ("T1", "T2")
        for f in ("tabs", "lines")
    ]
    found = groups(finding(rows, ("technician",)))
    assert [group.headings for group in found] == [("Tabs",), ("Lines",)]


def test_no_opportunity_draws_no_rate() -> None:
    found = FINDINGS["no opportunity"]
    assert title(found).endswith("no opportunity is known, so there is no rate")
    assert not records(found, 0) and not records(found, 1)
    assert {count["words"] for count in records(found, 2)} == {"no opportunity"}


def test_models_go_by_number_and_methods_stand_together() -> None:
    found = groups(FINDINGS["models and methods"])
    assert [group.headings for group in found] == [
        ("Alder 2",), ("Osier Tab",), ("Tarn 9",), ("Tarn 10",),
    ]  # fmt: skip
    assert {group.names for group in found} == {
        ("Heated plate, timed", "Hot-air gun", "Suction frame, no heat")
    }


def test_one_level_goes_by_rate_bands_by_edge() -> None:
    found = finding(
        [row(k, 60, model=m) for k, m in zip((2, 9, 0, 5), MODELS, strict=True)], ("model",)
    )
    (group,) = groups(found)
    assert [one["failures"] for one in group.rows] == [9, 5, 2, 0]
    (bands,) = groups(FINDINGS["bands"])
    assert [one["charge"] for one in bands.rows] == ["<20", "20-80", ">=80", None]


def test_empty_keys_are_said() -> None:
    found = groups(FINDINGS["empty keys"])
    assert [group.headings[0] for group in found] == [
        "Hot-air gun", "not done", "Opening the device: not recorded",
    ]  # fmt: skip
    assert found[0].names == (
        "New, from the maker", "none fitted", "not recorded",
    )  # fmt: skip
    (pairs,) = groups(FINDINGS["pairs"])
    assert "Battery (grade not recorded) + Display (New, from the maker)" in pairs.names


def test_pair_keys_are_those_of_the_counts() -> None:
    assert names.PAIR_KEYS == keys.PAIR_KEYS


def test_headings_of_several_modes() -> None:
    spec = chart(FINDINGS["several modes"]).to_dict()
    expression = spec["layer"][0]["encoding"]["y"]["axis"]["labelExpr"]
    shown = [" ".join(lines) for lines in json.loads(expression.removesuffix("[datum.value]"))]
    # Each mode once, each model once under each mode, a row for each method.
    assert [shown.count(n) for n in ("Lines in the picture", "Front glass cracked")] == [1, 1]
    assert shown.count("Tarn 9") == 2 and len(shown) == 2 + 2 * 4 + 2 * 4 * 3


def test_too_many_rows_leave_out_whole_groups() -> None:
    found = finding(grid([f"M {n}" for n in range(50)], ["a", "b", "c"]), ("model", "opening"))
    drawn = kept(groups(found))
    assert len(drawn) == 40 and all(len(group.rows) == 3 for group in drawn)
    assert min(sum(one["opportunities"] for one in group.rows) for group in drawn) >= max(
        sum(one["opportunities"] for one in group.rows)
        for group in groups(found)
        if group not in drawn
    )
    under_ = under(found)
    assert "30 of 150 rows not drawn" in under_
    single = finding([row(1, n + 1, model=f"M {n}") for n in range(150)], ("model",))
    (cut,) = kept(groups(single))
    assert sorted(one["opportunities"] for one in cut.rows) == list(range(31, 151))


def test_totals_only_where_rows_do_not_overlap() -> None:
    def first_line(name: str) -> str:
        return str(chart(FINDINGS[name]).to_dict()["title"]["subtitle"][0])

    assert first_line("one row") == "n: 6 failures of 193 opportunities (jobs); by first choice"
    assert first_line("pairs").startswith("n: 0 to 300 opportunities a row (pairs of parts, ")
    assert first_line("modes alone").startswith("n: 90 opportunities a row (jobs)")


def test_settings_are_said() -> None:
    under_ = " ".join(
        chart(
            finding(
                [row(3, 60, unit="attempt")], view="attempted", cluster="technician",
                since="2024-01-01", until="2024-12-31", min_opportunities=20, where=["model=A"],
            )
        ).to_dict()["title"]["subtitle"]
    )  # fmt: skip
    for words in (
        "(attempts); as attempted (later tries follow a failed one)",
        "interval (Wilson, technicians as clusters); jobs finished 2024-01-01 to 2024-12-31",
        "only model=A; only rows of 20 opportunities or more",
    ):
        assert words in under_
    assert LONG.split()[1] in str(chart(FINDINGS["long names"]).to_dict()["title"]["subtitle"])
