"""The planted effects are in a large sheet, with the sign and size that the truth states.

The sheet is read and counted here by itself (Polars on the text of the cells), so that this checks
the whole way from parameter to cell. Limits are five standard errors of the counted figure: a
right generator fails by chance about once in a million runs, and the seed is fixed anyway.
"""

import math

import polars as pl
import pytest

from fixstats.demo import truth
from fixstats.demo.facts import facts
from fixstats.demo.generator import make_jobs
from fixstats.demo.sheets import sheet_frame

JOBS, SEED = 60_000, 11
SURE = 5.0


@pytest.fixture(scope="module")
def columns():
    return make_jobs(JOBS, SEED)


@pytest.fixture(scope="module")
def true(columns):
    return facts(columns)


@pytest.fixture(scope="module")
def sheet(columns):
    frame = sheet_frame(columns).filter(pl.col("return_of").is_null())
    first = [pl.col(step).str.split(" > ").list.first() for step in truth.METHODS]
    return frame.with_columns(
        *first,
        pl.col("failures").fill_null(""),
        pl.col("unchecked").fill_null(""),
        pl.col("preexisting").fill_null(""),
    )


def counted(frame, mode):
    """Failures and opportunities of a mode among jobs in which somebody looked for it."""
    looked = ~pl.col("unchecked").str.contains(f"all|{mode}")
    whole = ~pl.col("preexisting").str.contains(mode)
    seen = pl.col("failures").str.contains(mode)
    kept = frame.filter(looked & whole)
    return int(kept.select(seen.sum()).item()), kept.height


def near(frame, mode, rate):
    """True where the counted rate is within five standard errors of ``rate``."""
    failures, of = counted(frame, mode)
    return abs(failures / of - rate) <= SURE * math.sqrt(rate * (1 - rate) / of)


def test_rates_of_the_sheet_agree_with_the_truth(sheet, true):
    checked = 0
    for row in true["step_rates"]:
        where = pl.col(row["choice"]) == row["option"]
        if row["model"] is not None:
            where &= pl.col("model") == row["model"]
        rate = row["true_rate_of_its_own_jobs"]
        if row["jobs_with_option"] < 300 or not rate > 0.005:
            continue
        checked += 1
        assert near(sheet.filter(where), row["mode"], rate), row
    assert checked > 200


def test_clearly_better_opening(sheet, true):
    rates = true["planted"]["clearly_better"]["true_rates"]["display_lines"]
    assert rates["heat_plate"] < 0.5 * min(rates["heat_pad"], rates["heat_gun"])
    plate, gun = (
        counted(sheet.filter(pl.col("opening") == m), "display_lines")
        for m in ("heat_plate", "heat_gun")
    )
    assert plate[0] / plate[1] < 0.5 * gun[0] / gun[1]


def test_equal_sealing_is_exactly_equal(true):
    for rates in true["planted"]["equal"]["true_rates"].values():
        assert rates["cut_seal"] == rates["tape_strip"] > 0.02


def test_rank_of_calibration_turns_round_by_maker(sheet, true):
    rates = true["planted"]["rank_by_model"]["true_rates"]
    for maker, sign in (("Quillon", 1), ("Norvane", -1)):
        mine = sheet.filter(pl.col("model").str.starts_with(maker))
        counts = [
            counted(mine.filter(pl.col("calibration") == method), "calibration_refused")
            for method in ("service_console", "on_device")
        ]
        (a, m), (b, n) = counts
        assert sign * (a / m - b / n) > 0.05
        by_model = [r for name, r in rates.items() if name.startswith(maker)]
        assert all(sign * (r["service_console"] - r["on_device"]) > 0 for r in by_model)
    assert rates["Brask One"]["on_device"] == rates["Brask One"]["service_console"]


def test_reversal_between_raw_and_within_strata(sheet, true):
    planted = true["planted"]["reversal"]
    raw, right = planted["expected_raw_rates"], planted["true_rates"]
    assert raw["display_detached"] > raw["display_on_stand"] + 0.01
    assert right["display_detached"] < right["display_on_stand"] - 0.01
    for stratum in planted["strata"]:
        rates = stratum["true_rates"]
        assert rates["display_detached"] < rates["display_on_stand"]
    for method, rate in raw.items():
        assert near(sheet.filter(pl.col("display_handling") == method), "display_flex_torn", rate)


def test_bad_lot_at_fitting_and_later(sheet, true):
    planted = true["planted"]["bad_lot"]
    piece = sheet.filter(pl.col("battery_lot").str.starts_with(planted["lot"]))
    alone = piece.filter(pl.col("repair") == "battery_swap")
    assert near(alone, "dead_on_arrival", planted["dead_on_arrival"]["this_lot"])
    days = piece.select(pl.col("finished").min(), pl.col("finished").max().alias("last")).row(0)
    assert [str(day) for day in days] == [planted["fitted_from"], planted["fitted_until"]]
    # everything of this lot had 90 days to come back before the records end
    kept = piece.filter(
        ~pl.col("battery_lot").str.contains(" > "), pl.col("outcome") == "completed"
    )
    back = kept.filter(
        pl.col("return_reason") == "drains_fast",
        (pl.col("returned") - pl.col("finished")).dt.total_days() <= 90,
    )
    rate = planted["drains_fast_within_90_days"]["this_lot"]
    assert abs(back.height / kept.height - rate) < SURE * math.sqrt(rate / kept.height)
    assert rate > 4 * planted["drains_fast_within_90_days"]["other_lots_of_the_supplier"]


def test_drift_of_dust_from_its_day(sheet, true):
    planted = true["planted"]["drift"]
    day = pl.lit(planted["from"]).str.to_date()
    done = sheet.filter(pl.col("display_handling").is_in(truth.METHODS["display_handling"]))
    assert near(done.filter(pl.col("finished") < day), planted["mode"], planted["true_rate_before"])
    assert near(done.filter(pl.col("finished") >= day), planted["mode"], planted["true_rate_after"])
    assert planted["true_rate_after"] > 2.5 * planted["true_rate_before"]


def test_weaker_technicians_and_their_usual_selves(sheet, true):
    kinds = len(truth.TECHNICIANS)
    weak = [f"T{k + 1}" for k in range(truth.WEAK, truth.MOST_TECHNICIANS, kinds)]
    theirs = sheet.filter(pl.col("technician").is_in(weak))
    for mode, rates in true["planted"]["weaker_technician"]["modes"].items():
        assert rates["true_rate"] > 2 * rates["same_jobs_by_usual_hands"]
        step = "opening" if mode != "display_flex_torn" else "display_handling"
        done = theirs.filter(pl.col(step).is_in(truth.METHODS[step]))
        assert near(done, mode, rates["true_rate"])


def test_learning_falls_with_each_technicians_own_uses(sheet, true):
    by_uses = list(true["planted"]["learning"]["true_rate_by_earlier_uses"].values())
    assert by_uses == sorted(by_uses, reverse=True)
    assert by_uses[0] > 5 * by_uses[-1]
    used = sheet.sort("finished", "job").filter(pl.col("battery_release") == "thread_cut")
    used = used.with_columns(pl.int_range(pl.len()).over("technician").alias("uses"))
    early, late = used.filter(pl.col("uses") < 20), used.filter(pl.col("uses") >= 80)
    (a, m), (b, n) = counted(early, "flex_cut"), counted(late, "flex_cut")
    assert a / m > 3 * b / n
    assert near(late, "flex_cut", by_uses[-1])
    assert str(used["finished"].min()) >= true["planted"]["learning"]["in_use_from"]


def test_calibration_conditions_raise_refusals(sheet, true):
    conditions = true["planted"]["calibration_conditions"]["conditions"]
    assert set(conditions) == {
        "charge_below_20", "connection_hotspot", "several_parts", "grades_mixed",
    }  # fmt: skip
    for effect in conditions.values():
        assert effect["odds_ratio"] > 1.9
        assert effect["risk_difference"] > 0.05
        assert 0 < effect["share_of_failures_due_to_it"] < 1
    done = sheet.filter(pl.col("calibration").is_in(truth.METHODS["calibration"]))
    splits = {
        "charge_below_20": pl.col("charge") < 20,
        "connection_hotspot": pl.col("connection") == "hotspot",
        "several_parts": pl.col("repair").str.contains(";"),
    }
    for name, holds in splits.items():
        (a, m), (b, n) = (
            counted(done.filter(part), "calibration_refused") for part in (holds, ~holds)
        )
        difference = a / m - b / n
        # the other conditions are drawn independently of charge and network, not of parts
        slack = 0.03 if name != "several_parts" else 0.06
        assert abs(difference - conditions[name]["risk_difference"]) < slack, name


def test_conflicts_by_pair_of_grades(sheet, true):
    fitted = sheet.filter(pl.col("repair") == "battery_swap; display_swap")
    fitted = fitted.filter(pl.col("outcome") == "completed")
    first = [
        pl.col(f"{part}_grade").str.split(" > ").list.first() for part in ("battery", "display")
    ]
    fitted = fitted.with_columns(first)
    for pair in true["planted"]["mixed_parts"]["restart_conflict"]:
        where = (pl.col("battery_grade") == pair["grade_a"]) & (
            pl.col("display_grade") == pair["grade_b"]
        )
        assert near(fitted.filter(where), "restart_conflict", pair["true_rate"]), pair
    same = fitted.filter(pl.col("battery_grade") == pl.col("display_grade"))
    assert counted(same, "restart_conflict")[0] == 0


def test_safety_modes_are_rare_and_come_from_the_prying_tool(sheet, true):
    rates = true["planted"]["safety"]["true_rates"]
    for mode in ("cell_bent", "cell_pierced"):
        others = [rate for method, rate in rates[mode].items() if method != "pry_tool"]
        assert 0 < max(others) < 0.01
        assert rates[mode]["pry_tool"] > 5 * max(others)
    pried = sheet.filter(pl.col("battery_release") == "pry_tool")
    assert near(pried, "cell_bent", rates["cell_bent"]["pry_tool"])


def test_comebacks_follow_the_stated_share_within_90_days(sheet, true):
    ninety = pl.duration(days=90)
    seen = sheet.filter(
        pl.col("outcome") == "completed",
        pl.col("finished") + ninety <= pl.lit(truth.UNTIL),
    )
    for reason, rate in true["comebacks"]["over_all"].items():
        back = (pl.col("return_reason") == reason) & (
            pl.col("returned") - pl.col("finished") <= ninety
        )
        share = seen.select(back.fill_null(value=False).mean()).item()
        assert abs(share - rate) < SURE * math.sqrt(rate / seen.height) + 0.0015, reason


def test_dead_pieces_by_grade(sheet, true):
    single = sheet.filter(
        pl.col("repair").is_in(["battery_swap", "display_swap"]),
        ~pl.col("battery_lot").fill_null("").str.starts_with(truth.BAD_LOT),
    )
    for part in ("battery", "display"):
        fitted = single.filter(pl.col(f"{part}_cost").is_not_null())
        for grade in truth.GRADES:
            first = pl.col(f"{part}_grade").str.split(" > ").list.first() == grade
            assert near(
                fitted.filter(first), "dead_on_arrival", true["dead_on_arrival"][part][grade]
            )


def test_minutes_have_the_stated_medians(sheet, true):
    for step, methods in true["step_minutes"].items():
        for method in methods if step in truth.METHODS else ():
            if method == "thread_cut":  # slower while being learned: see `learning`
                continue
            calm = pl.col(step) == method
            if step == "battery_release":
                calm &= ~pl.col("failures").str.contains("tab_snapped")
            median = sheet.filter(calm)[f"{step}_minutes"].median()
            assert median == pytest.approx(methods[method]["median"], rel=0.03)
