"""What is out among groups, and the order in which to look at it: by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fixstats.findings.watch_alarms import in_order
from fixstats.findings.watch_groups import FALSE_SHARE, Compared, alarms_of, awaited_of, corrected
from fixstats.tallies.watch import Group

LOT = Group("battery_lot", ("grade", "model", "quarter"), "battery")
CATALOGUE = SimpleNamespace(families={"sealing": ("seal_lifts", "gap_uneven")})


def compared(p_value, failures=None, **more):
    n = len(p_value)
    counts = np.array([5.0] * n if failures is None else failures)
    figures = {
        "opportunities": np.full(n, 50.0), "expected": np.full(n, 2.0), "shared": np.full(n, 20.0),
        "own_part": np.full(n, 0.5), "ratio": np.ones(n),
    } | more  # fmt: skip
    return Compared(
        chart="funnel", group=LOT, mode=["dead_on_arrival"] * n,
        value=[f"L{n}" for n in range(n)], failures=counts, p_value=np.array(p_value),
        p_corrected=np.ones(n), **figures,
    )  # fmt: skip


def test_groups_are_judged_by_what_is_corrected_over_all_of_them():
    # Benjamini and Hochberg over all four: 0.001 * 4 / 1, 0.03 * 4 / 2, 0.2 * 4 / 3, 0.9.
    one, other = corrected([compared([0.001, 0.9]), compared([0.2, 0.03])])
    np.testing.assert_allclose(one.p_corrected, [0.004, 0.9])
    np.testing.assert_allclose(other.p_corrected, [0.2 * 4 / 3, 0.06])
    assert (alarms_of(one), alarms_of(other)) == ([0], [])
    # By itself the second would be out: a run asks many questions.
    (alone,) = corrected([compared([0.03])])
    assert alarms_of(alone) == [0] and alone.p_corrected[0] <= FALSE_SHARE


def test_groups_in_which_nothing_failed_are_no_questions():
    (one,) = corrected([compared([0.03, 1.0, 1.0], shared=np.array([20.0, 0, 0]))])
    np.testing.assert_allclose(one.p_corrected, [0.03, 1, 1])
    assert alarms_of(compared([0.0], failures=[0.0])) == []


def test_what_a_group_would_have_had_like_the_others():
    # Own 6 of 10, others 4 of 40, one kind of job: 10 of 50, a fifth of it expected of the group,
    # 2; of these its own failures make up 6 * 10 / 50. Like the others it would have had 10 * 0.1.
    (found,) = awaited_of(
        compared([0.1], failures=[6.0], expected=np.array([2.0]), shared=np.array([10.0]),
                 own_part=np.array([1.2]))
    )  # fmt: skip
    assert found == pytest.approx(1.0)
    (none,) = awaited_of(
        compared([0.1], failures=[0.0], expected=np.array([2.0]), shared=np.array([10.0]),
                 own_part=np.array([0.0]))
    )  # fmt: skip
    assert none == pytest.approx(2.5)  # 10 units at the others' 10 of 40


# ---------------------------------------------------------------- order


def alarm(mode=None, family=None, group=None, value=None, charts=("p",), **more):
    return {
        "mode": mode, "family": family, "group": group, "value_of_group": value,
        "charts": list(charts), "failures": 20, "expected": 10.0, "safety": False, "severity": 2,
        "cost": None, "explained_by": None,
    } | more  # fmt: skip


def names(alarms):
    ordered = in_order(alarms, CATALOGUE)
    return [(one["value_of_group"] or one["mode"] or one["family"]) for one in ordered]


def test_safety_then_money_then_severity():
    found = names(
        [
            alarm("mild", cost=1.0),
            alarm("dear", cost=3.0),
            alarm("no_cost", severity=5),
            alarm("often", cost=1.0, failures=60),
            alarm("danger", safety=True, failures=11),
        ]
    )
    # Beyond the expected: 50 at 1, 10 at 3, 10 at 1, then those without a cost.
    assert found == ["danger", "often", "dear", "mild", "no_cost"]


def test_what_another_says_comes_last():
    family, mode = alarm(family="sealing", cost=9.0), alarm("seal_lifts", cost=1.0)
    assert names([family, mode]) == ["seal_lifts", "sealing"]
    supplier = alarm("dead", group="battery_supplier", value="Corvo", charts=["funnel"], cost=9.0)
    lot = alarm("dead", group="battery_lot", value="CV-1", charts=["funnel"], cost=1.0)
    assert names([supplier, lot]) == ["CV-1", "Corvo"]
    every = alarm(group="battery_lot", value="CV-1", charts=["comebacks"])
    one = alarm("dead", group="battery_lot", value="CV-1", charts=["comebacks"])
    ordered = in_order([every, one], CATALOGUE)
    assert [x["explained_by"] for x in ordered] == [None, "dead"]
    # A rise of the shop's rate is that of the lot if half of it or more fell to the lot.
    rise = alarm("dead", failures=29)
    assert [x["explained_by"] for x in in_order([rise, lot], CATALOGUE)] == [None, "CV-1"]
    rise = alarm("dead", failures=31)
    assert [x["explained_by"] for x in in_order([rise, lot], CATALOGUE)] == [None, None]


def test_people_stand_last_and_by_name():
    people = [
        alarm("dear", group="technician", value=name, charts=["funnel"], cost=cost, safety=True)
        for name, cost in (("T9", 90.0), ("T2", 1.0))
    ]
    assert names([*people, alarm("mild", cost=0.1)]) == ["mild", "T2", "T9"]
