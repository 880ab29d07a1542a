"""The twin itself, on small tables worked by hand: one test a counting rule of design section 6.

Numbers in the comments: failures / opportunities / unknown / unknown_failed.
"""

from __future__ import annotations

import pytest

from .twin import count_modes, count_pairs, count_union
from .twin_rows import ambiguous, band, read_row, valid

CATALOGUE = {
    "step": [{"code": "opening"}, {"code": "release"}],
    "method": [
        {"step": "opening", "code": "heat"},
        {"step": "opening", "code": "cold"},
        {"step": "release", "code": "pull"},
        {"step": "release", "code": "pry"},
    ],
    "part": [{"code": "battery"}, {"code": "display"}, {"code": "camera"}],
    "grade": [
        {"code": "original"},
        {"code": "pulled", "origin": "original"},
        {"code": "copy"},
    ],
    "factor": [
        {"code": "prior_repair", "kind": "flag"},
        {"code": "charge", "kind": "number", "bands": [20, 80]},
    ],
    "repair": [
        {"code": "swap", "steps": ["opening", "release"], "parts": ["battery"]},
        {"code": "look", "steps": ["opening"]},
    ],
    "failure_mode": [
        {"code": "torn", "family": "broken_tabs", "steps": ["release"], "methods": ["pull"]},
        {"code": "lines", "family": "display_damage", "steps": ["opening", "release"]},
        {"code": "dead", "family": "part_failure", "part": "any"},
        {"code": "weak", "family": "part_failure", "part": "battery", "grades": ["copy"]},
        {"code": "clash", "family": "conflicts", "mixed": ["display", "battery"]},
    ],
}


def shop(*rows, covers="all", catalogue=CATALOGUE):
    rows = [
        {"job": f"J{n}", "finished": "2026-03-01", "model": "Alder", "repair": "swap", **row}
        for n, row in enumerate(rows)
    ]
    for row in rows:
        assert valid(catalogue, row) is None
    return {"catalogue": catalogue, "imports": [{"covers": covers, "rows": rows}]}


def four(row):
    return (row["failures"], row["opportunities"], row["unknown"], row["unknown_failed"])


def table(rows, *keys):
    return {tuple(row[key] for key in keys): four(row) for row in rows}


def test_rule_1_the_denominator_is_the_opportunities():
    # Two of three jobs released a battery; "look" has no release, so it is no chance for a tear.
    rows = shop({"release": "pull", "failures": "torn"}, {"release": "pry"}, {"repair": "look"})
    assert four(count_modes(rows, ["torn"])[0]) == (1, 2, 0, 0)
    assert four(count_modes(rows, ["lines"])[0]) == (0, 3, 0, 0)


def test_rule_1_a_mode_without_any_chance_has_no_row():
    assert count_modes(shop({"repair": "look"}), ["torn"]) == []


def test_rule_2_everything_belongs_to_the_first_choice_whatever_the_methods_of_the_mode():
    rows = shop(
        {"release": "pry > pull", "failures": "torn@2"},  # belongs to pry, which was chosen first
        {"release": "pry"},  # torn is limited to pull; pry is a chance all the same
        {"release": "pull"},
        {},  # blank: done, nobody wrote how
        {"repair": "look", "release": ""},  # not done
    )
    assert table(count_modes(rows, ["torn"], ["release"]), "release") == {
        ("pry",): (1, 2, 0, 0),
        ("pull",): (0, 1, 0, 0),
        (None,): (0, 1, 0, 0),
    }


def test_rule_2_a_mode_of_two_steps_counts_once_a_job_under_either_steps_first_choice():
    rows = shop(
        {"opening": "heat", "release": "pry", "failures": "lines"},
        {"opening": "heat > cold", "release": "-"},
    )
    assert table(count_modes(rows, ["lines"], ["opening"]), "opening") == {("heat",): (1, 2, 0, 0)}
    assert table(count_modes(rows, ["lines"], ["release"]), "release") == {
        ("pry",): (1, 1, 0, 0),
        ("-",): (0, 1, 0, 0),
    }


def test_rule_2_a_step_outside_the_repair_that_is_filled_in_was_done():
    rows = shop({"repair": "look", "release": "pull"})
    assert four(count_modes(rows, ["torn"])[0]) == (0, 1, 0, 0)


def test_rule_3_attempts_are_units_and_a_limited_mode_has_only_its_own():
    rows = shop(
        {"release": "pull > pry > pull", "failures": "torn@3"},  # two chances, the second torn
        {"release": "pry"},  # none
        {"release": ""},  # perhaps: a pull tab nobody wrote down
    )
    assert table(count_modes(rows, ["torn"], ["release"], "attempted"), "release") == {
        ("pull",): (1, 2, 0, 0),
        (None,): (0, 0, 1, 0),
    }


def test_rule_3_an_unattributed_sighting_goes_to_the_one_attempt_that_qualifies():
    rows = shop({"release": "pry > pull", "failures": "torn"})
    assert four(count_modes(rows, ["torn"], view="attempted")[0]) == (1, 1, 0, 0)


def test_rule_3_several_that_qualify_are_each_unknown_failed():
    rows = shop({"release": "pull > pull", "failures": "torn"})
    assert four(count_modes(rows, ["torn"], view="attempted")[0]) == (0, 0, 2, 2)


def test_rule_3_a_place_settles_some_and_a_number_settles_more():
    # lines may be at two attempts of opening or the one of release.
    base = {"opening": "heat > cold", "release": "pry"}
    expected = {
        "lines": (0, 0, 3, 3),
        "lines@release": (1, 3, 0, 0),
        "lines@opening": (0, 1, 2, 2),
        "lines@2": (1, 3, 0, 0),  # only opening had a second attempt
        "lines@1": (0, 1, 2, 2),
        "lines@opening.1": (1, 3, 0, 0),
        "lines@opening.1; lines@opening": (1, 2, 1, 1),  # settled at 1; the other may be 2
        "lines; lines@opening.1": (1, 3, 0, 0),  # the same sighting, told twice
    }
    for failures, counts in expected.items():
        rows = count_modes(shop({**base, "failures": failures}), ["lines"], view="attempted")
        assert four(rows[0]) == counts, failures


def test_rule_3_an_attempts_own_method_is_its_key_and_the_other_steps_first_choice():
    rows = shop({"opening": "heat > cold", "release": "pry > pull"})
    found = count_modes(rows, ["lines"], ["opening", "release"], "attempted")
    assert table(found, "opening", "release") == {
        ("heat", "pry"): (0, 2, 0, 0),  # first opening, and first release
        ("cold", "pry"): (0, 1, 0, 0),
        ("heat", "pull"): (0, 1, 0, 0),
    }


def test_rule_4_a_unit_is_a_piece_and_the_first_is_the_choice_of_grade():
    rows = shop({"battery_grade": "copy > original", "failures": "dead@2"}, {"battery_grade": "-"})
    assert table(count_modes(rows, ["dead"], ["battery_grade"]), "battery_grade") == {
        ("copy",): (1, 1, 0, 0)
    }
    found = count_modes(rows, ["dead"], ["battery_grade"], "attempted")
    assert table(found, "battery_grade") == {("copy",): (0, 1, 0, 0), ("original",): (1, 1, 0, 0)}


def test_rule_4_a_piece_not_fitted_is_no_chance():
    rows = shop({"battery_grade": "copy", "battery_fitted": "no"}, {"battery_grade": "copy"})
    assert four(count_modes(rows, ["dead"])[0]) == (0, 1, 0, 0)


def test_rule_4_one_unit_for_each_part_and_a_sighting_of_either_is_unclear():
    both = {"battery_grade": "copy", "display_grade": "copy"}
    rows = shop({**both, "failures": "dead"}, {**both, "failures": "dead@display"})
    assert four(count_modes(rows, ["dead"])[0]) == (1, 2, 2, 2)


def test_rule_4_a_mode_limited_to_grades_in_both_views():
    rows = shop({"battery_grade": "original"}, {"battery_grade": "copy > original"}, {})
    assert four(count_modes(rows, ["weak"])[0]) == (0, 3, 0, 0)
    assert four(count_modes(rows, ["weak"], view="attempted")[0]) == (0, 1, 1, 0)


def test_rule_4_a_silent_part_of_the_repair_was_fitted_unless_the_job_was_not_completed():
    rows = shop({}, {"outcome": "abandoned"}, {"outcome": "abandoned", "failures": "weak"})
    assert four(count_modes(rows, ["dead"])[0]) == (0, 2, 0, 0)


def test_rule_5_pre_existing_makes_no_chance_at_steps_and_mixing_but_at_new_pieces():
    rows = shop(
        {"battery_grade": "copy", "display_grade": "original", "display_fitted": "no",
         "preexisting": "lines; clash; dead"}
    )  # fmt: skip
    found = count_modes(rows, ["lines", "clash", "dead"])
    assert table(found, "mode") == {("dead",): (0, 1, 0, 0)}


def test_rule_6_unchecked_by_mode_family_or_all():
    rows = shop(
        {"unchecked": "torn", "failures": "torn"},
        {"unchecked": "broken_tabs"},
        {"unchecked": "all"},
        {"unchecked": "lines"},
    )
    assert four(count_modes(rows, ["torn"])[0]) == (0, 1, 3, 1)


@pytest.mark.parametrize(
    ("covers", "torn", "lines"),
    [
        ("all", (1, 2, 0, 0), (0, 2, 0, 0)),
        ("seen", (1, 2, 0, 0), (0, 0, 2, 0)),
        (["display_damage"], (0, 0, 2, 1), (0, 2, 0, 0)),
    ],
)
def test_rule_6_what_a_file_covers(covers, torn, lines):
    rows = shop({"release": "pull", "failures": "torn"}, {"release": "pull"}, covers=covers)
    found = count_modes(rows, ["torn", "lines"])
    assert table(found, "mode") == {("torn",): torn, ("lines",): lines}


def test_rule_7_a_union_is_over_the_job_and_wants_every_mode_checked():
    rows = shop(
        {"failures": "torn; lines"},  # one job, not two
        {},
        {"unchecked": "lines"},  # torn was looked for, lines not: unknown
        {"unchecked": "lines", "failures": "torn"},
        {"repair": "look", "unchecked": "torn"},  # torn does not apply: known
        {"repair": "look", "preexisting": "lines"},  # nothing applies: not counted
    )
    assert four(count_union(rows, ["torn", "lines"])[0]) == (1, 3, 2, 1)


def test_rule_7_which_part_it_was_does_not_matter_to_the_job():
    rows = shop({"battery_grade": "copy", "display_grade": "copy", "failures": "dead"})
    assert four(count_union(rows, ["dead", "lines"])[0]) == (1, 1, 0, 0)


def test_rule_8_mixing_wants_two_known_grades_of_different_origin():
    apart = {"battery_grade": "copy", "display_grade": "original", "display_fitted": "no"}
    rows = shop(
        apart,
        {**apart, "failures": "clash"},
        {"battery_grade": "copy"},  # the display's grade is missing
        {"battery_grade": "copy", "failures": "clash"},  # kept, but unknown_failed
        {"battery_grade": "pulled", "display_grade": "original"},  # one origin: no chance
        {"repair": "look"},  # no part of the two is there: no chance
    )
    assert four(count_modes(rows, ["clash"])[0]) == (1, 2, 2, 1)
    assert table(count_pairs(rows, "clash"), "part_a", "grade_a", "part_b", "grade_b") == {
        ("battery", "copy", "display", "original"): (1, 2, 0, 0),
        ("battery", "copy", "display", None): (0, 0, 2, 1),
    }


def test_rule_8_an_unrecorded_part_of_an_unrepaired_device_has_the_grade_of_the_catalogue():
    catalogue = {**CATALOGUE, "unrecorded_grade": "original"}
    rows = shop(
        {"battery_grade": "copy", "prior_repair": "no"},
        {"battery_grade": "pulled", "prior_repair": "no"},  # one origin: no chance
        {"battery_grade": "copy", "prior_repair": "yes"},
        {"battery_grade": "copy"},
        catalogue=catalogue,
    )
    assert four(count_modes(rows, ["clash"])[0]) == (0, 1, 2, 0)


def test_rule_8_the_first_fitted_piece_says_the_grade():
    rows = shop({"battery_grade": "copy > original", "display_grade": "original"})
    assert four(count_modes(rows, ["clash"])[0]) == (0, 1, 0, 0)


def test_rule_10_a_come_back_carries_rework():
    rows = shop({}, {"return_of": "J0"})
    assert table(count_modes(rows, ["lines"], ["rework"]), "rework") == {
        ("no",): (0, 1, 0, 0),
        ("yes",): (0, 1, 0, 0),
    }
    assert four(count_modes(rows, ["lines"], where=[("rework", "no")])[0]) == (0, 1, 0, 0)


def test_rule_11_months_and_both_ends_of_a_period():
    days = ["2025-12-31", "2026-01-01", "2026-03-31", "2026-04-01"]
    rows = shop(*({"finished": day} for day in days))
    found = count_modes(rows, ["lines"], ["quarter", "month"])
    assert [(row["quarter"], row["month"]) for row in found] == [
        ("2025-Q4", "2025-12"), ("2026-Q1", "2026-01"), ("2026-Q1", "2026-03"),
        ("2026-Q2", "2026-04"),
    ]  # fmt: skip
    inside = count_modes(rows, ["lines"], since="2026-01-01", until="2026-03-31")
    assert four(inside[0]) == (0, 2, 0, 0)


def test_filters_same_key_or_different_keys_and_empty_for_not_recorded():
    rows = shop(
        {"opening": "heat", "technician": "Ta"}, {"opening": "cold", "technician": "Ta"},
        {"technician": "Ta"}, {"opening": "heat", "repair": "look; swap"},
    )  # fmt: skip
    for where, jobs in [
        ([("opening", "heat"), ("opening", "cold")], 3),
        ([("opening", "heat"), ("technician", "Ta")], 1),
        ([("opening", "")], 1),
        ([("repair", "swap")], 4),
        ([("repair", "look")], 1),
    ]:
        assert four(count_modes(rows, ["lines"], where=where)[0]) == (0, jobs, 0, 0), where


def test_bands_have_their_edge_in_the_band_above():
    words = [band([20, 80], value) for value in (19.9, 20, 79, 80)]
    assert words == ["<20", "20-80", "20-80", ">=80"]
    assert [band([80], 79.5), band([80], 80), band([], 2.5)] == ["<80", ">=80", "2.5"]


def test_open_names_are_folded_and_keep_their_first_spelling():
    rows = shop({"model": "Alder  5"}, {"model": " alder 5 "}, {"model": "ALDER 5"})
    assert table(count_modes(rows, ["lines"], ["model"]), "model") == {("Alder 5",): (0, 3, 0, 0)}


def test_repeated_rows_count_once_and_a_later_sheet_replaces():
    rows = shop({"release": "pull"}, {"release": "pry"})
    first = rows["imports"][0]["rows"]
    rows["imports"][0]["rows"] = [*first, first[0]]
    changed = {**first[0], "failures": "torn"}
    third = {**first[1], "job": "J9"}
    rows["imports"].append({"covers": ["torn"], "rows": [changed, third]})
    # J0 and J9 have the later sheet's covers: lines is unknown there. J1 keeps its own.
    assert table(count_modes(rows, ["torn", "lines"]), "mode") == {
        ("torn",): (1, 3, 0, 0),
        ("lines",): (0, 1, 2, 0),
    }


def test_an_unchanged_row_is_skipped_unless_its_file_covers_something_else():
    def seen_then(covers):
        rows = shop({"failures": "torn"}, covers="seen")
        again = rows["imports"][0]["rows"][0]
        other = {**again, "job": "J9", "failures": "lines"}
        rows["imports"].append({"covers": covers, "rows": [again, other]})
        return {row["mode"]: four(row) for row in count_modes(rows, ["torn", "lines"])}

    # Skipped: lines was not in the first file, so nobody looked for it at J0.
    assert seen_then("seen")["lines"] == (1, 1, 1, 0)
    assert seen_then("all")["lines"] == (1, 2, 0, 0)


def test_sums_over_technicians():
    rows = shop(
        {"technician": "Ta", "failures": "lines"}, {"technician": "Ta"}, {"technician": "Tb"}, {},
        {}, {"failures": "lines"}, {"technician": "Tc", "unchecked": "all"},
    )  # fmt: skip
    # Ta 1 of 2, Tb 0 of 1, nobody 1 of 3; Tc has no opportunity and is no cluster.
    row = count_modes(rows, ["lines"])[0]
    assert four(row) == (2, 6, 1, 0)
    assert [row[name] for name in ("clusters", "ff", "fn", "nn")] == [3, 2, 5, 14]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ({"release": "pull", "failures": "torn@2"}, "nothing there was done"),
        ({"release": "pry", "failures": "torn"}, "at which it can occur"),
        ({"release": "pull > pry", "failures": "torn@2"}, "at which it can occur"),
        ({"repair": "look", "failures": "torn"}, "nothing there was done"),
        ({"battery_grade": "-", "failures": "dead"}, "nothing there was done"),
        ({"battery_fitted": "no", "failures": "dead"}, "nothing there was done"),
        ({"battery_grade": "original", "failures": "weak"}, "at which it can occur"),
        ({"repair": "look", "failures": "clash"}, "none of its parts"),
        ({"battery_grade": "copy", "display_grade": "copy", "failures": "clash"}, "one origin"),
        ({"failures": "lines@battery"}, "cannot be at battery"),
        ({"release": "heat"}, "unknown method"),
    ],
)
def test_rows_that_are_held_back(row, reason):
    base = {"job": "J1", "finished": "2026-03-01", "model": "Alder", "repair": "swap"}
    assert reason in valid(CATALOGUE, {**base, **row})


def test_a_null_method_or_grade_may_have_been_the_one_that_the_mode_wants():
    rows = shop({"failures": "torn"}, {"failures": "torn@1"}, {"failures": "weak"})
    found = count_modes(rows, ["torn", "weak"], view="attempted")
    assert table(found, "mode") == {("torn",): (0, 0, 3, 2), ("weak",): (0, 0, 3, 1)}


def test_pieces_align_by_position_and_one_value_is_for_all():
    row = {"battery_grade": "copy > original", "battery_supplier": "Reed", "battery_lot": "L1 > L2"}
    job = read_row(CATALOGUE, {"finished": "2026-03-01", "repair": "swap", "model": "A", **row})
    told = [(one["grade"], one["supplier"], one["lot"]) for one in job["pieces"]["battery"]]
    assert told == [("copy", "Reed", "L1"), ("original", "Reed", "L2")]


def test_ambiguous_rows_are_named():
    row = {"job": "J1", "finished": "2026-03-01", "model": "A", "repair": "swap"}
    open_question = {**row, "outcome": "abandoned", "failures": "dead@battery"}
    assert "silent parts" in ambiguous(CATALOGUE, open_question)
    assert ambiguous(CATALOGUE, {**open_question, "outcome": "completed"}) is None
