"""Seconds of the heavy statistics on invented counts, less start-up: ``pool`` or ``multilevel``."""

import os
import sys
import time

# As the command does, before NumPy is loaded: on matrices this small more threads only wait.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from fixstats import stats

GROUPS = 10_000
CELLS = 20_000
# A large chain: the fit has an effect for each of these and for each option on each model.
MODELS, TECHNICIANS, OPTIONS = 200, 500, 5


def pool():
    """Pooled rates of 10,000 groups, most of them small."""
    random = np.random.default_rng(1)
    opportunities = random.poisson(30, GROUPS) + 1
    failures = random.binomial(opportunities, random.beta(2, 40, GROUPS))
    return lambda: stats.pool_rates(failures, opportunities)


def multilevel():
    """Five options over 20,000 cells, by model, technician, and option on each model."""
    random = np.random.default_rng(0)
    model, technician = random.integers(0, MODELS, CELLS), random.integers(0, TECHNICIANS, CELLS)
    option = random.integers(0, OPTIONS, CELLS)
    groups = [
        stats.grouping("model", model, MODELS),
        stats.grouping("technician", technician, TECHNICIANS),
        stats.grouping("option by model", option * MODELS + model, OPTIONS * MODELS),
    ]
    eta = -3 + np.array([0.0, 0.3, -0.2, 0.5, 0.1])[option]
    for group, sd in zip(groups, (0.6, 0.4, 0.3), strict=True):
        eta = eta + random.normal(0, sd, group.levels)[group.codes]
    opportunities = random.poisson(5, CELLS) + 1
    failures = random.binomial(opportunities, 1 / (1 + np.exp(-eta)))
    used = stats.contrasts("option", option, OPTIONS)
    means = [stats.group_means(used, group, opportunities) for group in groups[:2]]
    design = stats.side_by_side(stats.intercept(CELLS), used, *means)
    return lambda: stats.fit_multilevel(failures, opportunities, design, groups)


if __name__ == "__main__":
    work = {"pool": pool, "multilevel": multilevel}[sys.argv[1]]()
    start = time.perf_counter()
    work()
    print(time.perf_counter() - start)
