"""Sentences of a comparison say what the interval of their figure says, and no more."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixstats.findings.compare_beside import Beside, Dangers
from fixstats.findings.compare_words import (
    Lead,
    Wording,
    in_hundred,
    lead_of,
    pointed,
    sentence,
    spanned,
    unused,
    verdict,
)

PLAIN = Wording(worth=0.02, safety=False, strata=("model", "technician"), unit="jobs", named="")


def row(**given):
    plain = {
        "option": "plate",
        "baseline": "gun",
        "model": None,
        "failures": 12,
        "opportunities": 400,
        "baseline_failures": 30,
        "baseline_opportunities": 410,
        "difference": -0.043,
        "difference_low": -0.075,
        "difference_high": -0.012,
        "strata_difference": -0.041,
        "strata_low": -0.07,
        "strata_high": -0.011,
        "adjusted_difference": -0.039,
        "adjusted_low": -0.056,
        "adjusted_high": -0.021,
        "reversal": "none",
    }
    return plain | given


def adjusted(difference, low, high):
    return dict(
        zip(
            ("adjusted_difference", "adjusted_low", "adjusted_high"),
            (difference, low, high),
            strict=True,
        )
    )


NO_FIT = adjusted(None, None, None)
NO_STRATA = {"strata_low": None, "strata_high": None}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            {},
            "plate fails less than gun, like for like: 3.9 fewer in 100 jobs (2.1 to 5.6 fewer)",
        ),
        (
            adjusted(0.04, 0.01, 0.07),
            "plate fails more than gun, like for like: 4.0 more in 100 jobs (1.0 to 7.0 more)",
        ),
        (
            adjusted(0.004, -0.012, 0.020),
            "plate against gun, like for like: no difference shown, between 1.2 fewer and 2.0 more "
            "in 100 jobs",
        ),
        (
            adjusted(0.001, -0.01, 0.015),
            "plate against gun, like for like: too close to matter, between 1.0 fewer and 1.5 more "
            "in 100 jobs",
        ),
        (
            adjusted(-0.008, -0.014, -0.002),
            "plate fails less than gun, like for like: 0.80 fewer in 100 jobs (0.20 to 1.4 fewer); "
            "less than the 2.0 in 100 that this shop finds worth knowing",
        ),
        (
            NO_FIT,
            "plate fails less than gun, within strata of model and technician (no fit): 4.1 fewer "
            "in 100 jobs (1.1 to 7.0 fewer)",
        ),
        (
            NO_FIT | NO_STRATA,
            "plate against gun: no like-for-like figure; the raw counts, not like for like, say "
            "4.3 fewer in 100 jobs (1.2 to 7.5 fewer)",
        ),
        (
            NO_FIT | NO_STRATA | {"difference": None, "opportunities": 0, "failures": 0},
            "plate against gun: no like-for-like figure, no job of plate where a failure could "
            "have been seen",
        ),
        (
            {"opportunities": 0, "failures": 0, "model": "Alder 5"},
            "on Alder 5: plate against gun: plate never used there; the other models suggest 3.9 "
            "fewer in 100 jobs (2.1 to 5.6 fewer)",
        ),
        (
            {"failures": 0, "baseline_failures": 0},
            "plate against gun: no failure seen on either side (none of 400 with plate, none of "
            "410 with gun): no order can be told",
        ),
        (
            NO_FIT | NO_STRATA | {"failures": 0, "baseline_failures": 0},
            "plate against gun: no failure seen on either side (none of 400 with plate, none of "
            "410 with gun): no order can be told",
        ),
        (
            {"failures": 0, "baseline_failures": 0, "opportunities": 2, "model": "Alder 5"},
            "on Alder 5: plate against gun: no failure seen on either side (none of 2 with plate, "
            "none of 410 with gun): nothing to tell them apart here; the other models suggest 3.9 "
            "fewer in 100 jobs (2.1 to 5.6 fewer)",
        ),
        (
            {"opportunities": 10, "failures": 1, "model": "Alder 5"},
            "on Alder 5: plate fails less than gun, like for like: 3.9 fewer in 100 jobs (2.1 to "
            "5.6 fewer) (10 jobs of plate here; leans on the other models)",
        ),
        (
            {"opportunities": 10, "failures": 1},
            "plate fails less than gun, like for like: 3.9 fewer in 100 jobs (2.1 to 5.6 fewer)",
        ),
    ],
)
def test_sentences(given, said):
    assert sentence(row(**given), PLAIN) == said


def test_what_can_hurt_is_never_too_close_to_matter():
    say = Wording(worth=0.02, safety=True, strata=(), unit="jobs", named="")
    assert "no difference shown" in sentence(row(**adjusted(0.001, -0.001, 0.002)), say)
    told = sentence(row(**adjusted(0.004, 0.001, 0.009)), say)
    assert "fails more" in told
    assert "worth knowing" not in told


def test_mode_and_model_come_first():
    say = Wording(worth=0.02, safety=False, strata=(), unit="pieces", named="lines")
    told = sentence(row(model="Alder 5"), say)
    assert told.startswith("lines, on Alder 5: plate fails less")
    assert "in 100 pieces" in told


@pytest.mark.parametrize("kind", ["sure", "possible"])
def test_a_sentence_against_the_raw_counts_says_so(kind):
    told = sentence(row(difference=0.02, reversal=kind), PLAIN)
    assert told.endswith("; the raw counts point the other way")
    on_model = sentence(row(difference=0.02, reversal=kind, model="Alder 5"), PLAIN)
    assert ("raw counts" in on_model) == (kind == "sure")
    # Where only the strata turn, the raw counts do not contradict this sentence: they do.
    told = sentence(row(strata_difference=0.02, reversal=kind), PLAIN)
    assert told.endswith("; the figure within strata points the other way")
    assert "raw counts" not in told


def dangers(failures, opportunities, baseline_failures, baseline_opportunities, p_value):
    counts = failures, opportunities, baseline_failures, baseline_opportunities
    return Beside(Dangers(("bent", "pierced"), *counts, p_value))


@pytest.mark.parametrize(
    ("beside", "end"),
    [
        (dangers(9, 100, 7, 900, 1e-5), "; but bent or pierced more often with plate (9 of 100 "
         "against 7 of 900)"),
        (dangers(2, 100, 7, 900, 0.3), "; bent or pierced alone: 2 of 100 against 7 of 900, no "
         "order shown"),
        (dangers(1, 900, 9, 100, 1e-5), ""),  # the same way as the sentence
        (dangers(0, 100, 0, 900, 0.5), ""),
        (dangers(0, 0, 9, 900, float("nan")), ""),
    ],
)  # fmt: skip
def test_dangers_do_not_hide_in_a_union(beside, end):
    told = sentence(row(), PLAIN, beside)
    assert told == sentence(row(), PLAIN) + end


def test_dangers_where_the_baseline_has_them_or_nothing_is_claimed():
    more = sentence(row(**adjusted(0.04, 0.01, 0.07)), PLAIN, dangers(1, 900, 9, 100, 1e-5))
    assert more.endswith("; but bent or pierced more often with gun (9 of 100 against 1 of 900)")
    unsure = row(**adjusted(0.004, -0.012, 0.02))
    assert "more often with plate" in sentence(unsure, PLAIN, dangers(9, 100, 7, 900, 1e-5))
    few = dangers(2, 100, 7, 900, 0.3)
    assert "pierced" not in sentence(unsure, PLAIN, few)
    # One failure more or less on a single model is no news.
    assert "pierced" not in sentence(row(model="Alder 5"), PLAIN, few)


def test_options_that_no_model_had_both_of_are_not_told_apart():
    told = sentence(row(), PLAIN, Beside(met=False))
    assert told == "plate against gun: no model has had both: model and option cannot be told apart"
    assert verdict(row(), Beside(met=False)) == ""


def test_verdicts_are_what_the_sentences_say():
    none = {"failures": 0, "baseline_failures": 0}
    found = [
        verdict(row(**given))
        for given in (
            {}, adjusted(0.04, 0.01, 0.07), adjusted(0.01, -0.01, 0.02), none, NO_FIT | NO_STRATA,
        )
    ]  # fmt: skip
    assert found == ["less", "more", "open", "open", ""]
    assert unused(row(opportunities=0)) == ("plate",)


ends = st.floats(-0.5, 0.5)


@given(ends, ends, st.booleans())
def test_a_claim_is_made_only_where_the_interval_leaves_no_doubt(one, other, safety):
    low, high = sorted((one, other))
    say = Wording(worth=0.02, safety=safety, strata=(), unit="jobs", named="")
    told = sentence(row(**adjusted((low + high) / 2, low, high)), say)
    assert ("fails less" in told) == (high < 0)
    assert ("fails more" in told) == (low > 0)
    assert ("too close" in told) == (
        low <= 0 <= high and not safety and max(-low, high) < say.worth
    )


@given(ends, ends)
def test_ends_are_told_small_to_large_and_never_as_false_zeros(one, other):
    low, high = sorted((one, other))
    told = spanned(Lead("adjusted", (low + high) / 2, low, high), "jobs")
    assert "-" not in told
    if low != 0 and high != 0:
        assert " 0 " not in f" {told} "


def test_a_figure_with_its_interval_across_nothing():
    lead = Lead("raw", 0.038, -0.058, 0.108)
    assert pointed(lead, "jobs") == "3.8 more in 100 jobs (5.8 fewer to 10.8 more)"


def test_in_hundred():
    assert [in_hundred(x) for x in (0, 0.00004, 0.0035, -0.0096, 0.5)] == [
        "0", "<0.01", "0.35", "1.0", "50.0",
    ]  # fmt: skip


def test_the_lead_is_the_fairest_figure_there_is():
    assert lead_of(row()).kind == "adjusted"
    assert lead_of(row(**NO_FIT)).kind == "strata"
    assert lead_of(row(**NO_FIT, **NO_STRATA)) is None
