"""Which conditions are looked at, in which order, and which may have come after the failure."""

from dataclasses import replace

import pytest

from fixstats.findings.causes_plan import adjusters_of, conditions_of, labels_of, reference_of
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue


def conditions(name):
    catalogue = read_catalogue(DEFAULT_CATALOGUE)
    codes = catalogue.families.get(name, (name,))
    return catalogue, conditions_of([catalogue.modes[code] for code in codes], catalogue)


def plan(name):
    catalogue, found = conditions(name)
    return {one.key: adjusters_of(one, found) for one in found}, labels_of(found, catalogue)


def test_conditions_of_a_late_step():
    adjusters, labels = plan("calibration_refused")
    assert "opening_another_try" in adjusters and "calibration_another_try" not in adjusters
    assert [key for key in adjusters if key.endswith("_practice")] == ["calibration_practice"]
    assert adjusters["swollen"] == ("model", "technician", "quarter")
    assert adjusters["rework"] == adjusters["swollen"]
    assert adjusters["quarter"] == ("model", "technician")
    assert "parts_together" in adjusters["grades_mixed"]
    assert "grades_mixed" not in adjusters["parts_together"]
    assert "connection" not in adjusters["charge"] and "rework" in adjusters["charge"]
    assert adjusters["calibration_practice"][0] == "calibration"
    assert labels["opening_another_try"] == "Opening the device: another try needed"
    assert set(labels) == set(adjusters)


def test_conditions_of_several_steps_parts_and_mixed_parts():
    """Steps after the first that a mode can occur at are not before it."""
    adjusters, _ = plan("display_lines")
    assert not [key for key in adjusters if key.endswith("_another_try")]
    assert {"opening_practice", "resealing_practice"} <= set(adjusters)
    for name in ("dead_on_arrival", "restart_conflict"):
        adjusters, _ = plan(name)
        assert not [key for key in adjusters if key.endswith(("_another_try", "_practice"))]


def test_what_is_recorded_at_a_later_step_is_no_condition():
    """Resealing comes before calibration: its failures were over when charge was read."""
    _, found = conditions("gap_uneven")
    kept = {one.key: one.doubtful for one in found}
    assert {"charge", "connection"}.isdisjoint(kept)
    # The catalogue does not say at which step this one is recorded.
    assert kept["software_current"]


def test_what_is_recorded_at_a_step_stands_between_its_practice_and_its_result():
    _, found = conditions("calibration_refused")
    places = {one.key: one.place for one in found}
    assert places["calibration_practice"] < places["charge"] < places["software_current"]
    doubtful = {one.key for one in found if one.doubtful}
    assert doubtful == {"software_current"}


@pytest.mark.parametrize("name", ["dead_on_arrival", "mixed_part_conflicts"])
def test_the_time_of_a_part_failing_is_in_doubt(name):
    _, found = conditions(name)
    doubtful = {one.key for one in found if one.doubtful}
    assert doubtful == {"charge", "connection", "software_current"}


def test_of_modes_before_and_after_a_step_what_is_recorded_there_is_in_doubt():
    catalogue, _ = conditions("calibration_refused")
    modes = [catalogue.modes[code] for code in ("calibration_refused", "gap_uneven")]
    doubtful = {one.key for one in conditions_of(modes, catalogue) if one.doubtful}
    assert doubtful == {"charge", "connection", "software_current"}


def test_the_reference_is_no_or_the_most_common():
    assert reference_of([("yes", 90), ("no", 10)]) == "no"
    assert reference_of([("wifi", 60), ("cable", 90)]) == "cable"


def test_without_the_step_of_a_factor_it_stands_last_and_in_doubt():
    """As catalogues say that were written before it could be told."""
    catalogue = read_catalogue(DEFAULT_CATALOGUE)
    untold = replace(catalogue, factors=tuple(replace(one, at=None) for one in catalogue.factors))
    for mode in ("gap_uneven", "calibration_refused"):
        found = conditions_of([untold.modes[mode]], untold)
        late = {"charge", "connection", "software_current"}
        assert {one.key for one in found if one.doubtful} == late
        assert {one.key for one in found[-3:]} == late
