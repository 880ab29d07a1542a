"""Sentences of causes, and how their figures are told."""

import pytest

from fixstats.findings.causes_words import percent, ratio, sentences


def row_of(**more):
    row = {
        "condition": "charge", "level": "<20", "reference": ">=20", "failures": 3,
        "opportunities": 60, "rate": 0.05, "reference_failures": 2, "reference_opportunities": 90,
        "reference_rate": 0.02, "odds_ratio": 0.4, "odds_low": 0.2, "odds_high": 0.8,
        "risk_difference": -0.04, "risk_low": -0.06, "risk_high": -0.01, "p_corrected": 0.01,
        "adjusted_for": ["model", "technician"], "share_due": 0.5, "share_low": 0.4,
        "share_high": 0.6,
    }  # fmt: skip
    return row | more


def test_a_reversal_and_fewer_failures_are_said():
    (text,) = sentences([row_of()], {"charge": "Charge"}, "jobs", 0.95)
    assert text == (
        "Charge: <20 goes with fewer failures than >=20 (3 of 60 against 2 of 90, the other way "
        "round before adjusting). Like for like 4.0 fewer in 100 jobs (1.0 to 6.0)."
    )


def test_no_cause_is_supposed_of_the_calendar_or_of_what_may_have_come_later():
    risk = {"odds_ratio": 2.5, "risk_difference": 0.04, "risk_low": 0.01, "risk_high": 0.06}
    asked = {"labels": {"charge": "Charge", "quarter": "Quarter"}, "unit": "jobs"}
    rows = [row_of(**risk, condition=one) for one in ("charge", "quarter")]
    charge, quarter = sentences(rows, **asked, confidence_level=0.95)
    assert charge.endswith("If it is the cause, about 50 in 100 of these failures (40 to 60) would "
                           "not have happened without it.")  # fmt: skip
    assert quarter.endswith("Like for like 4.0 more in 100 jobs (1.0 to 6.0).")
    charge, _ = sentences(rows, **asked, confidence_level=0.95, doubtful=["charge"])
    assert "cause" not in charge


def test_none_and_nothing_are_said():
    (text,) = sentences([row_of(p_corrected=0.2)], {"charge": "Charge"}, "jobs", 0.95)
    assert text.startswith("Of 1 value looked at, none goes with it beyond chance")
    (text,) = sentences([row_of(adjusted_for=["quarter"])], {"charge": "Charge"}, "jobs", 0.95)
    assert text.endswith(" Not adjusted for model or technician.")
    assert "Adjusted as far as failures allow 4.0 fewer" in text and "Like for like" not in text
    assert sentences([], {}, "jobs", 0.95) == []


@pytest.mark.parametrize(
    ("value", "words"),
    [(None, "·"), (0.0183, "0.018"), (0.996, "1.00"), (1.005, "1.00"), (9.96, "10"),
     (1270.4, "1,270")],
)  # fmt: skip
def test_ratios_are_told_without_false_precision(value, words):
    assert ratio(value) == words


@pytest.mark.parametrize(
    ("share", "words"), [(None, "·"), (0.25, "25"), (0.031, "3.1"), (-0.0042, "-0.42")]
)
def test_shares_are_told_in_percent(share, words):
    assert percent(share) == words
