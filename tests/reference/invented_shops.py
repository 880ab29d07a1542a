"""Invented shops with known truth: options confounded by technician and difficulty.

Every technician has a care and a taste for options that goes with it, every model a difficulty
that also sways the choice. Option by model effects are part of the truth.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from fixstats import stats

OPTIONS, MODELS = 3, 8
EFFECTS = np.array([0.0, -0.4, 0.3])


@dataclass(frozen=True)
class Shop:
    technician: np.ndarray
    model: np.ndarray
    option: np.ndarray
    failures: np.ndarray
    opportunities: np.ndarray
    truth: np.ndarray  # (options, models and all): standardised rates


def shop(seed, technicians, *, jobs=1200, rate=0.06, confounding=1.0, twins=False):
    random = np.random.default_rng(seed)
    care, difficulty = random.normal(size=technicians), random.normal(size=MODELS)
    effects = np.zeros(OPTIONS) if twins else EFFECTS
    by_model = 0 if twins else random.normal(0, 0.3, (OPTIONS, MODELS))
    level = 0.4 * care[:, None] + 0.6 * difficulty + np.log(rate / (1 - rate))
    eta = level + (effects[:, None] + by_model + np.zeros((OPTIONS, MODELS)))[:, None, :]
    slopes = confounding * np.array([0.0, 1.0, -1.0])[:, None, None]
    taste = slopes * (care[:, None] - difficulty) + random.normal(0, 0.7, (OPTIONS, technicians, 1))
    share = special.softmax(taste, axis=0)
    # Careful technicians get the hard models.
    who = special.softmax(0.8 * care[:, None] * difficulty, axis=0)
    mix = who * random.dirichlet(np.full(MODELS, 3.0))
    counts = random.multinomial(jobs, (share * mix).ravel()).reshape(eta.shape)
    failures = random.binomial(counts, special.expit(eta))
    jobs_seen = counts.sum(axis=0)
    risk = special.expit(eta)
    with np.errstate(invalid="ignore"):
        by_model_truth = (risk * jobs_seen).sum(axis=1) / jobs_seen.sum(axis=0)
    overall = (risk * jobs_seen).sum(axis=(1, 2)) / jobs_seen.sum()
    option, technician, model = np.nonzero(counts)
    return Shop(
        technician,
        model,
        option,
        failures[option, technician, model],
        counts[option, technician, model],
        np.concatenate([by_model_truth, overall[:, None]], axis=1),
    )


def design(one, option=None):
    """The fit's columns, with the option as it was or one for all cells."""
    cells = len(one.option)
    technicians = stats.grouping("technician", one.technician)
    models = stats.grouping("model", one.model, MODELS)
    used = stats.contrasts("option", one.option, OPTIONS)
    asked = used
    if option is not None:
        asked = stats.contrasts("option", np.full(cells, option), OPTIONS)
    means = [stats.group_means(used, group, one.opportunities) for group in (technicians, models)]
    return stats.side_by_side(stats.intercept(cells), asked, *means)


def groups(one, option=None):
    given = one.option if option is None else np.full(len(one.option), option)
    return [
        stats.grouping("technician", one.technician),
        stats.grouping("model", one.model, MODELS),
        stats.grouping("option by model", given * MODELS + one.model, OPTIONS * MODELS),
    ]


def compare(one, **settings):
    """Fit and standardise: (standardised rates, fit)."""
    counts = one.failures, one.opportunities
    fit = stats.fit_multilevel(*counts, design(one), groups(one), **settings)
    cells = [
        stats.CellsAt(
            design(one, option).columns, tuple(group.codes for group in groups(one, option))
        )
        for option in range(OPTIONS)
    ]
    return stats.adjusted_rates(fit, cells, one.opportunities, scopes=one.model), fit
