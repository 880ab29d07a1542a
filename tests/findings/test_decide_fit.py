"""All failures of a choice in one fit: what is shared, what is a class's own, and the priors."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from fixstats import stats
from fixstats.findings.decide_cells import lay_ground
from fixstats.findings.decide_fit import MINUTES, ODDS, WHOLE, Counts, fit_rates

from .decide_shops import counted_of, job

MODELS = ("Alder", "Birch", "Cedar", "Dogwood")


def ground_of(cheap, dear, jobs=80):
    """Two options on four models; `cheap`, `dear`: failures of `jobs`, by (option, model)."""
    rows = []
    for option, (place, model), n in product(("heat", "cold"), enumerate(MODELS), range(jobs)):
        tables = (("tab", cheap), ("glass", dear))
        failed = [mode for mode, table in tables if n < table[option][place]]
        rows.append(job(option, *failed, model=model, technician=f"T{n % 3}"))
    return lay_ground(counted_of(rows))


def classes_of(ground, *modes):
    return [Counts(ground.count(mode), ground.count("jobs")) for mode in modes]


CHEAP = {"heat": [8, 8, 8, 8], "cold": [8, 8, 8, 24]}
DEAR = {"heat": [2, 2, 2, 2], "cold": [2, 2, 2, 2]}
GROUND = ground_of(CHEAP, DEAR)


def ratio(rates, ground, model):
    """Rate of cold over that of heat on a model."""
    place = ground.models.index(model)
    mean = rates.mean(axis=-1)[:, place]
    return mean[ground.options.index("cold")] / mean[ground.options.index("heat")]


def test_cheap_failures_tell_of_dear_ones():
    (alone,) = fit_rates(GROUND, classes_of(GROUND, "glass"), 1000)
    tab, glass = fit_rates(GROUND, classes_of(GROUND, "tab", "glass"), 1000)
    assert tab.shape == glass.shape == (2, len(MODELS) + 1, 1000)
    # Nothing tells the options apart by glass; cold tears tabs on Dogwood, and only there.
    assert ratio(alone, GROUND, "Dogwood") == pytest.approx(1, abs=0.1)
    assert ratio(tab, GROUND, "Dogwood") > 1.8
    assert 1.1 < ratio(glass, GROUND, "Dogwood") < ratio(tab, GROUND, "Dogwood")
    assert ratio(glass, GROUND, "Alder") < ratio(glass, GROUND, "Dogwood")


def test_with_many_jobs_each_class_speaks_for_itself():
    times = 60
    tables = ({o: [times * n for n in row] for o, row in t.items()} for t in (CHEAP, DEAR))
    many = ground_of(*tables, jobs=80 * times)
    tab, glass = fit_rates(many, classes_of(many, "tab", "glass"), 1000)
    assert ratio(tab, many, "Dogwood") == pytest.approx(3, abs=0.2)
    assert ratio(glass, many, "Dogwood") == pytest.approx(1, abs=0.2)


def test_one_class_is_an_ordinary_fit():
    (found,) = fit_rates(GROUND, classes_of(GROUND, "tab"), 500)
    plan = GROUND.plan
    fit = stats.fit_multilevel(
        GROUND.count("tab"), GROUND.count("jobs"),
        stats.side_by_side(
            stats.fixed_columns(plan.design.columns[:, ~plan.design.penalised], ["level"]),
            stats.Design(
                plan.design.columns[:, plan.design.penalised],
                tuple(np.array(plan.design.names)[plan.design.penalised]),
                np.ones(int(plan.design.penalised.sum()), dtype=bool),
            ),
        ),
        plan.groups,
        sd_rate=ODDS.groups(GROUND),
        contrast_sd=[1.0, *ODDS.columns(GROUND)[plan.design.penalised]],
        draws=500,
    )  # fmt: skip
    order = np.argsort(plan.design.penalised, kind="stable")
    at = [replace(one, columns=one.columns[:, order]) for one in GROUND.at_option]
    expected = stats.rate_draws(fit, at, GROUND.weights, scopes=GROUND.scopes)
    assert_allclose(found, expected, rtol=1e-5)


def test_equivalent_failures_are_more_than_jobs():
    """Counts and rates scale together: three events for each of two is one and a half."""
    jobs = GROUND.count("jobs")
    (once,) = fit_rates(GROUND, [Counts(GROUND.count("tab") / 50, jobs)], 500)
    twice = Counts(GROUND.count("tab") / 50 * 40, jobs)
    assert twice.times == 1 and Counts(jobs * 1.5, jobs).times == 2
    (many,) = fit_rates(GROUND, [twice], 500)
    assert many.mean() == pytest.approx(40 * once.mean(), rel=0.1)


def test_without_anything_to_tell_there_is_no_fit():
    jobs = GROUND.count("jobs")
    for failures in (np.zeros(len(jobs)), jobs):
        one = Counts(failures, jobs)
        assert not one.tells
        assert fit_rates(GROUND, [one, *classes_of(GROUND, "tab")], 100) is None


def test_priors_by_kind_of_column_and_group():
    kinds = dict(zip(GROUND.plan.design.names, ODDS.columns(GROUND), strict=True))
    assert kinds["option[1]"] == ODDS.option
    assert kinds["option[1] by model"] == kinds["option[1] by technician"] == ODDS.use
    names = [group.name for group in GROUND.plan.groups]
    rates = dict(zip(names, MINUTES.groups(GROUND), strict=True))
    assert rates["option by model"] == MINUTES.crossed and rates["model"] == MINUTES.group
    # A choice changes less of the whole job's minutes than of its own step's.
    assert WHOLE.option < MINUTES.option


def test_the_same_seed_gives_the_same_draws():
    first, again, other = (
        fit_rates(GROUND, classes_of(GROUND, "tab", "glass"), 200, seed) for seed in (1, 1, 2)
    )
    assert_array_equal(first, again)
    assert (np.array(first) != np.array(other)).any()
