"""The fits behind a decision: their priors, and all failures of a choice in one of them; pure.

What suits a model badly tears its tabs, breaks its clips and kills its displays. So all classes of
modes are fitted together: what an option does is one number for all of them and a smaller one for
each, and so is what it does on one model. The many cheap failures then tell of the few dear ones,
which decide the cost. Where modes differ, the fit finds that too.

Priors are narrower than those of a comparison, which asks one question and lets the data speak: a
decision picks the best of several noisy figures, and what is picked looks better than it is. Chosen
by the regret of simulated workshops (`tests/reference/test_decisions.py`); ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fixstats import stats
from fixstats.findings.adjusting import CROSSED
from fixstats.findings.decide_cells import Ground
from fixstats.stats.design import IntArray
from fixstats.stats.validators import FloatArray

BoolArray = NDArray[np.bool_]

# What is particular to one class of modes, beside what all share: part of the sd of the shared.
OWN = 0.3


@dataclass(frozen=True)
class Priors:
    """Priors of one fit, on its scale.

    Sds of normal priors of contrasts: ``option``; ``practice``; ``use``, how a group's mean use of
    an option goes with its level; ``quarter``; ``condition``, any other. Rates of the gamma(2)
    priors of sds: ``group``, of models and of technicians; ``crossed``, of what an option does
    differently by model.
    """

    option: float
    practice: float
    use: float
    quarter: float
    condition: float
    group: float
    crossed: float

    def columns(self, ground: Ground) -> FloatArray:
        """Sd of each column of the ground's design."""
        plan = ground.plan
        practice = f"{plan.practice.key}[" if plan.practice else "\n"

        def sd(name: str) -> float:
            if name in plan.options.names:
                return self.option
            if name.startswith(plan.options.names):
                return self.use
            if name.startswith(practice):
                return self.practice
            return self.quarter if name.startswith("quarter[") else self.condition

        return np.array([sd(name) for name in plan.design.names])

    def groups(self, ground: Ground) -> list[float]:
        """Rate of each group of the ground."""
        return [self.crossed if g.name == CROSSED else self.group for g in ground.plan.groups]


# Log odds of a failure: options differ by a factor of about 1.6, seldom above 3. A tight prior of
# `use` would leave strong confounding in the options.
ODDS = Priors(option=0.5, practice=0.5, use=1.0, quarter=0.3, condition=1.0, group=3.0, crossed=3.0)
# Log minutes of the step.
MINUTES = Priors(
    option=0.2, practice=0.15, use=0.3, quarter=0.1, condition=0.3, group=8.0, crossed=15.0
)
# Log minutes of the whole job, of which the choice is a part.
WHOLE = replace(MINUTES, option=0.12, condition=0.5)


@dataclass(frozen=True)
class Counts:
    """One class of modes over the cells. Failures may be equivalent ones, more than the jobs of a
    cell: then opportunities are multiplied for the fit, and rates after it. A rare event has the
    same likelihood by either."""

    failures: FloatArray
    opportunities: FloatArray

    @property
    def times(self) -> float:
        """What opportunities are multiplied by."""
        some = self.opportunities > 0
        most = float((self.failures[some] / self.opportunities[some]).max(initial=0.0))
        return max(1.0, float(np.ceil(most)))

    @property
    def tells(self) -> bool:
        """Something failed, and not everything."""
        return bool(0 < self.failures.sum() < self.opportunities.sum())


def fit_rates(
    ground: Ground, classes: Sequence[Counts], draws: int, seed: int = 1
) -> list[FloatArray] | None:
    """Adjusted rates of each class, draws (options, scopes, draws) of one fit; None without one.

    Draws are paired over classes, too. The last scope is all models; a ground of one model has
    but that one.
    """
    if len(ground.options) < 2 or not all(one.tells for one in classes):
        return None
    wide = _Wide(ground, len(classes))
    groups, rates = wide.groups
    try:
        fit = stats.fit_multilevel(
            np.concatenate([one.failures for one in classes]),
            np.concatenate([one.opportunities * one.times for one in classes]),
            wide.design,
            groups,
            sd_rate=rates,
            contrast_sd=wide.sds,
            draws=draws,
            seed=seed,
        )
    except (np.linalg.LinAlgError, ValueError):
        return None
    if not fit.converged:
        return None
    found = []
    for n, one in enumerate(classes):
        at = [stats.CellsAt(wide.columns(c.columns, n), wide.codes(c.codes, n))
              for c in ground.at_option]  # fmt: skip
        shares = stats.rate_draws(fit, at, ground.weights, scopes=ground.scopes)
        found.append(one.times * shares)
    return found


@dataclass(frozen=True)
class _Wide:
    """Design and groups of all classes under each other.

    Each class has a level of its own, and models and technicians their own for each class; all
    other columns are shared, those of the options with an own part beside; so are options by model.
    """

    ground: Ground
    number: int

    @property
    def _shared(self) -> BoolArray:
        return self.ground.plan.design.penalised

    @property
    def _both(self) -> BoolArray:
        """Columns that are shared and have an own part: none where there is but one class."""
        plan = self.ground.plan
        return np.isin(plan.design.names, plan.options.names) & (self.number > 1)

    def columns(self, columns: FloatArray, own: int) -> FloatArray:
        """Columns of the wide fit for cells of one class."""
        parts = [self._placed(columns[:, ~self._shared], own), columns[:, self._shared]]
        return np.concatenate([*parts, self._placed(columns[:, self._both], own)], axis=1)

    def _placed(self, columns: FloatArray, own: int) -> FloatArray:
        cells, width = columns.shape
        wide = np.zeros((cells, self.number, width))
        wide[:, own] = columns
        return wide.reshape(cells, -1)

    @property
    def design(self) -> stats.Design:
        """All cells, class by class."""
        design, every = self.ground.plan.design, range(self.number)
        names = np.array(design.names)
        free, shared, both = names[~self._shared], names[self._shared], names[self._both]
        fixed = len(free) * self.number
        labels = (*(f"{one} of class {n}" for n in every for one in free), *shared,
                  *(f"{one} of class {n}" for n in every for one in both))  # fmt: skip
        return stats.Design(
            np.concatenate([self.columns(design.columns, n) for n in every]),
            labels,
            np.arange(len(labels)) >= fixed,
        )

    @property
    def sds(self) -> FloatArray:
        """Prior sd of each column of the design."""
        sds = ODDS.columns(self.ground)
        free = np.ones(int((~self._shared).sum()) * self.number)
        own = np.tile(OWN * sds[self._both], self.number)
        return np.concatenate([free, sds[self._shared], own])

    @property
    def groups(self) -> tuple[list[stats.Grouping], list[float]]:
        """Groups, and the rates of their priors."""
        groups, rates = [], []
        plan = self.ground.plan
        for group, rate in zip(plan.groups, ODDS.groups(self.ground), strict=True):
            codes = np.concatenate([group.codes + n * group.levels for n in range(self.number)])
            shared = self._is_shared(group)
            if shared:
                every = np.tile(group.codes, self.number)
                groups.append(stats.grouping(group.name, every, group.levels))
                rates.append(rate)
            groups.append(stats.grouping(f"{group.name}, own", codes, group.levels * self.number))
            rates.append(rate / OWN if shared else rate)
        return groups, rates

    def codes(self, codes: Sequence[IntArray], own: int) -> tuple[IntArray, ...]:
        """Levels of these groups for cells of one class with codes of the ground's groups."""
        found = []
        for group, one in zip(self.ground.plan.groups, codes, strict=True):
            if self._is_shared(group):
                found.append(one)
            found.append(one + own * group.levels)
        return tuple(found)

    def _is_shared(self, group: stats.Grouping) -> bool:
        return group.name == CROSSED and self.number > 1
