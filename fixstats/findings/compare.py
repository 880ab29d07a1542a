"""Which option of a choice fails less, like for like, by how much, and how sure is that?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fixstats.errors import UsageError
from fixstats.findings.adjusting import Adjustment, adjust
from fixstats.findings.adjusting_columns import HARDLY, SAME_SHARE, cells_of, imbalance
from fixstats.findings.base import Finding, common_settings
from fixstats.findings.compare_beside import beside_rows
from fixstats.findings.compare_figures import (
    COUNTS,
    Row,
    add_adjusted,
    add_raw,
    add_strata,
    make_rows,
    reversal,
    strata_counts,
)
from fixstats.findings.compare_notes import Answer, cautions_of, dropped_keys, notes_of
from fixstats.findings.compare_plan import (
    NO_ADJUSTING,
    STRATA,
    Choice,
    CompareAsk,
    ModeSet,
    Plan,
    check_ask,
    check_keys,
    find_baseline,
    find_choice,
    learning,
    mode_sets,
    options_of,
    practice_key,
    shifted,
)
from fixstats.findings.compare_words import Wording, sentence, unused, verdict
from fixstats.folder import Catalogue, ShopFolder
from fixstats.tallies.ask import Ask
from fixstats.tallies.choices import Use, factors_met, jobs_by, use_of_choice
from fixstats.tallies.counts import Counts, Period, count_modes, count_union, period

if TYPE_CHECKING:
    import duckdb
    import polars as pl

    Dangerous = tuple[tuple[str, ...], pl.DataFrame]

# Every row has these keys, in this order; None where there is no finite value.
KEYS = (
    "choice", "option", "baseline", "scope", "model", "mode", "family",
    "failures", "opportunities", "baseline_failures", "baseline_opportunities",
    "difference", "difference_low", "difference_high", "ratio", "ratio_low", "ratio_high",
    "p_value", "p_corrected",
    "strata_difference", "strata_low", "strata_high", "strata_p", "strata", "homogeneity_p",
    "adjusted_rate", "baseline_adjusted_rate", "adjusted_difference", "adjusted_low",
    "adjusted_high", "hidden_cause_needed", "reversal",
)  # fmt: skip
P_CORRECTED = "Holm over the options of one scope and mode; for models then Benjamini-Hochberg"


def compare(con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: CompareAsk) -> Finding:
    """Every option of a choice against the baseline: raw, within strata, and adjusted.

    ``con`` is a session with the catalogue and views of ``folder``. Options are those of the first
    choice; jobs that are themselves come-backs are left out unless asked for.

    Raises
    ------
    UsageError
        If the question names something unknown, does not fit together, or would adjust for what
        came about at the choice or after it.
    """
    if ask.confidence is None:
        ask = replace(ask, confidence=folder.settings.confidence_level)
    check_ask(ask)
    covered = period(con)
    plan = _plan(con, folder, ask, covered)
    answers = [
        _answer(cells, _dangers(con, plan, one), one, plan) for one, cells in _cells(con, plan)
    ]
    return Finding(
        question="compare",
        settings=_settings(folder, covered, plan, answers),
        rows=tuple(row for answer in answers for row in answer.public),
        keys=("model",) if ask.by else (),
        notes=notes_of(plan, answers, covered),
        cautions=cautions_of(plan),
        labels=folder.catalogue.labels,
        parts={
            "strata": tuple(row for answer in answers for row in _strata_rows(answer, plan)),
            "sentences": tuple(row for answer in answers for row in _sentences(answer, plan)),
        },
    )


def _plan(
    con: duckdb.DuckDBPyConnection, folder: ShopFolder, ask: CompareAsk, covered: Period
) -> Plan:
    """Everything that is settled before failures are counted."""
    catalogue = folder.catalogue
    choice = find_choice(ask.choice, catalogue)
    sets = mode_sets(choice, ask, catalogue)
    strata = STRATA if ask.strata is None else tuple(dict.fromkeys(ask.strata))
    check_keys(strata, "--strata", choice, catalogue)
    adjust_for = () if ask.adjust in (None, NO_ADJUSTING) else tuple(dict.fromkeys(ask.adjust))
    check_keys(adjust_for, "--adjust", choice, catalogue)
    _check_practised(ask, choice)
    where = ask.where
    if not ask.include_rework and "rework" not in {key for key, _ in where}:
        where = (*where, ("rework", "no"))
    jobs = Ask((), (choice.name,), "first", where, ask.since, ask.until)
    uses = use_of_choice(con, catalogue, jobs)
    baseline = because = ""
    if options_of(uses):
        baseline, because = find_baseline(choice, ask, uses, catalogue, covered.as_of)
    dropped: dict[str, str] = {}
    if ask.adjust is None and len(options_of(uses)) > 1:
        adjust_for, dropped = _usual_keys(con, catalogue, choice, jobs, uses, covered)
    practice = practice_key(choice) if practice_key(choice) in adjust_for else None
    return Plan(
        ask, choice, sets, options_of(uses), baseline, because, adjust_for, strata, practice,
        dropped, where, uses, catalogue, folder.settings.worth_knowing,
    )  # fmt: skip


def _check_practised(ask: CompareAsk, choice: Choice) -> None:
    if ask.at != "practised":
        return
    if not choice.is_step:
        raise UsageError(f"--at practised: practice belongs to steps, {choice.name} is none")
    if ask.adjust is not None and practice_key(choice) not in ask.adjust:
        raise UsageError(f"--at practised: add {practice_key(choice)} to --adjust, or leave it out")


def _usual_keys(
    con: duckdb.DuckDBPyConnection,
    catalogue: Catalogue,
    choice: Choice,
    jobs: Ask,
    uses: Sequence[Use],
    covered: Period,
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Model, technician, intake factors ever recorded, practice; quarter where options shifted.

    A factor that hardly differs between the options, and a practice that nobody still gains,
    are found here, before failures are counted: each key kept multiplies the cells.
    """
    options, keys, dropped = options_of(uses), list(STRATA), {}
    met = factors_met(con)
    for factor in catalogue.factors:
        if factor.when == "intake" and factor.code in met:
            by = (choice.name, factor.code, *STRATA)
            found = jobs_by(con, catalogue, replace(jobs, by=by))
            counts = found | {"failures": [0] * len(found["jobs"]), "opportunities": found["jobs"]}
            cells = cells_of(counts, choice.name, options, by[1:])
            if imbalance(cells, factor.code) < HARDLY:
                dropped[factor.code] = SAME_SHARE
            else:
                keys.append(factor.code)
    if choice.is_step:
        ever = use_of_choice(con, catalogue, Ask((), (choice.name,)))
        if learning(ever, covered.first):
            keys.append(practice_key(choice))
        else:
            dropped[practice_key(choice)] = "everybody was practised from the start"
    if shifted(uses, options):
        keys.append("quarter")
    else:
        dropped["quarter"] = "the options did not shift over time"
    return tuple(keys), dropped


def _cells(con: duckdb.DuckDBPyConnection, plan: Plan) -> Iterator[tuple[ModeSet, pl.DataFrame]]:
    """Counts of each set of modes by the choice and every key needed: counted once."""
    if len(plan.options) < 2:
        return
    keys = (*_scopes(plan), *plan.strata, *plan.adjust)
    if plan.ask.mode:
        codes = tuple(one.codes[0] for one in plan.sets)
        cells = _framed(count_modes(con, plan.catalogue, _asked(plan, codes, keys)), plan)
        for one in plan.sets:
            yield one, cells.filter(mode=one.mode)
        return
    for one in plan.sets:
        yield one, _union_of(con, plan, one.codes, keys)


def _dangers(con: duckdb.DuckDBPyConnection, plan: Plan, one: ModeSet) -> Dangerous | None:
    """The modes of a union that can hurt someone, counted by themselves; not if all or none can."""
    codes = plan.dangers_of(one)
    return (codes, _union_of(con, plan, codes, _scopes(plan))) if codes else None


def _scopes(plan: Plan) -> tuple[str, ...]:
    return ("model",) if plan.ask.by else ()


def _asked(plan: Plan, codes: tuple[str, ...], keys: tuple[str, ...]) -> Ask:
    by = tuple(dict.fromkeys((plan.choice.name, *keys)))
    return Ask(codes, by, "first", plan.where, plan.ask.since, plan.ask.until)


def _union_of(
    con: duckdb.DuckDBPyConnection, plan: Plan, codes: tuple[str, ...], keys: tuple[str, ...]
) -> pl.DataFrame:
    place = None if plan.choice.is_step else plan.choice.place
    asked = replace(_asked(plan, codes, keys), place=place)
    return _framed(count_union(con, plan.catalogue, asked), plan)


def _framed(counts: Counts, plan: Plan) -> pl.DataFrame:
    """Counts as a frame, without jobs on which the choice was not made or not recorded."""
    import polars as pl

    text = dict.fromkeys(("mode", *counts.keys), pl.String)
    frame = pl.DataFrame(counts.columns, schema_overrides=text, strict=False)
    return frame.filter(pl.col(plan.choice.name).is_in(plan.options))


def _answer(cells: pl.DataFrame, dangers: Dangerous | None, one: ModeSet, plan: Plan) -> Answer:
    """Rows of one set of modes; pure."""
    name = plan.choice.name
    rows = make_rows(cells, name, plan.options, plan.baseline, by_model=bool(plan.ask.by))
    add_raw(rows, plan.level)
    add_strata(rows, cells, name, plan.baseline, plan.strata, plan.level)
    adjustment = _adjusted(cells, plan)
    add_adjusted(rows, adjustment)
    public = tuple(_public(row, one, plan) for row in rows)
    beside = beside_rows(rows, cells, dangers, name, plan.baseline)
    return Answer(one, tuple(rows), public, adjustment, cells, beside)


def _adjusted(cells: pl.DataFrame, plan: Plan) -> Adjustment:
    filled = set(cells.filter(cells["opportunities"] > 0)[plan.choice.name])
    options = [option for option in plan.options if option in filled]
    problem = ""
    if not plan.adjust:
        problem = "none was asked for"
    elif plan.baseline not in options or len(options) < 2:
        problem = "fewer than two options have opportunities, the baseline among them"
    if problem:
        return Adjustment({}, problem, (), {}, 0, None)
    return adjust(
        cells.to_dict(as_series=False),
        plan.choice.name,
        options,
        plan.baseline,
        plan.adjust,
        by_model=bool(plan.ask.by),
        practice=plan.practice,
        at=plan.ask.at,
        confidence_level=plan.level,
        always=plan.adjust if plan.ask.adjust else (),
    )


def _public(row: Row, one: ModeSet, plan: Plan) -> dict[str, Any]:
    figures = {name: _finite(value) for name, value in row.figures.items()}
    values = figures | {
        "choice": plan.choice.name,
        "option": row.option,
        "baseline": plan.baseline,
        "scope": row.scope,
        "model": row.model,
        "mode": one.mode,
        "family": one.family,
        "failures": row.counts["failures"],
        "opportunities": row.counts["opportunities"],
        "baseline_failures": row.baseline["failures"],
        "baseline_opportunities": row.baseline["opportunities"],
        "reversal": reversal(figures, plan.worth),
    }
    return {name: values[name] for name in KEYS}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _strata_rows(answer: Answer, plan: Plan) -> list[dict[str, Any]]:
    """Counts and Wilson intervals of every stratum and option, for pictures."""
    from fixstats import stats

    counted = strata_counts(answer.cells, plan.strata, plan.choice.name)
    counted = counted.rename({plan.choice.name: "option"})
    failures, opportunities = (counted[name].to_numpy() for name in COUNTS[:2])
    interval = stats.wilson(failures, opportunities, confidence_level=plan.level)
    rate = (counted["failures"] / counted["opportunities"]).to_numpy()
    rates = {"rate": rate, "low": interval.low, "high": interval.high}
    return [
        {"mode": answer.modes.mode, "family": answer.modes.family}
        | {name: row[name] for name in (*plan.strata, "option", *COUNTS[:2])}
        | {name: _finite(float(values[n])) for name, values in rates.items()}
        for n, row in enumerate(counted.iter_rows(named=True))
    ]


def _sentences(answer: Answer, plan: Plan) -> Iterator[dict[str, Any]]:
    """A sentence for each row, with what it is about, what it says, what was not used."""
    modes = [plan.catalogue.modes[code] for code in answer.modes.codes]
    say = Wording(
        worth=plan.worth,
        safety=any(mode.safety for mode in modes),
        strata=plan.strata,
        unit=plan.unit,
        named=answer.modes.name if len(plan.sets) > 1 else "",
        level=plan.level,
    )
    for row, beside in zip(answer.public, answer.beside, strict=True):
        about = {name: row[name] for name in ("option", "model", "mode", "family")}
        yield about | {
            "sentence": sentence(row, say, beside),
            "verdict": verdict(row, beside),
            "unused": unused(row),
            "met": beside.met,
        }


def _settings(
    folder: ShopFolder, covered: Period, plan: Plan, answers: Sequence[Answer]
) -> dict[str, Any]:
    ask = plan.ask
    used = dict.fromkeys(key for answer in answers for key in answer.adjustment.used)
    return common_settings(
        folder,
        covered,
        confidence_level=plan.level,
        view="first",
        unit=plan.unit,
        choice=plan.choice.name,
        options=list(plan.options),
        baseline=plan.baseline or None,
        baseline_because=plan.because or None,
        modes=list(plan.codes),
        by=list(ask.by),
        adjust=list(plan.adjust),
        adjusted_for=list(used),
        dropped=dropped_keys(plan, answers),
        strata=list(plan.strata),
        at=ask.at,
        include_rework=ask.include_rework,
        p_corrected=P_CORRECTED,
        worth_knowing=plan.worth,
        where=[f"{key}={value}" for key, value in ask.where],
        since=ask.since.isoformat() if ask.since else None,
        until=ask.until.isoformat() if ask.until else None,
    )
