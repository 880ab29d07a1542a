"""Which recorded conditions go with a failure mode, each adjusted for what came before it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations
from typing import TYPE_CHECKING, Any

from fixstats.errors import UsageError
from fixstats.findings.base import Finding, common_settings
from fixstats.findings.causes_notes import notes_for, total_of
from fixstats.findings.causes_plan import (
    NOT_DONE,
    Condition,
    Looked,
    Pair,
    adjusters_of,
    conditions_of,
    labels_of,
    reference_of,
)
from fixstats.findings.causes_words import sentences, survives
from fixstats.findings.rates_notes import cautions_for
from fixstats.folder import Catalogue, FailureMode, ShopFolder
from fixstats.tallies.ask import Ask, check_modes
from fixstats.tallies.condition_cells import (
    LevelCounts,
    cells_of,
    lay_conditions,
    levels_of,
    mark_levels,
)
from fixstats.tallies.counts import period
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

    from fixstats.findings.causes_design import Units
    from fixstats.findings.causes_fit import LevelFit

# Failures, and other units, of the records that one read by the fits stands for.
Weights = tuple[float, float]
# A level with fewer opportunities tells nothing by itself.
FEWEST = 10
# A condition with more levels is no condition but a measurement: it needs bands.
MOST_LEVELS = 40
# Pairs are looked at among the levels most sure to go with the failure, so many of them.
MOST_PAIRED = 6
# Units that must have both levels of a pair.
TOGETHER = 20


@dataclass(frozen=True)
class CausesAsk:
    """What a person asks; every field has the option's name.

    ``mode``: a failure mode, or a family for any of its modes. ``min_opportunities``: a level
    with fewer is left out, and its jobs with it.
    """

    mode: str
    where: tuple[tuple[str, str], ...] = ()
    since: date | None = None
    until: date | None = None
    confidence: float | None = None
    min_opportunities: int = FEWEST


def causes(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: CausesAsk) -> Finding:
    """Conditions that go with a failure mode: counts, odds ratios, risk differences, shares due.

    Rows are sorted from the most to the least certain. ``con`` is a session with the catalogue and
    views of ``folder``.

    Raises
    ------
    UsageError
        If the question names something unknown or does not fit together.
    """
    catalogue = folder.catalogue
    if ask.confidence is None:
        ask = replace(ask, confidence=folder.settings.confidence_level)
    _check(ask)
    modes = _modes(ask.mode, catalogue)
    conditions = conditions_of(modes, catalogue)
    looked, weights = _look(con, catalogue, ask, modes, conditions)
    total = total_of(looked)
    rows = _rows(looked, ask, modes)
    pairs = _pairs(con, looked, rows, ask, weights)
    labels = {**catalogue.labels, **labels_of(conditions, catalogue)}
    doubtful = {one.condition.key for one in looked if one.condition.doubtful}
    said = sentences(rows, labels, f"{_unit(modes)}s", ask.confidence or 0.0, doubtful)
    covered = period(con)
    return Finding(
        question="causes",
        settings=common_settings(
            folder,
            covered,
            mode=ask.mode,
            unit=_unit(modes),
            confidence_level=ask.confidence,
            view="first",
            where=[f"{key}={value}" for key, value in ask.where],
            since=ask.since.isoformat() if ask.since else None,
            until=ask.until.isoformat() if ask.until else None,
            min_opportunities=ask.min_opportunities,
        ),
        rows=tuple(rows),
        notes=notes_for(looked, rows, pairs, modes, labels, covered, catalogue, ask),
        cautions=cautions_for([_named(modes, ask)], catalogue),
        labels=labels,
        parts={
            "total": [dict(zip(("failures", "opportunities", "unknown"), total, strict=True))],
            "sentences": [{"text": text} for text in said],
        },
    )


def _check(ask: CausesAsk) -> None:
    if not (ask.confidence and 0.5 < ask.confidence < 1):
        raise UsageError(f"confidence {ask.confidence} must lie between 0.5 and 1, such as 0.95")
    if ask.min_opportunities < 1:
        raise UsageError(f"--min-opportunities {ask.min_opportunities} must be 1 or more")


def _modes(name: str, catalogue: Catalogue) -> list[FailureMode]:
    known = [*catalogue.modes, *catalogue.families]
    if name not in known:
        raise UsageError(f"unknown failure mode or family '{name}'{did_you_mean(name, known)}")
    return check_modes((name,) if name in catalogue.modes else catalogue.families[name], catalogue)


def _unit(modes: Sequence[FailureMode]) -> str:
    return "piece" if len(modes) == 1 and modes[0].part else "job"


def _named(modes: Sequence[FailureMode], ask: CausesAsk) -> dict[str, str | None]:
    one = ask.mode == modes[0].code
    return {"mode": ask.mode if one else None, "family": modes[0].family}


# --- looking ----------------------------------------------------------------------------------


def _look(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    ask: CausesAsk,
    modes: Sequence[FailureMode],
    conditions: Sequence[Condition],
) -> tuple[list[Looked], Weights]:
    """Every condition with its counts and its fit, and the weights of what the fits read."""
    keys = [key for one in conditions for key in (*adjusters_of(one, conditions), one.key)]
    codes = tuple(mode.code for mode in modes)
    asked = Ask(
        codes, tuple(dict.fromkeys(keys)), where=ask.where, since=ask.since, until=ask.until
    )
    weights = lay_conditions(con, catalogue, asked)
    found = [_counted(con, one, conditions, ask) for one in conditions]
    mark_levels(con, {one.condition.key: one.levels for one in found})
    return [_fitted(con, one, ask, weights) for one in found], weights


def _counted(
    con: duckdb.DuckDBPyConnection,
    condition: Condition,
    conditions: Sequence[Condition],
    ask: CausesAsk,
) -> Looked:
    """The levels of a condition that can be set against each other, the reference first."""
    counts = levels_of(con, condition.key)
    there = {one.level: one for one in counts if one.level not in (None, NOT_DONE)}
    large = {
        level: one for level, one in there.items() if one.opportunities >= ask.min_opportunities
    }
    sizes = [(str(level), one.opportunities) for level, one in large.items()]
    first = reference_of(sizes) if sizes else ""
    usable = first in large and 1 < len(large) <= MOST_LEVELS
    levels = (first, *sorted(str(one) for one in large if one != first)) if usable else ()
    return Looked(
        condition=condition,
        counts={str(level): one for level, one in there.items()},
        missing=sum(one.opportunities for one in counts if one.level is None),
        not_done=sum(one.opportunities for one in counts if one.level == NOT_DONE),
        levels=levels,
        adjusters=adjusters_of(condition, conditions),
    )


def _fitted(
    con: duckdb.DuckDBPyConnection, one: Looked, ask: CausesAsk, weights: Weights
) -> Looked:
    """The same with its fit, where some units with these levels failed and some did not."""
    if not one.levels or not one.failures or one.failures == one.opportunities:
        return one
    import numpy as np

    from fixstats.findings.causes_design import design_of
    from fixstats.findings.causes_fit import fit_levels

    units = _units(con, (one.condition.key,), one.adjusters, weights)
    if not units.fewer:
        return one
    values = np.asarray(units.keys[one.condition.key])
    design = design_of(units, one.adjusters, [values == level for level in one.levels[1:]])
    fits = fit_levels(design, confidence_level=ask.confidence or 0.0)
    return replace(
        one,
        fits=dict(zip(one.levels[1:], fits, strict=True)) if fits else {},
        converged=fits is not None,
        adjusted_for=design.adjusted_for,
        left_out=design.left_out,
        lumped=design.lumped,
        read=(float(units.failures.sum()), float(units.others.sum())),
    )


def _units(
    con: duckdb.DuckDBPyConnection,
    conditions: Sequence[str],
    adjusters: Sequence[str],
    weights: Weights,
) -> Units:
    from fixstats.findings.causes_design import units_of

    cells = cells_of(con, conditions, adjusters)
    return units_of(cells.keys, cells.failures, cells.others, *weights)


# --- rows -------------------------------------------------------------------------------------


def _rows(
    looked: Sequence[Looked], ask: CausesAsk, modes: Sequence[FailureMode]
) -> list[dict[str, Any]]:
    """A row for each level but the reference, the most certain first."""
    from fixstats import stats

    rows = [
        _row(one, level, one.fits.get(level), _named(modes, ask))
        for one in looked
        for level in one.levels[1:]
    ]
    given = [float("nan") if row["p_value"] is None else row["p_value"] for row in rows]
    for row, corrected in zip(rows, stats.holm(given).tolist() if rows else (), strict=True):
        row["p_corrected"] = _plain(corrected)
    return sorted(rows, key=lambda row: (row["p_value"] is None, row["p_value"]))


def _row(
    one: Looked, level: str, fit: LevelFit | None, named: Mapping[str, str | None]
) -> dict[str, Any]:
    here, there = one.counts[level], one.counts[one.levels[0]]
    figures = {name: _plain(value) for name, value in vars(fit).items()} if fit else {}
    names = ("odds_ratio", "odds_low", "odds_high", "risk_difference", "risk_low", "risk_high",
             "p_value", "p_corrected", "share_due", "share_low", "share_high")  # fmt: skip
    return {
        "condition": one.condition.key,
        "level": level,
        "reference": one.levels[0],
        **named,
        **_counts(here, ""),
        **_counts(there, "reference_"),
        **{name: figures.get(name) for name in names},
        "adjusted_for": list(one.adjusted_for),
    }


def _counts(one: LevelCounts, prefix: str) -> dict[str, Any]:
    return {
        f"{prefix}failures": one.failures,
        f"{prefix}opportunities": one.opportunities,
        f"{prefix}rate": one.failures / one.opportunities,
    }


def _plain(value: float) -> float | None:
    return value if abs(value) < float("inf") else None


# --- pairs ------------------------------------------------------------------------------------


def _pairs(
    con: duckdb.DuckDBPyConnection,
    looked: Sequence[Looked],
    rows: Sequence[Mapping[str, Any]],
    ask: CausesAsk,
    weights: Weights,
) -> list[Pair]:
    """Pairs of levels that each go with the failure, tested for doing more, or less, together."""
    from fixstats import stats

    level = ask.confidence or 0.0
    sure = [row for row in rows if survives(row, level)][:MOST_PAIRED]
    by_key = {one.condition.key: one for one in looked}
    found = []
    for two in combinations(sure, 2):
        first, second = sorted(two, key=lambda row: by_key[row["condition"]].condition.place)
        if first["condition"] != second["condition"]:
            found.append(_pair(con, first, second, by_key[second["condition"]], weights))
    tested = [pair for pair in found if pair is not None]
    corrected = stats.holm([pair.p_value for pair in tested]).tolist() if tested else []
    return [replace(pair, p_corrected=p) for pair, p in zip(tested, corrected, strict=True)]


def _pair(
    con: duckdb.DuckDBPyConnection,
    first: Mapping[str, Any],
    second: Mapping[str, Any],
    later: Looked,
    weights: Weights,
) -> Pair | None:
    """The product of two levels over units that have them or what they are set against.

    Of each two, the one that goes with more failures is looked at: so a pair is one of risks.
    """
    import numpy as np

    from fixstats.findings.causes_design import design_of, selected
    from fixstats.findings.causes_fit import fit_product

    one, two = first["condition"], second["condition"]
    adjusters = tuple(key for key in later.adjusters if key != one)
    units = _units(con, (one, two), adjusters, weights)
    values = [np.asarray(units.keys[key]) for key in (one, two)]
    both = [
        np.isin(value, [row["level"], row["reference"]])
        for value, row in zip(values, (first, second), strict=True)
    ]
    units = selected(units, both[0] & both[1])
    risky = [row["level"] if row["odds_ratio"] > 1 else row["reference"] for row in (first, second)]
    own = [
        np.asarray(units.keys[key]) == level for key, level in zip((one, two), risky, strict=True)
    ]
    together = own[0] & own[1]
    if units.weight[together].sum() < TOGETHER or not units.fewer:
        return None
    design = design_of(units, adjusters, [*own, together])
    ratio, p_value = fit_product(design)
    weight = float(units.failed / units.failures.sum())
    return Pair(
        levels=((one, risky[0]), (two, risky[1])),
        failures=round(float(units.failures[together].sum()) * weight),
        opportunities=round(float(units.weight[together].sum())),
        odds_ratio=ratio,
        p_value=p_value,
    )
