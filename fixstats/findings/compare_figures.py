"""The figures of a comparison that need no fit: raw, and within strata; pure.

Cells are counts by the choice and by keys that were fixed before it. Sums over cells of disjoint
jobs are counts again, so everything here comes from one counting.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import polars as pl

    from fixstats.findings.adjusting import Adjustment

COUNTS = ("failures", "opportunities", "unknown", "unknown_failed")


@dataclass
class Row:
    """One option against the baseline in one scope; ``figures`` are the public ones.

    ``counts`` and ``baseline``: failures, opportunities, unknown, unknown_failed of both;
    ``outside``: share of their jobs that lie in strata without the other option; ``one_sided``:
    how many strata those are.
    """

    option: str
    model: str | None
    counts: dict[str, int]
    baseline: dict[str, int]
    figures: dict[str, float] = field(default_factory=dict)
    outside: float = 0.0
    one_sided: int = 0

    @property
    def scope(self) -> str:
        """``all``, or ``model`` for the jobs of one model."""
        return "all" if self.model is None else "model"


def make_rows(
    cells: pl.DataFrame, choice: str, options: Sequence[str], baseline: str, *, by_model: bool
) -> list[Row]:
    """A row for each option but the baseline, over all jobs and, if asked for, in each model.

    The order is models by name, then all; options as given.
    """
    counts = _totals(cells, [choice])
    found: dict[tuple[str | None, str], dict[str, int]] = {
        (None, option): numbers for (option,), numbers in counts.items()
    }
    models: list[str] = []
    if by_model:
        of_models = _totals(cells, ["model", choice])
        found |= of_models
        models = sorted({model for model, _ in of_models}, key=str.casefold)
    none = dict.fromkeys(COUNTS, 0)
    return [
        Row(option, model, found.get((model, option), none), found.get((model, baseline), none))
        for model in [*models, None]
        for option in options
        if option != baseline
    ]


def _totals(cells: pl.DataFrame, keys: list[str]) -> dict[Any, dict[str, int]]:
    """Key values -> counts, summed over everything else."""
    import polars as pl

    sums = cells.group_by(keys, maintain_order=True).agg(pl.col(COUNTS).sum())
    return {
        tuple(row[key] for key in keys): {name: int(row[name]) for name in COUNTS}
        for row in sums.iter_rows(named=True)
    }


def add_raw(rows: Sequence[Row], confidence_level: float) -> None:
    """Difference by Newcombe, ratio by Koopman, Fisher mid-P, and the p-values corrected."""
    import numpy as np

    from fixstats import stats

    sides = [
        np.asarray([side(row)[name] for row in rows], dtype=float)
        for side in (_own, _base)
        for name in COUNTS[:2]
    ]
    difference = stats.newcombe_difference(*sides, confidence_level=confidence_level)
    ratio = stats.koopman_ratio(*sides, confidence_level=confidence_level)
    p_value = stats.fisher_mid_p(*sides)
    _fill(
        rows,
        {
            "difference": difference.estimate,
            "difference_low": difference.low,
            "difference_high": difference.high,
            "ratio": ratio.estimate,
            "ratio_low": ratio.low,
            "ratio_high": ratio.high,
            "p_value": p_value,
            "p_corrected": _corrected(rows, p_value),
        },
    )


def _own(row: Row) -> dict[str, int]:
    return row.counts


def _base(row: Row) -> dict[str, int]:
    return row.baseline


def _corrected(rows: Sequence[Row], p_value: Any) -> Any:
    """Holm over the options of one scope; then, for models, Benjamini-Hochberg over models.

    The first answers "which of these options differs here", the second "on which models".
    """
    import numpy as np

    from fixstats import stats

    corrected = np.array(p_value, dtype=float)  # a copy: the plain ones are shown beside
    models = np.asarray([row.model or "" for row in rows])
    options = np.asarray([row.option for row in rows])
    for model in np.unique(models):
        corrected[models == model] = stats.holm(corrected[models == model])
    for option in np.unique(options):
        here = (options == option) & (models != "")
        corrected[here] = stats.benjamini_hochberg(corrected[here])
    return corrected


def _fill(rows: Sequence[Row], figures: dict[str, Any]) -> None:
    for name, values in figures.items():
        for row, value in zip(rows, values.tolist(), strict=True):
            row.figures[name] = value


def strata_counts(cells: pl.DataFrame, keys: Sequence[str], choice: str) -> pl.DataFrame:
    """Counts by stratum and option."""
    import polars as pl

    found = cells.group_by([*keys, choice]).agg(pl.col(COUNTS).sum())
    return found.sort([*keys, choice], nulls_last=True)


def add_strata(
    rows: Sequence[Row],
    cells: pl.DataFrame,
    choice: str,
    baseline: str,
    keys: Sequence[str],
    confidence_level: float,
) -> None:
    """Mantel-Haenszel difference, Cochran-Mantel-Haenszel and Tarone's test over strata.

    The interval is that of the score test: at few failures those of Sato and of Greenland and
    Robins claim differences that the test does not find. A model's rows have the strata of that
    model alone.
    """
    import numpy as np

    from fixstats import stats

    paired = _paired(rows, cells, choice, baseline, keys)
    sides = [np.asarray(paired[name], dtype=float) for name in ("x1", "n1", "x2", "n2")]
    groups, number = np.asarray(paired["row"]), len(rows)
    effect = stats.score_difference(
        *sides, confidence_level=confidence_level, groups=groups, n_groups=number
    )
    alike = stats.tarone(*sides, groups=groups, n_groups=number)
    any_effect = stats.cochran_mantel_haenszel(*sides, groups=groups, n_groups=number)
    _fill(
        rows,
        {
            "strata_difference": effect.estimate,
            "strata_low": effect.low,
            "strata_high": effect.high,
            "strata_p": any_effect.p_value,
            "strata": effect.strata,
            "homogeneity_p": alike.p_value,
        },
    )
    size = np.where((sides[1] > 0) & (sides[3] > 0), 0.0, sides[1] + sides[3])
    lost = np.bincount(groups, weights=size, minlength=number)
    left_out = effect.left_out.tolist()
    for row, outside, one_sided in zip(rows, lost.tolist(), left_out, strict=True):
        row.one_sided = one_sided
        jobs = row.counts["opportunities"] + row.baseline["opportunities"]
        row.outside = outside / jobs if jobs else 0.0


def _paired(
    rows: Sequence[Row], cells: pl.DataFrame, choice: str, baseline: str, keys: Sequence[str]
) -> pl.DataFrame:
    """One row per (comparison, stratum): its number in ``rows``, and both sides' counts."""
    import polars as pl

    parts = []
    for by in ((), ("model",)):
        numbers = [
            (row.option, row.model, n)
            for n, row in enumerate(rows)
            if (row.model is not None) == bool(by)
        ]
        schema = {"option": pl.String, "model": pl.String, "row": pl.Int64}
        place = pl.DataFrame(numbers, schema=schema, orient="row")
        strata = list(dict.fromkeys([*by, *keys]))
        counted = strata_counts(cells, strata, choice) if numbers else cells
        base = counted.filter(pl.col(choice) == baseline)
        for option in place["option"].unique(maintain_order=True):
            own = counted.filter(pl.col(choice) == option)
            parts.append(_both(own, base, strata, place.filter(pl.col("option") == option), by))
    return pl.concat(parts)


def _both(
    own: pl.DataFrame, base: pl.DataFrame, strata: list[str], place: pl.DataFrame, by: Sequence[str]
) -> pl.DataFrame:
    import polars as pl

    sides = [
        side.select(*strata, pl.col("failures").alias(x), pl.col("opportunities").alias(n))
        for side, x, n in ((own, "x1", "n1"), (base, "x2", "n2"))
    ]
    if strata:
        both = sides[0].join(sides[1], on=strata, how="full", coalesce=True, nulls_equal=True)
    else:
        both = pl.concat(sides, how="horizontal")
    rows = place.select(*by, "row")
    numbered = both.join(rows, on=by) if by else both.join(rows, how="cross")
    return numbered.select("row", pl.col("x1", "n1", "x2", "n2").fill_null(0).cast(pl.Float64))


def add_adjusted(rows: Sequence[Row], adjustment: Adjustment) -> None:
    """The adjusted figures, and how strong a hidden cause would have to be to explain them away.

    ``hidden_cause_needed`` is that of the end of the ratio's interval that is closer to no
    difference; 1 where the interval holds no difference.
    """
    import numpy as np

    from fixstats import stats

    found = [adjustment.rows.get((row.option, row.model)) for row in rows]
    figures = {
        name: np.asarray([getattr(one, source) if one else np.nan for one in found], dtype=float)
        for name, source in ADJUSTED.items()
    }
    ends = [
        np.asarray([getattr(one, end) if one else np.nan for one in found], dtype=float)
        for end in ("ratio_low", "ratio_high")
    ]
    figures["hidden_cause_needed"] = np.atleast_1d(stats.hidden_cause_needed_for_limit(*ends))
    _fill(rows, figures)


ADJUSTED = {
    "adjusted_rate": "rate",
    "baseline_adjusted_rate": "baseline_rate",
    "adjusted_difference": "difference",
    "adjusted_low": "low",
    "adjusted_high": "high",
}


def reversal(figures: Mapping[str, float | None], worth_knowing: float) -> str:
    """Do the raw counts point the other way than the figures that compare like with like?

    ``sure``: the raw difference and the adjusted one or that within strata have different signs,
    and an interval of the two excludes 0; ``possible``: they have different signs, and either is
    at least ``worth_knowing``; else ``none``.
    """
    raw = figures["difference"]
    answer = "none"
    for kind in ("adjusted", "strata"):
        fair = figures[f"{kind}_difference"]
        if raw is None or fair is None or raw * fair >= 0:
            continue
        ends = [(figures[f"{one}_low"], figures[f"{one}_high"]) for one in ("difference", kind)]
        if any(low is not None and high is not None and low * high > 0 for low, high in ends):
            return "sure"
        if max(abs(raw), abs(fair)) >= worth_knowing:
            answer = "possible"
    return answer
