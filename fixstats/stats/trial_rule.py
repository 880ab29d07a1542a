"""When does a trial of two options stop? One rule, and how many jobs it takes to get there.

The rule may be applied after every pair of jobs and is applied every week. One budget of error
for a whole trial, however often one looks: `MAIN_ERROR` for all that is said about the main
outcome (one confidence sequence says it all), `HARM_ERROR` for the stop that protects devices and
people. By Bonferroni the probability that a trial ever says anything wrong is at most their sum.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.anytime import evidence_above, pair_evidence, pair_evidence_above
from fixstats.stats.validators import FloatArray, refuse

MAIN_ERROR, HARM_ERROR = 0.04, 0.01
# Evidence at which each is used up.
MAIN_AT, HARM_AT = 1 / MAIN_ERROR, 1 / HARM_ERROR

GO_ON, SHOWN, NO_DIFFERENCE, HARM, ENDED = range(5)
VERDICTS = (
    "go on",
    "stop (shown)",
    "stop (no difference worth having)",
    "stop (harm)",
    "ended (not shown)",
)

IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Pairs:
    """Running counts of pairs, arrays with looks along the last axis.

    `more`: only the option failed; `fewer`: only its baseline; `same`: both or neither.
    """

    more: FloatArray
    fewer: FloatArray
    same: FloatArray

    @property
    def total(self) -> FloatArray:
        """Pairs so far."""
        return self.more + self.fewer + self.same


def harm_evidence(
    pairs: Pairs, harmed: ArrayLike, jobs: ArrayLike, *, safety_limit: float
) -> FloatArray:
    """Evidence (an e-value) that the option harms: more than its baseline, or above the limit.

    `pairs`: of safety failures; `harmed` of `jobs` drawn for the option had one. The average of
    the capital of a bet on either: fair as long as neither is so.
    """
    against = pair_evidence_above(pairs.more, pairs.fewer, pairs.same)
    evidence: FloatArray = (against + evidence_above(harmed, jobs, safety_limit)) / 2
    return evidence


def stopping_rule(
    pairs: Pairs, harm: ArrayLike, jobs: ArrayLike, *, worth: float, max_jobs: int
) -> IntArray:
    """The verdict at each look, one of the numbers that index `VERDICTS`.

    `pairs`: of the main outcome; `harm`: `harm_evidence` at the same looks; `jobs`: jobs with a
    known outcome so far; `worth`: the smallest difference worth having.

    Harm goes before all else. Otherwise what came first stands: the difference is shown (evidence
    against 0 reached `MAIN_AT`), or none worth having is left (it reached that against `worth`
    and against its negative). A trial that reached `max_jobs` with neither has ended. What a bet
    has won once counts from then on: it need not still be won at the next look.
    """
    worth_ = np.asarray(worth, dtype=np.float64)
    refuse("worth", "must lie between 0 and 1", worth_, (worth_ <= 0) | (worth_ >= 1))
    counts = (pairs.more, pairs.fewer, pairs.same)
    shown = _ever(pair_evidence(*counts) >= MAIN_AT)
    score = (pairs.more - pairs.fewer) / np.maximum(pairs.total, 1)
    below = pair_evidence(*counts, difference=worth) >= MAIN_AT
    above = pair_evidence(*counts, difference=-worth) >= MAIN_AT
    # The evidence has two sides: here only that for a difference nearer to 0 counts.
    small = _ever(below & (score < worth)) & _ever(above & (score > -worth))
    harmed = _ever(np.broadcast_to(np.asarray(harm) >= HARM_AT, shown.shape))
    ended = np.asarray(jobs) >= max_jobs
    shown_first = shown & (_since(shown) >= _since(small))
    verdict = np.select(
        [harmed, shown_first, small, shown, ended], [HARM, SHOWN, NO_DIFFERENCE, SHOWN, ENDED]
    )
    return np.asarray(verdict, dtype=np.int64)


def _ever(now: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """True from the first look on at which it was true."""
    return np.logical_or.accumulate(now, axis=-1)


def _since(ever: NDArray[np.bool_]) -> IntArray:
    """For how many looks it has been true."""
    return np.cumsum(ever, axis=-1)


@dataclass(frozen=True)
class JobsToStop:
    """How long simulated trials took, in jobs of both options together.

    `median`, `high`: jobs until the rule stopped for half and for nine tenths of them, infinite
    where fewer stopped within the jobs simulated. `shown`: the share that stopped because the
    difference was shown.
    """

    median: float
    high: float
    shown: float


def jobs_to_stop(
    rate: float,
    baseline_rate: float,
    *,
    worth: float,
    pairs_a_look: int = 5,
    most_pairs: int = 20_000,
    trials: int = 500,
    seed: int = 1,
) -> JobsToStop:
    """Simulate trials of an option against its baseline under `stopping_rule`, without harm.

    `rate`, `baseline_rate`: true rates of the main outcome; a look after every `pairs_a_look`
    pairs. Simulated in stretches until nine tenths have stopped or `most_pairs` are reached. The
    same arguments give the same answer.
    """
    rng = np.random.default_rng(seed)
    more, fewer = rate * (1 - baseline_rate), baseline_rate * (1 - rate)
    shares = [more, fewer, max(1 - more - fewer, 0.0)]
    stopped = np.full(trials, np.inf)
    shown = np.zeros(trials, dtype=bool)
    running = np.zeros((trials, 3))
    looks = 50
    seen = 0
    while np.isinf(stopped).mean() > 0.1 and seen < most_pairs:
        new = rng.multinomial(pairs_a_look, shares, size=(trials, looks)).cumsum(axis=1)
        path = running[:, None, :] + new
        verdict = stopping_rule(
            Pairs(path[..., 0], path[..., 1], path[..., 2]), 0.0, 0, worth=worth, max_jobs=1
        )
        first = np.argmax(verdict > GO_ON, axis=1)
        rows = np.arange(trials)
        fresh = (verdict[rows, first] > GO_ON) & np.isinf(stopped)
        jobs = 2.0 * (seen + (first + 1) * pairs_a_look)
        stopped[fresh] = jobs[fresh]
        shown[fresh] = verdict[rows, first][fresh] == SHOWN
        running, seen = path[:, -1, :], seen + looks * pairs_a_look
    order = np.sort(stopped)
    at = [order[int(np.ceil(share * trials)) - 1] for share in (0.5, 0.9)]
    return JobsToStop(float(at[0]), float(at[1]), float(shown.mean()))
