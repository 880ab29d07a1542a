"""What each option's failure rate would be over the same jobs: the one place that fits.

Fixed effects: the options, the bands of conditions, practice, each against its most common
value. Random effects: device model, technician, option by model. Careful technicians get the
hard models and choose their own method, so model and technician come with their mean use of
each option (within-between, see `stats.group_means`). A contrast for each of them instead gave
the same coverage in invented shops of 3, 5 and 12 technicians, and does not grow with the shop.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixstats import stats
from fixstats.findings.adjusting_columns import Cells, Column, cells_of, chosen, combined, summed
from fixstats.stats.design import IntArray
from fixstats.stats.validators import FloatArray

# More levels than this are a random effect, drawn together, and not a contrast each.
MOST_CONTRASTS = 20
PRACTISED = "practised"
BANDS = ("0-9", "10-29", "30-99", PRACTISED)
UNKNOWN = -1
# Name of the random effects of options by model.
CROSSED = "option by model"


@dataclass(frozen=True)
class AdjustedRow:
    """An option against the baseline over the same jobs; NaN where nothing can be said.

    `rate`, `baseline_rate`, `difference`: posterior means; `low`, `high`: of the difference.
    `ratio`: posterior median of option rate over baseline rate, with its interval.
    `borrowed`: share of the jobs whose model never had the option: its effect there is what it
    is on the other models.
    """

    rate: float
    baseline_rate: float
    difference: float
    low: float
    high: float
    ratio: float
    ratio_low: float
    ratio_high: float
    borrowed: float


@dataclass(frozen=True)
class Adjustment:
    """The answer of `adjust`.

    `rows`: by option and model, None for all; options in the order given, models in theirs, all
    models last. The baseline is in it, with difference 0 and ratio 1.
    `problem`: why there are no rows, in words; '' if there are.
    `used`: conditions adjusted for; `dropped`: why the others were not.
    `draws` (options, scopes, draws): posterior draws of the rates, in the order of the rows,
    paired over options and scopes; NaN for an option without jobs.
    """

    rows: Mapping[tuple[str, str | None], AdjustedRow]
    problem: str
    used: tuple[str, ...]
    dropped: Mapping[str, str]
    cells: int
    draws: FloatArray | None


@dataclass(frozen=True)
class Plan:
    """What the fit is made of, over its cells: `rest` are all columns but options and practice."""

    options: stats.Design
    practice: Column | None
    rest: stats.Design
    groups: tuple[stats.Grouping, ...]
    crossed: bool  # the last group is option by model

    @property
    def design(self) -> stats.Design:
        """All fixed effects: options, practice, the rest."""
        parts = [self.options, self.rest]
        if self.practice is not None:
            parts.insert(1, _contrasts(self.practice, self.practice.codes, PRACTISED))
        return stats.side_by_side(*parts)


def adjust(  # noqa: PLR0913 (what a comparison consists of)
    cells: Mapping[str, Sequence[Any]],
    choice: str,
    options: Sequence[str],
    baseline: str,
    keys: Sequence[str],
    *,
    by_model: bool,
    practice: str | None = None,
    at: str = "now",
    confidence_level: float,
    always: Collection[str] = (),
) -> Adjustment:
    """Compare the options over the same jobs: all of those counted here, by all technicians.

    `cells`: columns `choice`, the keys, `failures`, `opportunities`, of one length. Cells whose
    option is not among `options`, or without opportunities, are left out.
    `practice`: which of the keys says how practised the technician was with the option. Then
    `at="now"` lets everybody work as practised as they have become with each option by the last
    of these jobs: the highest band reached; who never used it starts at the lowest band that
    occurs, unless nobody was ever seen learning it. Technicians not recorded stay not recorded.
    `at="practised"` lets everybody be practised with every option.
    `always`: keys that are kept even where they hardly differ between the options, such as
    those a person named; of model, technician and practice that is true anyway.
    `by_model`: a row for each model too, over its own jobs.
    Data never raise: what cannot be fitted has a `problem`.
    """
    if at not in ("now", PRACTISED):
        raise ValueError(f"at must be 'now' or 'practised', got {at!r}")
    wanted = list(dict.fromkeys(keys))
    if by_model and "model" not in wanted:
        wanted.insert(0, "model")
    counts = cells_of(cells, choice, options, wanted)
    problem = _unfit(counts, options, baseline)
    if problem:
        return Adjustment({}, problem, (), {}, len(counts), None)
    models = counts.columns["model"].values if by_model else ()
    stay = (*always, *([practice] if practice else []))
    counts, dropped = chosen(counts, stay)
    used = tuple(column.label for column in counts.columns.values())
    present = np.unique(counts.option)
    plan = plan_of(counts, present, options.index(baseline), practice)
    fit, problem = _fitted(counts, plan)
    if fit is None:
        return Adjustment({}, problem, used, dropped, len(counts), None)
    rows, weights, at_option = same_jobs(counts, plan, present, at)
    scopes = counts.columns["model"].codes[rows] if by_model and "model" in counts.columns else None
    answer = stats.adjusted_rates(
        fit,
        at_option,
        weights,
        scopes=scopes,
        baseline=int(np.searchsorted(present, options.index(baseline))),
        confidence_level=confidence_level,
    )
    names = [*models, None]
    draws, borrowed = _spread(answer, len(options), present, len(names))
    table = _rows(draws, borrowed, options, baseline, names, confidence_level)
    return Adjustment(table, "", used, dropped, len(counts), draws)


def _unfit(cells: Cells, options: Sequence[str], baseline: str) -> str:
    """Why there is nothing to fit, or ''."""
    if not len(cells):
        return "no job with a recorded option"
    present = {options[code] for code in np.unique(cells.option)}
    if baseline not in present:
        return f"no job with {baseline}, to which the others are compared"
    if len(present) < 2:
        return f"no job with another option than {baseline}"
    if not cells.failures.sum():
        return "no failure in these jobs"
    if cells.failures.sum() == cells.opportunities.sum():
        return "every one of these jobs failed"
    return ""


def _fitted(cells: Cells, plan: Plan) -> tuple[stats.MultilevelFit | None, str]:
    """The fit, or why there is none."""
    try:
        fit = stats.fit_multilevel(cells.failures, cells.opportunities, plan.design, plan.groups)
    except np.linalg.LinAlgError:
        return None, "the fit did not converge: the counts do not tell the conditions apart"
    if not fit.converged:
        return None, f"the fit did not converge: {fit.problem}"
    return fit, ""


def _contrasts(column: Column, codes: IntArray, against: Any) -> stats.Design:
    levels = column.values
    return stats.contrasts(column.key, codes, len(levels), baseline=levels.index(against))


def plan_of(cells: Cells, present: IntArray, baseline: int, practice: str | None) -> Plan:
    """Columns and groups over these cells; `present`: codes of the options that have jobs."""
    # An option without jobs has no column.
    option = np.searchsorted(present, cells.option)
    asked = stats.contrasts(
        "option", option, len(present), baseline=int(np.searchsorted(present, baseline))
    )
    rest, groups = [stats.intercept(len(cells))], []
    for key, column in cells.columns.items():
        if key == practice:
            continue
        levels = len(column.values)
        if key in ("model", "technician") or levels > MOST_CONTRASTS:
            group = stats.grouping(key, column.codes, levels)
            groups.append(group)
            rest.append(stats.group_means(asked, group, cells.opportunities))
        else:
            common = np.bincount(column.codes, cells.opportunities, levels).argmax()
            rest.append(_contrasts(column, column.codes, column.values[common]))
    model = cells.columns.get("model")
    if model is not None:
        both = option * len(model.values) + model.codes
        groups.append(stats.grouping(CROSSED, both, len(present) * len(model.values)))
    return Plan(
        options=asked,
        practice=_with_practised(cells.columns[practice])
        if practice and practice in cells.columns
        else None,
        rest=stats.side_by_side(*rest),
        groups=tuple(groups),
        crossed=model is not None,
    )


def _with_practised(column: Column) -> Column:
    """Practised is what practice is compared to, whether or not anybody is."""
    if PRACTISED in column.values:
        return column
    return Column(column.key, column.label, (*column.values, PRACTISED), column.codes)


def same_jobs(
    cells: Cells, plan: Plan, present: IntArray, at: str
) -> tuple[IntArray, FloatArray, list[stats.CellsAt]]:
    """The jobs that every option is asked about: which cells stand for them, their weights, and
    how they would be with each option."""
    option = np.searchsorted(present, cells.option)
    practice = plan.practice
    # Jobs that differ in nothing but option and practice are the same question.
    alike = [one.codes for key, one in cells.columns.items() if not practice or key != practice.key]
    both = combined([np.zeros(len(cells), dtype=np.int64), *alike])
    _, rows = np.unique(both, return_index=True)
    weights = summed(both, cells.opportunities, len(rows))
    rest, groups = plan.rest.columns[rows], plan.groups
    others = tuple(group.codes[rows] for group in (groups[:-1] if plan.crossed else groups))
    reached = _reached(cells, practice, option, len(present)) if practice and at == "now" else None
    answer = []
    for code in range(len(present)):
        own = plan.options.columns[np.argmax(option == code)]
        parts = [np.broadcast_to(own, (len(rows), len(own))), rest]
        if practice:
            levels = np.full(len(rows), practice.values.index(PRACTISED))
            if reached is not None:
                levels = reached[code][_who(cells)[rows]]
            parts.insert(1, _contrasts(practice, levels, PRACTISED).columns)
        codes = others
        if plan.crossed:
            model = cells.columns["model"]
            codes = (*others, code * len(model.values) + model.codes[rows])
        answer.append(stats.CellsAt(np.concatenate(parts, axis=1), codes))
    return rows, weights, answer


def _who(cells: Cells) -> IntArray:
    """The technician of each cell; all are one where that was not asked for."""
    column = cells.columns.get("technician")
    return np.zeros(len(cells), dtype=np.int64) if column is None else column.codes


def _reached(cells: Cells, practice: Column, option: IntArray, options: int) -> list[IntArray]:
    """For each option: the practice that each technician has reached with it, as a code."""
    who = _who(cells)
    rank = np.array([BANDS.index(v) if v in BANDS else UNKNOWN for v in practice.values])
    rank = rank[practice.codes]
    # By rank; the last place is that of UNKNOWN, a level of its own where it occurs.
    code_of = [practice.values.index(b) if b in practice.values else UNKNOWN for b in BANDS]
    code_of.append(practice.values.index(None if None in practice.values else PRACTISED))
    technicians = cells.columns.get("technician")
    names = technicians.values if technicians else ("all",)
    lowest = int(rank[rank >= 0].min(initial=len(BANDS) - 1))
    answer = []
    for code in range(options):
        mine = option == code
        learning = bool(((rank >= 0) & (rank < len(BANDS) - 1))[mine].any())
        start = lowest if learning else len(BANDS) - 1
        best = np.full(len(names), -2)
        np.maximum.at(best, who[mine], rank[mine])
        never = np.array([UNKNOWN if name is None else start for name in names])
        answer.append(np.array(code_of)[np.where(best == -2, never, best)])
    return answer


def _spread(
    answer: stats.AdjustedRates, options: int, present: IntArray, scopes: int
) -> tuple[FloatArray, FloatArray]:
    """Draws and borrowed shares for all options and scopes asked for."""
    found, own = answer.rate_draws, answer.borrowed
    # One model is the same as all; an option without jobs has no rate.
    place = np.minimum(np.arange(scopes), found.shape[1] - 1)
    draws = np.full((options, scopes, found.shape[2]), np.nan)
    borrowed = np.full((options, scopes), np.nan)
    draws[present], borrowed[present] = found[:, place], own[:, place]
    return draws, borrowed


def _rows(
    draws: FloatArray,
    borrowed: FloatArray,
    options: Sequence[str],
    baseline: str,
    scopes: Sequence[str | None],
    confidence_level: float,
) -> dict[tuple[str, str | None], AdjustedRow]:
    tail = (1 - confidence_level) / 2
    base = draws[options.index(baseline)]
    difference, ratio = draws - base, draws / base
    ends = [tail, 1 - tail]
    low, high = np.quantile(difference, ends, axis=2)
    ratio_low, ratio_middle, ratio_high = np.quantile(ratio, [tail, 0.5, 1 - tail], axis=2)
    figures = np.stack(
        [
            draws.mean(axis=2),
            np.broadcast_to(base.mean(axis=1), borrowed.shape),
            difference.mean(axis=2),
            low,
            high,
            ratio_middle,
            ratio_low,
            ratio_high,
            borrowed,
        ],
        axis=2,
    )
    return {
        (option, scope): AdjustedRow(*figures[i, j].tolist())
        for i, option in enumerate(options)
        for j, scope in enumerate(scopes)
    }
