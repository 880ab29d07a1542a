"""What is out, how strong it is, and in which order to look at it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from fixstats.findings.costs import cost_of
from fixstats.findings.watch_figures import ratio_to
from fixstats.findings.watch_groups import Compared, Key, alarms_of, awaited_of, key_of
from fixstats.findings.watch_time import Expected, Series, Sums, month_after
from fixstats.folder import Catalogue, ShopFolder
from fixstats.tallies.watch import Columns

Row = dict[str, Any]


def time_alarms(
    series: Series,
    expected: Expected,
    sums: Sums,
    rows: Sequence[Row],
    by_day: Columns,
    folder: ShopFolder,
) -> list[Row]:
    """One alarm for each mode or family with any point out; figures from its day on.

    From the day of the change where the sum signals, else of the months that are out. The day was
    chosen by looking, so the ratio is a little larger than the truth.
    """
    found = []
    days = np.array([day.toordinal() for day in by_day["day"]])
    failures, wanted = (np.asarray(by_day[name], dtype=float) for name in ("failures", "expected"))
    pairs = list(zip(by_day["mode"], by_day["family"], strict=True))
    for n, subject in enumerate(series.subjects):
        out = [row for row in rows if (row["mode"], row["family"]) == subject and row["alarm"]]
        if not out:
            continue
        since = sums.since[n]
        points = [row for row in out if row["chart"] != "cusum"]
        spans = [(since, None)] if since else [_span_of(row) for row in points]
        own = np.array([pair == subject for pair in pairs])
        within = np.zeros(len(own), dtype=bool)
        for begin, end in spans:
            within |= (days >= begin.toordinal()) & (days < (end or date.max).toordinal())
        within &= own
        wide = expected.sigma_z[n] ** 2
        base = expected.failures[n]
        level = folder.settings.confidence_level
        observed, awaited = float(failures[within].sum()), float(wanted[within].sum())
        ratio = ratio_to(observed / wide, awaited / wide, base / wide, (base + 0.5) / wide, level)
        found.append(
            _alarm(subject, None, None, [row["chart"] for row in out], folder)
            | {
                "since": (since or min(begin for begin, _ in spans)).isoformat(),
                "months": [row["period"] for row in out if row["chart"] in ("p", "p_prime")],
                "lasting": since is not None,
                "failures": int(observed),
                "opportunities": int(np.asarray(by_day["opportunities"])[within].sum()),
                "expected": awaited,
                **vars(ratio),
                "unknown": _unknown(series, n),
            }
        )
    return found


def _span_of(row: Mapping[str, Any]) -> tuple[date, date | None]:
    """The days of a point that is out."""
    if row["chart"] == "g":
        return date.fromisoformat(row["since"]), None
    return date.fromisoformat(f"{row['period']}-01"), month_after(row["period"])


def _unknown(series: Series, n: int) -> tuple[float, float]:
    """Share of units nobody looked at, before and in the watched time."""
    shares = []
    for part in (~series.watched, series.watched):
        unknown = series.unknown[n][:, part].sum()
        units = unknown + series.opportunities[n][:, part].sum()
        shares.append(float(unknown / units) if units else 0.0)
    return shares[0], shares[1]


def group_alarms(compared: Compared, folder: ShopFolder, since: Mapping[Key, str]) -> list[Row]:
    """One alarm for each value of a group that is out."""
    found, expected = [], awaited_of(compared)
    for n in alarms_of(compared):
        mode, value = compared.mode[n], compared.value[n]
        k, wide, awaited = compared.failures[n], compared.ratio[n], expected[n]
        others = compared.shared[n] - k
        level = folder.settings.confidence_level
        ratio = ratio_to(k / wide, awaited / wide, others / wide, others / wide, level)
        found.append(
            _alarm((mode, None), compared.group.key, value, [compared.chart], folder)
            | {
                "since": since.get(key_of(compared, n)),
                "months": [],
                "lasting": True,
                "failures": int(k),
                "opportunities": int(compared.opportunities[n]),
                "expected": float(awaited),
                **vars(ratio),
                "p_value": float(compared.p_value[n]),
                "p_corrected": float(compared.p_corrected[n]),
            }
        )
    return found


def _alarm(
    subject: tuple[str | None, str | None],
    group: str | None,
    value: str | None,
    charts: Sequence[str],
    folder: ShopFolder,
) -> Row:
    mode = folder.catalogue.modes[subject[0]] if subject[0] else None
    return {
        "mode": subject[0],
        "family": subject[1],
        "group": group,
        "value_of_group": value,
        "charts": list(dict.fromkeys(charts)),
        "safety": bool(mode and mode.safety),
        "severity": (mode.severity if mode else None) or 0,
        "cost": cost_of(mode, folder.settings.labour_rate) if mode else None,
        "p_value": None,
        "p_corrected": None,
        "unknown": None,
        "explained_by": None,
    }


def in_order(alarms: Sequence[Row], catalogue: Catalogue) -> list[Row]:
    """Alarms in the order in which to look at them.

    Safety modes first; then what cost most: failures beyond those expected times what one costs,
    severity standing in where the catalogue knows no cost; those that another explains last: a
    family by its mode, a supplier by its lot, any reason by one reason. Technicians stand after all
    others and by name: the order of people is no ranking.
    """
    told = [{**one, "explained_by": _explained(one, alarms, catalogue)} for one in alarms]

    def place(one: Row) -> Any:
        beyond = max(one["failures"] - one["expected"], 0.0)
        if one["group"] == "technician":
            return (2, one["explained_by"] is not None, False, 0.0, one["value_of_group"])
        return (
            one["explained_by"] is not None, 0, not one["safety"],
            -beyond * (one["cost"] or 0.0), -beyond * one["severity"], str(one["value_of_group"]),
        )  # fmt: skip

    people = [one for one in told if one["group"] == "technician"]
    others = [one for one in told if one["group"] != "technician"]
    return [*sorted(others, key=place), *sorted(people, key=place)]


def _explained(one: Row, alarms: Sequence[Row], catalogue: Catalogue) -> str | None:
    """What among the alarms already says this one."""
    if one["mode"] and one["group"] is None:
        return _lot_behind(one, alarms)
    if one["family"]:
        inside = [
            other["mode"]
            for other in alarms
            if other["group"] is None and other["mode"] in catalogue.families[one["family"]]
        ]
        return inside[0] if inside else None
    same = [other for other in alarms if other is not one and other["charts"] == one["charts"]]
    if one["charts"] == ["comebacks"] and one["mode"] is None:
        inside = [other["mode"] for other in same if other["mode"] and _key(other) == _key(one)]
        return inside[0] if inside else None
    if one["group"] and one["group"].endswith("_supplier"):
        part = one["group"].removesuffix("_supplier")
        lots = [
            other["value_of_group"]
            for other in same
            if other["group"] == f"{part}_lot" and other["mode"] == one["mode"]
        ]
        return lots[0] if lots else None
    return None


def _lot_behind(one: Row, alarms: Sequence[Row]) -> str | None:
    """The lot to which at least half of the failures beyond the expected fell."""
    beyond = (one["failures"] - one["expected"]) / 2
    lots = [
        other["value_of_group"]
        for other in alarms
        if other["mode"] == one["mode"]
        and other["charts"] == ["funnel"]
        and other["group"].endswith("_lot")
        and other["failures"] - other["expected"] >= beyond
    ]
    return lots[0] if lots else None


def _key(one: Row) -> tuple[Any, Any]:
    return one["group"], one["value_of_group"]
