"""Partly pooled rates: what a model with six jobs tells, once the other models are looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.errors import UsageError
from fixstats.findings.base import Note
from fixstats.words import counted, listed

POOLED = ("pooled_rate", "pooled_low", "pooled_high", "borrowed")
OVER = "model"
# What one model alone tells about how models differ is nothing: there is nobody to borrow from.
FEWEST = 2
PRIOR = (
    "beta-binomial; weak prior: Jeffreys' on the mean of the models, and odds that differ between "
    "models by a factor of about 1.4, seldom above 5"
)

Row = Mapping[str, Any]
# One mode, or union, at one combination of the keys beside the model.
Group = tuple[Any, ...]


def check_pool(by: Sequence[str], cluster: str | None) -> None:
    """Raise `UsageError` where the question leaves nothing to pool over, or mixes two intervals."""
    if OVER not in by:
        keys = ",".join([OVER, *by])
        raise UsageError(f"--pool borrows across models, so it needs them as rows: --by {keys}")
    if cluster:
        raise UsageError(
            f"--pool and --cluster {cluster} cannot be read side by side: pooled intervals are "
            "not widened; leave one of them out"
        )


def pool_rows(
    rows: Sequence[Row], keys: Sequence[str], confidence_level: float
) -> list[dict[str, Any]]:
    """The rows with the keys of ``POOLED``, pooled across the models of each group.

    A group is what has the same mode (or union) and the same values of all ``keys`` but the model.
    In a group where fewer than two models have opportunities all four are None; a model without
    opportunities in a larger group gets the prediction for a new model, all of it borrowed.
    """
    import numpy as np

    from fixstats import stats

    found = [dict(row) | dict.fromkeys(POOLED) for row in rows]
    for members in _groups(found, keys).values():
        failures = np.array([row["failures"] for row in members], dtype=float)
        opportunities = np.array([row["opportunities"] for row in members], dtype=float)
        if (opportunities > 0).sum() < FEWEST:
            continue
        pooled = stats.pool_rates(failures, opportunities, confidence_level=confidence_level)
        columns = (getattr(pooled, name).tolist() for name in POOLED)
        for row, figures in zip(members, zip(*columns, strict=True), strict=True):
            row.update(zip(POOLED, figures, strict=True))
    return found


def _groups(rows: Sequence[dict[str, Any]], keys: Sequence[str]) -> dict[Group, list[Any]]:
    found: dict[Group, list[Any]] = {}
    for row in rows:
        group = (row["mode"], row["family"], *(row[key] for key in keys if key != OVER))
        found.setdefault(group, []).append(row)
    return found


def pool_notes(rows: Sequence[dict[str, Any]], keys: Sequence[str]) -> tuple[Note, ...]:
    """Which groups were pooled, how much was borrowed in the middle, and where pooling is weak."""
    groups = _groups(rows, keys).values()
    pooled = [members for members in groups if members[0]["pooled_rate"] is not None]
    found = (_pooled(pooled, keys), _two(pooled), _alone(len(groups) - len(pooled)))
    return tuple(note for note in found if note)


def _models(members: Sequence[Row]) -> int:
    return sum(row["opportunities"] > 0 for row in members)


def _pooled(groups: Sequence[Sequence[Row]], keys: Sequence[str]) -> Note | None:
    from statistics import median

    if not groups:
        return None
    sizes = sorted(map(_models, groups))
    between = f"{sizes[0]}" if sizes[0] == sizes[-1] else f"{sizes[0]} to {sizes[-1]}"
    within = listed(["mode", *(key for key in keys if key != OVER)])
    share = median(row["borrowed"] for members in groups for row in members)
    return Note(
        "pooled",
        f"pooled across models within each {within}: {counted(len(groups), 'group')} of {between} "
        f"models; in the middle row {100 * share:.0f} % of the pooled rate is borrowed from the "
        f"other models and the prior ({PRIOR}); pooling does not make jobs and technicians of the "
        "models alike",
    )


def _two(groups: Sequence[Sequence[Row]]) -> Note | None:
    few = sum(_models(members) == FEWEST for members in groups)
    if not few:
        return None
    return Note(
        "pooled_two",
        f"{counted(few, 'group')} of two models only: how models differ can hardly be seen there, "
        "so the prior decides how much is borrowed",
    )


def _alone(groups: int) -> Note | None:
    if not groups:
        return None
    return Note(
        "not_pooled",
        f"{counted(groups, 'group')} with opportunities on fewer than two models: nobody to "
        "borrow from, so the pooled figures are empty",
    )
