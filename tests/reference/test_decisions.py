"""Are decisions right? Simulated workshops whose true costs are known, looked at every month.

By simulation, no published value: the truth is what the generator says. The figures of the slow
test stand in the README. Run it with

    pytest -n 0 -m slow -s tests/reference/test_decisions.py

`FIXSTATS_SHOPS` sets the number of workshops of each kind.
"""

import os
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
import pytest

from fixstats.findings.decide_figures import conclude, fit_choice
from fixstats.findings.decide_rows import option_rows, rows_of
from fixstats.findings.verdicts import STANDARDISE, VERDICTS
from fixstats.folder import find_folder, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

from . import decision_counts as counts
from . import decision_shops as shops
from .decision_bound import best_known
from .decision_shops import BETTER, BY_MODEL, DAYS, EQUAL

MONTHS = 24
TOLERANCE, STANDARD_AT = counts.SETTINGS.tolerance, counts.SETTINGS.standardise_at
# A wrong standard is not looked for in months around which nothing wrong was nearly sure.
NEARLY, STEP = 0.7, 3
# Nothing is ever that sure: no fit without the last jobs is made.
NEVER = replace(counts.SETTINGS, standardise_at=2.0)
KINDS = {
    f"{name}, {jobs} jobs": replace(kind, jobs=jobs)
    for name, kind in (("equal", EQUAL), ("one better", BETTER), ("best by model", BY_MODEL))
    for jobs in (600, 4000)
}


@dataclass(frozen=True)
class Look:
    """One month: money lost per job by each way of picking; how sure of what is wrong."""

    decided: float
    raw: float
    pooled: float
    sure_of_wrong: float


@dataclass(frozen=True)
class Told:
    """What came of one workshop: its looks by month, the months that told a wrong standard, and
    the verdicts of the last month."""

    looks: dict
    wrong: list
    verdicts: Counter


def day_of(month):
    return DAYS * month // MONTHS


def code_of(name):
    return "abcdefgh".index(name[-1])


def answered(shop, month, settings):
    question = counts.question(shop, day_of(month))
    return conclude(fit_choice(*question, settings), *question, settings)


def judged(shop, used, answer):
    """Of each scope: its model (None: all), the verdict, and what the option costs too much."""
    kind = shop.kind
    jobs = np.bincount(shop.model, minlength=kind.models)
    places = {counts.model_name(n): n for n in range(kind.models)}
    ways = [n for n in range(kind.options) if used[n] and shop.danger[n] <= shops.SAFE]

    def together(option):
        over = shop.over(np.full(kind.models, option), used)
        return np.average(over[jobs > 0], weights=jobs[jobs > 0])

    for scope, weighed in zip(answer.scopes, answer.weighed, strict=True):
        if weighed.verdict.option is None:
            continue
        option = code_of(weighed.verdict.option)
        if scope is None:
            yield scope, weighed, together(option) - min(map(together, ways))
        else:
            yield scope, weighed, shop.over(np.full(kind.models, option), used)[places[scope]]


def wrongly(shop, month, answer):
    """The scopes that are told a wrong standard."""
    used = shop.seen(day_of(month)).used
    return [
        scope
        for scope, weighed, over in judged(shop, used, answer)
        if weighed.verdict.verdict == STANDARDISE and over > TOLERANCE
    ]


def lost(shop, seen, picks):
    """Mean money lost per job, over the models seen so far, each as often as it comes in all."""
    jobs = np.bincount(shop.model, minlength=shop.kind.models) * (
        np.bincount(seen.model, minlength=shop.kind.models) > 0
    )
    return float(np.average(np.nan_to_num(shop.over(picks, seen.used)), weights=jobs))


def naive(seen):
    """The lowest raw mean cost of each model, and of all models together."""
    options, models = seen.kind.options, seen.kind.models
    known = seen.checked & seen.timed
    place = (seen.option * models + seen.model)[known]
    with np.errstate(invalid="ignore"):
        money = np.bincount(place, seen.paid[known], options * models)
        jobs = np.bincount(place, minlength=options * models)
        by_model = (money / jobs).reshape(options, models)
        together = money.reshape(options, -1).sum(axis=1) / jobs.reshape(options, -1).sum(axis=1)
    pooled = int(np.nanargmin(together))
    raw = np.where(np.isnan(by_model), np.inf, by_model)
    raw[pooled] = np.minimum(raw[pooled], 1e9)  # a model that tells nothing
    return raw.argmin(axis=0), np.full(models, pooled)


def look_at(shop, month, answer):
    seen = shop.seen(day_of(month))
    raw, pooled = naive(seen)
    picks = pooled.copy()
    sure = 0.0
    places = {counts.model_name(n): n for n in range(shop.kind.models)}
    for scope, weighed, over in judged(shop, seen.used, answer):
        if scope is not None:
            picks[places[scope]] = code_of(weighed.verdict.option)
        if over > TOLERANCE:
            found = {one.option: one.p_best for one in weighed.figures.candidates}
            sure = max(sure, found[weighed.verdict.option])
    return Look(*(lost(shop, seen, pick) for pick in (picks, raw, pooled)), sure)


def follow(seed, kind):
    """One workshop over two years: every third month, and every month where it matters."""
    shop = shops.shop(seed, kind)
    looks, wrong = {}, []
    for month in range(STEP, MONTHS + 1, STEP):
        looks[month] = look_at(shop, month, answered(shop, month, NEVER))
    near = {
        other
        for month, look in looks.items()
        if look.sure_of_wrong >= NEARLY
        for other in range(month - STEP + 1, month + STEP)
        if 1 <= other <= MONTHS
    }
    for month in sorted(near):
        if wrongly(shop, month, answered(shop, month, counts.SETTINGS)):
            wrong.append(month)
    last = answered(shop, MONTHS, counts.SETTINGS)
    verdicts = Counter(
        one.verdict.verdict
        for scope, one in zip(last.scopes, last.weighed, strict=True)
        if scope is not None
    )
    return Told(looks, wrong, verdicts)


def mean_of(found, what, months):
    return np.array([np.mean([getattr(one.looks[m], what) for m in months]) for one in found])


def line_of(name, found):
    """One line of the table in the README."""
    months = list(found[0].looks)
    parts = []
    for some in (months[-1:], months):
        ours, raw, pooled = (mean_of(found, w, some) for w in ("decided", "raw", "pooled"))
        parts.append(f"{ours.mean():.2f} | {raw.mean():.2f} | {pooled.mean():.2f}")
    verdicts = sum((one.verdicts for one in found), Counter())
    total = sum(verdicts.values())
    shares = ", ".join(f"{one} {verdicts[one] / total:.0%}" for one in VERDICTS if verdicts[one])
    wrong = np.mean([bool(one.wrong) for one in found])
    return f"| {name} | {len(found)} | {wrong:.1%} | {parts[0]} | {parts[1]} | {shares} |"


def simulated(kind, number, first=20_000):
    return [follow(seed, kind) for seed in range(first, first + number)]


def held(seed, kind):
    """Which intervals hold the truth at the end: by model or for all, cost or saving, held."""
    shop = shops.shop(seed, kind)
    answer = answered(shop, MONTHS, NEVER)
    jobs = np.bincount(shop.model, minlength=kind.models)
    costs = np.where(jobs > 0, shop.cost, 0.0)
    truth = {counts.model_name(n): costs[:, n] for n in range(kind.models)}
    truth[None] = costs @ jobs / jobs.sum()
    level = counts.SETTINGS.confidence_level
    for row in option_rows(answer, level):
        if row["borrowed"] < 1:
            true = truth[row["model"]][code_of(row["option"])]
            yield row["scope"], "cost", row["cost_low"] <= true <= row["cost_high"]
    for row in rows_of(answer, level):
        if row["runner_up"] is not None:
            true = truth[row["model"]]
            saved = true[code_of(row["runner_up"])] - true[code_of(row["option"])]
            yield row["scope"], "saving", row["saving_low"] <= saved <= row["saving_high"]


# ---------------------------------------------------------------- quick


def shop_folder(path, shop, day):
    """A shop folder with the sheet of that day imported."""
    path.mkdir(exist_ok=True)
    (path / "catalogue.toml").write_text(counts.catalogue(shop.kind), encoding="utf-8")
    folder = make_folder(path / "shop", counts.SETTINGS, path / "catalogue.toml").path
    pl.DataFrame(list(counts.sheet(shop, day)), infer_schema_length=None).write_csv(path / "s.csv")
    (report,) = import_sheets(find_folder(folder), [path / "s.csv"], covers="all").sheets
    assert report.held_back == 0
    return open_shop(folder)


ODD = replace(BETTER, jobs=300, unchecked=0.2, no_minutes=0.3, only_on=3)


@pytest.mark.parametrize("kind", [replace(BY_MODEL, jobs=700), ODD])
def test_counts_of_the_simulation_are_those_of_the_records(tmp_path, kind):
    shop = shops.shop(7, kind)
    last = int(shop.day.max())
    found = shop_folder(tmp_path, shop, last).decide()
    question = counts.question(shop, last)
    answer = conclude(fit_choice(*question, counts.SETTINGS), *question, counts.SETTINGS)
    expected = rows_of(answer, counts.SETTINGS.confidence_level)
    assert len(found.rows) == len(expected) == kind.models + 1
    for row, own in zip(found.rows, expected, strict=True):
        for key in ("model", "option", "verdict", "current", "jobs", "safety", "runner_up"):
            assert row[key] == own[key], key
        for key in ("cost_per_job", "p_best", "regret_per_job"):
            assert row[key] == pytest.approx(own[key], rel=1e-6, abs=1e-9), key


def test_raw_costs_mislead_in_these_workshops():
    # The confounding must be worth adjusting for: else the comparison proves nothing.
    kind = replace(BETTER, jobs=4000)
    seen = [shops.shop(seed, kind) for seed in range(60)]
    assert np.mean([lost(one, one, naive(one)[1]) for one in seen]) > 0.5
    fair = replace(kind, confounded=False, late=False)
    seen = [shops.shop(seed, fair) for seed in range(60)]
    assert np.mean([lost(one, one, naive(one)[1]) for one in seen]) < 0.1


def test_truth_by_doing_every_job_with_every_option():
    """Mean money of very many simulated jobs of one option, no learning, is its true cost."""
    kind = replace(BETTER, jobs=400_000, late=False, confounded=False, models=2)
    shop = shops.shop(3, kind)
    for option in range(kind.options):
        for model in range(kind.models):
            own = (shop.option == option) & (shop.model == model)
            error = shop.paid[own].std() / np.sqrt(own.sum())
            assert abs(shop.paid[own].mean() - shop.cost[option, model]) < 4 * error


# ---------------------------------------------------------------- slow


@pytest.mark.slow
@pytest.mark.parametrize(
    "kind",
    [
        replace(BETTER, options=2),
        replace(BY_MODEL, options=5, jobs=2000),
        replace(BETTER, technicians=1),
        replace(BY_MODEL, models=12, jobs=1500),
        replace(BETTER, unchecked=0.4),
        replace(BETTER, no_minutes=0.6),
        replace(BY_MODEL, only_on=2, jobs=1500),
        replace(BETTER, dangerous=0.06, jobs=1500),
        replace(BETTER, jobs=40),
    ],
    ids=lambda kind: f"{kind.options} options, {kind.models} models, {kind.jobs} jobs",
)
def test_odd_workshops(kind):
    found = simulated(kind, 3, 500)
    assert sum(bool(one.wrong) for one in found) <= 1
    assert all(np.isfinite(look.decided) for one in found for look in one.looks.values())


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_decisions_of_many_workshops(name):
    number = int(os.environ.get("FIXSTATS_SHOPS", "200"))
    told = simulated(KINDS[name], number)
    print(line_of(name, told), flush=True)
    # Three Monte Carlo errors above 5 %.
    assert np.mean([bool(one.wrong) for one in told]) <= 0.05 + 3 * np.sqrt(0.0475 / number)
    if name.startswith("equal"):
        return
    ours, raw, pooled = (mean_of(told, w, [MONTHS]) for w in ("decided", "raw", "pooled"))
    assert ours.mean() <= pooled.mean() + 2 * (ours - pooled).std() / np.sqrt(number)
    # Half of what raw costs lose is the aim; where the best differs by model it is missed.
    part = 0.5 if name == "one better, 4000 jobs" else 1.4
    assert ours.mean() <= part * raw.mean() + 2 * (ours - raw).std() / np.sqrt(number)


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in KINDS if not name.startswith("equal")])
def test_money_lost_at_the_end(name):
    """More workshops than the table above can have: the last month only, on other seeds."""
    number = int(os.environ.get("FIXSTATS_SHOPS", "200"))
    looks = []
    for seed in range(50_000, 50_000 + number):
        shop = shops.shop(seed, KINDS[name])
        looks.append(look_at(shop, MONTHS, answered(shop, MONTHS, NEVER)))
    ours, raw, pooled = (
        np.array([getattr(one, way) for one in looks]) for way in ("decided", "raw", "pooled")
    )
    print(f"| {name} | {ours.mean():.2f} | {raw.mean():.2f} | {pooled.mean():.2f} |")
    assert ours.mean() <= pooled.mean() + 2 * (ours - pooled).std() / np.sqrt(number)
    assert ours.mean() <= raw.mean() + 2 * (ours - raw).std() / np.sqrt(number)


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_intervals_of_money_hold_the_truth(name):
    number = int(os.environ.get("FIXSTATS_SHOPS", "200"))
    found = [one for seed in range(70_000, 70_000 + number) for one in held(seed, KINDS[name])]
    shares = {
        (scope, what): np.mean([yes for s, w, yes in found if (s, w) == (scope, what)])
        for scope in ("model", "all")
        for what in ("cost", "saving")
    }
    print(f"| {name} | " + " | ".join(f"{one:.3f}" for one in shares.values()) + " |")
    # Of a leader that was picked by the same figures: a little less than promised.
    assert min(shares.values()) > 0.88


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in KINDS if name.startswith("best by model")])
def test_what_can_be_reached_at_all(name):
    number = int(os.environ.get("FIXSTATS_SHOPS", "200"))
    found = [shops.shop(seed, KINDS[name]) for seed in range(50_000, 50_000 + number)]
    bound = np.array([lost(shop, shop, best_known(shop)) for shop in found])
    raw = np.array([lost(shop, shop, naive(shop.seen(DAYS))[0]) for shop in found])
    print(f"| {name} | {bound.mean():.2f} | {raw.mean():.2f} |")
    assert bound.mean() < raw.mean()
