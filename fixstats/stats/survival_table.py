"""The at-risk table: who was still followed on each day, who had an event, who left.

Events in time with censoring come in as counts: one row a day of follow-up (and group), never one
row a unit, so that ten million jobs are a few hundred rows.

- `n_at_risk`: units under observation, without an event so far, when the day begins.
- `n_events`: those that had an event on that day, by reason where there are several.
- `n_censored`: those whose follow-up ended on that day without an event. They were watched through
  that day: on one and the same day events come before censoring.

So the number at risk on a row is that of the row before less its events and its censored. Counts
need not be whole. Days are counted from hand-over in any unit, day 0 included.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixstats.stats.validators import FloatArray, as_numbers, refuse

IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class AtRisk:
    """An at-risk table on one grid of days, the same for all groups; made by `at_risk`.

    `day`: (days,), rising. `n_at_risk`, `n_censored`: (..., days). `n_events`: (reasons, ...,
    days). The axes in between are none, (groups,), or (strata, groups). On days without a row of
    its own a group has no event and nobody censored; after its last row nobody is at risk.
    """

    day: FloatArray
    n_at_risk: FloatArray
    n_events: FloatArray
    n_censored: FloatArray

    @property
    def events(self) -> FloatArray:
        """Events of any reason, (..., days)."""
        total: FloatArray = self.n_events.sum(axis=0)
        return total

    @property
    def n_left(self) -> FloatArray:
        """Units watched through the day without an event, those censored on it included."""
        return self.n_at_risk - self.events

    def only(self, reason: int) -> AtRisk:
        """One reason alone: a unit with an event of another reason counts as censored then.

        Raises `ValueError` for a reason that is not there.
        """
        event = self.n_events[self.known(reason)]
        others = self.events - event
        return AtRisk(self.day, self.n_at_risk, event[None], self.n_censored + others)

    def known(self, reason: int) -> int:
        """Return `reason`, refused unless it is the position of a reason."""
        if not 0 <= reason < len(self.n_events):
            raise ValueError(
                f"reason must be a whole number from 0 to {len(self.n_events) - 1}, got {reason}"
            )
        return reason

    def pooled(self) -> AtRisk:
        """All groups (the axis before the days) as one.

        Raises `ValueError` for a table without groups.
        """
        if self.n_at_risk.ndim < 2:
            raise ValueError("pooled needs a table with groups, got one without")
        return AtRisk(
            self.day,
            self.n_at_risk.sum(axis=-2),
            self.n_events.sum(axis=-2),
            self.n_censored.sum(axis=-2),
        )

    def with_days(self, days: ArrayLike) -> AtRisk:
        """Return the table with rows for these days too; nothing happened on the rows added.

        Beyond the last row nobody is known to be at risk.
        """
        wanted = np.atleast_1d(as_numbers("days", days)).ravel()
        day = np.union1d(self.day, wanted)
        if len(self.day) == 0:
            nothing = np.zeros((*self.n_at_risk.shape[:-1], len(day)))
            return AtRisk(
                day, nothing, np.zeros((len(self.n_events), *nothing.shape)), nothing.copy()
            )
        own = np.searchsorted(self.day, day)  # the row of that day, or the one after it
        after_last = own == len(self.day)
        own = np.minimum(own, len(self.day) - 1)
        old = self.day[own] == day
        # Rows hold all that happens, so the next row also tells how many were at risk before it.
        return AtRisk(
            day,
            np.where(after_last, 0.0, self.n_at_risk[..., own]),
            np.where(old, self.n_events[..., own], 0.0),
            np.where(old, self.n_censored[..., own], 0.0),
        )

    def rows(self, days: ArrayLike) -> IntArray:
        """Positions of these days among the rows, in the shape of `days`; they must be there."""
        return np.searchsorted(self.day, as_numbers("days", days)).astype(np.int64)


def at_risk(
    day: ArrayLike,
    n_at_risk: ArrayLike,
    n_events: ArrayLike,
    n_censored: ArrayLike,
    *,
    groups: ArrayLike | None = None,
    n_groups: int | None = None,
    strata: ArrayLike | None = None,
    n_strata: int | None = None,
) -> AtRisk:
    """Check the rows of an at-risk table, in any order, and lay them on one grid of days.

    `day`, `n_at_risk`, `n_censored`: (rows,); `n_events`: (rows,), or (reasons, rows).
    `groups`, `strata`: which group and stratum a row belongs to, whole numbers from 0; there are
    `n_groups` and `n_strata` of them, by default up to the largest number. Strata need groups.

    Raises `ValueError` for counts that are negative or not finite, for more events and censored
    than units at risk, for a day named twice in a group, and where the number at risk is not that
    of the row before less its events and censored.
    """
    counts = _checked(day, n_at_risk, n_events, n_censored)
    rows = counts.day.shape
    if strata is not None and groups is None:
        raise ValueError("strata need groups, got strata alone")
    group, groups_there = _places("groups", groups, n_groups, rows)
    stratum, strata_there = _places("strata", strata, n_strata, rows)
    place = stratum * groups_there + group
    order = np.lexsort((counts.day, place))
    counts = AtRisk(counts.day[order], *(c[..., order] for c in _counts_of(counts)))
    place = place[order]
    _refuse_gaps(counts, place)
    grid = _on_grid(counts, place, strata_there * groups_there)
    between: tuple[int, ...] = () if groups is None else (groups_there,)
    if strata is not None:
        between = (strata_there, groups_there)
    days = len(grid.day)
    return AtRisk(
        grid.day,
        grid.n_at_risk.reshape(*between, days),
        grid.n_events.reshape(len(grid.n_events), *between, days),
        grid.n_censored.reshape(*between, days),
    )


def n_at_risk_at(table: AtRisk, days: ArrayLike) -> FloatArray:
    """How many were at risk when each of these days began; 0 beyond the last row.

    Answers in the shape (..., *days): the groups of the table, then the shape of `days`.
    """
    wider = table.with_days(days)
    numbers: FloatArray = wider.n_at_risk[..., wider.rows(days)]
    return numbers


# --- from rows to a grid ----------------------------------------------------------------------


def _counts_of(table: AtRisk) -> tuple[FloatArray, FloatArray, FloatArray]:
    return table.n_at_risk, table.n_events, table.n_censored


def _checked(
    day: ArrayLike, n_at_risk: ArrayLike, n_events: ArrayLike, n_censored: ArrayLike
) -> AtRisk:
    days = as_numbers("day", day)
    at = as_numbers("n_at_risk", n_at_risk)
    events = as_numbers("n_events", n_events)
    censored = as_numbers("n_censored", n_censored)
    if days.ndim != 1 or {at.shape, censored.shape, events.shape[-1:]} != {days.shape}:
        raise ValueError(
            "day, n_at_risk, n_events and n_censored must have one entry a row, got shapes "
            f"{days.shape}, {at.shape}, {events.shape} and {censored.shape}"
        )
    if events.ndim > 2 or (events.ndim == 2 and len(events) == 0):
        raise ValueError(f"n_events must be (rows,) or (reasons, rows), got shape {events.shape}")
    refuse("n_at_risk", "must not be negative", at, at < 0)
    refuse("n_events", "must not be negative", events, events < 0)
    refuse("n_censored", "must not be negative", censored, censored < 0)
    events = np.atleast_2d(events)
    gone = events.sum(axis=0) + censored
    refuse("n_at_risk", "must cover events and censored", at, _greater(gone, at))
    return AtRisk(days, at, events, censored)


def _greater(one: FloatArray, other: FloatArray) -> NDArray[np.bool_]:
    """Greater by more than rounding of counts that are not whole."""
    return one > other + 1e-9 * np.maximum(np.abs(other), 1.0)


def _places(
    name: str, values: ArrayLike | None, n_places: int | None, rows: tuple[int, ...]
) -> tuple[IntArray, int]:
    if values is None:
        return np.zeros(rows, dtype=np.int64), 1
    numbers = as_numbers(name, values)
    if numbers.shape != rows:
        raise ValueError(f"{name} must have one entry a row, got {numbers.shape} for {rows}")
    refuse(name, "must be whole numbers from 0", numbers, (numbers < 0) | (numbers % 1 != 0))
    least = int(numbers.max(initial=-1)) + 1
    if n_places is not None and n_places < least:
        raise ValueError(f"n_{name} must be at least {least}, got {n_places}")
    return numbers.astype(np.int64), least if n_places is None else n_places


def _refuse_gaps(rows: AtRisk, place: IntArray) -> None:
    """Refuse a day named twice, and a number at risk that does not follow from the row before."""
    same = place[1:] == place[:-1]
    twice = np.zeros(len(place), dtype=bool)
    twice[1:] = same & (rows.day[1:] == rows.day[:-1])
    refuse("day", "must not come twice in a group", rows.day, twice)
    onward = (rows.n_left - rows.n_censored)[:-1]
    at = rows.n_at_risk[1:]
    wrong = same & (_greater(at, onward) | _greater(onward, at))
    if wrong.any():
        first = int(np.argmax(wrong))
        raise ValueError(
            "n_at_risk must be that of the day before less its events and censored, "
            f"got {at[first]:g} on day {rows.day[first + 1]:g} where {onward[first]:g} were left"
        )


def _on_grid(rows: AtRisk, place: IntArray, n_places: int) -> AtRisk:
    """Rows in order of place and day, to (places, days); numbers at risk filled in between."""
    day, column = np.unique(rows.day, return_inverse=True)
    shape = (n_places, len(day))
    events = np.zeros((len(rows.n_events), *shape))
    censored, at = np.zeros(shape), np.zeros(shape)
    there = np.zeros(shape, dtype=bool)
    events[:, place, column] = rows.n_events
    censored[place, column] = rows.n_censored
    at[place, column] = rows.n_at_risk
    # A day without a row has the number at risk of the group's next row; after the last, nobody.
    there[place, column] = True
    index = np.where(there, np.arange(len(day)), len(day))
    following = np.minimum.accumulate(index[:, ::-1], axis=1)[:, ::-1]
    padded = np.concatenate([at, np.zeros((n_places, 1))], axis=1)
    return AtRisk(day, np.take_along_axis(padded, following, axis=1), events, censored)
