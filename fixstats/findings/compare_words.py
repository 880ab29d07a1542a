"""What a comparison comes to in plain words, never more than its numbers say; pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fixstats.words import listed

Public = Mapping[str, Any]


@dataclass(frozen=True)
class Wording:
    """What all sentences of one comparison share.

    ``worth``: difference of rates worth knowing; ``safety``: a mode among them can hurt someone;
    ``strata``: names of the strata keys; ``unit``: ``jobs`` or ``pieces``; ``named``: say the mode.
    """

    worth: float
    safety: bool
    strata: tuple[str, ...]
    unit: str
    named: str


@dataclass(frozen=True)
class Lead:
    """The figure that a sentence follows: like for like where there is one."""

    kind: str
    difference: float
    low: float
    high: float


def lead_of(row: Public) -> Lead | None:
    """The adjusted difference; without a fit, that within strata; None where there is neither."""
    for kind, names in (
        ("adjusted", ("adjusted_difference", "adjusted_low", "adjusted_high")),
        ("strata", ("strata_difference", "strata_low", "strata_high")),
    ):
        values = [row[name] for name in names]
        if None not in values:
            return Lead(kind, *values)
    return None


def sentence(row: Public, say: Wording) -> str:
    """One sentence on a row: what the interval of its lead says, and no more."""
    place = [say.named] if say.named else []
    place += [f"on {row['model']}"] if row["model"] else []
    begin = f"{', '.join(place)}: " if place else ""
    return begin + _said(row, say) + _against_raw(row)


def _against_raw(row: Public) -> str:
    """On one model a weak contradiction is mostly what the fit takes from the other models."""
    lead = lead_of(row)
    weak = row["reversal"] == "none" or (row["reversal"] == "possible" and row["model"])
    if weak or lead is None or lead.difference * row["difference"] >= 0:
        return ""
    return "; the raw counts point the other way"


def _said(row: Public, say: Wording) -> str:
    pair = f"{row['option']} against {row['baseline']}"
    lead = lead_of(row)
    if lead is None:
        return f"{pair}: no like-for-like figure{_only_raw(row, say)}"
    how = {
        "adjusted": "like for like",
        "strata": f"within strata of {listed(say.strata)} (no fit)" if say.strata else "no fit",
    }[lead.kind]
    span = spanned(lead, say.unit)
    unused = [option for option, jobs in _jobs(row) if not jobs]
    if unused:
        return f"{pair}: {listed(unused)} never used there; the other models suggest {span}"
    if not row["failures"] and not row["baseline_failures"]:
        seen = " and ".join(f"none of {jobs:,} with {option}" for option, jobs in _jobs(row))
        return f"{pair}: no failure seen on either side ({seen}); going by other jobs, {span}"
    if lead.low <= 0 <= lead.high:
        close = max(-lead.low, lead.high) < say.worth and not say.safety
        verdict = "too close to matter" if close else "no difference shown"
        return f"{pair}, {how}: {verdict}, {span}"
    verb = "fails less" if lead.high < 0 else "fails more"
    return f"{row['option']} {verb} than {row['baseline']}, {how}: {span}{_small(lead, say)}"


def _jobs(row: Public) -> tuple[tuple[str, int], ...]:
    return (
        (row["option"], row["opportunities"]),
        (row["baseline"], row["baseline_opportunities"]),
    )


def _only_raw(row: Public, say: Wording) -> str:
    if row["difference"] is None:
        none = [option for option, jobs in _jobs(row) if not jobs]
        return f", no {say.unit[:-1]} of {listed(none)} where a failure could have been seen"
    raw = Lead("raw", row["difference"], row["difference_low"], row["difference_high"])
    return f"; the raw counts, not like for like, say {spanned(raw, say.unit)}"


def _small(lead: Lead, say: Wording) -> str:
    """A difference that is there, but that the shop does not find worth knowing."""
    if say.safety or max(-lead.low, lead.high) >= say.worth:
        return ""
    return f"; less than the {in_hundred(say.worth)} in 100 that this shop finds worth knowing"


def spanned(lead: Lead, unit: str) -> str:
    """``3.9 fewer in 100 jobs (2.1 to 5.6 fewer)``, or ``between 1.2 fewer and 2.0 more ...``."""
    if lead.low <= 0 <= lead.high:
        low, high = in_hundred(lead.low), in_hundred(lead.high)
        return f"between {low} fewer and {high} more in 100 {unit}"
    word = "fewer" if lead.high < 0 else "more"
    ends = sorted((abs(lead.low), abs(lead.high)))
    span = f"{in_hundred(ends[0])} to {in_hundred(ends[1])} {word}"
    return f"{in_hundred(lead.difference)} {word} in 100 {unit} ({span})"


def pointed(lead: Lead, unit: str) -> str:
    """``3.8 more in 100 jobs (5.8 fewer to 10.8 more)``: the figure, whatever its interval says."""
    words = [
        f"{in_hundred(value)} {'fewer' if value < 0 else 'more'}" for value in (lead.low, lead.high)
    ]
    word = "fewer" if lead.difference < 0 else "more"
    return f"{in_hundred(lead.difference)} {word} in 100 {unit} ({words[0]} to {words[1]})"


def in_hundred(difference: float) -> str:
    """A difference of rates as so many in a hundred, without its sign; never a false zero."""
    size = 100 * abs(difference)
    if size == 0:
        return "0"
    if size < 0.005:
        return "<0.01"
    return f"{size:.1f}" if size >= 0.95 else f"{size:.2f}"
