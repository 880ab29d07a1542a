"""What a comparison comes to in plain words, never more than its numbers say; pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fixstats.findings.compare_beside import Beside
from fixstats.words import counted, listed

Public = Mapping[str, Any]
PLAIN = Beside()
# With fewer jobs of an option a model says little by itself. Common practice, no source.
TELLING = 20


@dataclass(frozen=True)
class Wording:
    """What all sentences of one comparison share.

    ``worth``: difference of rates worth knowing; ``safety``: a mode among them can hurt someone;
    ``strata``: names of the strata keys; ``unit``: ``jobs`` or ``pieces``; ``named``: say the mode;
    ``level``: of the intervals.
    """

    worth: float
    safety: bool
    strata: tuple[str, ...]
    unit: str
    named: str
    level: float = 0.95


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


def sentence(row: Public, say: Wording, beside: Beside = PLAIN) -> str:
    """One sentence on a row: what the interval of its lead says, and no more."""
    place = [say.named] if say.named else []
    place += [f"on {row['model']}"] if row["model"] else []
    begin = f"{', '.join(place)}: " if place else ""
    return begin + _said(row, say, beside)


def verdict(row: Public, beside: Beside = PLAIN) -> str:
    """``less``, ``more`` or ``open`` by what the sentence says; '' where there is no figure.

    Without a failure on either side, or a model that has had both, no order can be told.
    """
    lead = lead_of(row)
    if lead is None or not beside.met:
        return ""
    if _quiet(row) or lead.low <= 0 <= lead.high:
        return "open"
    return "less" if lead.high < 0 else "more"


def unused(row: Public) -> tuple[str, ...]:
    """Which of the two has no job here."""
    return tuple(option for option, jobs in _jobs(row) if not jobs)


def _said(row: Public, say: Wording, beside: Beside) -> str:
    pair = f"{row['option']} against {row['baseline']}"
    if not beside.met:
        return f"{pair}: no model has had both: model and option cannot be told apart"
    lead = lead_of(row)
    borrowed = lead is not None and lead.kind == "adjusted" and row["model"] is not None
    if _quiet(row) and not borrowed:
        return f"{pair}: no failure seen on either side ({_none(row)}): no order can be told"
    if lead is None:
        return f"{pair}: no like-for-like figure{_only_raw(row, say)}"
    span = spanned(lead, say.unit)
    if unused(row):
        return f"{pair}: {listed(unused(row))} never used there; the other models suggest {span}"
    if _quiet(row):
        return (
            f"{pair}: no failure seen on either side ({_none(row)}): nothing to tell them apart "
            f"here; the other models suggest {span}"
        )
    return _compared(row, say, lead) + _against(row, lead) + _dangerous(row, say, beside)


def _compared(row: Public, say: Wording, lead: Lead) -> str:
    how = {
        "adjusted": "like for like",
        "strata": f"within strata of {listed(say.strata)} (no fit)" if say.strata else "no fit",
    }[lead.kind]
    span = spanned(lead, say.unit) + _leaning(row, lead, say.unit)
    if lead.low <= 0 <= lead.high:
        close = max(-lead.low, lead.high) < say.worth and not say.safety
        found = "too close to matter" if close else "no difference shown"
        return f"{row['option']} against {row['baseline']}, {how}: {found}, {span}"
    verb = "fails less" if lead.high < 0 else "fails more"
    return f"{row['option']} {verb} than {row['baseline']}, {how}: {span}{_small(lead, say)}"


def _quiet(row: Public) -> bool:
    """Both were used and neither failed."""
    return not (unused(row) or row["failures"] or row["baseline_failures"])


def _none(row: Public) -> str:
    return ", ".join(f"none of {jobs:,} with {option}" for option, jobs in _jobs(row))


def _leaning(row: Public, lead: Lead, unit: str) -> str:
    """On few jobs of a model the fit says mostly what it says of the others."""
    option, jobs = min(_jobs(row), key=lambda one: one[1])
    if row["model"] is None or lead.kind != "adjusted" or jobs >= TELLING:
        return ""
    noun = counted(jobs, unit[:-1])
    return f" ({noun} of {option} here; leans on the other models)"


def _against(row: Public, lead: Lead) -> str:
    """On one model a weak contradiction is mostly what the fit takes from the other models."""
    if row["reversal"] == "none" or (row["reversal"] == "possible" and row["model"]):
        return ""
    if lead.difference * row["difference"] < 0:
        return "; the raw counts point the other way"
    if lead.difference * (row["strata_difference"] or 0) < 0:
        return "; the figure within strata points the other way"
    return ""


def _dangerous(row: Public, say: Wording, beside: Beside) -> str:
    """A union counts a snapped tab like a pierced cell: what can hurt must not hide in it.

    Told where chance hardly explains it; over all jobs also, as bare counts, wherever the sentence
    claims the other order.
    """
    found = beside.dangers
    said = {"less": -1, "more": 1}.get(verdict(row, beside), 0)
    if found is None or not found.apart or said * found.apart > 0:
        return ""
    counts = [
        f"{found.failures:,} of {found.opportunities:,}",
        f"{found.baseline_failures:,} of {found.baseline_opportunities:,}",
    ]
    what = listed(found.codes, "or")
    if found.p_value < 1 - say.level:
        worse = row["option"] if found.apart > 0 else row["baseline"]
        first, second = counts if found.apart > 0 else reversed(counts)
        return f"; but {what} more often with {worse} ({first} against {second})"
    if not said or row["model"]:
        return ""
    return f"; {what} alone: {counts[0]} against {counts[1]}, no order shown"


def _jobs(row: Public) -> tuple[tuple[str, int], ...]:
    return (
        (row["option"], row["opportunities"]),
        (row["baseline"], row["baseline_opportunities"]),
    )


def _only_raw(row: Public, say: Wording) -> str:
    if row["difference"] is None:
        return f", no {say.unit[:-1]} of {listed(unused(row))} where a failure could have been seen"
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
