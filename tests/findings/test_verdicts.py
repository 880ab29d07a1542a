"""The rule from figures to verdicts: every rule alone, their order, and what can't be bought."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fixstats.findings import verdicts
from fixstats.findings.safety import CLEARED, UNPROVEN, WORSE, judge_safety
from fixstats.findings.verdicts import Candidate, Figures, MissingCost, judge

A = Candidate("a", cost=20.0, p_best=0.97, regret=0.1, safety=CLEARED)
B = Candidate("b", cost=24.0, p_best=0.03, regret=4.1, safety=CLEARED)
SURE = Figures([B, A], standardise_at=0.95, tolerance=0.5, earlier="a")
# Neither sure nor within the tolerance, no trial possible.
UNSURE = replace(
    SURE,
    candidates=[replace(A, p_best=0.7, regret=0.9), replace(B, p_best=0.3, regret=4.9)],
    jobs_to_know=33.2,
)


def said(figures, **changes):
    found = judge(replace(figures, **changes))
    return found.verdict, found.option, found.runner_up, found.jobs_needed


def test_standardise():
    assert said(SURE) == ("standardise", "a", "b", None)
    assert "97% sure" in judge(SURE).reason and "last 20 jobs" in judge(SURE).reason


@pytest.mark.parametrize("p_best", [0.95, 0.9499])
def test_at_or_above_is_enough(p_best):
    figures = replace(SURE, candidates=[replace(A, p_best=p_best), B])
    assert (judge(figures).verdict == "standardise") == (p_best == 0.95)


@pytest.mark.parametrize("earlier", [None, "b"])
def test_sure_only_since_the_last_jobs_is_not_sure(earlier):
    assert said(SURE, earlier=earlier) == ("lean", "a", "b", None)
    assert "without the last 20 jobs it was not" in judge(replace(SURE, earlier=earlier)).reason


def test_a_missing_cost_blocks_where_it_could_change_the_leader():
    harmless = [MissingCost("lines", math.inf)]
    assert said(SURE, missing=harmless)[0] == "standardise"
    assert "not counted, for want of a cost: lines" in judge(replace(SURE, missing=harmless)).reason
    found = judge(replace(SURE, missing=[*harmless, MissingCost("bent", 85.0)]))
    assert found.verdict == "lean"
    assert "but with a cost of bent from 85.00 each on it would not be: set it" in found.reason
    dear = judge(replace(SURE, missing=[MissingCost("bent", 85.0, up_to=80.0)]))
    assert dear.verdict == "standardise"
    assert "not counted, for want of a cost: bent (from 85.00 each on it would" in dear.reason


def test_equal_enough_needs_both_within_the_tolerance():
    near = [replace(A, regret=0.1), replace(B, cost=20.3, regret=0.5)]
    assert said(SURE, candidates=near) == ("equal_enough", "a", "b", None)
    near[1] = replace(near[1], regret=0.51)
    assert said(SURE, candidates=near)[0] == "standardise"


def test_trial_where_it_brings_more_than_it_costs():
    trial = {"trial_net": 120.0, "trial_jobs": 60, "trial_rival": "b"}
    assert said(UNSURE, **trial) == ("trial", "a", "b", 60)
    reason = judge(replace(UNSURE, **trial)).reason
    assert "a trial against b over 60 jobs" in reason and "70% sure" in reason
    assert said(UNSURE, **{**trial, "trial_net": 0.0})[0] == "wait"
    # Before lean: little is lost, and yet there is something to win over a year.
    small = [replace(A, p_best=0.7, regret=0.3), replace(B, regret=2.0)]
    assert said(UNSURE, candidates=small, **trial)[0] == "trial"
    # The rival need not be the second cheapest, and one that is not cleared needs the harm stop.
    third = Candidate("c", cost=25.0, p_best=0.2, regret=5.0, safety=UNPROVEN, jobs_to_clear=90)
    figures = replace(UNSURE, candidates=[*UNSURE.candidates, third], **trial)
    reason = judge(replace(figures, trial_rival="c")).reason
    assert "a trial against c" in reason and "harm stop" in reason


def test_lean_and_wait():
    assert said(UNSURE, candidates=[replace(A, p_best=0.8, regret=0.5), B])[0] == "lean"
    assert said(UNSURE) == ("wait", "a", "b", 34)
    assert "about 34 jobs more of each" in judge(UNSURE).reason
    assert said(UNSURE, jobs_to_know=math.inf) == ("wait", "a", "b", None)


def test_only_one():
    assert said(SURE, candidates=[A]) == ("only_one", "a", None, None)
    found = judge(replace(SURE, candidates=[A, replace(B, safety=WORSE)]))
    assert (found.verdict, found.runner_up) == ("only_one", None)
    assert "b ruled out by safety failures" in found.reason


def test_safety_cannot_be_bought():
    cheap = Candidate("c", cost=0.0, p_best=1.0, regret=0.0, safety=WORSE, jobs_to_clear=None)
    assert said(SURE, candidates=[cheap, A, B])[:2] == ("standardise", "a")
    unclear = replace(cheap, safety=UNPROVEN, jobs_to_clear=149)
    trial = {"trial_net": 1e9, "trial_jobs": 60, "trial_rival": "a"}
    found = judge(replace(SURE, candidates=[unclear, A, B], earlier="c", **trial))
    assert (found.verdict, found.option, found.jobs_needed) == ("unproven", "c", 149)
    assert "149 further jobs without a safety failure" in found.reason
    # Before only_one too.
    assert said(SURE, candidates=[unclear])[0] == "unproven"


def test_what_costs_the_same_need_not_be_as_safe():
    near = [replace(A, regret=0.1), replace(B, cost=20.3, regret=0.5, safety=UNPROVEN)]
    found = judge(replace(SURE, candidates=near))
    assert found.verdict == "equal_enough"
    assert found.reason.endswith("; the safety of b is not shown")


def test_a_milder_limit_than_the_shops_is_said_before_the_reason():
    states = {"a": (0, 40), "b": (0, 5000)}
    limits = {"safety_limit": 0.9, "confidence_level": 0.95}
    mild = replace(judge_safety(states, **limits)["a"], by_own_limit=UNPROVEN)
    found = judge(replace(SURE, candidates=[replace(A, danger=mild), B]))
    assert found.verdict == "standardise"
    assert found.reason.startswith("BY THE SHOP'S OWN safety_limit a is unproven: not to be acted")


def test_nothing_left_to_recommend():
    all_worse = [replace(A, safety=WORSE), replace(B, safety=WORSE)]
    assert said(SURE, candidates=all_worse) == ("unproven", None, None, None)


def test_a_tie_keeps_the_order_given():
    same = [replace(B, cost=20.0), A]
    assert judge(replace(SURE, candidates=same)).option == "b"


def test_every_rule_and_no_other():
    assert tuple(rule.__name__ for rule in verdicts.RULES) == verdicts.VERDICTS


def test_borderline_where_chance_decides():
    found = judge(SURE)
    other = judge(UNSURE)
    assert not verdicts.with_borderline(found, [found] * 10).borderline
    assert verdicts.with_borderline(found, [*[found] * 9, other]).borderline
    assert verdicts.with_borderline(found, [replace(found, option="b")]).borderline


def test_expected_share_of_wrong_standards():
    assert verdicts.wrong_share([0.95, 0.99, 1.0]) == pytest.approx(0.02)
    assert verdicts.wrong_share([]) is None
