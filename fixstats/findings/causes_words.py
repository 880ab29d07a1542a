"""What goes with a failure in plain words, never more than its numbers say; pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from fixstats.words import counted, listed

Row = Mapping[str, Any]

# The calendar brings no failure about: something that came or went with it may.
TIME = ("quarter",)


def survives(row: Row, confidence_level: float) -> bool:
    """Whether a row still goes with the failure when all tests of the answer are allowed for."""
    return row["p_corrected"] is not None and row["p_corrected"] < 1 - confidence_level


def sentences(
    rows: Sequence[Row],
    labels: Mapping[str, str],
    unit: str,
    confidence_level: float,
    doubtful: Collection[str] = (),
) -> list[str]:
    """One on each row that survives, or one that says there is none; none of rows without figures.

    ``unit``: ``jobs`` or ``pieces``. ``doubtful``: conditions that may have come after the failure.
    """
    if all(row["odds_ratio"] is None for row in rows):
        return []
    sure = [row for row in rows if survives(row, confidence_level)]
    if not sure:
        return [
            f"Of {counted(len(rows), 'value')} looked at, none goes with it beyond chance; that "
            "does not show that none matters."
        ]
    return [
        _sentence(row, labels[row["condition"]], unit, row["condition"] not in (*doubtful, *TIME))
        for row in sure
    ]


def _sentence(row: Row, label: str, unit: str, may_cause: bool) -> str:
    more = row["odds_ratio"] > 1
    told = "more" if more else "fewer"
    raw = (
        f"{row['failures']:,} of {row['opportunities']:,} against "
        f"{row['reference_failures']:,} of {row['reference_opportunities']:,}"
    )
    if (row["rate"] > row["reference_rate"]) != more:
        raw += ", the other way round before adjusting"
    risk = sorted(abs(row[name]) for name in ("risk_low", "risk_high"))
    missing = [key for key in ("model", "technician") if key not in row["adjusted_for"]]
    parts = [
        f"{label}: {row['level']} goes with {told} failures than {row['reference']} ({raw}).",
        f"{'Adjusted as far as failures allow' if missing else 'Like for like'} "
        f"{percent(abs(row['risk_difference']))} {told} in 100 {unit} "
        f"({percent(risk[0])} to {percent(risk[1])}).",
    ]
    if more and may_cause:
        parts.append(
            f"If it is the cause, about {percent(row['share_due'])} in 100 of these failures "
            f"({percent(row['share_low'])} to {percent(row['share_high'])}) would not have "
            "happened without it."
        )
    if missing:
        parts.append(f"Not adjusted for {listed(missing, 'or')}.")
    return " ".join(parts)


def percent(share: float | None) -> str:
    """A signed fraction in percent: ``25``, ``3.1``, ``-0.42``."""
    if share is None:
        return "·"
    value = 100 * share
    digits = 0 if abs(value) >= 9.95 else 1 if abs(value) >= 0.995 else 2
    return f"{value:.{digits}f}"


def ratio(value: float | None) -> str:
    """Near 1 two decimals, which tell whether an interval leaves it out: ``1.01``, ``13``."""
    if value is None:
        return "·"
    if value >= 9.95:
        return f"{value:,.0f}"
    return f"{value:.2g}" if value < 0.0995 else f"{value:.2f}"
