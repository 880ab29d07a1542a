"""Raw and stratified figures of a comparison, against the statistics called by hand."""

import math

import numpy as np
import polars as pl
import pytest

from fixstats import stats
from fixstats.findings.adjusting import AdjustedRow, Adjustment
from fixstats.findings.compare_figures import (
    add_adjusted,
    add_raw,
    add_strata,
    make_rows,
    reversal,
    strata_counts,
)

OPTIONS = ("gun", "plate", "pad")
LEVEL = 0.9
HEADS = ("opening", "model", "technician", "failures", "opportunities", "unknown", "unknown_failed")
# Two models, two technicians and one not recorded; the pad was never used on Elm.
ROWS = [
    ("gun", "Alder", "T1", 5, 40, 1, 0),
    ("gun", "Alder", "T2", 9, 60, 2, 1),
    ("gun", "Elm", "T1", 12, 30, 0, 0),
    ("gun", "Elm", None, 2, 7, 0, 0),
    ("plate", "Alder", "T1", 2, 35, 4, 2),
    ("plate", "Alder", "T2", 1, 10, 0, 0),
    ("plate", "Elm", "T1", 20, 70, 3, 0),
    ("plate", "Elm", None, 1, 9, 0, 0),
    ("pad", "Alder", "T2", 6, 22, 0, 0),
]


@pytest.fixture
def cells():
    return pl.DataFrame(ROWS, schema=HEADS, orient="row")


@pytest.fixture
def rows(cells):
    made = make_rows(cells, "opening", OPTIONS, "gun", by_model=True)
    add_raw(made, LEVEL)
    add_strata(made, cells, "opening", "gun", ("model", "technician"), LEVEL)
    return {(row.option, row.model): row for row in made}


def test_counts_are_sums_of_cells(rows):
    assert list(rows) == [
        ("plate", "Alder"), ("pad", "Alder"), ("plate", "Elm"), ("pad", "Elm"),
        ("plate", None), ("pad", None),
    ]  # fmt: skip
    row = rows["plate", None]
    assert row.scope == "all"
    assert row.counts == {
        "failures": 24, "opportunities": 124, "unknown": 7, "unknown_failed": 2,
    }  # fmt: skip
    assert (row.baseline["failures"], row.baseline["opportunities"]) == (28, 137)
    assert rows["pad", "Elm"].counts["opportunities"] == 0
    assert rows["pad", "Elm"].baseline["opportunities"] == 37


def test_raw_figures_are_those_of_the_methods_named(rows):
    figures = rows["plate", None].figures
    difference = stats.newcombe_difference(24, 124, 28, 137, confidence_level=LEVEL)
    ratio = stats.koopman_ratio(24, 124, 28, 137, confidence_level=LEVEL)
    assert figures["difference_low"] == difference.low
    assert figures["ratio_high"] == pytest.approx(float(ratio.high), rel=1e-9)
    assert figures["p_value"] == pytest.approx(float(stats.fisher_mid_p(24, 124, 28, 137)))
    assert math.isnan(rows["pad", "Elm"].figures["difference"])


def test_p_is_corrected_over_options_and_then_over_models(rows):
    p = {key: row.figures["p_value"] for key, row in rows.items()}
    corrected = {key: row.figures["p_corrected"] for key, row in rows.items()}
    # over all: Holm over two options by hand
    small, large = sorted((p["plate", None], p["pad", None]))
    both = sorted((corrected["plate", None], corrected["pad", None]))
    assert both == pytest.approx([min(2 * small, 1), min(max(2 * small, large), 1)])
    # on Elm only the plate has a test, so Holm changes nothing there
    assert math.isnan(corrected["pad", "Elm"])
    alder = dict(
        zip(("plate", "pad"), stats.holm([p["plate", "Alder"], p["pad", "Alder"]]), strict=True)
    )
    over_models = stats.benjamini_hochberg([alder["plate"], p["plate", "Elm"]])
    assert [corrected["plate", m] for m in ("Alder", "Elm")] == pytest.approx(over_models)
    assert corrected["pad", "Alder"] == pytest.approx(alder["pad"])


def test_strata_by_hand(rows):
    """Mantel-Haenszel with plain loops: a technician not recorded is a stratum like another."""

    def by_hand(option, models):
        above = below = 0.0
        for model in models:
            for who in ("T1", "T2", None):
                x1, n1 = counted(option, model, who)
                x0, n0 = counted("gun", model, who)
                if n1 and n0:
                    weight = n1 * n0 / (n1 + n0)
                    above += weight * (x1 / n1 - x0 / n0)
                    below += weight
        return above / below

    def counted(option, model, who):
        found = [row[3:5] for row in ROWS if row[:3] == (option, model, who)]
        return found[0] if found else (0, 0)

    for (option, model), strata in {
        ("plate", None): 4, ("plate", "Alder"): 2, ("plate", "Elm"): 2, ("pad", None): 1,
    }.items():  # fmt: skip
        figures = rows[option, model].figures
        models = ("Alder", "Elm") if model is None else (model,)
        assert figures["strata_difference"] == pytest.approx(by_hand(option, models), rel=1e-12)
        assert figures["strata"] == strata
    assert math.isnan(rows["pad", "Elm"].figures["strata_difference"])


def test_the_share_of_jobs_outside_the_strata(rows):
    # pad: one stratum of 60 + 22 jobs counts; of the gun's other 77 nothing is said
    assert rows["pad", None].outside == pytest.approx(77 / 159)
    assert rows["plate", None].outside == 0
    assert rows["pad", "Elm"].outside == 1
    # of the four strata of model and technician one has the pad
    assert [rows[option, None].one_sided for option in ("plate", "pad")] == [0, 3]


def test_strata_claim_no_more_than_the_test_over_them():
    """Many shops with two equal options, two hands and few failures; level 0.95."""
    chance = np.random.default_rng(8)
    claims = tests = number = 0
    for _ in range(60):
        table = [
            (option, model, who, int(chance.binomial(jobs, 0.08)), jobs, 0, 0)
            for model in "ABCDE"
            for who, share in (("T1", 0.9), ("T2", 0.1))
            for option, jobs in (
                ("gun", int(chance.binomial(24, share))),
                ("plate", int(chance.binomial(24, 1 - share))),
            )
        ]
        cells = pl.DataFrame(table, schema=HEADS, orient="row")
        made = make_rows(cells, "opening", ("gun", "plate"), "gun", by_model=True)
        add_strata(made, cells, "opening", "gun", ("model", "technician"), 0.95)
        for row in made:
            figures = row.figures
            if math.isnan(figures["strata_p"]):
                continue
            number += 1
            claims += figures["strata_low"] * figures["strata_high"] > 0
            tests += figures["strata_p"] < 0.05
    assert number > 250
    assert claims == tests
    assert claims < 0.08 * number  # 5 % and two and a half standard errors


def test_one_stratum_without_keys(cells):
    made = make_rows(cells, "opening", OPTIONS, "gun", by_model=False)
    add_strata(made, cells, "opening", "gun", (), LEVEL)
    by_hand = stats.miettinen_nurminen_difference(24, 124, 28, 137, confidence_level=LEVEL)
    assert made[0].figures["strata_low"] == pytest.approx(float(by_hand.low), rel=1e-9)
    assert made[0].figures["strata_high"] == pytest.approx(float(by_hand.high), rel=1e-9)
    assert made[0].figures["strata"] == 1


def test_strata_counts_are_sorted_with_unknown_technicians_last(cells):
    counted = strata_counts(cells, ("model", "technician"), "opening")
    assert counted.height == len(ROWS)
    assert counted["technician"].to_list()[:3] == ["T1", "T1", "T2"]
    assert counted["technician"].to_list()[-1] is None


def test_adjusted_figures_and_the_hidden_cause(cells):
    made = make_rows(cells, "opening", OPTIONS, "gun", by_model=False)
    fitted = AdjustedRow(0.1, 0.2, -0.1, -0.15, -0.05, 0.5, 1 / 8.7, 1 / 1.8, 0.25)
    add_adjusted(made, Adjustment({("plate", None): fitted}, "", (), {}, 0, None))
    plate, pad = made
    assert plate.figures["adjusted_rate"] == 0.1
    assert plate.figures["baseline_adjusted_rate"] == 0.2
    assert plate.figures["adjusted_high"] == -0.05
    # VanderWeele and Ding 2017: for the limit 1.8 a hidden cause of 3.0 is needed
    assert plate.figures["hidden_cause_needed"] == pytest.approx(3.0, abs=0.05)
    assert np.isnan([pad.figures["adjusted_rate"], pad.figures["hidden_cause_needed"]]).all()


RAW = {"difference": 0.03, "difference_low": 0.01, "difference_high": 0.05}


def fair(kind, value, low, high):
    return {f"{kind}_difference": value, f"{kind}_low": low, f"{kind}_high": high}


NOTHING = fair("adjusted", None, None, None) | fair("strata", None, None, None)
UNSURE = {"difference_low": -0.01}


@pytest.mark.parametrize(
    ("given", "answer"),
    [
        (NOTHING, "none"),
        (fair("adjusted", 0.01, -0.02, 0.04), "none"),
        (fair("adjusted", -0.01, -0.04, 0.02), "sure"),  # the raw interval excludes 0
        (fair("strata", -0.01, -0.04, 0.02), "sure"),
        (fair("strata", -0.01, None, None), "sure"),
        (UNSURE | fair("adjusted", -0.01, -0.04, -0.001), "sure"),  # the adjusted one does
        (UNSURE | fair("adjusted", -0.01, -0.04, 0.02), "possible"),  # 0.03 is worth knowing
        (
            UNSURE | {"difference": 0.01} | fair("strata", -0.03, -0.07, 0.01),
            "possible",
        ),
        (UNSURE | {"difference": 0.01} | fair("adjusted", -0.01, -0.04, 0.02), "none"),
        ({"difference": None} | fair("adjusted", -0.1, -0.2, -0.05), "none"),
        ({"difference": 0.0} | fair("adjusted", -0.1, -0.2, -0.05), "none"),
    ],
)
def test_reversal(given, answer):
    assert reversal(RAW | NOTHING | given, 0.02) == answer
