"""How often does each failure mode happen, out of its opportunities, and how sure is that?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from fixstats import stats
from fixstats.errors import UsageError
from fixstats.findings.base import Finding, common_settings
from fixstats.findings.rates_notes import cautions_for, notes_for
from fixstats.findings.rates_pool import POOLED, check_pool, pool_notes, pool_rows
from fixstats.folder import Catalogue, ShopFolder
from fixstats.tallies.ask import Ask, check_modes
from fixstats.tallies.counts import Counts, count_modes, count_pairs, count_union, period
from fixstats.tallies.keys import PAIR, PAIR_KEYS
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

FIGURES = (
    "failures", "opportunities", "unknown", "unknown_failed", "rate", "low", "high", "at_most",
    "bound_low", "bound_high", "one_in",
)  # fmt: skip
# Columns that notes need and readers do not.
HIDDEN = ("_wider", "_design_effect")


@dataclass(frozen=True)
class RatesAsk:
    """What a person asks of the rates; every field has the option's name.

    ``mode``: failure modes, a row each. ``family``: one row for the union of each family over the
    job. ``any``: modes or families whose union is one row. Without any of these, every mode that
    can occur at the steps or parts in ``by``, else every mode of the catalogue.
    ``interval``: a name of ``stats.INTERVALS``. ``cluster="technician"`` widens the intervals,
    since jobs of one technician are alike. ``sort``: a row key; figures fall, names rise.
    ``pool``: also rates that borrow across models; needs ``model`` in ``by``.
    """

    mode: tuple[str, ...] = ()
    family: tuple[str, ...] = ()
    any: tuple[str, ...] = ()
    by: tuple[str, ...] = ()
    where: tuple[tuple[str, str], ...] = ()
    since: date | None = None
    until: date | None = None
    view: str = "first"
    interval: str = "wilson"
    confidence: float | None = None
    cluster: str | None = None
    min_opportunities: int = 0
    sort: str | None = None
    pool: bool = False


def rates(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: RatesAsk) -> Finding:
    """Failure rates with intervals, for the modes and keys asked for.

    ``con`` is a session with the catalogue and views of ``folder``.

    Raises
    ------
    UsageError
        If the question names something unknown or does not fit together.
    """
    catalogue = folder.catalogue
    if ask.confidence is None:
        ask = replace(ask, confidence=folder.settings.confidence_level)
    _check(ask)
    rows = [row for part in _parts(con, catalogue, ask) for row in part]
    if ask.pool:  # before rows are left out: the small ones tell how models differ, too
        rows = pool_rows(rows, _key_names(ask), ask.confidence or 0.0)
    kept = [row for row in rows if row["opportunities"] >= ask.min_opportunities]
    covered = period(con)
    return Finding(
        question="rates",
        settings=common_settings(
            folder,
            covered,
            confidence_level=ask.confidence,
            view=ask.view,
            interval=ask.interval,
            cluster=ask.cluster,
            by=list(ask.by),
            where=[f"{key}={value}" for key, value in ask.where],
            since=ask.since.isoformat() if ask.since else None,
            until=ask.until.isoformat() if ask.until else None,
            min_opportunities=ask.min_opportunities,
            pool=ask.pool,
        ),
        rows=tuple(_public(row) for row in _sorted(kept, ask, catalogue)),
        keys=tuple(_key_names(ask)),
        notes=(
            *(pool_notes(rows, _key_names(ask)) if ask.pool else ()),
            *notes_for(kept, len(rows) - len(kept), ask, covered),
        ),
        cautions=cautions_for(kept, catalogue),
        labels=catalogue.labels,
    )


def _check(ask: RatesAsk) -> None:
    if sum(map(bool, (ask.mode, ask.family, ask.any))) > 1:
        raise UsageError("--mode, --family and --any ask for different rows: use one of them")
    if ask.interval not in stats.INTERVALS:
        near = did_you_mean(ask.interval, stats.INTERVALS)
        raise UsageError(f"unknown interval '{ask.interval}'{near}")
    if not (ask.confidence and 0.5 < ask.confidence < 1):
        raise UsageError(f"confidence {ask.confidence} must lie between 0.5 and 1, such as 0.95")
    if ask.cluster not in (None, "technician"):
        raise UsageError(f"unknown cluster '{ask.cluster}'; known: technician")
    if ask.cluster and ask.interval != "wilson":
        raise UsageError("--cluster goes with the Wilson interval only; leave out --interval")
    if ask.min_opportunities < 0:
        raise UsageError(f"--min-opportunities {ask.min_opportunities} must be 0 or more")
    if ask.pool:
        check_pool(ask.by, ask.cluster)


def _parts(
    con: duckdb.DuckDBPyConnection, catalogue: Catalogue, ask: RatesAsk
) -> Iterator[list[dict[str, Any]]]:
    """Rows of each union asked for, or of all single modes."""
    if ask.family or ask.any:
        for family, codes in _unions(ask, catalogue):
            counts = count_union(con, catalogue, _ask(codes, ask))
            yield _rows(counts, ask, catalogue, family)
        return
    modes = ask.mode or _default_modes(ask, catalogue)
    counting = count_pairs if PAIR in ask.by else count_modes
    yield _rows(counting(con, catalogue, _ask(modes, ask)), ask, catalogue, None)


def _ask(modes: Sequence[str], ask: RatesAsk) -> Ask:
    return Ask(tuple(modes), ask.by, ask.view, ask.where, ask.since, ask.until)


def _unions(ask: RatesAsk, catalogue: Catalogue) -> Iterator[tuple[str | None, tuple[str, ...]]]:
    for name in ask.family:
        if name not in catalogue.families:
            near = did_you_mean(name, catalogue.families)
            raise UsageError(f"unknown family '{name}'{near}")
        yield name, catalogue.families[name]
    if ask.any:
        codes = [mode for name in ask.any for mode in catalogue.families.get(name, (name,))]
        families = {mode.family for mode in check_modes(codes, catalogue)}
        yield (families.pop() if len(families) == 1 else None), tuple(dict.fromkeys(codes))


def _default_modes(ask: RatesAsk, catalogue: Catalogue) -> tuple[str, ...]:
    """Modes of the steps and parts grouped by; all where there is none, or none of those."""
    steps = {name for name in ask.by if name in catalogue.step_codes}
    parts = {
        part for part in catalogue.part_codes for name in ask.by if name.startswith(f"{part}_")
    }
    found = tuple(
        mode.code
        for mode in catalogue.failure_modes
        if (PAIR in ask.by and mode.mixed)
        or (PAIR not in ask.by and steps.intersection(mode.steps))
        or (PAIR not in ask.by and parts and mode.part in (*parts, "any"))
    )
    return found or tuple(catalogue.modes)


def _rows(
    counts: Counts, ask: RatesAsk, catalogue: Catalogue, family: str | None
) -> list[dict[str, Any]]:
    """Counts with rates, intervals, limits and bounds; pure."""
    import numpy as np

    figures = {name: np.asarray(counts.columns[name], dtype=float) for name in FIGURES[:4]}
    failures, opportunities = figures["failures"], figures["opportunities"]
    level = ask.confidence or 0.0
    clustered = stats.rao_scott_by_group(
        counts.columns["clusters"], failures, opportunities,
        counts.columns["ff"], counts.columns["fn"], counts.columns["nn"],
    )  # fmt: skip
    # Without an estimate (one technician, no failure, only failures) nothing is widened.
    effect = np.nan_to_num(clustered.design_effect, nan=1.0)
    wide = stats.wilson(failures / effect, opportunities / effect, confidence_level=level)
    plain = stats.interval(failures, opportunities, confidence_level=level, method=ask.interval)
    chosen = wide if ask.cluster else plain
    units = opportunities + figures["unknown"]
    with np.errstate(invalid="ignore", divide="ignore"):
        bound_low = (failures + figures["unknown_failed"]) / units
        bound_high = (failures + figures["unknown"]) / units
        wider = (wide.high - wide.low) / (plain.high - plain.low)
    computed: dict[str, Any] = {
        "rate": clustered.rate,
        "low": chosen.low,
        "high": chosen.high,
        "at_most": np.where(
            failures == 0, stats.at_most(opportunities, confidence_level=level), np.nan
        ),
        "bound_low": bound_low,
        "bound_high": bound_high,
        "one_in": stats.one_in(clustered.rate),
        "_wider": wider,
        "_design_effect": clustered.design_effect,
    }
    columns = counts.columns | {name: _plain(values) for name, values in computed.items()}
    columns["family"] = [
        catalogue.modes[mode].family if mode else family for mode in columns["mode"]
    ]
    columns["unit"] = [_unit(mode, ask, catalogue) for mode in columns["mode"]]
    names = ["unit", "mode", "family", *counts.keys, *FIGURES, *HIDDEN]
    return [
        dict(zip(names, values, strict=True))
        for values in zip(*(columns[name] for name in names), strict=True)
    ]


def _plain(values: Any) -> list[float | None]:
    """Floats, None where there is no finite value (NaN is the only float not equal to itself)."""
    return [value if value == value else None for value in values.tolist()]  # noqa: PLR0124


def _unit(mode: str | None, ask: RatesAsk, catalogue: Catalogue) -> str:
    if PAIR in ask.by:
        return "pair"
    if mode is None or catalogue.modes[mode].mixed:
        return "job"
    if catalogue.modes[mode].part:
        return "piece"
    return "attempt" if ask.view == "attempted" else "job"


def _key_names(ask: RatesAsk) -> list[str]:
    names = [name for name in dict.fromkeys(ask.by) if name != PAIR]
    return [*names, *(PAIR_KEYS if PAIR in ask.by else ())]


def _sorted(
    rows: list[dict[str, Any]], ask: RatesAsk, catalogue: Catalogue
) -> list[dict[str, Any]]:
    """Rows by mode as listed in the catalogue, then by keys; or by the column asked for."""
    names = _key_names(ask)
    place = {mode: position for position, mode in enumerate(catalogue.modes)}
    ordered = sorted(
        rows,
        key=lambda row: [
            place.get(row["mode"], -1),
            *((row[n] is None, str(row[n])) for n in names),
        ],
    )
    if ask.sort is None:
        return ordered
    figures = [*FIGURES, *(POOLED if ask.pool else ())]
    known = ["unit", "mode", "family", *names, *figures]
    if ask.sort not in known:
        raise UsageError(f"cannot sort by '{ask.sort}'{did_you_mean(ask.sort, known)}")
    column = ask.sort
    if column in figures:
        return sorted(
            ordered, key=lambda row: -float("-inf" if row[column] is None else row[column])
        )
    return sorted(ordered, key=lambda row: (row[column] is None, str(row[column])))


def _public(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in HIDDEN}
