"""Adjusted differences of small shops whose confounding is known.

The expected figures are the shops' own true rates; there is no published value for them.
"""

import itertools

import numpy as np
import pytest

from .adjusting_shops import MODELS, TECHNICIANS, asked, columns, rounded, shop


def raw_difference(cells, option="cold"):
    def rate(name):
        here = [value == name for value in cells["opening"]]
        return np.dot(here, cells["failures"]) / np.dot(here, cells["opportunities"])

    return rate(option) - rate("heat")


HARD = (0.02, 0.05, 0.12, 0.25)


def mostly_hard(option, model, technician):
    """Cold is used on the hard models, heat on the easy ones."""
    share = (0.1, 0.3, 0.7, 0.9)[model]
    return round(200 * (share if option == "cold" else 1 - share))


def test_raw_and_adjusted_have_opposite_signs():
    # Cold fails 0.7 times as often on every model, but gets the hard ones.
    cells = shop(lambda o, m, t: HARD[m] * (0.7 if o == "cold" else 1.0), mostly_hard)
    answer = asked(cells)
    row = answer.rows["cold", None]
    assert raw_difference(cells) > 0.03
    assert answer.problem == ""
    assert row.high < 0
    assert row.low < -0.3 * np.mean(HARD) < row.high
    assert row.ratio_low < 0.7 < row.ratio_high < 1
    assert row.difference == pytest.approx(row.rate - row.baseline_rate)
    for model, rate in zip(MODELS, HARD, strict=True):
        one = answer.rows["cold", model]
        assert one.low < -0.3 * rate < one.high
    assert answer.used == ("model", "technician")
    assert answer.cells == 24


def test_technicians_may_be_what_misleads():
    care = (0.03, 0.09, 0.2)

    def jobs(option, model, technician):
        share = (0.1, 0.5, 0.9)[technician]
        return round(200 * (share if option == "cold" else 1 - share))

    cells = shop(lambda o, m, t: care[t] * (0.75 if o == "cold" else 1.0), jobs)
    row = asked(cells).rows["cold", None]
    assert raw_difference(cells) > 0.03
    assert row.low < -0.25 * np.mean(care) < row.high < 0.01


def test_equal_options_are_not_told_apart():
    cells = shop(lambda o, m, t: HARD[m], mostly_hard)
    answer = asked(cells)
    assert raw_difference(cells) > 0.05
    for scope in (*MODELS, None):
        row = answer.rows["cold", scope]
        assert row.low < 0 < row.high
        assert row.ratio_low < 1 < row.ratio_high


def test_the_baseline_is_in_it_with_no_difference_to_itself():
    answer = asked(shop(lambda o, m, t: HARD[m], mostly_hard))
    assert list(answer.rows) == [(o, m) for o in ("heat", "cold") for m in (*MODELS, None)]
    for scope in (*MODELS, None):
        row = answer.rows["heat", scope]
        assert (row.difference, row.low, row.high) == (0, 0, 0)
        assert (row.ratio, row.ratio_low, row.ratio_high) == (1, 1, 1)
    assert answer.draws.shape[:2] == (2, 5)
    means = answer.draws.mean(axis=2).ravel()
    assert [row.rate for row in answer.rows.values()] == pytest.approx(means.tolist())


def test_the_same_records_give_the_same_answer():
    cells = shop(lambda o, m, t: HARD[m], mostly_hard)
    assert asked(cells).rows == asked(cells).rows


def test_the_order_of_the_cells_does_not_matter():
    cells = shop(lambda o, m, t: HARD[m], mostly_hard)
    backwards = {name: values[::-1] for name, values in cells.items()}
    here, there = asked(cells), asked(backwards)
    assert here.rows["cold", "M2"].low == pytest.approx(there.rows["cold", "M2"].low, rel=1e-6)


def test_a_wider_level_has_a_wider_interval():
    cells = shop(lambda o, m, t: HARD[m], mostly_hard)
    narrow = asked(cells, confidence_level=0.8).rows["cold", None]
    wide = asked(cells, confidence_level=0.99).rows["cold", None]
    assert wide.low < narrow.low < narrow.high < wide.high


def test_overall_alone_is_the_overall_row_of_all():
    cells = shop(lambda o, m, t: HARD[m], mostly_hard)
    alone = asked(cells, by_model=False)
    assert list(alone.rows) == [("heat", None), ("cold", None)]
    row, same = alone.rows["cold", None], asked(cells).rows["cold", None]
    assert row.low == pytest.approx(same.low, rel=1e-4)


def test_a_model_that_never_had_the_option_borrows_and_knows_less():
    def jobs(option, model, technician):
        if model == 3:
            return 0 if option == "cold" else 100
        return 50

    answer = asked(shop(lambda o, m, t: 0.1, jobs))
    own, lent = answer.rows["cold", "M1"], answer.rows["cold", "M4"]
    assert own.borrowed == 0
    assert lent.borrowed == 1
    assert answer.rows["heat", "M4"].borrowed == 0
    # 300 of 1,200 jobs are of that model.
    assert answer.rows["cold", None].borrowed == pytest.approx(0.25)
    assert lent.high - lent.low > own.high - own.low


def test_one_technician_and_one_model_leave_nothing_to_adjust_for():
    rows = [("heat", "M1", "T1", 30, 300), ("cold", "M1", "T1", 12, 300)]
    answer = asked(columns(rows))
    assert answer.used == ()
    assert answer.dropped == {"model": "one value only", "technician": "one value only"}
    assert list(answer.rows)[2:] == [("cold", "M1"), ("cold", None)]
    row = answer.rows["cold", None]
    assert row == answer.rows["cold", "M1"]
    # Newcombe's interval of 12 of 300 against 30 of 300 is -0.103 to -0.019.
    assert row.low == pytest.approx(-0.103, abs=0.01)
    assert row.high == pytest.approx(-0.019, abs=0.01)


def test_technicians_that_were_not_recorded_are_one_of_their_own():
    rows = [
        (option, model, technician, 5, 50)
        for option in ("heat", "cold")
        for model in MODELS
        for technician in ("T1", "T2", None)
    ]
    answer = asked(columns(rows))
    assert answer.problem == ""
    assert answer.used == ("model", "technician")


def test_what_is_none_of_the_options_is_left_out():
    cells = shop(lambda o, m, t: HARD[m], mostly_hard)
    more = {name: list(values) for name, values in cells.items()}
    for option, n in (("-", 500), (None, 500), ("other", 500), ("cold", 0)):
        for name, value in zip(more, (option, "M9", "T9", n // 2, n), strict=True):
            more[name].append(value)
    assert asked(more).rows == asked(cells).rows


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        ([], "no job with a recorded option"),
        ([(None, "M1", "T1", 1, 9)], "no job with a recorded option"),
        ([("cold", "M1", "T1", 1, 9)], "no job with heat, to which the others are compared"),
        ([("heat", "M1", "T1", 1, 9)], "no job with another option than heat"),
        (
            [("heat", "M1", "T1", 0, 9), ("cold", "M1", "T1", 0, 9)],
            "no failure in these jobs",
        ),
        (
            [("heat", "M1", "T1", 9, 9), ("cold", "M1", "T1", 9, 9)],
            "every one of these jobs failed",
        ),
    ],
)
def test_what_cannot_be_fitted_has_a_problem(rows, problem):
    names = ("opening", "model", "technician", "failures", "opportunities")
    answer = asked(columns(rows) if rows else {name: [] for name in names})
    assert answer.problem == problem
    assert answer.rows == {}
    assert answer.draws is None


def test_a_fit_that_does_not_converge_is_said(monkeypatch):
    from fixstats.stats import laplace

    monkeypatch.setattr(laplace, "STEPS", 0)
    answer = asked(shop(lambda o, m, t: HARD[m], mostly_hard))
    assert answer.problem.startswith("the fit did not converge: ")
    assert answer.rows == {}


def test_a_fit_that_breaks_down_is_said(monkeypatch):
    def broken(*_):
        raise np.linalg.LinAlgError("not positive definite")

    monkeypatch.setattr("fixstats.stats.fit_multilevel", broken)
    answer = asked(shop(lambda o, m, t: HARD[m], mostly_hard))
    assert answer.problem.startswith("the fit did not converge: ")
    assert answer.draws is None


def test_at_is_now_or_practised():
    with pytest.raises(ValueError, match="at must be 'now' or 'practised', got 'then'"):
        asked(shop(lambda o, m, t: HARD[m], mostly_hard), at="then")


@pytest.mark.parametrize("failures", [(0, 40), (0, 1), (60, 0), (60, 1)])
def test_an_option_that_never_or_always_failed_has_finite_ends(failures):
    rows = [
        (option, model, technician, failed // 4, 15)
        for option, failed in zip(("heat", "cold"), failures, strict=True)
        for model in MODELS
        for technician in TECHNICIANS
    ]
    rows[-1] = (*rows[-1][:3], 1, 15)
    answer = asked(columns(rows))
    assert answer.problem == ""
    row = answer.rows["cold", None]
    assert -1 < row.low < row.difference < row.high < 1
    assert np.isfinite([row.ratio, row.ratio_low, row.ratio_high]).all()


def test_an_option_without_jobs_has_no_figures():
    cells = shop(lambda o, m, t: HARD[m], mostly_hard)
    answer = asked(cells, options=("heat", "steam", "cold"))
    assert np.isnan(answer.rows["steam", None].difference)
    assert np.isnan(answer.rows["steam", "M1"].borrowed)
    assert answer.rows["steam", None].baseline_rate == answer.rows["heat", None].rate
    assert answer.rows["cold", "M1"].low == pytest.approx(asked(cells).rows["cold", "M1"].low)


LEARNING = {"0-9": 0.3, "10-29": 0.2, "30-99": 0.12, "practised": 0.08}


def learning_shop(reached, *, heat=0.1):
    """Cold is learnt: technician by technician up to the band reached; heat is practised."""
    rows = []
    for model, (technician, last) in itertools.product(MODELS, reached.items()):
        rows.append(("heat", model, technician, "practised", rounded(heat, 300), 300))
        for band, rate in LEARNING.items():
            if last is None:
                break
            rows.append(("cold", model, technician, band, rounded(rate, 100), 100))
            if band == last:
                break
    return columns(rows, ("opening", "model", "technician", "opening_practice"))


def learnt(cells, at, **settings):
    keys = ("model", "technician", "opening_practice")
    return asked(cells, keys, practice="opening_practice", at=at, **settings)


def test_practised_differs_from_now_while_somebody_is_learning():
    cells = learning_shop({"T1": "practised", "T2": "practised", "T3": "10-29"})
    now, practised = learnt(cells, "now"), learnt(cells, "practised")
    assert now.used == ("model", "technician", "opening_practice")
    row = practised.rows["cold", None]
    assert row.low < 0.08 - 0.1 < row.high
    # Now: two technicians at 0.08, the third at 0.2.
    assert now.rows["cold", None].rate == pytest.approx(0.12, abs=0.012)
    assert row.rate == pytest.approx(0.08, abs=0.012)
    assert now.rows["heat", None].rate == pytest.approx(row.baseline_rate, abs=1e-3)


def test_all_that_practised_are_where_practice_would_bring_them():
    cells = learning_shop(dict.fromkeys(TECHNICIANS, "practised"))
    now, practised = learnt(cells, "now"), learnt(cells, "practised")
    assert now.rows == practised.rows


def test_who_never_used_the_option_starts_as_a_beginner():
    cells = learning_shop({"T1": "practised", "T2": "practised", "T3": None})
    now = learnt(cells, "now").rows["cold", None]
    # 1,200 of 6,800 jobs would be first uses.
    beginner = 1200 / 6800
    assert now.rate == pytest.approx(0.08 * (1 - beginner) + 0.3 * beginner, abs=0.01)


def test_what_nobody_was_seen_learning_is_practised_by_all():
    # Heat is learnt by T1; cold was new to nobody, so T2 and T3 are practised with it.
    rows = [
        ("heat", "M1", "T1", "0-9", 30, 100),
        ("heat", "M1", "T1", "practised", 10, 100),
        ("heat", "M1", "T2", "practised", 10, 100),
        ("cold", "M1", "T1", "practised", 12, 100),
        ("heat", "M1", "T3", "practised", 10, 100),
    ]
    here = columns(rows, ("opening", "model", "technician", "opening_practice"))
    assert learnt(here, "now").rows == learnt(here, "practised").rows


def test_practice_that_was_not_recorded_stays_so():
    reached = {"T1": "practised", "T2": "practised", "T3": "practised"}
    cells = learning_shop(reached)
    for option, model, failures in itertools.product(("heat", "cold"), MODELS, (60,)):
        more = (option, model, None, None, failures, 200)
        for name, value in zip(cells, more, strict=True):
            cells[name].append(value)
    now = learnt(cells, "now")
    # Nobody knows who worked on 800 of these jobs: they fail as they did, at 0.3.
    known = 1 - 1600 / sum(cells["opportunities"])
    assert now.rows["cold", None].rate == pytest.approx(0.08 * known + 0.3 * (1 - known), abs=0.02)


def test_practice_nobody_reached_leaves_a_wide_interval():
    cells = learning_shop(dict.fromkeys(TECHNICIANS, "10-29"))
    now, practised = (learnt(cells, at).rows["cold", None] for at in ("now", "practised"))
    assert practised.high - practised.low > 2 * (now.high - now.low)
