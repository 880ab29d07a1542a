"""The figures of practice with one method: bands, curve, practised number, what learning costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

# Bands of earlier uses, as the key STEP_practice has them; in the last a technician counts as
# practised for other questions.
BANDS = (("0-9", 0, 9), ("10-29", 10, 29), ("30-99", 30, 99), ("100+", 100, None))
SETTLED = "settled"
# A technician got to a number when he or she has used the method twice as often, and at least
# this many times more: only then has a curve that still falls had room to show it.
BEYOND = 10
# Without a practised number, models of jobs before and after this many uses are compared.
HALFWAY = 30
# Minutes and what learning costs are told of no more than so many first jobs, where the last band
# begins.
LEARNED = 100
# The curve ends here: later uses count at this number. Whoever used a method so often has learned
# it, and a shop of a million jobs is answered as fast as a small one.
LONGEST = 1000
# Points of the curve handed to pictures.
POINTS = 80

Columns = Mapping[str, Any]
Row = dict[str, Any]


@dataclass(frozen=True)
class Method:
    """What the records say of practice with one method.

    Attributes
    ----------
    summary
        Figures that every row of the method carries; None where there is none.
    reason
        Why there is no practised number (``not_practised`` of the rows): ``settled``,
        ``few_technicians``, ``no_early``, ``no_drop``, ``rises``, ``small_drop``,
        ``still_falling``; '' where there is one.
    more
        Figures behind the sentences: counts before the practised number, how far two technicians
        have come, how models differ, whether settled technicians differ.
    bands, curve
        A row for each band of uses; points of the falling curve.
    """

    summary: Row
    reason: str
    more: Row = field(default_factory=dict)
    bands: Sequence[Row] = ()
    curve: Sequence[Row] = ()


@dataclass(frozen=True)
class _Jobs:
    """The jobs of one method: all, and by number of uses those of learners with a known result."""

    all: Columns
    learner: Any
    known: Any
    failures: Any
    opportunities: Any
    level: float

    @property
    def reach(self) -> Any:
        """Uses that each learning technician has come to, by technician number."""
        import numpy as np

        technician, uses = self.all["technician"][self.learner], self.all["uses"][self.learner]
        reached = np.zeros(int(self.all["technician"].max()) + 1, dtype=np.int64)
        np.maximum.at(reached, technician, uses + 1)
        return reached


def method_figures(jobs: Columns, *, level: float, margin: float, labour_rate: float) -> Method:
    """Bands, curve and summary of one method; pure.

    ``jobs``: columns of ``PracticeJobs``. ``margin``: the rate difference worth knowing.
    """
    import numpy as np

    from fixstats import stats

    known = jobs["applies"] & (jobs["doubt"] == 0)
    learner = ~jobs["settled"]
    counted = known & learner
    uses = np.minimum(jobs["uses"][counted], LONGEST)
    size = min(int(jobs["uses"][learner].max()), LONGEST) + 1 if learner.any() else 0
    of = _Jobs(
        jobs,
        learner,
        known,
        np.bincount(uses, jobs["seen"][counted], size),
        np.bincount(uses, minlength=size),
        level,
    )
    most = _furthest(of.reach)
    trend = stats.trend_in_groups(
        np.log1p(uses), jobs["seen"][counted], jobs["technician"][counted]
    )
    fitted = stats.falling_rates(of.failures, of.opportunities, last=stats.LAST)
    again = None
    if counted.any():
        again = stats.resample_falling(
            of.failures, of.opportunities, most=most, margin=margin, confidence_level=level
        )
    at, reason = _practised(of, most, margin, trend)
    ends = (again.practised_low, again.practised_high) if again and at is not None else None
    summary: Row = {
        "practised_at": at,
        "practised_at_low": int(ends[0]) if ends else None,
        "practised_at_high": int(ends[1]) if ends else None,
        "not_practised": reason or None,
        **_practised_rate(of, at),
        "p_value": trend.p_value,
        **_minutes_curve(of),
        **_cost(of, _well_covered(of), labour_rate),
    }
    return Method(
        {name: _finite(value) for name, value in summary.items()},
        reason,
        _more(of, at, most, again.without if again else None),
        _bands(of, fitted),
        _curve(of, fitted, again, summary),
    )


def _furthest(reach: Any) -> int:
    """The largest number of uses that two technicians got to; below 0 where there is none."""
    import numpy as np

    second = np.sort(reach)[-2] if len(reach) > 1 else 0
    return int(min(second // 2, second - BEYOND, LONGEST))


def _well_covered(of: _Jobs) -> int:
    """The number of uses that technicians got to with the most jobs before it; 0 for none.

    Two technicians or more; picked without a look at the failures.
    """
    import numpy as np

    reach = of.reach
    if not of.opportunities[:BEYOND].any():
        return 0
    furthest = np.sort(np.minimum(np.minimum(reach // 2, reach - BEYOND), LEARNED))[::-1]
    jobs = furthest * np.arange(1, len(furthest) + 1)
    place = 1 + int(np.argmax(jobs[1:])) if len(jobs) > 1 else 0
    return int(furthest[place]) if place and furthest[place] >= BEYOND else 0


def _got(reach: Any, number: int) -> Any:
    """Which technicians got to this number."""
    import numpy as np

    return reach >= np.maximum(2 * number, number + BEYOND)


def _practised(of: _Jobs, most: int, margin: float, trend: Any) -> tuple[int | None, str]:
    """The practised number, or why there is none."""
    from fixstats import stats

    against = (
        ("settled", not of.learner.any()),
        ("few_technicians", most < 0),
        ("no_early", not of.opportunities[:BEYOND].any()),
        ("no_drop", not trend.p_value < 1 - of.level),
        ("rises", trend.z > 0),
    )
    for reason, holds in against:
        if holds:
            return None, reason
    at = stats.practised_from(of.failures, of.opportunities, most=most, margin=margin)
    if at is None:
        return None, "still_falling"
    return (at, "") if at else (None, "small_drop")


def _rate(of: _Jobs, among: Any) -> tuple[int, int, float, float, float, float]:
    """Failures, opportunities, rate, its interval and one-sided limit among these jobs."""
    from fixstats import stats

    failures, jobs = int(of.all["seen"][among].sum()), int(among.sum())
    ends = stats.wilson(failures, jobs, confidence_level=of.level)
    rate = failures / jobs if jobs else float("nan")
    limit = float(stats.at_most(jobs, confidence_level=of.level))
    return failures, jobs, rate, float(ends.low), float(ends.high), limit


def _practised_rate(of: _Jobs, at: int | None) -> Row:
    """Rate of practised jobs: learners' after the practised number, and those of settled ones.

    None where fewer than two technicians stand behind it.
    """
    import numpy as np

    practised = ~of.learner
    count = len(np.unique(of.all["technician"][practised]))
    if at is not None:
        practised = practised | (of.all["uses"] >= at)
        count += int(_got(of.reach, at).sum())
    _, jobs, rate, low, high, _ = _rate(of, practised & of.known)
    enough = count >= 2 and jobs > 0
    return {
        "practised_technicians": count,
        "practised_rate": rate if enough else None,
        "practised_low": low if enough else None,
        "practised_high": high if enough else None,
    }


def _minutes_curve(of: _Jobs) -> Row:
    """Wright's curve over the first jobs of learners that have minutes."""
    import numpy as np

    from fixstats import stats

    # Later jobs, soon the most, would pull the curve away from where learning is.
    timed = of.learner & (np.nan_to_num(of.all["minutes"]) > 0) & (of.all["uses"] < LEARNED)
    curve = stats.learning_curve(
        of.all["uses"][timed] + 1,
        of.all["minutes"][timed],
        of.all["technician"][timed],
        confidence_level=of.level,
    )
    return {
        "first_minutes": curve.first,
        "learning_rate": curve.learning_rate,
        "learning_rate_low": curve.low,
        "learning_rate_high": curve.high,
    }


def _cost(of: _Jobs, first: int, labour_rate: float) -> Row:
    """Failures, minutes and money that the ``first`` jobs of one technician took beyond later ones.

    Of technicians who got to that number, each counted before and after it, so that nobody is
    compared with others. It is not the practised number: that is picked from the failures, and
    what lies before it looks worse than it is.
    """
    import numpy as np

    from fixstats import stats

    names = ("extra_failures", "extra_minutes", "learning_cost")
    empty = {f"{name}{end}": None for name in names for end in ("", "_low", "_high")}
    if not first:
        return {"learning_jobs": None, **empty}
    mine = of.learner & _got(of.reach, first)[of.all["technician"]]
    early, late = mine & (of.all["uses"] < first), mine & (of.all["uses"] >= first)
    counts = [_rate(of, some & of.known)[:2] for some in (early, late)]
    timed = ~np.isnan(of.all["minutes"])
    found: dict[str, tuple[Any, Any, Any]] = {}
    if all(jobs for _, jobs in counts):
        one = stats.newcombe_difference(*counts[0], *counts[1], confidence_level=of.level)
        found["extra_failures"] = (first * one.estimate, first * one.low, first * one.high)
    mean, ends = stats.mean_difference(
        of.all["minutes"][early & timed],
        of.all["minutes"][late & timed],
        confidence_level=of.level,
    )
    found["extra_minutes"] = (first * mean, first * ends.low, first * ends.high)
    money = _money(of, found, labour_rate)
    if money:
        ends = stats.sum_interval(*money)
        found["learning_cost"] = (sum(float(part[0]) for part in money), ends.low, ends.high)
    figures = {
        f"{name}{end}": float(value)
        for name, values in found.items()
        for end, value in zip(("", "_low", "_high"), values, strict=True)
    }
    told = any(value == value for value in figures.values())  # noqa: PLR0124 - NaN alone differs
    return {"learning_jobs": first if told else None, **empty, **figures}


def _money(of: _Jobs, found: Mapping[str, Any], labour_rate: float) -> list[Any]:
    """Extra minutes and failures in money, as far as both amounts are known."""
    failed = of.learner & of.known & (of.all["seen"] == 1)
    priced = failed & (of.all["unpriced"] == 0)
    parts = []
    if found["extra_minutes"][0] == found["extra_minutes"][0]:
        parts.append(tuple(minutes / 60 * labour_rate for minutes in found["extra_minutes"]))
    if priced.any() and "extra_failures" in found:
        each = float(of.all["cost"][priced].mean())
        parts.append(tuple(each * failures for failures in found["extra_failures"]))
    return parts


def _more(of: _Jobs, at: int | None, most: int, without: float | None) -> Row:
    """What sentences and notes need beside the summary."""
    import numpy as np

    from fixstats import stats

    split = HALFWAY if at is None else at
    before, after = of.learner & (of.all["uses"] < split), of.learner & (of.all["uses"] >= split)
    width = int(of.all["model"].max()) + 1
    mixes = [np.bincount(of.all["model"][some], minlength=width) for some in (before, after)]
    moved, p_value = stats.same_mix(*mixes)
    early, late = _rate(of, before & of.known), _rate(of, after & of.known)
    settled = _rate(of, ~of.learner & of.known)
    apart = False
    if at is not None and settled[1] and late[1]:
        one = stats.newcombe_difference(*settled[:2], *late[:2], confidence_level=of.level)
        apart = bool(one.low > 0 or one.high < 0)
    failed = of.learner & of.known & (of.all["seen"] == 1)
    return {
        "early": early,
        "late": late,
        "settled": settled,
        "settled_apart": apart,
        "learners": _rate(of, of.learner & of.known),
        "technicians": len(np.unique(of.all["technician"][of.learner])),
        "settled_technicians": len(np.unique(of.all["technician"][~of.learner])),
        "reached": most,
        "moved": moved,
        "mix_differs": bool(p_value < 1 - of.level),
        "without": without,
        "unpriced": int((of.all["unpriced"][failed] > 0).sum()),
        "timed": int((of.learner & ~np.isnan(of.all["minutes"])).sum()),
    }


def _bands(of: _Jobs, fitted: Any) -> list[Row]:
    """A row for each band in which there are jobs, the settled technicians' last."""
    uses = of.all["uses"]
    rows = []
    for name, first, last in BANDS:
        inside = of.learner & (uses >= first) & (uses <= (uses.max() if last is None else last))
        if inside.any():
            rows.append(_band(of, (name, first, last), inside, fitted))
    if not of.learner.all():
        rows.append(_band(of, (SETTLED, None, None), ~of.learner, None))
    return rows


def _band(of: _Jobs, band: tuple[str, int | None, int | None], inside: Any, fitted: Any) -> Row:
    import numpy as np

    from fixstats import stats

    jobs, name, (first, last) = of.all, band[0], band[1:]
    failures, opportunities, rate, low, high, limit = _rate(of, inside & of.known)
    doubtful = inside & jobs["applies"] & ~of.known
    minutes = jobs["minutes"][inside]
    minutes = minutes[~np.isnan(minutes)]
    ends = stats.median_interval(minutes, confidence_level=of.level)
    curve = None
    if fitted is not None and opportunities:
        these = slice(first, None if last is None else last + 1)
        curve = float(np.average(fitted[these], weights=of.opportunities[these]))
    row = {
        "band": name,
        "uses_from": first,
        "uses_to": last,
        "technicians": len(np.unique(jobs["technician"][inside])),
        "failures": failures,
        "opportunities": opportunities,
        "unknown": int(doubtful.sum()),
        "unknown_failed": int(jobs["seen"][doubtful].sum()),
        "rate": rate,
        "low": low,
        "high": high,
        "at_most": limit if failures == 0 else None,
        "fitted": curve,
        "minutes": float(np.median(minutes)) if len(minutes) else None,
        "minutes_low": float(ends.low),
        "minutes_high": float(ends.high),
        "jobs_with_minutes": len(minutes),
    }
    return {key: _finite(value) for key, value in row.items()}


def _curve(of: _Jobs, fitted: Any, again: Any, summary: Row) -> list[Row]:
    """Points of the falling curve with its interval, and of the curve of minutes."""
    import numpy as np

    if again is None:
        return []
    size = len(fitted)
    at = np.unique(np.geomspace(1, size, min(size, POINTS)).round().astype(int)) - 1
    slope = np.log2(summary["learning_rate"])
    minutes = summary["first_minutes"] * (at + 1.0) ** slope
    return [
        {"uses": int(n), "fitted": float(fitted[n]), "low": float(again.low[n]),
         "high": float(again.high[n]), "minutes": _finite(float(m)) if n < LEARNED else None}
        for n, m in zip(at, minutes, strict=True)
    ]  # fmt: skip


def _finite(value: Any) -> Any:
    """The value, None in place of NaN (the only value not equal to itself)."""
    return value if value == value else None  # noqa: PLR0124
