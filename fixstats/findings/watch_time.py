"""The shop over time: rates by month, gaps of rare modes, and the sum that says since when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixstats import stats
from fixstats.findings.watch_figures import (
    ODDS_RATIO,
    Floats,
    Thresholds,
    cusum_thresholds,
    effective_failures,
    month_limits,
    pooled_risks,
    shortest_gaps,
)
from fixstats.tallies.watch import Columns

Subject = tuple[str | None, str | None]  # mode and family; a family has no mode
# Fewer expected failures a month than this make a rare mode: jobs between failures are shown.
RARE = 0.5
# Laney's p': months of at least so many expected failures, and chance less than this that they
# would lie so far apart.
LARGE, FEWEST_MONTHS, TELLING = 5.0, 6, 0.01


@dataclass(frozen=True)
class Series:
    """Counts by subject, device model and month; a month that is cut in two has two places.

    ``failures``, ``opportunities``, ``unknown``: (subjects, models, months).
    """

    subjects: list[Subject]
    models: list[str]
    months: list[str]
    watched: NDArray[np.bool_]
    failures: Floats
    opportunities: Floats
    unknown: Floats

    def base(self, counts: Floats) -> Floats:
        """Of the baseline, (subjects, models)."""
        return np.asarray(counts[:, :, ~self.watched].sum(axis=2))

    def seen(self, counts: Floats) -> Floats:
        """Of the watched time, (subjects,)."""
        return np.asarray(counts[:, :, self.watched].sum(axis=(1, 2)))


def series_of(counted: Columns) -> Series:
    """The counts laid out as arrays."""
    found = {*zip(counted["mode"], counted["family"], strict=True)}
    subjects = sorted(found, key=lambda one: (one[0] is None, one[0] or one[1]))
    places = [*dict.fromkeys(zip(counted["month"], counted["watched"], strict=True))]
    models, months = sorted(set(counted["model"])), sorted(places)
    rows = (
        _places(list(zip(counted["mode"], counted["family"], strict=True)), subjects),
        _places(counted["model"], models),
        _places(list(zip(counted["month"], counted["watched"], strict=True)), months),
    )
    shape = (len(subjects), len(models), len(months))
    counts = []
    for name in ("failures", "opportunities", "unknown"):
        laid = np.zeros(shape)
        laid[rows] = counted[name]
        counts.append(laid)
    watched = np.array([there for _, there in months], dtype=bool)
    return Series(subjects, models, [month for month, _ in months], watched, *counts)


def _places(values: Sequence[Any], names: Sequence[Any]) -> NDArray[np.int64]:
    place = {name: n for n, name in enumerate(names)}
    return np.fromiter((place[value] for value in values), dtype=np.int64, count=len(values))


@dataclass(frozen=True)
class Expected:
    """What the baseline says; arrays over subjects unless told.

    ``risk``: (subjects, models). ``failures``: how many the expectation rests on, see
    ``effective_failures``. ``by_month``: expected failures, (subjects, months). ``sigma_z``:
    how much further months lie apart than chance takes them, 1 where chance is all.
    """

    risk: Floats
    failures: Floats
    opportunities: Floats
    rate: Floats
    by_month: Floats
    sigma_z: Floats


def expected_of(series: Series) -> Expected:
    """Risks from the baseline, and what they make one expect of every month."""
    failures, opportunities = series.base(series.failures), series.base(series.opportunities)
    pooled = pooled_risks(failures, opportunities)
    risk = pooled.risk
    watched = np.nan_to_num(series.opportunities[:, :, series.watched].sum(axis=2) * risk)
    base = effective_failures(failures, np.nan_to_num(pooled.weight, nan=1.0), watched)
    by_month = np.nansum(series.opportunities * risk[:, :, None], axis=1)
    total = opportunities.sum(axis=1)
    rate = np.nansum(risk * opportunities, axis=1) / np.where(total > 0, total, np.nan)
    return Expected(risk, base, total, rate, by_month, _sigma(series, by_month))


def _sigma(series: Series, by_month: Floats) -> Floats:
    """Laney's sigma where baseline months are large and differ more than chance, else 1."""
    from scipy import special

    counts = (series.failures, series.opportunities)
    k, n = (one.sum(axis=1)[:, ~series.watched] for one in counts)
    expected = by_month[:, ~series.watched]
    sigma = np.ones(len(series.subjects))
    large = ((expected >= LARGE).sum(axis=1) >= FEWEST_MONTHS) & (expected.mean(axis=1) >= LARGE)
    for at in np.flatnonzero(large):
        own = n[at] > 0
        rate = k[at, own].sum() / n[at, own].sum()
        if not 0 < rate < 1:
            continue
        squares = (k[at, own] - n[at, own] * rate) ** 2 / (n[at, own] * rate * (1 - rate))
        if special.chdtrc(own.sum() - 1, squares.sum()) < TELLING:
            sigma[at] = max(float(stats.laney_sigma(k[at, own], n[at, own])), 1.0)
    return sigma


@dataclass(frozen=True)
class Sums:
    """Of each subject, the CUSUM over the watched days; arrays (subjects,).

    ``since``: most probable day of the change, None without alarm.
    """

    thresholds: Thresholds
    highest: Floats
    alarm: NDArray[np.bool_]
    since: list[date | None]


def sums_of(series: Series, expected: Expected, by_day: Columns) -> Sums:
    """CUSUM of each subject; months that always vary count as so many fewer jobs."""
    wide = expected.sigma_z**2
    watched = expected.by_month[:, series.watched].sum(axis=1)
    thresholds = cusum_thresholds(
        np.where(expected.opportunities > 0, watched, 0.0) / wide,
        np.maximum(series.seen(series.opportunities), 1.0),
        expected.failures / wide,
    )
    pairs = list(zip(by_day["mode"], by_day["family"], strict=True))
    subject = _places(pairs, series.subjects)
    scores = scores_of(by_day["failures"], by_day["quiet"]) / wide[subject]
    height = np.where(np.isfinite(thresholds.threshold), thresholds.threshold, 1e9)
    found = stats.cusum_alarms(scores, height, groups=subject, n_groups=len(series.subjects))
    since: list[date | None] = [None] * len(series.subjects)
    for n in np.flatnonzero(found.alarm >= 0):
        own = np.flatnonzero(subject == n).tolist()
        columns = ([by_day[name][row] for row in own] for name in ("failures", "expected", "day"))
        since[n] = day_of_rise(*columns)
    return Sums(thresholds, found.highest, found.alarm >= 0, since)


def scores_of(failures: Sequence[int], quiet: Sequence[float]) -> Floats:
    """Scores of days; the jobs of one day have no order."""
    scores: Floats = np.log(ODDS_RATIO) * np.asarray(failures, dtype=float) - np.asarray(quiet)
    return scores


def day_of_rise(failures: Sequence[int], expected: Sequence[float], days: Sequence[date]) -> date:
    """The most probable day on which the rate rose; one row a day, in order of time.

    The change lasted to the day on which the CUSUM was highest, so that a rise that is over is
    dated, too. Of all days up to then the one from which failures are likeliest to have come at
    one higher rate against the expected one: the likelihood ratio of Poisson counts, the size of
    the change free (Hinkley 1970, Biometrika 57:1-17, for the time of a change).
    """
    seen, awaited = (np.asarray(one, dtype=float) for one in (failures, expected))
    top = int(np.argmax(stats.cusum(scores_of(failures, expected)))) + 1
    k, e = (np.cumsum(one[:top][::-1])[::-1] for one in (seen, awaited))
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(k > e, k * np.log(k / e) - (k - e), 0.0)
    return days[int(np.argmax(gain))]


def month_rows(series: Series, expected: Expected, sums: Sums) -> list[dict[str, Any]]:
    """Rows of p-charts, of all months; ``watched`` tells those that are judged."""
    counts = {
        name: getattr(series, name).sum(axis=1) for name in ("failures", "opportunities", "unknown")
    }
    there = counts["opportunities"] > 0
    there &= (expected.opportunities > 0)[:, None] & ~rare_of(series, expected)[:, None]
    at, month = np.nonzero(there)
    n, centre = counts["opportunities"][at, month], expected.by_month[at, month]
    centre = centre / n
    limits = month_limits(centre, n, expected.failures[at], expected.sigma_z[at])
    value = counts["failures"][at, month] / n
    out = stats.beyond_limits(value, 0.0, limits.upper_limit) & series.watched[month]
    rows = []
    for row, (subject, place) in enumerate(zip(at.tolist(), month.tolist(), strict=True)):
        name = series.months[place]
        since = sums.since[subject] or date.fromisoformat(f"{name}-01")
        rows.append(
            _row(
                "p" if expected.sigma_z[subject] == 1 else "p_prime", series.subjects[subject],
                period=name, failures=counts["failures"][subject, place],
                opportunities=n[row], value=value[row], centre=centre[row],
                lower_limit=limits.lower_limit[row], upper_limit=limits.upper_limit[row],
                alarm=bool(out[row]), since=since if out[row] else None,
                expected_false=limits.beyond[row],
            )
            | {
                "watched": bool(series.watched[place]),
                "unknown": int(counts["unknown"][subject, place]),
            }
        )  # fmt: skip
    return rows


def rare_of(series: Series, expected: Expected) -> NDArray[np.bool_]:
    """Subjects of which hardly a failure a month is expected."""
    return np.asarray(expected.by_month[:, series.watched].mean(axis=1) < RARE)


def sum_rows(series: Series, expected: Expected, sums: Sums, period: str) -> list[dict[str, Any]]:
    """A row of each CUSUM: the highest value of the sum against its threshold."""
    failures, opportunities = series.seen(series.failures), series.seen(series.opportunities)
    return [
        _row(
            "cusum", subject, period=period, failures=failures[n], opportunities=opportunities[n],
            value=sums.highest[n], centre=0.0, lower_limit=None,
            upper_limit=_finite(sums.thresholds.threshold[n]), alarm=bool(sums.alarm[n]),
            since=sums.since[n], expected_false=sums.thresholds.false_alarm[n],
        )
        for n, subject in enumerate(series.subjects)
        if opportunities[n] > 0 and expected.opportunities[n] > 0
    ]  # fmt: skip


def gap_rows(series: Series, expected: Expected, by_day: Columns) -> list[dict[str, Any]]:
    """Rows of g-charts: jobs between two failures of a rare mode, both in the watched time.

    The jobs of one day have no order: all of both days count as between, the longest gap it can be.
    """
    rare = rare_of(series, expected) & (expected.opportunities > 0)
    rate = np.where(rare, expected.rate, np.nan)
    limits = stats.g_limits(rate)
    lower, beyond = shortest_gaps(rate, expected.failures)
    subject = _places(list(zip(by_day["mode"], by_day["family"], strict=True)), series.subjects)
    failures, units = (np.asarray(by_day[name]) for name in ("failures", "opportunities"))
    days, rows = by_day["day"], []
    for n in np.flatnonzero(rare):
        own = np.flatnonzero(subject == n)
        fine = np.cumsum(units[own] - failures[own])
        before = fine - (units[own] - failures[own])
        ends = np.repeat(np.arange(len(own)), failures[own])
        for first, last in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
            gap = int(fine[last] - before[first])
            out = gap < lower[n]
            rows.append(
                _row(
                    "g", series.subjects[n], period=days[own[last]].isoformat(), failures=1,
                    opportunities=gap + 1, value=gap, centre=limits.centre[n],
                    lower_limit=lower[n], upper_limit=limits.upper_limit[n], alarm=bool(out),
                    since=days[own[first]] if out else None, expected_false=beyond[n],
                )
            )  # fmt: skip
    return rows


def _row(chart: str, subject: Subject, **figures: Any) -> dict[str, Any]:
    """A row with all keys; whole counts whole, days as text, no number that is not finite."""
    mode, family = subject
    since = figures["since"]
    return {
        "chart": chart,
        "mode": mode,
        "family": family,
        "group": None,
        "value_of_group": None,
        "period": figures["period"],
        "failures": int(figures["failures"]),
        "opportunities": int(figures["opportunities"]),
        **{
            name: _finite(figures[name])
            for name in ("value", "centre", "lower_limit", "upper_limit")
        },
        "alarm": figures["alarm"],
        "since": since.isoformat() if since else None,
        "expected_false": float(figures["expected_false"]),
    }


def _finite(value: Any) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)


def month_after(month: str) -> date:
    """The first day after a month."""
    return (date.fromisoformat(f"{month}-01") + timedelta(days=32)).replace(day=1)
