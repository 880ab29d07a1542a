"""Odds ratios of causes against another program; intervals by simulation (no published value)."""

import numpy as np
import pytest
from firthmodels import FirthLogisticRegression

from fixstats.findings.causes_design import design_of, units_of
from fixstats.findings.causes_fit import fit_levels

MODELS, TECHNICIANS = 6, 4


def shop(seed, base, effect, share, jobs):
    """Jobs of an invented shop: the condition goes with the model, as the failure does.

    Returns design codes of each job, whether it has the condition, whether it failed, and the true
    odds ratio, risk difference and share due over these jobs.
    """
    rng = np.random.default_rng(seed)
    model, technician = rng.integers(0, MODELS, jobs), rng.integers(0, TECHNICIANS, jobs)
    there = rng.random(jobs) < np.clip(share * (0.5 + model / 5), 0, 1)
    logit = base + 0.2 * (model - 2.5) + 0.3 * (technician == 1)
    without, everybody = (1 / (1 + np.exp(-logit - add)) for add in (0.0, effect))
    rate = np.where(there, everybody, without)
    true = (np.exp(effect), np.mean(everybody - without), 1 - without.sum() / rate.sum())
    return (model, technician), there, rng.random(jobs) < rate, true


def fitted(codes, there, failed, level=0.95):
    model, technician = codes
    place = (model * TECHNICIANS + technician) * 2 + there
    size = MODELS * TECHNICIANS * 2
    failures, jobs = np.bincount(place, failed, size), np.bincount(place, minlength=size)
    met = np.flatnonzero(jobs)
    keys = {
        "model": [f"M{one // (2 * TECHNICIANS)}" for one in met],
        "technician": [f"T{one // 2 % TECHNICIANS}" for one in met],
    }
    units = units_of(keys, failures[met], (jobs - failures)[met])
    design = design_of(units, ("model", "technician"), [met % 2 == 1])
    return fit_levels(design, confidence_level=level)[0], design


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_odds_ratio_interval_and_test_are_those_of_another_program(seed):
    codes, there, failed, _ = shop(seed, -1.5, 0.8, 0.3, 600)
    one, design = fitted(codes, there, failed)
    assert design.adjusted_for == ("model", "technician")
    dummies = [codes[0] == n for n in range(1, MODELS)]
    dummies += [codes[1] == n for n in range(1, TECHNICIANS)]
    x = np.column_stack([there, *dummies]).astype(float)
    other = FirthLogisticRegression(max_iter=200, gtol=1e-9).fit(x, failed.astype(int))
    other.lrt([0])
    low, high = other.conf_int(method="pl", features=[0])[0]
    assert np.log(one.odds_ratio) == pytest.approx(other.coef_[0], abs=1e-5)
    assert np.log([one.odds_low, one.odds_high]) == pytest.approx([low, high], abs=1e-3)
    assert one.p_value == pytest.approx(other.lrt_pvalues_[0], rel=1e-3)


# base, effect on the logit scale, share with the condition, jobs
SHOPS = [(-2.0, 1.2, 0.2, 2000), (-3.5, 0.8, 0.2, 1500), (-4.5, 1.0, 0.1, 1500),
         (-1.0, 0.0, 0.3, 400), (-3.5, 0.0, 0.4, 2000)]  # fmt: skip


def misses(case, shops, first=0):
    """How many of the three intervals miss the truth, of so many shops each."""
    missed = np.zeros(3)
    for seed in range(first, first + shops):
        codes, there, failed, true = shop(seed, *case)
        one, _ = fitted(codes, there, failed)
        ends = ((one.odds_low, one.odds_high), (one.risk_low, one.risk_high),
                (one.share_low, one.share_high))  # fmt: skip
        missed += [not low <= value <= high for value, (low, high) in zip(true, ends, strict=True)]
    return missed


@pytest.mark.parametrize("case", SHOPS)
def test_intervals_hold_their_level_roughly(case):
    """40 shops a case: 7 misses or more have a chance of 0.4 % at 5 % each."""
    assert (misses(case, 40) < 7).all()


@pytest.mark.slow
def test_coverage():
    """1,000 shops a case: odds ratio, risk difference and share due miss 3 to 7 % of the time."""
    shares = np.array([misses(case, 1000, 1000) / 1000 for case in SHOPS])
    assert (shares.mean(axis=0) > 0.03).all()
    assert (shares < 0.07).all(), shares
