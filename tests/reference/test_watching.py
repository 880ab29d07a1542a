"""Watching against R (base and surveillance), SciPy's sparse equations, and simulation.

The frozen figures come from `r/watching.R`; versions stand in the first row of `r/watching.csv`.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import sparse
from scipy.sparse.linalg import spsolve

from fixstats import stats

with (Path(__file__).parent / "r" / "watching.csv").open(encoding="utf-8") as lines:
    R = {row[0]: float(row[1]) for row in csv.reader(lines) if len(row) == 2 and row[0] != "name"}

SIZES = np.array([1, 2, 5, 11, 30, 77, 150, 400])
CENTRES = [0.001, 0.02, 0.13, 0.5, 0.97]


def of_r(name, keys):
    return np.array([R[f"{name}_{key:g}"] for key in keys])


@pytest.mark.parametrize("centre", CENTRES)
def test_exact_limits(centre):
    found = stats.p_limits(centre, SIZES)
    low, high = (of_r(f"exact_{side}_{centre:g}", SIZES) for side in ("low", "high"))
    assert_allclose(found.lower_limit, np.minimum(low / SIZES, centre), rtol=1e-14)
    assert_allclose(found.upper_limit, np.maximum(high / SIZES, centre), rtol=1e-14)


@pytest.mark.parametrize("centre", CENTRES)
def test_interpolated_limits(centre):
    found = stats.funnel_limits(centre, SIZES)
    low, high = (of_r(f"funnel_{side}_{centre:g}", SIZES) for side in ("low", "high"))
    assert_allclose(found.lower_limit, np.minimum(low, centre), rtol=1e-9, atol=1e-12)
    assert_allclose(found.upper_limit, np.maximum(high, centre), rtol=1e-9)


def test_gap_limits():
    rates = [1e-5, 0.001, 0.002, 0.03, 0.4]
    found = stats.g_limits(rates)
    assert_array_equal(found.lower_limit, of_r("g_low", rates))
    assert_array_equal(found.upper_limit, of_r("g_high", rates))


def test_p_values_of_groups():
    k, n = np.array([0, 3, 7, 20, 55]), np.array([12, 40, 100, 100, 1000])
    expected = np.array([1.2, 0.8, 7, 8.5, 80])
    for side in ("more", "fewer"):
        found = stats.expected_p_values(k, n, expected, alternative=side)
        assert_allclose(found, of_r(side, k), rtol=1e-10)


def test_sum_of_jobs_with_their_own_risks():
    i = np.arange(400)
    risk = 0.01 + ((i * 37) % 29) / 150
    failed = ((i * i + 3 * i) % 17 == 0).astype(float)
    found = stats.cusum(stats.cusum_scores(failed, risk))
    at = np.array([50, 100, 200, 399])
    assert_allclose(found[at - 1], of_r("sum", at), rtol=1e-10, atol=1e-12)


@pytest.mark.parametrize(
    ("m", "height", "rate"),
    [(2, 1.5, 0.1), (10, 2, 0.05), (10, 2, 0.2), (50, 3, 0.01), (100, 2.5, 0.03)],
)
def test_run_lengths_of_the_plain_form(m, height, rate):
    found = stats.bernoulli_run_length(rate, m, height)
    assert found == pytest.approx(R[f"plain_{m}_{height:g}_{rate:g}"], rel=1e-9)


def on_a_fine_lattice(risk, ratio, true, height, parts):
    """Run length at one risk: sparse equations, the smaller score cut into `parts` widths."""
    if_not = -np.log1p((ratio - 1) * risk)
    if_failed = if_not + np.log(ratio)
    width = min(abs(if_not), abs(if_failed)) / parts
    states = int(np.ceil(height / width - 1e-9))
    failing = true * risk / (1 - risk + true * risk)
    start = np.arange(states)
    ends = [np.maximum(start + round(one / width), 0) for one in (if_failed, if_not)]
    rows, columns = np.tile(start, 2), np.concatenate(ends)
    chance = np.repeat([failing, 1 - failing], states)
    inside = columns < states
    moves = sparse.csc_array(
        (chance[inside], (rows[inside], columns[inside])), shape=(states, states)
    )
    return spsolve(sparse.eye_array(states, format="csc") - moves, np.ones(states))[0]


@pytest.mark.parametrize(
    ("risk", "ratio", "height"), [(0.05, 2, 3), (0.2, 2, 3.5), (0.1, 0.5, 2), (0.02, 3, 4)]
)
def test_run_lengths_at_one_risk(risk, ratio, height):
    # Both converge from their own lattice; what is left is a sum that just reaches the height.
    for true in (1, ratio):
        mix = stats.score_mix([risk], odds_ratio=ratio, true_odds_ratio=true)
        expected = on_a_fine_lattice(risk, ratio, true, height, 157)
        assert stats.average_run_length(mix, height) == pytest.approx(expected, rel=3e-3)


# --- simulation -------------------------------------------------------------------------------


def shop(rng, mean, kinds=300):
    """Expected risks of a shop's jobs, as different as those of a workshop are."""
    return np.minimum(rng.gamma(2, mean / 2, kinds), 0.9)


def simulate(rng, risks, ratio, height, *, runs, true=1.0, most=10**6):
    """Job numbers of the first signal of `runs` sums, job by job; `most` where none came."""
    value, alive = np.zeros(runs), np.arange(runs)
    length = np.full(runs, most)
    for job in range(1, most + 1):
        risk = rng.choice(risks, len(alive))
        failed = rng.random(len(alive)) < true * risk / (1 - risk + true * risk)
        value = np.maximum(0, value + failed * np.log(ratio) - np.log1p((ratio - 1) * risk))
        out = value >= height
        length[alive[out]] = job
        value, alive = value[~out], alive[~out]
        if len(alive) == 0:
            break
    return length


@pytest.mark.parametrize(("mean", "ratio"), [(0.03, 2.0), (0.2, 2.0), (0.1, 0.5)])
def test_run_length_of_a_mix(mean, ratio):
    rng = np.random.default_rng(11)
    risks = shop(rng, mean)
    height = stats.cusum_threshold(stats.score_mix(risks, odds_ratio=ratio), 300)
    for true in (1.0, ratio):
        mix = stats.score_mix(risks, odds_ratio=ratio, true_odds_ratio=true)
        seen = simulate(rng, risks, ratio, height, runs=3000, true=true)
        error = seen.std() / np.sqrt(len(seen))
        found = stats.average_run_length(mix, height)
        assert found == pytest.approx(seen.mean(), abs=4 * error + 0.005 * found)


def test_groups_of_a_shop_without_change_alarm_as_often_as_computed():
    rng = np.random.default_rng(12)
    risks = shop(rng, 0.04)
    mix = stats.score_mix(risks)
    height = stats.cusum_threshold(mix, 2000)
    size = rng.integers(20, 900, 1500)
    group = np.repeat(np.arange(len(size)), size)
    expected = rng.choice(risks, len(group))
    scores = stats.cusum_scores((rng.random(len(group)) < expected).astype(float), expected)
    alarms = (stats.cusum_alarms(scores, height, groups=group).alarm >= 0).sum()
    chance = stats.false_alarm_probability(mix, height, size)
    assert alarms == pytest.approx(chance.sum(), abs=4 * np.sqrt((chance * (1 - chance)).sum()))


def test_a_run_over_groups_that_do_not_differ_rarely_finds_one():
    rng = np.random.default_rng(14)
    runs, groups = 400, 60
    n = rng.integers(5, 400, groups)
    found = []
    for _ in range(runs):
        risks = [shop(rng, 0.05, size) for size in n]
        failed = np.array([(rng.random(len(one)) < one).sum() for one in risks])
        expected = np.array([one.sum() for one in risks])
        p = stats.expected_p_values(failed, n, expected, alternative="more")
        found.append((stats.benjamini_hochberg(p) < 0.05).any())
    assert np.mean(found) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / runs)


@pytest.mark.slow
@pytest.mark.parametrize("ratio", [2.0, 0.5])
@pytest.mark.parametrize("mean", [0.003, 0.01, 0.05, 0.2])
def test_spacing_of_false_alarms(mean, ratio):
    """Simulated spacing of false alarms against the computed one; prints what the README states."""
    rng = np.random.default_rng(13)
    risks = shop(rng, mean)
    mix = stats.score_mix(risks, odds_ratio=ratio)
    for wanted in (1000, 10_000):
        height = stats.cusum_threshold(mix, wanted)
        seen = simulate(rng, risks, ratio, height, runs=10_000)
        error = seen.std() / np.sqrt(len(seen))
        jobs = np.array([wanted // 20, wanted // 4, wanted])
        chance = stats.false_alarm_probability(mix, height, jobs)
        share = (seen[:, None] <= jobs).mean(axis=0)
        print(
            f"\nmean risk {mean:5} odds ratio {ratio:3} wanted {wanted:6} threshold {height:5.2f}"
            f" simulated {seen.mean():8.1f} +- {error:5.1f}; within {jobs} jobs:"
            f" computed {chance.round(4)}, simulated {share.round(4)}"
        )
        assert seen.mean() == pytest.approx(wanted, abs=4 * error + 0.005 * wanted)
        margin = 4 * np.sqrt(chance * (1 - chance) / len(seen)) + 0.02 * chance
        assert (np.abs(share - chance) <= margin).all()
        # At the average spacing, changed odds are found far sooner.
        sooner = stats.score_mix(risks, odds_ratio=ratio, true_odds_ratio=ratio)
        found = stats.average_run_length(sooner, height)
        late = simulate(rng, risks, ratio, height, runs=4000, true=ratio)
        margin = 4 * late.std() / np.sqrt(len(late)) + 0.01 * found
        assert found == pytest.approx(late.mean(), abs=margin)
