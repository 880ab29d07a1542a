"""How often sequences leave the truth out over ten thousand looks, and trials say what is wrong.

Run with `pytest -m slow -s tests/reference/test_trial_errors.py` to see the tables. Strata differ
in how hard their devices are; in "drifting" the rates of both options rise over time, in "uneven"
the difference differs between strata whose mix is steady.
"""

from collections import defaultdict

import numpy as np
import pytest

from fixstats import stats
from fixstats.records.trials import NewTrial, schedule
from fixstats.stats.trial_rule import HARM, MAIN_ERROR, NO_DIFFERENCE, SHOWN

LOOKS = 10_000


def chance(share, paths):
    """Three standard errors: one case in 700 that is just within its level fails by chance."""
    return 3 * np.sqrt(share * (1 - share) / paths)


def left_out_once(rate, paths, rng, narrowest_at):
    """Share of paths on which the sequence for one rate leaves it out at any of the looks."""
    from fixstats.stats.anytime import _log_beta_mixture

    n = np.arange(1.0, LOOKS + 1)
    tuning = 2 * np.log(20) + np.log1p(2 * np.log(20))
    wrong = 0
    for _ in range(paths):
        k = np.cumsum(rng.random(LOOKS) < rate).astype(float)
        at = np.full(LOOKS, rate)
        wrong += (_log_beta_mixture(k, n, at, narrowest_at / tuning - 1) >= np.log(20)).any()
    return wrong / paths


def pair_scores(kind, rng):
    """Scores of pairs over time, 1, 0 or -1, and the true difference."""
    hard = rng.choice([0.03, 0.1, 0.3], LOOKS, p=[0.5, 0.3, 0.2])
    difference = {"equal": 0.0, "drifting": 0.0, "better": -0.02, "uneven": 0.05}[kind]
    effect = np.full(LOOKS, difference)
    if kind == "drifting":
        hard = hard * np.linspace(0.5, 2.5, LOOKS)
    if kind == "uneven":
        effect = np.select([hard == 0.3, hard == 0.1], [0.25, 0.0], 0.0)
    failed = rng.random(LOOKS) < hard + effect
    baseline_failed = rng.random(LOOKS) < hard
    return failed.astype(int) - baseline_failed.astype(int), difference


def pairs_left_out(kind, paths, rng, level=0.96):
    wrong = 0
    for _ in range(paths):
        scores, difference = pair_scores(kind, rng)
        running = [np.cumsum(scores == value) for value in (1, -1, 0)]
        wrong += (stats.pair_evidence(*running, difference=difference) >= 1 / (1 - level)).any()
    return wrong / paths


KINDS = ("equal", "drifting", "better", "uneven")


@pytest.mark.parametrize("kind", KINDS)
def test_sequences_of_a_difference_hold_over_all_looks(kind):
    paths = 60
    share = pairs_left_out(kind, paths, np.random.default_rng(5))
    assert share <= MAIN_ERROR + chance(MAIN_ERROR, paths)


@pytest.mark.parametrize("rate", [0.01, 0.2])
def test_sequences_of_a_rate_hold_over_all_looks(rate):
    # Of 200 paths 17 once left 0.01 out, of the first 800 of the same series 4 in 100 do.
    paths = 800
    share = left_out_once(rate, paths, np.random.default_rng(6), narrowest_at=100)
    assert share <= 0.05 + chance(0.05, paths)


@pytest.mark.slow
def test_sequences_hold_over_ten_thousand_looks():
    paths = 2000
    rng = np.random.default_rng(7)
    print("\nshare of paths that leave the truth out at any of 10,000 looks")
    for kind in KINDS:
        share = pairs_left_out(kind, paths, rng)
        print(f"difference, {kind}: {share:.4f} of at most {MAIN_ERROR}")
        assert share <= MAIN_ERROR + chance(MAIN_ERROR, paths)
    for rate in (0.002, 0.02, 0.2, 0.5):
        share = left_out_once(rate, paths, rng, narrowest_at=100)
        print(f"rate {rate}: {share:.4f} of at most 0.05")
        assert share <= 0.05 + chance(0.05, paths)


# rate, baseline rate, safety rate of the option and of the baseline
TRIALS = {
    "equal": (0.10, 0.10, 0.01, 0.01),
    "equal and rare": (0.02, 0.02, 0.004, 0.004),
    "equal, at the safety limit": (0.10, 0.10, 0.02, 0.02),
    "just worth having": (0.05, 0.10, 0.01, 0.01),
    "better": (0.05, 0.15, 0.01, 0.01),
    "harmful": (0.10, 0.10, 0.06, 0.01),
}
WORTH, WEEKLY, WEEKS, LIMIT = 0.05, 6, 200, 0.02


def run_trials(case, trials, rng):
    """The verdict in the end of as many trials, each looked at weekly for 200 weeks."""
    rate, baseline, harm_rate, harm_baseline = TRIALS[case]

    def path(p, q):
        shares = [p * (1 - q), q * (1 - p), 1 - p * (1 - q) - q * (1 - p)]
        new = rng.multinomial(WEEKLY, shares, size=(trials, WEEKS)).cumsum(axis=1)
        return stats.Pairs(*(new[..., n].astype(float) for n in range(3)))

    main, safety = path(rate, baseline), path(harm_rate, harm_baseline)
    # Pairs in which both had a safety failure count for the option's own rate, too.
    share = (
        harm_rate * harm_baseline / (1 - harm_rate - harm_baseline + 2 * harm_rate * harm_baseline)
    )
    steps = np.diff(safety.same, axis=1, prepend=0).astype(int)
    both = rng.binomial(steps, share).cumsum(axis=1)
    harm = stats.harm_evidence(
        safety, safety.more + both, np.arange(1, WEEKS + 1) * WEEKLY, safety_limit=LIMIT
    )
    jobs = np.broadcast_to(2 * WEEKLY * np.arange(1, WEEKS + 1), harm.shape)
    verdict = stats.stopping_rule(main, harm, jobs, worth=WORTH, max_jobs=10**6)
    return verdict[:, -1]


# What would be wrong to say, where that is the truth.
WRONG = {
    "equal": (SHOWN, HARM),
    "equal and rare": (SHOWN, HARM),
    "equal, at the safety limit": (SHOWN, HARM),
    "just worth having": (NO_DIFFERENCE, HARM),
    "better": (NO_DIFFERENCE, HARM),
    "harmful": (SHOWN,),
}


@pytest.mark.parametrize("case", TRIALS)
def test_trials_looked_at_weekly_seldom_say_what_is_wrong(case):
    trials = 200
    verdict = run_trials(case, trials, np.random.default_rng(8))
    assert np.isin(verdict, WRONG[case]).mean() <= 0.05 + chance(0.05, trials)
    if case == "better":
        assert (verdict == SHOWN).mean() > 0.9
    if case == "harmful":
        assert (verdict == HARM).mean() > 0.9


@pytest.mark.slow
def test_over_all_error_of_trials():
    trials = 4000
    rng = np.random.default_rng(9)
    print("\nverdicts of trials looked at weekly for 200 weeks, 6 pairs a week, worth having 0.05")
    for case in TRIALS:
        verdict = run_trials(case, trials, rng)
        told = {name: (verdict == n).mean() for n, name in enumerate(stats.VERDICTS)}
        wrong = np.isin(verdict, WRONG[case]).mean()
        print(f"{case}: wrong {wrong:.4f};", {name: round(x, 3) for name, x in told.items()})
        assert wrong <= 0.05


# From the schedule to the verdict: strata of unlike rates, failed jobs that take days longer and
# are recorded so much later, one job in ten that nobody checked, one in twenty done otherwise than
# drawn. Pairs are made in the order in which jobs come to count (the statement trial_places).
NEW = NewTrial("t", "opening", "a", "b", None, None, ("x",), 0.1, 10**6, "0")
HARD = {"easier": 0.03, "middle": 0.1, "harder": 0.3}


def whole_trial(difference, jobs, seed, *, late=6, wait=8, every=1, drift=0.0, tail=False):
    """The verdict in the end of a trial of so many jobs, five a day.

    Failed jobs are done `late` days later, or so many on average (`tail`); a job counts `wait` days
    after intake, or when it is done and recorded, if that is later; what is done is imported once
    in `every` days; rates rise by `drift` of themselves over the trial.
    """
    rng = np.random.default_rng(seed)
    new = NewTrial(**vars(NEW) | {"seed": str(seed)})
    strata = [(who, group) for who in ("T1", "T2", "T3") for group in HARD]
    queues = {one: iter(schedule(new, *one, jobs)) for one in strata}
    done = defaultdict(lambda: {"a": [], "b": []})
    for number in range(jobs):
        stratum = strata[rng.integers(len(strata))]
        drawn = next(queues[stratum]).assigned
        used = drawn if rng.random() > 0.05 else "a"
        rate = HARD[stratum[1]] * (1 + drift * number / jobs)
        failed = rng.random() < rate + (difference if used == "b" else 0)
        if rng.random() > 0.1:
            longer = rng.geometric(1 / late) if tail else late
            ready = number // 5 + rng.integers(0, 3) + longer * failed
            counts = max(ready, number // 5 + wait)
            # Imports in order, within one by intake.
            done[stratum][drawn].append((-(-counts // every), number, counts, failed))
    pairs = sorted(
        (*max((one[0], one[2]), (other[0], other[2])), int(other[3]) - int(one[3]))
        for by_option in done.values()
        for one, other in zip(sorted(by_option["a"]), sorted(by_option["b"]), strict=False)
    )
    moments, scores = [pair[:2] for pair in pairs], np.array([score for *_, score in pairs])
    # A look at the end of each day, not between two pairs of it.
    last = [n for n, one in enumerate(moments) if one != (*moments, None)[n + 1]]
    running = stats.Pairs(*(np.cumsum(scores == value)[last] for value in (1, -1, 0)))
    verdict = stats.stopping_rule(running, 1.0, 0, worth=NEW.difference, max_jobs=10**6)
    return verdict[-1]


def whole_trials(difference, trials, seed, **kinds):
    """The verdict in the end of as many trials."""
    return np.array([whole_trial(difference, 400, seed + n, **kinds) for n in range(trials)])


def test_whole_trials_from_schedule_to_verdict():
    equal = whole_trials(0.0, 60, 1000)
    assert (equal == SHOWN).mean() <= MAIN_ERROR + chance(MAIN_ERROR, 60)
    assert (whole_trials(0.25, 20, 2000) == SHOWN).mean() > 0.7


def test_quick_jobs_that_go_first_would_hide_a_difference():
    """Why jobs wait: failed ones take 40 days, and without a wait none is there to be seen."""
    late = {"late": 40, "trials": 20, "seed": 3000}
    assert (whole_trials(0.1, wait=0, **late) == NO_DIFFERENCE).mean() > 0.5
    assert not (whole_trials(0.1, wait=42, **late) == NO_DIFFERENCE).any()


# Failed jobs done within the wait; twenty days later on average, with a long tail of which 95
# in 100 are waited for; the same imported monthly; with rates that rise fivefold.
LATE = {"late": 20, "tail": True, "wait": 60}
WAYS = {
    "in time": {},
    "long tail": LATE,
    "long tail, imported monthly": LATE | {"every": 30},
    "long tail, rising rates": LATE | {"drift": 4.0},
}


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_over_all_error_from_schedule_to_verdict(way):
    print(f"\nwhole trials of 400 jobs, looked at daily, 10 in 100 worth having; failed jobs {way}")
    for difference in (0.0, 0.1, 0.2) if way == "in time" else (0.0, 0.1):
        verdict = whole_trials(difference, 1500, 5000, **WAYS[way])
        told = {name: round((verdict == n).mean(), 3) for n, name in enumerate(stats.VERDICTS)}
        print(f"difference {difference}: {told}")
        wrong = SHOWN if difference == 0 else NO_DIFFERENCE
        assert (verdict == wrong).mean() <= MAIN_ERROR
