"""What partial pooling believes about a set of groups before and after it saw their counts.

The groups' rates come from a beta distribution with mean m and precision s, which is worth s
opportunities. (m, s) is never known; its posterior is kept as points with weights, so that the
uncertainty about it goes into every rate and can be drawn from.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fixstats.stats.validators import FloatArray

Surface = Callable[[FloatArray], FloatArray]

SPREAD_RATE = 3.0  # see `weak`
STEP = 0.5  # of the lattice, in standard deviations
LOWEST = 20.0  # the lattice ends where the density is exp(-20) of its highest value
MOST_POINTS = 6000
BLOCK = 8  # steps from the mode in each direction that are looked at together
BOUNDS = np.array([[-25.0, 25.0], [-15.0, 45.0]])  # of logit m and log s: where digits last
STIRLING_FROM = 40.0
# Newton's way to the mode: no curvature to speak of, close enough, the longest step, and parts of
# a step that are tried together.
FLAT, NEAR, FAR = 1e-3, 1e-5, 2.0
SHORTER = np.array([1.0, 0.5, 0.25, 0.05])


@dataclass(frozen=True)
class HyperPosterior:
    """Posterior of the distribution of rates over groups, as points with weights.

    `mean` and `precision` of the beta distribution at each point, `weight` sums to 1;
    `mode` is (log(a / b), log(a + b)) where the density in these two coordinates is highest,
    with a = mean * precision and b = (1 - mean) * precision.
    """

    mean: FloatArray
    precision: FloatArray
    weight: FloatArray
    mode: tuple[float, float]


def weak(logit: FloatArray, log_precision: FloatArray) -> FloatArray:
    """Log prior density, weakly informative and proper.

    The mean is beta(1/2, 1/2): Jeffreys' prior for one rate. The spread between groups, as a
    standard deviation of log odds, sd = 1 / sqrt((1 + s) m (1 - m)) to first order, is
    gamma(2, rate 3), independent of the mean: most likely near 0.33 (odds differ by a factor of
    about 1.4 between groups), seldom above 1.6 (a factor of 5), never exactly 0.
    Source of the form: Chung, Rabe-Hesketh, Dorie, Gelman and Liu 2013, Psychometrika
    78:685-709; the rate is ours.
    """
    log_mean, log_rest = _log_sides(logit)
    log_one_more = np.logaddexp(0.0, log_precision)
    log_sd = -0.5 * (log_one_more + log_mean + log_rest)
    on_sd = 2 * log_sd - SPREAD_RATE * np.exp(np.minimum(log_sd, 50.0))
    # d sd / d log s = -sd / 2 * s / (1 + s): sd is in on_sd already.
    answer: FloatArray = 0.5 * (log_mean + log_rest) + on_sd + log_precision - log_one_more
    return answer


def bda3(logit: FloatArray, log_precision: FloatArray) -> FloatArray:
    """Log prior density that is flat in (m, s ** -1/2): (a + b) ** (-5/2) in (a, b). Improper.

    Source: Gelman et al. 2013, Bayesian Data Analysis, 3rd edition, section 5.3.
    """
    log_mean, log_rest = _log_sides(logit)
    answer: FloatArray = log_mean + log_rest - 0.5 * log_precision
    return answer


PRIORS: Mapping[str, Callable[[FloatArray, FloatArray], FloatArray]] = MappingProxyType(
    {"weak": weak, "bda3": bda3}
)


def hyper_posterior(failures: FloatArray, opportunities: FloatArray, prior: str) -> HyperPosterior:
    """Posterior of (m, s) given the counts of all groups; both arrays of one dimension.

    Points of a lattice around the mode, along the axes of its curvature, grown outwards until
    the density is negligible: it follows a crooked posterior, and for a smooth density equal
    steps are as good as any quadrature. Source of the lattice: Rue, Martino and Chopin 2009,
    J R Stat Soc B 71:319-392, section 3.
    """
    surface = _log_density(failures, opportunities, prior)
    mode = _climb(surface, _start(failures, opportunities))
    axes = _axes(surface, mode)
    places, heights = _lattice(surface, mode, axes)
    keep = heights > heights.max() - LOWEST
    places, heights = places[keep], heights[keep]
    weight = np.exp(heights - heights.max())
    logit, log_precision = places.T
    return HyperPosterior(
        mean=1 / (1 + np.exp(-logit)),
        precision=np.exp(log_precision),
        weight=weight / weight.sum(),
        mode=(float(mode[0]), float(mode[1])),
    )


def _log_sides(logit: FloatArray) -> tuple[FloatArray, FloatArray]:
    """log m and log(1 - m), each with all its digits."""
    return -np.logaddexp(0.0, -logit), -np.logaddexp(0.0, logit)


def _log_density(failures: FloatArray, opportunities: FloatArray, prior: str) -> Surface:
    """Log posterior density at places (points, 2) of (logit m, log s)."""
    log_prior = PRIORS[prior]
    seen = [_tally(c) for c in (failures, opportunities - failures, opportunities)]
    k, rest = failures.sum(), (opportunities - failures).sum()

    def surface(places: FloatArray) -> FloatArray:
        logit, log_precision = places.T
        log_mean, log_rest = _log_sides(logit)
        a, b = np.exp(log_mean + log_precision), np.exp(log_rest + log_precision)
        rises = [_rise(x, *t) for x, t in zip((a, b, np.exp(log_precision)), seen, strict=True)]
        likelihood = k * log_mean + rest * log_rest + rises[0] + rises[1] - rises[2]
        answer: FloatArray = likelihood + log_prior(logit, log_precision)
        return answer

    return surface


def _tally(counts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distinct counts above 0 and how many groups have each: few, however many the groups."""
    values, times = np.unique(counts[counts > 0], return_counts=True)
    return values, times.astype(np.float64)


def _rise(x: FloatArray, counts: FloatArray, times: FloatArray) -> FloatArray:
    """Sum over groups of log(gamma(x + count) / gamma(x)) - count * log x, at each x.

    Written without the difference of two huge logarithms where x is large, by Stirling's
    series: groups that are all alike send x towards infinity.
    """
    from scipy import special

    total = np.zeros(x.shape)
    large = x >= STIRLING_FROM
    small_x, large_x = x[~large, None], x[large, None]
    direct = special.gammaln(small_x + counts) - special.gammaln(small_x)
    total[~large] = (direct - counts * np.log(small_x)) @ times
    ends = _stirling_tail(large_x + counts) - _stirling_tail(large_x)
    total[large] = ((large_x + counts - 0.5) * np.log1p(counts / large_x) - counts + ends) @ times
    return total


def _stirling_tail(x: FloatArray) -> FloatArray:
    inverse = 1 / x
    square = inverse * inverse
    tail: FloatArray = inverse * (1 / 12 - square * (1 / 360 - square * (1 / 1260)))
    return tail


def _start(failures: FloatArray, opportunities: FloatArray) -> FloatArray:
    rate = (failures.sum() + 0.5) / (opportunities.sum() + 1)
    logit = np.log(rate / (1 - rate))
    # The precision at which the spread of log odds is 1/2, where the weak prior has its mode.
    return np.array([logit, np.log(4 / (rate * (1 - rate)))])


def _climb(surface: Surface, start: FloatArray) -> FloatArray:
    """The place of the highest density."""
    place = _by_curvature(surface, start)
    return _by_simplex(surface, start) if place is None else place


def _by_curvature(surface: Surface, place: FloatArray) -> FloatArray | None:
    """Newton's way up; None where the density is not curved downwards, or a step leads nowhere."""
    for _ in range(30):
        slope, curvature = _derivatives(surface, place)
        values, vectors = np.linalg.eigh(-curvature)
        if values[0] < FLAT:
            return None
        move = vectors @ (vectors.T @ slope / values)
        if np.abs(move).max() < NEAR:
            top: FloatArray = np.clip(place + move, *BOUNDS.T)
            return top
        move *= min(1.0, FAR / np.abs(move).max())
        tried = np.clip(place + move * SHORTER[:, None], *BOUNDS.T)
        heights = surface(np.concatenate([place[None, :], tried]))
        if heights[1:].max() <= heights[0]:
            return None
        place = tried[heights[1:].argmax()]
    return None


def _by_simplex(surface: Surface, start: FloatArray) -> FloatArray:
    from scipy import optimize

    def cost(place: FloatArray) -> float:
        return -float(surface(place[None, :])[0])

    found = optimize.minimize(
        cost,
        start,
        method="Nelder-Mead",
        bounds=[(low, high) for low, high in BOUNDS.tolist()],
        options={"xatol": 1e-4, "fatol": 1e-8, "maxiter": 2000},
    )
    place: FloatArray = found.x
    # Newton from there: the simplex gets close, curvature gets the digits.
    for _ in range(3):
        slope, curvature = _derivatives(surface, place)
        move = np.linalg.lstsq(curvature, -slope, rcond=None)[0]
        trial = np.clip(place + move, *BOUNDS.T)
        if np.abs(move).max() > 0.5 or surface(trial[None, :])[0] < surface(place[None, :])[0]:
            break
        place = trial
    return place


def _derivatives(surface: Surface, place: FloatArray) -> tuple[FloatArray, FloatArray]:
    h = 1e-3
    steps = h * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [-1, -1]])
    f = surface(place + steps)
    slope = np.array([f[1] - f[2], f[3] - f[4]]) / (2 * h)
    mixed = (f[5] + f[6] - f[1] - f[2] - f[3] - f[4] + 2 * f[0]) / (2 * h * h)
    own = (f[[1, 3]] + f[[2, 4]] - 2 * f[0]) / (h * h)
    return slope, np.array([[own[0], mixed], [mixed, own[1]]])


def _axes(surface: Surface, mode: FloatArray) -> FloatArray:
    """Columns: one step along each axis of the curvature at the mode."""
    _, curvature = _derivatives(surface, mode)
    values, vectors = np.linalg.eigh(-curvature)
    # A flat direction has no scale of its own; a step of one unit is fine on the log scale.
    widths = 1 / np.sqrt(np.clip(values, 1.0, None))
    steps: FloatArray = STEP * vectors * widths
    return steps


def _lattice(surface: Surface, mode: FloatArray, axes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places and log densities of the lattice points that matter, and their neighbours."""
    reach = 400
    tried: NDArray[np.bool_] = np.zeros((2 * reach + 1, 2 * reach + 1), dtype=bool)
    neighbours = np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
    # A block around the mode at once, then outwards from what of it matters.
    side = np.arange(reach - BLOCK, reach + BLOCK + 1)
    beside: NDArray[np.int64] = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)
    all_places: list[FloatArray] = []
    all_heights: list[FloatArray] = []
    highest, points = -np.inf, 0
    while beside.size and points < MOST_POINTS:
        places = mode + (beside - reach) @ axes.T
        inside = ((places > BOUNDS[:, 0]) & (places < BOUNDS[:, 1])).all(axis=1)
        tried[beside[:, 0], beside[:, 1]] = True
        places, beside = places[inside], beside[inside]
        heights = surface(places) if len(places) else np.zeros(0)
        highest = max(highest, heights.max(initial=-np.inf))
        all_places.append(places)
        all_heights.append(heights)
        points += len(places)
        front = beside[heights > highest - LOWEST]
        beside = np.unique((front[:, None, :] + neighbours).reshape(-1, 2), axis=0)
        beside = beside[((beside > 0) & (beside < 2 * reach)).all(axis=1)]
        beside = beside[~tried[beside[:, 0], beside[:, 1]]]
    return np.concatenate(all_places), np.concatenate(all_heights)
