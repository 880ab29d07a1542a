"""The safety state of options: rules on counts worked by hand, and the demo shop."""

from __future__ import annotations

import math
from datetime import date

import pytest

import fixstats
from fixstats.findings.compare_plan import find_choice
from fixstats.findings.safety import (
    CLEARED,
    UNPROVEN,
    WORSE,
    judge_safety,
    safety_modes,
    safety_of,
    state_words,
)


def judged(**counts):
    return judge_safety(counts, safety_limit=0.02, confidence_level=0.95)


def test_never_used_is_unproven_and_says_what_would_clear_it():
    found = judged(usual=(0, 5000), new=(0, 0))["new"]
    assert (found.state, found.low, found.high, found.p_more) == (UNPROVEN, 0, 1, None)
    # 1 - 0.05 ** (1 / n) <= 0.02 (Hanley and Lippman-Hand 1983)
    assert found.jobs_needed == math.ceil(math.log(0.05) / math.log(0.98)) == 149


@pytest.mark.parametrize(("jobs", "state", "needed"), [(148, UNPROVEN, 1), (149, CLEARED, 0)])
def test_cleared_by_event_free_jobs(jobs, state, needed):
    found = judged(usual=(0, 5000), new=(0, jobs))["new"]
    assert (found.state, found.jobs_needed) == (state, needed)


def test_an_event_takes_more_jobs():
    # Exact upper limit after 1 failure: 0.02 first holds at 236 jobs.
    assert judged(usual=(50, 5000), new=(1, 100))["new"].jobs_needed == 236 - 100


def test_above_the_limit_is_worse_though_the_usual_is_no_better():
    found = judged(usual=(40, 500), new=(40, 500))
    assert {one.state for one in found.values()} == {WORSE}
    assert found["new"].jobs_needed is None


def test_within_the_limit_but_more_than_the_usual_is_worse():
    found = judged(usual=(1, 5000), new=(4, 1000))["new"]
    assert found.high < 0.02 and found.p_more < 0.05
    assert found.state == WORSE


def test_several_options_share_the_error():
    # Fisher: 8 of 1,462 against 2 of 1,548, p = 0.045, a simulated shop of three equal options.
    two = {"usual": (2, 1548), "new": (8, 1462)}
    assert judged(**two)["new"].state == WORSE
    assert judged(**two, third=(3, 990))["new"].state == CLEARED
    assert judged(**two, third=(0, 0))["new"].state == WORSE  # nothing to compare there
    # Holm: what is out already takes no share of the error any more.
    found = judged(**two, third=(9, 990))
    assert (found["third"].state, found["new"].state) == (WORSE, WORSE)


def test_the_less_used_option_is_not_punished():
    # One tenth of the jobs, the same rate: not worse, though its upper limit is far higher.
    found = judged(usual=(10, 5000), new=(1, 500))
    assert found["new"].high > 2.5 * found["usual"].high
    assert found["new"].state == CLEARED
    assert judged(usual=(2, 1000), new=(0, 20))["new"].state == UNPROVEN


def test_a_danger_seen_counts_though_another_was_not_looked_for():
    # failures, opportunities, unknown, unknown_failed: a sheet that only ever noted one danger
    found = judged(usual=(0, 5000), sheet=(0, 0, 300, 40))["sheet"]
    assert found.state == WORSE
    assert (found.failures, found.opportunities, found.unknown) == (40, 40, 260)
    # the lower limit holds as if the other 260 had gone well, and nothing better is known
    assert 0 < found.low < 40 / 300 and found.high == 1
    assert "40 jobs with a safety failure, 0 known to be without, 260 that tell no" in found.told
    # clean jobs alone would clear it
    assert judged(usual=(0, 5000), new=(0, 300))["new"].state == CLEARED
    assert judged(usual=(0, 5000), new=(0, 300, 5, 5))["new"].state != CLEARED


def test_jobs_of_which_nothing_is_known_neither_clear_nor_hide():
    assert judged(usual=(0, 5000), new=(0, 100, 5000, 0))["new"].state == UNPROVEN
    assert judged(usual=(0, 5000), new=(20, 300, 5000, 0))["new"].state == WORSE
    # Nor do they make the most used option look good, or this one bad: 3 of 1,000 each.
    found = judged(usual=(3, 1000, 20_000, 0), new=(3, 1000, 2, 1))["new"]
    assert found.p_more > 0.05 and found.state == CLEARED


def test_come_backs_count_in_the_limits_and_not_in_the_comparison():
    found = judged(usual=(0, 5000), new=(0, 300, 0, 0, 20))["new"]
    assert (found.state, found.failures, found.returned) == (WORSE, 20, 20)
    assert found.told == "20 of 300 jobs with a safety failure, 20 of them come-backs"
    # Within the limit, where the option is used longer and so was followed longer.
    found = judged(usual=(0, 5000), new=(0, 2000, 0, 0, 12))["new"]
    assert found.p_more == 1 and found.state == CLEARED


@pytest.mark.parametrize("until", [None, date(2025, 12, 31)])
def test_on_the_demo_shop(demo_shop, until):
    shop = fixstats.open(demo_shop)
    catalogue = shop.folder.catalogue
    choice = find_choice("opening", catalogue)
    options = [one.code for one in catalogue.methods if one.step == "opening"]
    modes = safety_modes(choice, catalogue)
    assert modes and all(catalogue.modes[code].safety for code in modes)
    with shop.session(digging=False) as con:
        found = safety_of(con, shop.folder, choice, options, until=until)
    assert list(found) == options
    rates = shop.rates(any=modes, by="opening", where={"rework": "no"}, until=until)
    for row in rates.rows:
        if row["opening"] in found:
            one = found[row["opening"]]
            seen = row["unknown_failed"] + one.returned
            assert one.failures == row["failures"] + seen
            assert one.opportunities == row["opportunities"] + row["unknown_failed"]
            assert one.unknown == row["unknown"] - row["unknown_failed"]


def test_without_a_safety_mode_all_are_cleared(demo_shop):
    shop = fixstats.open(demo_shop)
    catalogue = shop.folder.catalogue
    choice = next(
        one
        for one in (find_choice(step, catalogue) for step in catalogue.step_codes)
        if not safety_modes(one, catalogue)
    )
    with shop.session(digging=False) as con:
        found = safety_of(con, shop.folder, choice, ("a", "b"))
    assert [one.state for one in found.values()] == [CLEARED, CLEARED]
    words = {state_words(one.state, one.opportunities) for one in found.values()}
    assert words == {"nothing to clear"}
    assert state_words(CLEARED, 300) == "cleared" and state_words(UNPROVEN, 0) == "unproven"
