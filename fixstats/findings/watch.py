"""What has got worse, since when, and whose work or which lot differs from the shop's?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from fixstats.findings.base import Finding, Note, common_settings
from fixstats.findings.rates_notes import cautions_for
from fixstats.findings.watch_alarms import group_alarms, in_order, time_alarms
from fixstats.findings.watch_figures import ODDS_RATIO
from fixstats.findings.watch_groups import (
    ANY,
    Compared,
    Key,
    alarms_of,
    compare,
    corrected,
    false_alarms,
    group_rows,
    key_of,
)
from fixstats.findings.watch_plan import (
    WatchAsk,
    Watched,
    check_groups,
    subjects_of,
    watched_of,
)
from fixstats.findings.watch_time import (
    Expected,
    Series,
    Sums,
    day_of_rise,
    expected_of,
    gap_rows,
    month_rows,
    series_of,
    sum_rows,
    sums_of,
)
from fixstats.findings.watch_words import notes_for, thin_words, young_words
from fixstats.folder import Catalogue, ShopFolder
from fixstats.tallies import watch as tallies
from fixstats.tallies.counts import Period, period

if TYPE_CHECKING:
    import duckdb

Row = dict[str, Any]
ROW_KEYS = (
    "chart", "mode", "family", "group", "value_of_group", "period", "failures", "opportunities",
    "value", "centre", "lower_limit", "upper_limit", "alarm", "since", "expected_false",
)  # fmt: skip
CHARTS = ("p", "p_prime", "g", "cusum", "funnel", "comebacks")
# Since when is worked out for the strongest so many groups that are out.
MOST_DATED = 30
# A change within the first month watched may as well have been there before.
EARLY = timedelta(days=31)


def watch(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: WatchAsk) -> Finding:
    """Everything that is out: modes and families over time; technicians, suppliers and lots.

    ``con`` is a session with the catalogue and views of ``folder``. Rows: a chart's points, see
    ``ROW_KEYS``; ``chart`` is ``p``, ``p_prime`` (rate of a month), ``g`` (jobs between two
    failures of a rare mode), ``cusum`` (highest sum over the watched jobs), ``funnel`` (rate of a
    group) or ``comebacks`` (share of a group's jobs that came back; mode null: for any reason).
    Alarms are raised for more failures only. ``parts``: ``alarms``, one row for each thing that is
    out, in the order in which to look at them; ``months``, the points of the months, those of the
    baseline among them.

    Raises
    ------
    UsageError
        If the question names something unknown or does not fit together.
    """
    catalogue = folder.catalogue
    modes, families = subjects_of(ask, catalogue)
    check_groups(ask, catalogue)
    covered = period(con)
    if not covered.jobs:
        nothing = Note("nothing", "no job was recorded yet: there is nothing to watch")
        return _finding(folder, ask, covered, None, [], [], [], [nothing])
    time = watched_of(ask, covered)
    if time is None:
        young = Note("young", young_words(covered))
        return _finding(folder, ask, covered, None, [], [], [], [young])
    alarms: list[Row] = []
    rows: list[Row] = []
    months: list[Row] = []
    notes: list[Note] = []
    baseline = time.since if ask.group else time.baseline
    own = {} if ask.group else {name: catalogue.families[name] for name in families}
    with tallies.watched(con, catalogue, modes, baseline, time.since, time.until, own):
        if not ask.group:
            months, rows, alarms, notes = _over_time(con, folder, time)
        compared, since = _groups(con, folder, ask, modes, time, covered)
    each = false_alarms(compared)
    for one in compared:
        rows += group_rows(one, each, _span(time), since)
        alarms += group_alarms(one, folder, since)
    rows = sorted(rows, key=lambda row: _place(row, catalogue))
    ordered = in_order([_from_start(one, time) for one in alarms], catalogue)
    notes = [*notes_for(rows, ordered, months, time, covered, folder), *notes]
    return _finding(folder, ask, covered, time, rows, ordered, months, notes)


def _over_time(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, time: Watched
) -> tuple[list[Row], list[Row], list[Row], list[Note]]:
    """Points of all months, rows of the watched ones and of the sums, alarms, notes."""
    counted = tallies.months(con)
    if not counted["mode"]:
        return [], [], [], []
    series = series_of(counted)
    expected = expected_of(series)
    by_day = tallies.days(con, _risks(series, expected), ODDS_RATIO - 1)
    sums = sums_of(series, expected, by_day)
    months = month_rows(series, expected, sums)
    rows = [{key: row[key] for key in ROW_KEYS} for row in months if row["watched"]]
    rows += gap_rows(series, expected, by_day)
    rows += sum_rows(series, expected, sums, _span(time))
    alarms = time_alarms(series, expected, sums, rows, by_day, folder)
    notes = [*_thin(series, time), *_untold(series, expected, sums, folder.catalogue)]
    return months, rows, alarms, notes


def _risks(series: Series, expected: Expected) -> list[tuple[str, bool, str, float]]:
    """Of each subject and device model; NaN (nothing before) is left out."""
    found = np.argwhere(np.isfinite(expected.risk)).tolist()
    return [
        (
            series.subjects[n][0] or series.subjects[n][1] or "",
            series.subjects[n][0] is None,
            series.models[m],
            float(expected.risk[n, m]),
        )
        for n, m in found
    ]


def _thin(series: Series, time: Watched) -> list[Note]:
    """Whether the time before is so short, or so empty, that small changes cannot be told."""
    modes = np.array([mode is not None for mode, _ in series.subjects])
    failures = int(series.base(series.failures)[modes].sum())
    text = thin_words((time.since - time.baseline).days, failures)
    return [Note("thin", text)] if text else []


def _untold(series: Series, expected: Expected, sums: Sums, catalogue: Catalogue) -> list[Note]:
    """Which modes could not be judged, or only in part."""
    there = series.seen(series.opportunities) > 0
    new = np.flatnonzero(there & (expected.opportunities == 0)).tolist()
    judged = np.isfinite(sums.thresholds.threshold)
    thin = np.flatnonzero(there & (expected.opportunities > 0) & ~judged).tolist()
    names = [mode or family or "" for mode, family in series.subjects]
    notes = []
    for code, places, words in (
        ("no_baseline", new, "nothing to compare with, not looked for in the time before"),
        ("thin_baseline", thin, "too few jobs before to tell a lasting change from chance"),
    ):
        if places:
            told = ", ".join(catalogue.label(names[n]) for n in places)
            notes.append(Note(code, f"{words}: {told}"))
    return notes


def _groups(
    con: duckdb.DuckDBPyConnection,
    folder: ShopFolder,
    ask: WatchAsk,
    modes: Sequence[str],
    time: Watched,
    covered: Period,
) -> tuple[list[Compared], dict[Key, str]]:
    """Every group asked for against the shop, and since when those are out that are."""
    days = folder.settings.warranty_days
    groups = [
        group
        for group in tallies.groups_of(con, time.since)
        if not ask.group or group.kind in ask.group or group.key in ask.group
    ]
    found: list[Compared] = []
    for part in dict.fromkeys(group.part for group in groups):
        own = [group for group in groups if group.part == part]
        tallies.lay_part(con, part)
        counts = tallies.count_groups(con, own)
        found += [compare("funnel", *pair) for pair in zip(own, counts, strict=True)]
        for group in own:
            returns = tallies.count_returns(con, group, days, covered.as_of)
            found.append(compare("comebacks", group, _asked(returns, ask, modes)))
    found = corrected(found)
    return found, _since(con, found, days, covered)


def _place(row: Row, catalogue: Catalogue) -> tuple[Any, ...]:
    """Rows by chart, then as the catalogue lists modes and families, then by group and time."""
    names = [*catalogue.modes, *catalogue.families]
    subject = row["mode"] or row["family"]
    return (
        CHARTS.index(row["chart"]), names.index(subject) if subject else -1,
        row["group"] or "", row["value_of_group"] or "", row["period"],
    )  # fmt: skip


def _from_start(one: Row, time: Watched) -> Row:
    """The alarm; where it began with the watched time it may be older than that."""
    early = one["since"] and date.fromisoformat(one["since"]) - time.since <= EARLY
    return {**one, "from_start": bool(early)}


def _asked(
    returns: dict[str, list[Any]], ask: WatchAsk, modes: Sequence[str]
) -> dict[str, list[Any]]:
    """Only reasons asked about."""
    if not (ask.mode or ask.family):
        return returns
    kept = [n for n, reason in enumerate(returns["reason"]) if reason in modes]
    return {name: [column[n] for n in kept] for name, column in returns.items()}


def _since(
    con: duckdb.DuckDBPyConnection, found: Sequence[Compared], days: int, covered: Period
) -> dict[Key, str]:
    """Since when the strongest groups that are out are: their most probable day of the change."""
    out = [(one, n) for one in found for n in alarms_of(one)]
    out = sorted(out, key=lambda pair: pair[0].p_value[pair[1]])[:MOST_DATED]
    since: dict[Key, str] = {}
    for compared in found:
        places = [n for one, n in out if one is compared]
        rises = _rises_of(con, compared, places, days, covered) if places else {}
        since |= {key_of(compared, n): day.isoformat() for n, day in rises.items()}
    return since


def _rises_of(
    con: duckdb.DuckDBPyConnection,
    compared: Compared,
    places: Sequence[int],
    days: int,
    covered: Period,
) -> dict[int, date]:
    """The day of the change of these rows of one kind of group."""
    group, values = compared.group, sorted({compared.value[n] for n in places})
    if compared.chart == "funnel":
        counted = tallies.count_value_days(con, group, values)
        day, name = counted["day"], counted["mode"]
    else:
        counted = tallies.count_returns(con, group, days, covered.as_of, values)
        day, name = counted["finished"], counted["reason"]
    found = {}
    for n in places:
        own = (compared.value[n], compared.mode[n] or ANY)
        rows = [at for at, one in enumerate(zip(counted["value"], name, strict=True)) if one == own]
        rows.sort(key=lambda at: day[at])
        failures = [counted["failures"][at] for at in rows]
        if compared.chart == "funnel":
            risk = compared.expected[n] / compared.opportunities[n]
            expected = [float(counted["opportunities"][at] * risk) for at in rows]
        else:
            expected = [counted["expected"][at] for at in rows]
        if rows:
            found[n] = day_of_rise(failures, expected, [day[at] for at in rows])
    return found


def _span(time: Watched) -> str:
    return f"{time.since.isoformat()}/{time.until.isoformat()}"


def _finding(
    folder: ShopFolder,
    ask: WatchAsk,
    covered: Period,
    time: Watched | None,
    rows: Sequence[Row],
    alarms: Sequence[Row],
    months: Sequence[Row],
    notes: Sequence[Note],
) -> Finding:
    out = [row for row in rows if row["alarm"]]
    return Finding(
        question="watch",
        settings=common_settings(
            folder,
            covered,
            confidence_level=folder.settings.confidence_level,
            view="first",
            mode=list(ask.mode),
            family=list(ask.family),
            group=list(ask.group),
            since=time.since.isoformat() if time else None,
            until=time.until.isoformat() if time else None,
            baseline_since=time.baseline.isoformat() if time else None,
            warranty_days=folder.settings.warranty_days,
            alarms=len(out),
            expected_false=float(sum(row["expected_false"] for row in rows)),
        ),
        rows=tuple(rows),
        notes=tuple(notes),
        cautions=cautions_for(out, folder.catalogue),
        labels=folder.catalogue.labels,
        parts={"alarms": alarms, "months": months},
    )
