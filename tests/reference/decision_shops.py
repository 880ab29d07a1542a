"""Invented workshops in which it is known what every option costs on every model.

One choice, `opening`. Every technician has a care, a speed and a taste for options that goes with
the care; every model has a difficulty that also sways the choice, and careful technicians get the
hard models. Failures get rarer or more common over the two years, one option arrives late and has
to be learnt by whoever first uses it, another fades. So what a job cost, added up by option, says
little about the options.

A job costs what it uses, its minutes (skewed, more where something failed), and what fails: modes
that are common and cheap, modes that are rare and dear, one that can hurt someone, and come-backs.
What an option truly costs is the mean over all jobs of the model, whoever did them, each done with
that option by somebody practised with it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from scipy import special

LABOUR, WARRANTY, DAYS = 45.0, 90, 730
SAFE = 0.02  # true rate of the safety mode up to which an option may be used
FIRST_DAY = date(2024, 1, 1)
# What is known of each job, in order of day.
COLUMNS = ("option", "model", "who", "day", "failed", "minutes", "returned", "checked", "timed",
           "uses", "settled")  # fmt: skip
SETTLED, LEARNT_BY = 90, 25  # days; uses by which two thirds of what is to learn is learnt
# Log odds and log minutes that a beginner has more.
BEGINNER, BEGINNER_SLOWER = 0.8, 0.2
MINUTES, CV = 22.0, 0.4


@dataclass(frozen=True)
class Mode:
    """`rate`: of a typical job; `minutes`, `money`: of one failure."""

    code: str
    rate: float
    minutes: float
    money: float
    safety: bool = False

    @property
    def cost(self) -> float:
        return self.minutes * LABOUR / 60 + self.money


MODES = (
    Mode("tab_tears", 0.12, 5, 1),
    Mode("clip_breaks", 0.06, 3, 6),
    Mode("frame_bends", 0.03, 15, 8),
    Mode("display_dies", 0.02, 25, 75),
    Mode("cell_hurt", 0.003, 20, 40, safety=True),
)
RETURN = Mode("seal_opens", 0.03, 20, 12)  # within the warranty
COSTS = np.array([mode.cost for mode in MODES])


@dataclass(frozen=True)
class Kind:
    """What sort of workshop.

    `apart`: log odds of all failures by which one option is better than the rest; `faster`: log
    minutes of it. `by_model`: so much is drawn anew for every model instead: which option is best
    there is chance. `noise`: sd of what options differ by on each model and mode besides. `care`,
    `hard`: log odds of failures that technicians and models differ by (sd).
    `confounded`: False gives every job an option by chance. `unchecked`: share of jobs of which
    nobody wrote down what failed; `no_minutes`: of which the minutes are missing. `only_on`: the
    last option was used on so many models only. `dangerous`: the rate of the safety mode with the
    cheapest option; `consumables`: money of one use, by option.
    """

    jobs: int = 600
    options: int = 3
    models: int = 6
    technicians: int = 4
    apart: float = 0.0
    faster: float = 0.0
    by_model: bool = False
    noise: float = 0.0
    care: float = 0.35
    hard: float = 0.5
    confounded: bool = True
    late: bool = True
    unchecked: float = 0.0
    no_minutes: float = 0.0
    only_on: int | None = None
    dangerous: float | None = None
    consumables: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0, 0.0)


EQUAL = Kind()
BETTER = Kind(apart=0.7, faster=0.08, noise=0.1, consumables=(0.5, 1.0, 0.2, 0.8, 0.4))
BY_MODEL = replace(BETTER, by_model=True)


@dataclass(frozen=True)
class Shop:
    """`option`, `model`, `who`, `day` (jobs,): codes, days since the first; `failed` (jobs, modes);
    `minutes`; `returned`: days from hand-over to a come-back, infinite if none. In order of day.
    `checked`, `timed`: what was written down. `uses`: how often the technician had used the
    option before; `settled`: practised from the start.

    `cost` (options, models): the truth; NaN for a model without jobs. `danger` (options,): true
    rate of the safety mode over all jobs. `plain`, what no workshop knows: log odds of each mode
    (jobs, modes), log minutes and log rate of come-backs (jobs,), whatever the option.
    """

    kind: Kind
    option: np.ndarray
    model: np.ndarray
    who: np.ndarray
    day: np.ndarray
    failed: np.ndarray
    minutes: np.ndarray
    returned: np.ndarray
    checked: np.ndarray
    timed: np.ndarray
    uses: np.ndarray
    settled: np.ndarray
    cost: np.ndarray
    danger: np.ndarray
    plain: tuple[np.ndarray, np.ndarray, np.ndarray]

    def seen(self, day: int) -> Shop:
        """As recorded when this day is over."""
        kept = self.day <= day
        cut = {name: getattr(self, name)[kept] for name in COLUMNS}
        cut["returned"] = np.where(cut["day"] + cut["returned"] <= day, cut["returned"], np.inf)
        return replace(self, **cut)

    @property
    def paid(self) -> np.ndarray:
        """Money of each job as recorded."""
        used = np.array(self.kind.consumables)[self.option]
        failed = self.failed @ np.array([mode.money for mode in MODES])
        back = np.where(self.returned <= WARRANTY, RETURN.cost, 0.0)
        return used + self.minutes * LABOUR / 60 + failed + back

    def over(self, options: np.ndarray, used: np.ndarray) -> np.ndarray:
        """What these options, one a model, cost more than the best safe one in use."""
        may = used & (self.danger <= SAFE)
        best = np.where(may[:, None], self.cost, np.inf).min(axis=0)
        return self.cost[options, np.arange(self.kind.models)] - best

    @property
    def used(self) -> np.ndarray:
        """Which options have been used on any model, (options,)."""
        return np.bincount(self.option, minlength=self.kind.options) > 0


def shop(seed: int, kind: Kind) -> Shop:
    """One workshop; the same seed gives the same."""
    random = np.random.default_rng(seed)
    care, pace = random.normal(size=kind.technicians), random.normal(0, 0.1, kind.technicians)
    difficulty = random.normal(size=kind.models)
    risk, slower, back = _effects(random, kind)
    who, model = _who_gets_what(random, kind, care, difficulty)
    day = np.sort(random.integers(0, DAYS, kind.jobs))
    option = _choices(random, kind, care[who], difficulty[model], who, model, day)
    uses, settled = _uses(who, option, day, kind)
    left = np.where(settled, 0.0, np.exp(-uses / LEARNT_BY)) if kind.late else 0.0 * uses

    base = np.array([special.logit(mode.rate) for mode in MODES])[:, None]
    plain = (
        kind.care * care[who]
        + kind.hard * difficulty[model]
        + random.normal(0, 0.25) * (day / 365 - 1)
    )
    at = base[None] + plain + risk[:, :, model]  # options, modes, jobs
    typical = np.log(MINUTES) + pace[who] + 0.15 * difficulty[model]
    returning = np.log(RETURN.rate / WARRANTY) + 0.25 * difficulty[model]
    log_minutes, log_back = typical + slower[:, model], returning + back[:, model]
    known = ((base + plain + BEGINNER * left).T, typical + BEGINNER_SLOWER * left, returning)

    rows = np.arange(kind.jobs)
    failed = random.random((kind.jobs, len(MODES))) < special.expit(
        at[option, :, rows] + (BEGINNER * left)[:, None]
    )
    sigma = np.sqrt(np.log1p(CV**2))
    mean = np.exp(log_minutes[option, rows] + BEGINNER_SLOWER * left)
    minutes = mean * np.exp(random.normal(-(sigma**2) / 2, sigma, kind.jobs))
    minutes = np.round(minutes + failed @ np.array([mode.minutes for mode in MODES]), 1)
    returned = np.ceil(random.exponential(1 / np.exp(log_back[option, rows])))

    used = np.array(kind.consumables[: kind.options])[:, None]
    odds = special.expit(at)
    money = used + np.exp(log_minutes) * LABOUR / 60 + np.einsum("omj,m->oj", odds, COSTS)
    money = money + RETURN.cost * (1 - np.exp(-np.exp(log_back) * WARRANTY))
    return Shop(
        kind, option, model, who, day, failed, minutes, returned,
        random.random(kind.jobs) >= kind.unchecked, random.random(kind.jobs) >= kind.no_minutes,
        uses, settled, by_model(money, model, kind.models), odds[:, -1].mean(axis=1), known,
    )  # fmt: skip


def by_model(values: np.ndarray, model: np.ndarray, models: int) -> np.ndarray:
    """Mean over the jobs of each model, (options, models)."""
    with np.errstate(invalid="ignore"):
        return np.stack([np.bincount(model, row, models) for row in values]) / np.bincount(
            model, minlength=models
        )


def _effects(random, kind):
    """What options change: log odds (options, modes, models), log minutes, log come-backs."""
    options, models = kind.options, kind.models
    best = np.repeat(random.integers(options), models)
    if kind.by_model:
        best = random.integers(options, size=models)
    better = (np.arange(options)[:, None] == best).astype(float)
    # Modes share in the difference unevenly.
    share = random.uniform(0.5, 1.5, len(MODES))
    share[-1] = 0.0
    risk = -kind.apart * better[:, None, :] * share[:, None]
    risk = risk + random.normal(0, 1, (options, len(MODES), models)) * kind.noise
    risk[:, -1] = 0.0
    if kind.dangerous is not None:
        more = special.logit(kind.dangerous) - special.logit(MODES[-1].rate)
        risk[:, -1] = more * better
    slower = -kind.faster * better + random.normal(0, 1, (options, models)) * kind.noise / 4
    back = -0.5 * kind.apart * better + random.normal(0, 1, (options, models)) * kind.noise
    return risk, slower, back


def _who_gets_what(random, kind, care, difficulty):
    """Careful technicians get the hard models; here care below 0 is more care."""
    mix = random.dirichlet(np.full(kind.models, 4.0))
    mix = np.broadcast_to(mix, (kind.technicians, kind.models))
    if kind.confounded:
        mix = mix * special.softmax(-0.8 * care[:, None] * difficulty, axis=0)
    mix = (mix / mix.sum()).ravel()
    return np.divmod(random.choice(mix.size, kind.jobs, p=mix), kind.models)


def _choices(random, kind, care, difficulty, who, model, day):
    """The option of each job. The second arrives late and gains, the third fades."""
    taste = np.zeros((kind.options, kind.jobs))
    if kind.confounded:
        slopes = random.permutation(np.linspace(-1, 1, kind.options))[:, None]
        taste = slopes * (difficulty - care)
        taste = taste + random.normal(0, 0.7, (kind.options, kind.technicians))[:, who]
    if kind.late:
        year = day / 365
        arrives = random.uniform(0.2, 0.8)
        taste[1] = np.where(year < arrives, -np.inf, taste[1] + 0.8 * (year - arrives))
        taste[2:3] -= 0.6 * year
    if kind.only_on is not None:
        taste[-1, model >= kind.only_on] = -np.inf
    return (taste + random.gumbel(size=taste.shape)).argmax(axis=0)


def _uses(who, option, day, kind):
    """Earlier uses at each job, and whether the technician used it in the first 90 days."""
    both = option * kind.technicians + who
    size = kind.options * kind.technicians
    order = np.argsort(both, kind="stable")
    counts = np.bincount(both, minlength=size)
    uses = np.empty(len(both), dtype=np.int64)
    uses[order] = np.arange(len(both)) - np.repeat(np.cumsum(counts) - counts, counts)
    early = np.bincount(both[day < SETTLED], minlength=size) > 0
    return uses, early[both]


def day_of(number: int) -> date:
    return FIRST_DAY + timedelta(days=int(number))
