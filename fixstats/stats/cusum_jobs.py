"""Bernoulli CUSUM: a sum over jobs that rises with failures and signals when it gets too high.

Every job has a score: positive where it failed, slightly negative where it did not, on average
negative as long as nothing has changed. The sum starts at 0 and never falls below 0:
C_k = max(0, C_(k-1) + score_k). It signals at the first job with C_k >= threshold. Unlike a chart
of months it uses every job when it comes, and it is the fastest of all rules to find a lasting
change of the size it was made for (Moustakides 1986, Ann Stat 14:1379-1387).

The change began, most probably, with the first job after the last time the sum was 0 (Page 1954,
Biometrika 41:100-115): `since`. How often the sum signals although nothing has changed is computed
in `cusum_run_length`.

Jobs come in order of time within their group (technician, lot); groups may be mixed. While scores
of jobs without failure are not positive (every score for worsening), a run of such jobs may come as
one row with the sum of its scores: the sum can only rise at a failure, so alarms, `since` and
highest values stay the same and a million jobs shrink to twice their failures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_numbers, refuse

IntArray = NDArray[np.int64]

# Sums closer than this are equal: a sum of many scores is not exact, and where the scores are
# multiples of 1/m the sum must be able to fall to 0, and to reach its threshold, exactly.
SAME_SUM = 1e-9


def cusum_scores(
    failures: ArrayLike, expected: ArrayLike, *, odds_ratio: float = 2.0
) -> FloatArray:
    """Score of each job: how much more probable its outcome is if the odds have changed.

    log of the likelihood ratio of odds times `odds_ratio` against the odds expected:
    failures * log(odds_ratio) - log(1 - expected + odds_ratio * expected). A failure of a job
    that fails often anyway weighs less. `failures`: 0 or 1; `expected`: each job's chance of
    failure as long as nothing has changed, 0 to 1; shapes that fit. `odds_ratio` above 1 looks for
    worsening, below 1 for improvement.

    Raises `ValueError` for other outcomes, rates outside 0 to 1 and an odds ratio of 1 or not
    positive.
    Source: Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441-452.
    """
    failed, risk = _outcomes(failures), _risks(expected)
    ratio = as_odds_ratio("odds_ratio", odds_ratio, changed=True)
    try:
        return np.asarray(failed * np.log(ratio) - np.log1p((ratio - 1) * risk))[()]
    except ValueError:
        raise ValueError(
            f"failures and expected must have shapes that fit, got {failed.shape} and {risk.shape}"
        ) from None


def plain_cusum_scores(failures: ArrayLike, m: float) -> FloatArray:
    """Score of each job where all have the same chance of failure: failures - 1 / m.

    m lies between one job in how many fails as it should and one in how many after the change to
    be found; whole, the sum lives on multiples of 1 / m and its run length is exact.
    Source: Reynolds and Stoumbos 1999, J Qual Technol 31:87-108.

    Raises `ValueError` for outcomes other than 0 or 1 and m not above 1.
    """
    failed = _outcomes(failures)
    if not m > 1 or not np.isfinite(m):
        raise ValueError(f"m must be a number above 1, got {m!r}")
    return np.asarray(failed - 1 / m)[()]


def cusum(
    scores: ArrayLike, *, groups: ArrayLike | None = None, n_groups: int | None = None
) -> FloatArray:
    """The sum after each job, in the order the jobs came in; each group has a sum of its own.

    `scores`: (jobs,), in order of time within each group. `groups`: (jobs,), whole numbers from 0;
    there are `n_groups`, by default up to the largest number.

    max(0, C + score) without walking from job to job: cumulative sum less its running minimum, the
    start (0) included. Raises `ValueError` for scores that are not finite and groups that do not
    fit.
    """
    score = _scores(scores)
    rows = by_group(score, groups, n_groups)
    answer = np.empty_like(score)
    answer[rows.order] = _sums(score[rows.order], rows.start)
    return answer


@dataclass(frozen=True)
class CusumAlarms:
    """What the sums of all groups say; every field (groups,).

    `alarm`: row of the first job at which the sum reached the threshold, -1 where it never did.
    `since`: row of the first job after the last zero before that: the most probable first job
    after the change, -1 without alarm. `highest`: the largest value, 0 without jobs.
    `last`: the value after the last job. `n_jobs`: rows of the group.

    The sum is not started anew after an alarm: `last` at or over the threshold says that the
    alarm stands.
    """

    alarm: IntArray
    since: IntArray
    highest: FloatArray
    last: FloatArray
    n_jobs: IntArray


def cusum_alarms(
    scores: ArrayLike,
    threshold: ArrayLike,
    *,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
) -> CusumAlarms:
    """First alarm of each group, and since when; rows as in `cusum`.

    `threshold`: positive, one for all or one a group. Raises `ValueError` as `cusum` does, and for
    thresholds that are not positive or do not fit.
    """
    score = _scores(scores)
    rows = by_group(score, groups, n_groups)
    n_jobs = np.diff(rows.start)
    height = as_numbers("threshold", threshold)
    refuse("threshold", "must be positive", height, height <= 0)
    if height.shape not in {(), n_jobs.shape}:
        raise ValueError(
            f"threshold must be one number or one a group, got {height.shape} for {len(n_jobs)}"
        )
    sums = _sums(score[rows.order], rows.start)
    reached = np.flatnonzero(
        sums >= np.repeat(np.broadcast_to(height, n_jobs.shape), n_jobs) - SAME_SUM
    )
    # The first place of each group that is reached, if it is the group's own.
    first = np.searchsorted(reached, rows.start[:-1])
    place = np.append(reached, len(sums))[first]
    out = place < rows.start[1:]
    zeros = np.append(np.flatnonzero(sums == 0), -1)
    last_zero = zeros[np.searchsorted(zeros[:-1], place) - 1]
    begin = np.maximum(last_zero + 1, rows.start[:-1])
    there = n_jobs > 0
    highest, last = np.zeros(len(n_jobs)), np.zeros(len(n_jobs))
    if there.any():
        highest[there] = np.maximum.reduceat(sums, rows.start[:-1][there])
        last[there] = sums[rows.start[1:][there] - 1]
    row = np.append(rows.order, -1)
    return CusumAlarms(
        alarm=np.where(out, row[np.where(out, place, -1)], -1),
        since=np.where(out, row[np.where(out, begin, -1)], -1),
        highest=highest,
        last=last,
        n_jobs=n_jobs,
    )


@dataclass(frozen=True)
class Rows:
    """Rows laid out by group: `order` puts them so, group g holds `start[g]` to `start[g + 1]`."""

    order: IntArray
    start: IntArray


def by_group(rows: FloatArray, groups: ArrayLike | None, n_groups: int | None) -> Rows:
    """Lay rows out by group, keeping their order within each.

    Raises `ValueError` for rows that are no vector, groups that are not whole numbers from 0, one
    a row, and too few `n_groups`.
    """
    if rows.ndim != 1:
        raise ValueError(f"jobs must be a vector, got shape {rows.shape}")
    if groups is None:
        return Rows(np.arange(len(rows)), np.array([0, len(rows)]))
    group = np.asarray(groups)
    if group.shape != rows.shape:
        raise ValueError(f"groups must have one entry a job, got {group.shape} for {rows.shape}")
    if group.dtype.kind not in "iu":
        number = as_numbers("groups", groups)
        refuse("groups", "must be whole numbers from 0", number, number % 1 != 0)
        group = number.astype(np.int64)
    least = int(group.max(initial=-1)) + 1
    if group.min(initial=0) < 0:
        raise ValueError(f"groups must be whole numbers from 0, got {group.min()}")
    if n_groups is not None and n_groups < least:
        raise ValueError(f"n_groups must be at least {least}, got {n_groups}")
    there = least if n_groups is None else n_groups
    if there <= np.iinfo(np.uint16).max:  # sixteen bits are sorted by counting
        group = group.astype(np.uint16)
    start = np.concatenate([[0], np.cumsum(np.bincount(group, minlength=there))])
    return Rows(np.argsort(group, kind="stable"), start)


def _sums(scores: FloatArray, start: IntArray) -> FloatArray:
    """C of every row; groups stand one after the other."""
    sums = np.empty_like(scores)
    # A turn a group, not a job: each starts from its own 0, so what stands before it in the
    # table cannot touch its digits.
    bounds = start.tolist()
    for group in range(len(bounds) - 1):
        begin, end = bounds[group], bounds[group + 1]
        total = np.cumsum(scores[begin:end])
        lowest = np.minimum.accumulate(total)
        np.minimum(lowest, 0.0, out=lowest)
        np.subtract(total, lowest, out=sums[begin:end])
    sums[sums < SAME_SUM] = 0.0
    return sums


def as_odds_ratio(name: str, value: float, *, changed: bool = False) -> float:
    """Return an odds ratio, positive and finite; `changed`: 1 is refused too."""
    ratio = float(value)
    if not (0 < ratio < np.inf) or (changed and ratio == 1):
        other = " other than 1" if changed else ""
        raise ValueError(f"{name} must be a positive number{other}, got {value!r}")
    return ratio


def _scores(scores: ArrayLike) -> FloatArray:
    return as_numbers("scores", scores)


def _outcomes(failures: ArrayLike) -> FloatArray:
    failed = as_numbers("failures", failures)
    refuse("failures", "must be 0 or 1", failed, (failed != 0) & (failed != 1))
    return failed


def _risks(expected: ArrayLike) -> FloatArray:
    risk = as_numbers("expected", expected)
    refuse("expected", "must lie between 0 and 1", risk, (risk < 0) | (risk > 1))
    return risk
