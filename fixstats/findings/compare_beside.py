"""What a sentence has to know beside its row: dangers within a union, and whether options met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fixstats.findings.compare_figures import Row

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True)
class Dangers:
    """Those modes of a union that can hurt someone, counted by themselves: option and baseline."""

    codes: tuple[str, ...]
    failures: int
    opportunities: int
    baseline_failures: int
    baseline_opportunities: int
    p_value: float

    @property
    def apart(self) -> float:
        """Difference of the rates; 0 where either has no opportunity."""
        if not (self.opportunities and self.baseline_opportunities):
            return 0.0
        baseline = self.baseline_failures / self.baseline_opportunities
        return self.failures / self.opportunities - baseline


@dataclass(frozen=True)
class Beside:
    """``dangers``: of a union that is no danger as a whole; ``met``: some model has had both."""

    dangers: Dangers | None = None
    met: bool = True


def beside_rows(
    rows: Sequence[Row],
    cells: pl.DataFrame,
    dangers: tuple[tuple[str, ...], pl.DataFrame] | None,
    choice: str,
    baseline: str,
) -> tuple[Beside, ...]:
    """One for each row; pure.

    ``dangers``: the modes that can hurt someone, and counts of their union by the choice and, for
    rows of models, the model.
    """
    options = {row.option for row in rows}
    seen = {option: _met(cells, choice, option, baseline) for option in options}
    found: list[Dangers | None] = [None] * len(rows)
    if dangers:
        found = list(_dangers(rows, *dangers, choice, baseline))
    return tuple(Beside(one, seen[row.option]) for row, one in zip(rows, found, strict=True))


def _met(cells: pl.DataFrame, choice: str, option: str, baseline: str) -> bool:
    """False where each model has had one of the two only; True where models are not told apart."""
    if "model" not in cells.columns:
        return True
    used = cells.filter(cells["opportunities"] > 0)
    models = [set(used.filter(used[choice] == one)["model"]) for one in (option, baseline)]
    return not all(models) or not models[0].isdisjoint(models[1])


def _dangers(
    rows: Sequence[Row], codes: tuple[str, ...], cells: pl.DataFrame, choice: str, baseline: str
) -> list[Dangers]:
    import polars as pl

    from fixstats import stats

    names = ("failures", "opportunities")
    counts: dict[tuple[Any, Any], tuple[int, int]] = {}
    for keys in ([choice], [choice, "model"]):
        if set(keys) <= set(cells.columns):
            sums = cells.group_by(keys).agg(pl.col(names).sum())
            for *key, failures, opportunities in sums.iter_rows():
                counts[key[0], key[1] if len(key) > 1 else None] = failures, opportunities
    ours = [counts.get((row.option, row.model), (0, 0)) for row in rows]
    theirs = [counts.get((baseline, row.model), (0, 0)) for row in rows]
    figures = ([side[n] for side in sides] for sides in (ours, theirs) for n in (0, 1))
    p_values = stats.fisher_mid_p(*figures).tolist()
    return [
        Dangers(codes, *one, *other, p)
        for one, other, p in zip(ours, theirs, p_values, strict=True)
    ]
