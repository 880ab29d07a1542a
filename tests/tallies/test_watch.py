"""Counts of groups, against a second way of counting in plain Python, on the demo shop."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date

import pytest
from lifelines.statistics import multivariate_logrank_test

from fixstats.shop import open_shop
from fixstats.tallies import watch
from fixstats.tallies.ask import Ask
from fixstats.tallies.counts import count_modes, count_union

SINCE, LAST, DAYS = date(2026, 1, 1), date(2026, 9, 30), 90
FIGURES = ("failures", "opportunities")


@pytest.fixture(scope="module")
def shop(demo_shop):
    return open_shop(demo_shop)


@pytest.fixture
def con(shop):
    with shop.session() as session:
        yield session


def lay(con, shop, part):
    catalogue = shop.folder.catalogue
    watch.lay_watched(con, catalogue, tuple(catalogue.modes), SINCE, SINCE, None, {})
    watch.lay_part(con, part)


def lots(con):
    return next(group for group in watch.groups_of(con, SINCE) if group.key == "battery_lot")


def rows_of(columns):
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def test_months_are_those_of_rates(shop, con):
    catalogue = shop.folder.catalogue
    families = {name: catalogue.families[name] for name in ("sealing", "mixed_part_conflicts")}
    modes = tuple(catalogue.modes)
    watch.lay_watched(con, catalogue, modes, date(2025, 4, 1), SINCE, None, families)
    found = defaultdict(Counter)
    for row in rows_of(watch.months(con)):
        for name in (*FIGURES, "unknown"):
            found[row["mode"] or row["family"], row["month"]][name] += row[name]
    with shop.session() as other:
        ask = Ask(tuple(catalogue.modes), ("month",), where=(("rework", "no"),))
        expected = rows_of(count_modes(other, catalogue, ask).columns)
        for name, modes in families.items():
            rows = count_union(other, catalogue, Ask(modes, ("month",), where=ask.where))
            expected += [row | {"mode": name} for row in rows_of(rows.columns)]
    assert len(expected) == len(found) > 300
    for row in expected:
        own = found[row["mode"], row["month"]]
        assert [own[n] for n in (*FIGURES, "unknown")] == [row[n] for n in (*FIGURES, "unknown")]


def test_expected_failures_of_lots(shop, con):
    """From every outcome one by one: the share of alike pieces times their failures."""
    own = {}
    pieces = con.execute(
        "select p.entry, p.grade, p.supplier, p.lot, j.model, j.quarter, j.rework, j.finished "
        "from first_pieces p join jobs j using (entry) where p.part = 'battery'"
    ).fetchall()
    for entry, grade, supplier, lot, model, quarter, rework, day in pieces:
        if rework == "no" and day >= SINCE and (grade or supplier or lot):
            own[entry] = lot, (grade, model, quarter)
    failed, units = Counter(), Counter()
    for entry, place, state in con.execute(
        "select entry, place, state from outcomes_first where mode = 'dead_on_arrival'"
    ).fetchall():
        if entry in own and place == "battery" and state in ("failed", "fine"):
            units[own[entry]] += 1
            failed[own[entry]] += state == "failed"
    all_failed, all_units = Counter(), Counter()
    for key in units:
        all_failed[key[1]] += failed[key]
        all_units[key[1]] += units[key]
    expected = defaultdict(Counter)
    for (lot, alike), n in units.items():
        if lot is None or n == all_units[alike]:
            continue
        expected[lot]["failures"] += failed[lot, alike]
        expected[lot]["opportunities"] += n
        expected[lot]["shared"] += all_failed[alike]
        expected[lot]["expected"] += all_failed[alike] * n / all_units[alike]
        expected[lot]["own_part"] += failed[lot, alike] * n / all_units[alike]
    group = lots(con)
    lay(con, shop, "battery")
    (counted,) = watch.count_groups(con, [group])
    rows = [row for row in rows_of(counted) if row["mode"] == "dead_on_arrival"]
    assert len(rows) == len(expected) > 10
    for row in rows:
        for name, value in expected[row["value"]].items():
            assert row[name] == pytest.approx(value, abs=1e-8), (row["value"], name)


def test_expected_returns_are_those_of_the_log_rank_test(shop, con):
    """Observed and expected of two lots of one house, alike jobs only, against lifelines."""
    group = watch.Group("battery_lot", ("supplier",), "battery")
    lay(con, shop, "battery")
    counted = rows_of(watch.count_returns(con, group, DAYS, LAST))
    by_lot = {row["value"]: row for row in counted if row["reason"] == "drains_fast"}
    jobs = con.execute(
        "select l.lot, least(f.days_watched, 90), f.days_back, f.reason from followups f "
        "join last_pieces l using (entry) where l.part = 'battery' and f.rework = 'no' "
        "and f.finished >= ? and l.supplier = 'Corvo Supply'",
        [SINCE],
    ).fetchall()
    days, lot, event = [], [], []
    for name, last, back, reason in jobs:
        returned = back is not None and back <= last
        days.append(back if returned else last)
        event.append(returned and reason == "drains_fast")
        lot.append(name or "not recorded")
    found = multivariate_logrank_test(days, lot, event)
    assert found.test_statistic > 10
    naive = defaultdict(float)  # expected by hand, as lifelines does not tell it
    for day in sorted({d for d, seen in zip(days, event, strict=True) if seen}):
        at_risk = Counter(name for name, d in zip(lot, days, strict=True) if d >= day)
        returns = sum(d == day and seen for d, seen in zip(days, event, strict=True))
        for name, jobs_left in at_risk.items():
            naive[name] += returns * jobs_left / at_risk.total()
    seen = Counter(name for name, back in zip(lot, event, strict=True) if back)
    for name in set(lot) - {"not recorded"}:
        assert by_lot[name]["failures"] == seen[name]
        assert by_lot[name]["expected"] == pytest.approx(naive[name], abs=1e-8)
        assert by_lot[name]["shared"] == sum(event)


def test_returns_of_lots_that_were_alone_are_left_out(shop, con):
    lay(con, shop, "battery")
    counted = rows_of(watch.count_returns(con, lots(con), DAYS, LAST))
    by_lot = {row["value"]: row for row in counted if row["reason"] == "any"}
    jobs = con.execute(
        "select concat_ws('|', l.grade, f.model, f.quarter), l.lot, least(f.days_watched, 90), "
        "f.days_back, f.reason from followups f join last_pieces l using (entry) "
        "where l.part = 'battery' and f.rework = 'no' and f.finished >= ? and l.grade is not null",
        [SINCE],
    ).fetchall()
    alike = defaultdict(list)
    for stratum, lot, last, back, reason in jobs:
        returned = back is not None and back <= last
        event = returned and reason not in (None, "unrelated")
        alike[stratum].append((lot, back if returned else last, event))
    followed, expected, alone = Counter(), defaultdict(float), 0
    for rows in alike.values():
        for name in {lot for lot, *_ in rows} - {None}:
            own = [day for lot, day, _ in rows if lot == name]
            if len(own) == len(rows):
                alone += len(own)
                continue
            followed[name] += len(own)
            for day in (day for _, day, event in rows if event):
                left = sum(other >= day for _, other, _ in rows)
                expected[name] += sum(one >= day for one in own) / left
    assert alone > 0 and len(by_lot) > 10
    for name, row in by_lot.items():
        assert row["opportunities"] == followed[name]
        assert row["expected"] == pytest.approx(expected[name], abs=1e-8)


def test_of_one_value_by_day(shop, con):
    group = lots(con)
    lay(con, shop, "battery")
    whole = rows_of(watch.count_returns(con, group, DAYS, LAST))
    daily = rows_of(watch.count_returns(con, group, DAYS, LAST, ["CV-2603"]))
    assert {row["value"] for row in daily} == {"CV-2603"}
    for row in whole:
        if row["value"] == "CV-2603":
            own = [one for one in daily if one["reason"] == row["reason"]]
            for name in ("failures", "expected"):
                assert sum(one[name] for one in own) == pytest.approx(row[name], abs=1e-6)


def test_what_one_session_is_asked_after_another_is_as_if_asked_alone(shop, con):
    catalogue, modes = shop.folder.catalogue, tuple(shop.folder.catalogue.modes)
    whole = (catalogue, modes, date(2025, 4, 1), SINCE, None, catalogue.families)
    with shop.session() as alone:
        watch.lay_watched(alone, *whole)
        expected = rows_of(watch.months(alone))
    watch.lay_watched(con, catalogue, modes[:1], date(2026, 8, 1), date(2026, 9, 1), None, {})
    watch.lay_watched(con, *whole)
    by = sorted(map(str, expected))
    assert sorted(map(str, rows_of(watch.months(con)))) == by
    assert len(by) > 1000
