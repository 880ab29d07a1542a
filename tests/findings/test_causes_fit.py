"""Fits of one condition: pure, cells in and figures out."""

import numpy as np
import pytest

from fixstats import stats
from fixstats.findings.causes_design import A_COLUMN, MOST_LEVELS, design_of, selected, units_of
from fixstats.findings.causes_fit import fit_levels, fit_product
from fixstats.findings.causes_plan import FEW, ONE, SAME


def table(rows):
    """Units from (level, model, technician, failures, others) and the column of level 'yes'."""
    level, model, technician, failures, others = (list(one) for one in zip(*rows, strict=True))
    units = units_of({"model": model, "technician": technician}, failures, others)
    return units, np.asarray(level) == "yes"


ROWS = [
    ("no", "A", "T1", 20, 380), ("yes", "A", "T1", 30, 170), ("no", "A", "T2", 40, 360),
    ("yes", "A", "T2", 9, 41), ("no", "B", "T1", 30, 170), ("yes", "B", "T1", 100, 200),
    ("no", "B", "T2", 25, 75), ("yes", "B", "T2", 90, 110),
]  # fmt: skip


def fit(rows=ROWS, adjusters=("model", "technician"), level=0.95):
    units, yes = table(rows)
    design = design_of(units, adjusters, [yes])
    (one,) = fit_levels(design, confidence_level=level)
    return one, design


def test_without_adjusters_the_figures_are_those_of_the_table():
    """Firth on a 2 x 2 table adds a half to each cell; risks keep the failures there were."""
    one, _ = fit([("yes", "A", "T", 30, 70), ("no", "A", "T", 40, 360)], ())
    assert one.odds_ratio == pytest.approx(30.5 * 360.5 / (70.5 * 40.5), rel=1e-8)
    # Within what half a failure can do to rates of 100 and 400 jobs.
    assert one.risk_difference == pytest.approx(0.3 - 0.1, abs=0.01)
    assert one.share_due == pytest.approx(1 - 0.1 * 500 / 70, abs=0.02)


def test_intervals_agree_on_whether_there_is_an_effect():
    for failures in range(0, 40):
        one, _ = fit([("yes", "A", "T", failures, 100 - failures), ("no", "A", "T", 40, 360)], ())
        signs = {np.sign(low) + np.sign(high) for low, high in (
            (np.log(one.odds_low), np.log(one.odds_high)),
            (one.risk_low, one.risk_high), (one.share_low, one.share_high))}  # fmt: skip
        assert len(signs) == 1
        assert one.risk_low <= one.risk_difference <= one.risk_high
        assert one.share_low <= one.share_due <= one.share_high <= 1
        assert (one.p_value < 0.05) == (signs != {0.0})


def test_large_tables_have_the_intervals_of_the_difference():
    """Against Miettinen and Nurminen's, far from the edges, to a thousandth."""
    one, _ = fit([("yes", "A", "T", 600, 1400), ("no", "A", "T", 400, 1600)], ())
    other = stats.miettinen_nurminen_difference(600, 2000, 400, 2000, confidence_level=0.95)
    assert (one.risk_low, one.risk_high) == pytest.approx((other.low, other.high), abs=1e-3)


def test_swapping_level_and_reference_turns_every_figure():
    one, _ = fit()
    turned = [({"yes": "no", "no": "yes"}[level], *rest) for level, *rest in ROWS]
    back, _ = fit(turned)
    assert back.odds_ratio == pytest.approx(1 / one.odds_ratio, rel=1e-6)
    assert back.odds_low == pytest.approx(1 / one.odds_high, rel=1e-5)
    assert back.risk_difference == pytest.approx(-one.risk_difference, abs=1e-7)
    assert back.risk_low == pytest.approx(-one.risk_high, abs=1e-3)
    assert back.p_value == pytest.approx(one.p_value, rel=1e-5)
    assert one.share_due > 0 > back.share_due


def test_splitting_cells_changes_nothing():
    whole, _ = fit()
    split = [
        part
        for level, model, technician, k, n in ROWS
        for part in ((level, model, technician, k // 2, n // 3),
                     (level, model, technician, k - k // 2, n - n // 3))
    ]  # fmt: skip
    halves, design = fit(split)
    assert vars(halves) == pytest.approx(vars(whole), rel=1e-9)
    assert len(design.failures) == len(ROWS)


def test_confounding_by_technician_is_taken_away():
    """T2 fails ten times as often and does most of the 'yes': like for like there is nothing."""
    rows = [("yes", "A", "T1", 4, 96), ("no", "A", "T1", 40, 960),
            ("yes", "A", "T2", 400, 600), ("no", "A", "T2", 40, 60)]  # fmt: skip
    crude, _ = fit(rows, ())
    adjusted, design = fit(rows)
    assert crude.odds_low > 5
    assert adjusted.odds_ratio == pytest.approx(1, abs=0.03)
    assert design.adjusted_for == ("technician",)
    assert design.left_out == {"model": ONE}


def test_units_drawn_by_outcome_give_the_same_figures():
    """A tenth of the others, weighted back: odds ratio and risks stay."""
    whole, _ = fit([(*row[:3], row[3], row[4] * 10) for row in ROWS])
    level, model, technician, failures, others = (list(one) for one in zip(*ROWS, strict=True))
    units = units_of({"model": model, "technician": technician}, failures, others, 1.0, 10.0)
    design = design_of(units, ("model", "technician"), [np.asarray(level) == "yes"])
    (drawn,) = fit_levels(design, confidence_level=0.95)
    assert drawn.odds_ratio == pytest.approx(whole.odds_ratio, rel=0.15)
    assert drawn.risk_difference == pytest.approx(whole.risk_difference, rel=0.15)
    assert drawn.share_due == pytest.approx(whole.share_due, rel=0.15)


def test_expected_failures_are_those_there_were():
    """A rare mode and many columns: the penalty alone would nearly double the failures."""
    rng = np.random.default_rng(3)
    rows = [(level, f"M{m}", f"T{t}", int(k), 300)
            for level in ("yes", "no") for m in range(6) for t in range(4)
            for k in rng.binomial(300, 0.01 + 0.01 * (level == "yes"), 1)]  # fmt: skip
    one, design = fit(rows)
    failed = {level: sum(row[3] for row in rows if row[0] == level) for level in ("yes", "no")}
    raw = failed["yes"] / 7200 - failed["no"] / 7200
    assert len(design.adjusted_for) == 2
    assert one.risk_difference == pytest.approx(raw, rel=0.1)


def test_a_level_told_by_the_adjusters_has_no_figure():
    rows = [("yes", "A", "T1", 30, 70), ("no", "B", "T1", 20, 180), ("no", "B", "T2", 20, 80)]
    one, design = fit(rows)
    assert design.own == (None,)
    assert all(np.isnan(value) for value in vars(one).values())


def test_an_adjuster_told_by_another_is_dropped():
    rows = [(level, model, model, k, n) for level, model, _, k, n in ROWS]
    one, design = fit(rows)
    assert design.adjusted_for == ("model",)
    assert design.left_out == {"technician": SAME}
    assert np.isfinite(one.odds_ratio)


def test_columns_stop_where_failures_do():
    """Five failures a column: with 30, four beside the intercept and the condition."""
    rows = [(level, f"M{m}", f"T{t}", 1, 40)
            for level in ("yes", "no") for m in range(3) for t in range(5)]  # fmt: skip
    units, yes = table(rows)
    design = design_of(units, ("model", "technician"), [yes])
    assert units.fewer == 30
    assert design.adjusted_for == ("model",)
    assert design.left_out == {"technician": FEW}
    assert design.x.shape[1] <= 30 // A_COLUMN


def test_many_levels_share_a_column():
    rows = [(level, f"M{m:03d}", "T", 5 + m, 95) for level in ("yes", "no") for m in range(200)]
    _, design = fit(rows)
    assert design.lumped == {"model": 200 - MOST_LEVELS}
    assert design.x.shape[1] == 1 + MOST_LEVELS + 1


def test_not_recorded_is_a_level_of_its_own():
    rows = [(level, model if model == "A" else None, t, k, n) for level, model, t, k, n in ROWS]
    assert vars(fit(rows)[0]) == pytest.approx(vars(fit()[0]))


def test_the_product_of_two_conditions():
    """Odds of 1, 3, 2 and 24 to one: together four times the product."""
    odds = {(0, 0): 0.1, (1, 0): 0.3, (0, 1): 0.2, (1, 1): 2.4}
    cells = [(a, b, 1000 * o / (1 + o), 1000 / (1 + o)) for (a, b), o in odds.items()]
    one, two, failures, others = (list(values) for values in zip(*cells, strict=True))
    units = units_of({}, failures, others)
    own = [np.asarray(values) == 1 for values in (one, two)]
    ratio, p_value = fit_product(design_of(units, (), [*own, own[0] & own[1]]))
    assert ratio == pytest.approx(4, rel=0.03)
    assert p_value < 1e-6
    ratio, p_value = fit_product(design_of(units, (), [own[0], own[0]]))
    assert np.isnan(ratio) and np.isnan(p_value)


def test_selected_cells_keep_their_weights():
    units, yes = table(ROWS)
    part = selected(units_of(units.keys, units.failures, units.others, 2.0, 3.0), yes)
    assert part.failures.sum() == 229 and part.failed == 458
    assert part.weight.sum() == 2 * 229 + 3 * part.others.sum()
    assert part.keys["model"] == ["A", "A", "B", "B"]
