"""How many jobs does a comparison of two options need, looked at once, when all are done?

`rate` and `baseline_rate` are the true rates that one wants to tell apart; both options get
`jobs` jobs. `alpha` is the two-sided error, `power` the probability of finding the difference.
All functions take single numbers and raise `ValueError` for rates outside 0 to 1, equal rates
where a size is asked for, and an alpha or power outside 0 to 1.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fixstats.stats.two_proportions import newcombe_difference
from fixstats.stats.validators import FloatArray, as_rates, refuse

Power = Callable[..., float]

# Beyond so many jobs an option exact tables are too large to wait for.
MOST_EXACT = 1000
# Exact power falls now and then as jobs are added: a size counts only if the next ones hold, too.
_HOLDS_FOR = 5
# Two probabilities closer than this, relative to each other, count as equal.
_TIE = 1e-7
# Rates, on the arcsine scale, at which the size of Boschloo's test is looked at.
_GRID = 301


def normal_power(rate: float, baseline_rate: float, jobs: float, *, alpha: float = 0.05) -> float:
    """Power of the two-sided test by the normal approximation; the far tail is not counted.

    Source: Fleiss, Levin and Paik 2003, Statistical Methods for Rates and Proportions, ch. 4,
    without continuity correction; R's `power.prop.test` computes the same.
    """
    from scipy import special

    p, q = _rates(rate, baseline_rate)
    _shares(alpha=alpha)
    mean = (p + q) / 2
    pooled, own = 2 * mean * (1 - mean), p * (1 - p) + q * (1 - q)
    if not own:
        return float(p != q)
    z = special.ndtri(1 - alpha / 2)
    return float(special.ndtr((math.sqrt(jobs) * abs(p - q) - z * math.sqrt(pooled)) / own**0.5))


def normal_size(
    rate: float, baseline_rate: float, *, power: float = 0.8, alpha: float = 0.05
) -> float:
    """Jobs an option at which `normal_power` is `power`; a fraction, to be rounded up."""
    from scipy import special

    p, q = _different(rate, baseline_rate)
    _shares(alpha=alpha, power=power)
    mean = (p + q) / 2
    pooled, own = 2 * mean * (1 - mean), p * (1 - p) + q * (1 - q)
    reach = special.ndtri(1 - alpha / 2) * math.sqrt(pooled) + special.ndtri(power) * own**0.5
    return float((reach / (p - q)) ** 2)


def fisher_power(rate: float, baseline_rate: float, jobs: int, *, alpha: float = 0.05) -> float:
    """Exact power of Fisher's two-sided test (`exact_tests.fisher`) at alpha.

    The sum of the probabilities of all tables that the test rejects.
    """
    p, q = _rates(rate, baseline_rate)
    _shares(alpha=alpha)
    rejected = np.zeros((jobs + 1, jobs + 1), dtype=bool)
    for total, mass in _given_totals(jobs):
        first = max(total - jobs, 0)
        order = np.argsort(mass)
        tails = np.cumsum(mass[order])
        # Equally probable tables are rejected together: the tail of each runs to its last equal.
        last = np.searchsorted(mass[order], mass * (1 + _TIE), side="right") - 1
        out = np.flatnonzero(tails[last] <= alpha)
        rejected[first + out, total - first - out] = True
    return float(_mass(jobs, p) @ rejected @ _mass(jobs, q))


def boschloo_power(rate: float, baseline_rate: float, jobs: int, *, alpha: float = 0.05) -> float:
    """Exact power of Boschloo's test, each side at alpha / 2 (`exact_tests.boschloo`).

    Tables go in the order of their one-sided Fisher p-value; as many are rejected as keep the
    probability of rejection within alpha / 2 whatever rate both options share.
    """
    p, q = _rates(rate, baseline_rate)
    _shares(alpha=alpha)
    tail = np.ones((jobs + 1, jobs + 1))
    for total, mass in _given_totals(jobs):
        first = max(total - jobs, 0)
        at = np.arange(len(mass))
        tail[first + at, total - first - at] = np.cumsum(mass[::-1])[::-1]
    rejected = _boschloo_region(tail, jobs, alpha / 2)
    one, other = _mass(jobs, p), _mass(jobs, q)
    return float(one @ rejected @ other + other @ rejected @ one)


def _boschloo_region(tail: FloatArray, jobs: int, alpha: float) -> NDArray[np.bool_]:
    """Tables rejected on the side "the first fails more often", rows its failures."""
    rates = np.sin(np.linspace(0, np.pi / 2, _GRID)) ** 2
    masses = np.stack([_mass(jobs, rate) for rate in rates])
    below = np.concatenate([np.zeros((_GRID, 1)), np.cumsum(masses, axis=1)], axis=1)
    # For each number of failures of the first, the p-value rises with those of the second.
    limits = np.unique(tail[tail <= min(4 * alpha, 1.0)])
    low, high = -1, len(limits)
    while high - low > 1:
        middle = (low + high) // 2
        counts = (tail <= limits[middle] * (1 + 1e-10)).sum(axis=1)
        size = (masses * below[:, counts]).sum(axis=1).max()
        low, high = (middle, high) if size <= alpha else (low, middle)
    limit = limits[low] * (1 + 1e-10) if low >= 0 else -1.0
    region: NDArray[np.bool_] = tail <= limit
    return region


EXACT: Mapping[str, Power] = MappingProxyType({"fisher": fisher_power, "boschloo": boschloo_power})


def exact_size(
    rate: float,
    baseline_rate: float,
    *,
    test: str = "fisher",
    power: float = 0.8,
    alpha: float = 0.05,
) -> int | None:
    """The fewest jobs an option from which on `test` has at least `power`; None above MOST_EXACT.

    "From which on": there and at the next five sizes, for exact power falls now and then.
    """
    if test not in EXACT:
        raise ValueError(f"test must be one of {', '.join(EXACT)}, got {test!r}")
    about = normal_size(rate, baseline_rate, power=power, alpha=alpha)
    if about > MOST_EXACT:
        return None

    def enough(jobs: int) -> bool:
        return EXACT[test](rate, baseline_rate, jobs, alpha=alpha) >= power

    low, high = 0, max(math.ceil(about), 2)
    while not enough(high):
        low, high = high, math.ceil(1.15 * high) + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    fails = [jobs for jobs in range(high, high + _HOLDS_FOR + 1) if not enough(jobs)]
    return max(fails, default=high - 1) + 1


def precision_size(
    rate: float, baseline_rate: float, half_width: float, *, confidence_level: float = 0.95
) -> int:
    """The fewest jobs an option at which the interval is at most `half_width` to either side.

    The interval is Newcombe's for the difference, at the expected failures.
    """
    p, q = _rates(rate, baseline_rate)
    width = np.asarray(half_width, dtype=np.float64)
    refuse("half_width", "must lie between 0 and 1", width, (width <= 0) | (width >= 1))

    def narrow(jobs: int) -> bool:
        found = newcombe_difference(
            p * jobs, jobs, q * jobs, jobs, confidence_level=confidence_level
        )
        return bool(max(found.high - found.estimate, found.estimate - found.low) <= half_width)

    low, high = 0, 1
    while not narrow(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if narrow(middle) else (middle, high)
    return high


# --- parts ------------------------------------------------------------------------------------


def _rates(rate: float, baseline_rate: float) -> tuple[float, float]:
    return float(as_rates("rate", rate)), float(as_rates("baseline_rate", baseline_rate))


def _different(rate: float, baseline_rate: float) -> tuple[float, float]:
    p, q = _rates(rate, baseline_rate)
    if p == q:
        raise ValueError("rate and baseline_rate must differ: no number of jobs tells them apart")
    return p, q


def _shares(**named: float) -> None:
    for name, value in named.items():
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1, got {value!r}")


def _mass(jobs: int, rate: float) -> FloatArray:
    """Binomial probabilities of 0 to `jobs` failures."""
    from scipy import special

    k = np.arange(jobs + 1.0)
    choose = -special.betaln(jobs - k + 1, k + 1) - np.log(jobs + 1)
    mass: FloatArray = np.exp(choose + special.xlogy(k, rate) + special.xlog1py(jobs - k, -rate))
    return mass


def _given_totals(jobs: int) -> Iterator[tuple[int, FloatArray]]:
    """(total, hypergeometric probabilities of the first option's share) for every total."""
    from scipy import special

    k = np.arange(jobs + 1.0)
    choose = -special.betaln(jobs - k + 1, k + 1) - np.log(jobs + 1)
    for total in range(2 * jobs + 1):
        first, last = max(total - jobs, 0), min(total, jobs)
        ways = choose[first : last + 1]
        log_mass = ways + ways[::-1]
        mass = np.exp(log_mass - log_mass.max())
        yield total, mass / mass.sum()
