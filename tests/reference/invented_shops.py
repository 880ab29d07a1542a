"""Invented shops with known truth: options confounded by technician, difficulty, time, learning.

Every technician has a care and a taste for options that goes with it, every model a difficulty
that also sways the choice, and careful technicians get the hard models. Failures drift over the
quarters; one option arrives late and pushes another aside. Who first uses an option after the
first quarter is still learning it, by a curve that knows nothing of bands. Option by model
effects are part of the truth.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

OPTIONS = ("old", "late", "fading")
MODELS = tuple(f"M{code}" for code in range(8))
QUARTERS, ARRIVES = 6, 2
EFFECTS = np.array([0.0, -0.4, 0.3])
BANDS = np.array(["0-9", "10-29", "30-99", "practised"])


@dataclass(frozen=True)
class Shop:
    """`columns`: as a tally counts them, by option, model, technician, quarter and practice.

    True rates, (options, models and all), each option over all jobs of the shop: `now`, with the
    learning that is left, on average, in the band that each technician has reached; `at_next`,
    with what is left at each technician's very next use; `practised`, with none.
    `own_counts`, `own_rates`: failures, opportunities and true rate of the jobs that an option
    had in fact, by option and model.
    """

    columns: dict[str, list]
    now: np.ndarray
    at_next: np.ndarray
    practised: np.ndarray
    own_counts: np.ndarray
    own_rates: np.ndarray


def shop(seed, technicians, *, jobs=1200, rate=0.06, learning=0.8, drift=0.15, twins=False):
    """One shop; `learning`: extra log odds at the first use, `drift`: sd of the log odds that a
    quarter adds; `twins`: the options are equal for whoever has learnt them."""
    random = np.random.default_rng(seed)
    models, kinds = len(MODELS), len(OPTIONS)
    care, difficulty = random.normal(size=technicians), random.normal(size=models)
    effects = np.zeros((kinds, models))
    if not twins:
        effects = EFFECTS[:, None] + random.normal(0, 0.3, (kinds, models))
    pace = random.normal(0, drift)
    # Careful technicians get the hard models.
    mix = special.softmax(0.8 * care[:, None] * difficulty, axis=0)
    mix = (mix * random.dirichlet(np.full(models, 3.0))).ravel()
    who, model = np.divmod(random.choice(mix.size, jobs, p=mix), models)
    quarter = np.sort(random.integers(0, QUARTERS, jobs))
    slopes = np.array([0.0, 1.0, -1.0])[:, None]
    taste = slopes * (care[who] - difficulty[model])
    taste = taste + random.normal(0, 0.7, (kinds, technicians))[:, who]
    # The shift: the late option gains from its arrival on, the fading one loses all the time.
    taste = taste + np.array([[0.0], [0.5], [-0.4]]) * quarter
    taste[1, quarter < ARRIVES] = -np.inf
    option = (taste + random.gumbel(size=taste.shape)).argmax(axis=0)

    plain = 0.4 * care[who] + 0.6 * difficulty[model] + pace * quarter
    plain = plain + np.log(rate / (1 - rate))
    uses, settled, total = _uses(who, option, quarter, technicians)
    left = np.where(settled[option, who], 0.0, learning * np.exp(-uses / 25))
    band = np.where(settled[option, who], 3, _band(uses))
    risk = special.expit(plain + effects[option, model] + left)
    failed = random.random(jobs) < risk

    next_left = np.where(settled, 0.0, learning * np.exp(-total / 25))
    reached = np.where(settled, 3, np.where(total > 0, _band(np.maximum(total - 1, 0)), 0))
    in_band = np.zeros(len(BANDS))
    for code in range(3):
        in_band[code] = left[band == code].mean() if (band == code).any() else learning
    asked = [in_band[reached], next_left, np.zeros((kinds, technicians))]
    owned = option * models + model
    counts = np.stack([np.bincount(owned, w, kinds * models) for w in (failed, failed * 0 + 1)])
    with np.errstate(invalid="ignore"):
        own_rates = np.bincount(owned, risk, kinds * models) / counts[1]
    return Shop(
        _columns(option, model, who, quarter, band, failed),
        *(_truth(plain + effects[:, model] + extra[:, who], model) for extra in asked),
        counts.reshape(2, kinds, models),
        own_rates.reshape(kinds, models),
    )


def _uses(who, option, quarter, technicians):
    """Earlier uses at each job; by option and technician: used in the first quarter, all uses."""
    both = option * technicians + who
    order = np.argsort(both, kind="stable")
    counts = np.bincount(both, minlength=len(OPTIONS) * technicians)
    uses = np.empty(len(both), dtype=np.int64)
    uses[order] = np.arange(len(both)) - np.repeat(np.cumsum(counts) - counts, counts)
    early = np.bincount(both[quarter == 0], minlength=len(counts)) > 0
    shape = len(OPTIONS), technicians
    return uses, early.reshape(shape), counts.reshape(shape)


def _band(uses):
    return np.searchsorted([10, 30, 100], uses, side="right")


def _truth(eta, model):
    """Mean rate by option over all jobs of each model, and over all."""
    risk = special.expit(eta)
    jobs = np.bincount(model, minlength=len(MODELS))
    sums = np.stack([np.bincount(model, row, len(MODELS)) for row in risk])
    with np.errstate(invalid="ignore"):
        return np.column_stack([sums / jobs, risk.mean(axis=1)])


def _columns(option, model, who, quarter, band, failed):
    keys, place = np.unique(
        np.stack([option, model, who, quarter, band]), axis=1, return_inverse=True
    )
    place = place.ravel()
    names = (
        ("opening", OPTIONS),
        ("model", MODELS),
        ("technician", [f"T{code:02}" for code in range(who.max() + 1)]),
        ("quarter", [f"{2024 + q // 4}-Q{q % 4 + 1}" for q in range(QUARTERS)]),
        ("opening_practice", BANDS),
    )
    columns = {
        key: np.array(words)[codes].tolist()
        for (key, words), codes in zip(names, keys, strict=True)
    }
    columns["failures"] = np.bincount(place, failed, keys.shape[1]).tolist()
    columns["opportunities"] = np.bincount(place, minlength=keys.shape[1]).tolist()
    return columns
