"""What the bench brief counts beside rates: jobs of a repair, their returns, minutes, intake."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixstats.folder import fold
from fixstats.resources import statement

if TYPE_CHECKING:
    import duckdb

# Model -> (jobs with it, jobs that could have had it).
ByModel = Mapping[str, tuple[int, int]]


@dataclass(frozen=True)
class RepairCounts:
    """Counts of one repair by device model; come-backs themselves are in none of them.

    Attributes
    ----------
    jobs
        Model -> jobs asked for this repair and nothing else.
    unrepaired, returns
        Of these jobs: abandoned or handed back unrepaired; back within the days, of those watched
        so long.
    reasons
        Reason ('': nobody wrote down why) -> model -> returns.
    minutes
        (model, minutes, jobs), completed jobs only.
    intake, pieces
        Mode -> there at intake, of those looked for; part -> needed another piece, of those fitted.
        Jobs asked for the repair alone or with others, as in `conditions`.
    conditions
        Factor -> value -> model -> (jobs with that value, jobs on which the factor was recorded).
    """

    jobs: Mapping[str, int]
    unrepaired: ByModel
    returns: ByModel
    reasons: Mapping[str, Mapping[str, int]]
    minutes: tuple[tuple[str, float, int], ...]
    intake: Mapping[str, ByModel]
    pieces: Mapping[str, ByModel]
    conditions: Mapping[str, Mapping[str, ByModel]]


def shown_model(con: duckdb.DuckDBPyConnection, name: str) -> str | None:
    """The model as the records or the catalogue's aliases show it; None where they know none."""
    rows = con.execute("from known_names where kind = 'model'").fetchall()
    return {folded: shown for _, folded, shown in rows}.get(fold(name))


def count_repair(con: duckdb.DuckDBPyConnection, repair: str, days: int) -> RepairCounts:
    """Counts of the repair; returns within ``days`` of hand-over."""

    def rows(name: str, **more: int) -> list[tuple]:  # type: ignore[type-arg]
        values = {"repair": repair, **more}
        return con.execute(statement(f"tallies/brief_{name}"), values).fetchall()

    jobs = rows("jobs", days=days)
    reasons: dict[str, dict[str, int]] = {}
    for model, reason, returns in rows("reasons", days=days):
        reasons.setdefault(reason, {})[model] = returns
    return RepairCounts(
        jobs={model: count for model, count, *_ in jobs},
        unrepaired={model: (int(some), count) for model, count, some, *_ in jobs},
        returns={model: (int(some), int(followed)) for model, _, _, followed, some in jobs},
        reasons=reasons,
        minutes=tuple(rows("minutes")),
        intake=_nested(rows("intake")),
        pieces=_nested([(part, m, again, n) for part, m, n, again in rows("pieces")]),
        conditions=_conditions(rows("conditions")),
    )


def _nested(rows: list[tuple[str, str, int, int]]) -> dict[str, dict[str, tuple[int, int]]]:
    found: dict[str, dict[str, tuple[int, int]]] = {}
    for name, model, some, of in rows:
        found.setdefault(name, {})[model] = int(some), int(of)
    return found


def _conditions(
    rows: list[tuple[str, str, str, int]],
) -> dict[str, dict[str, dict[str, tuple[int, int]]]]:
    """Every value has all models on which the factor was recorded, with none where it was not."""
    recorded: dict[str, dict[str, int]] = {}
    values: dict[str, dict[str, dict[str, int]]] = {}
    for factor, model, value, jobs in rows:
        of_models = recorded.setdefault(factor, {})
        of_models[model] = of_models.get(model, 0) + jobs
        values.setdefault(factor, {}).setdefault(value, {})[model] = jobs
    return {
        factor: {
            value: {m: (counts.get(m, 0), n) for m, n in recorded[factor].items()}
            for value, counts in sorted(of_values.items())
        }
        for factor, of_values in values.items()
    }
