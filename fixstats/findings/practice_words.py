"""What the figures of practice with one method say, in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.practice_figures import BEYOND, SETTLED, Method
from fixstats.folder import Catalogue
from fixstats.words import counted, listed

Settings = Mapping[str, Any]

# What first jobs may take beyond later ones: its unit, and the decimals it is told with.
BEYOND_LATER = {"extra_failures": ("failures", 1), "extra_minutes": ("minutes", 0)}


def sentences_for(
    method: str, found: Method, settings: Settings, catalogue: Catalogue
) -> list[str]:
    """What a person should read first about one method; no more than the figures say."""
    name = catalogue.label(method)
    said = [f"{name}: {_REASONS[found.reason](found)}"]
    if found.reason != SETTLED:
        said += [_doubling(found), _learning(found, settings)]
    return [one for one in said if one]


def _practised(found: Method) -> str:
    """Before and after the practised number; the interval of the number."""
    at, figures, technicians = found.summary["practised_at"], found.more, found.more["technicians"]
    low, high = found.summary["practised_at_low"], found.summary["practised_at_high"]
    early, late = rate_of(figures["early"]), rate_of(figures["late"])
    return (
        f"{early} failed while the technician had fewer than {at} earlier uses, {late} after that "
        f"({counted(technicians, 'technician')}). By the rule below it is practised after "
        f"{counted(at, 'use')} (interval {low:.0f} to {high:.0f})."
    )


def _settled(found: Method) -> str:
    people = counted(found.more["settled_technicians"], "technician")
    return (
        f"in use by {people} from the beginning of the records, by no other later: nothing shows "
        f"how it was learned; {rate_of(found.more['settled'])} failed."
    )


def _few(found: Method) -> str:
    people = counted(found.more["technicians"], "technician")
    return (
        f"{rate_of(found.more['learners'])} failed. {people} took it up; to tell when it is "
        f"practised takes two with {BEYOND} uses or more."
    )


def _no_early(found: Method) -> str:
    return (
        f"{rate_of(found.more['learners'])} failed; none of the jobs asked about is among the "
        "first uses, so there is no learning to see."
    )


def _no_drop(found: Method) -> str:
    return (
        f"no fall of the failure rate with use that can be told from chance (p "
        f"{_p(found)}); {rate_of(found.more['learners'])} failed."
    )


def _small_drop(found: Method) -> str:
    return (
        "the failure rate falls with use, but from the first job on by less than is worth "
        f"knowing; {rate_of(found.more['learners'])} failed."
    )


def _rises(found: Method) -> str:
    return (
        f"the failure rate rises with use (p {_p(found)}). Practice does not do that: look at "
        "what else changed meanwhile (--where model=..., --where quarter=...)."
    )


def _still_falling(found: Method) -> str:
    return (
        "the failure rate falls with use, and was still falling as far as two technicians have "
        f"come: no practised rate yet; {rate_of(found.more['learners'])} failed so far."
    )


_REASONS = {
    "": _practised,
    "settled": _settled,
    "few_technicians": _few,
    "no_early": _no_early,
    "no_drop": _no_drop,
    "small_drop": _small_drop,
    "rises": _rises,
    "still_falling": _still_falling,
}


def _learning(found: Method, settings: Settings) -> str:
    """What the first jobs of one technician took beyond later ones."""
    summary, first = found.summary, found.summary["learning_jobs"]
    known = [
        name
        for name in ("extra_failures", "extra_minutes", "learning_cost")
        if summary[f"{name}_low"] is not None
    ]
    parts = [_beyond(summary, name) for name in known if name in BEYOND_LATER]
    if not parts:
        return ""
    money = ""
    if "learning_cost" in known:
        ends = (f"{summary[f'learning_cost{end}']:z,.0f}" for end in ("", "_low", "_high"))
        money = ": {} {currency} ({} to {})".format(*ends, currency=settings["currency"])
    if not any(summary[f"{name}_low"] > 0 for name in known):
        return (
            f"No cost of learning shown: {listed(parts)} in one technician's first {first} jobs "
            f"than in {first} later ones{money}."
        )
    cost = "cost" if all(summary[name] >= 0 for name in known) else "went with"
    return (
        f"One technician's first {first} jobs {cost} {listed(parts)} than {first} later "
        f"ones{money}."
    )


def _doubling(found: Method) -> str:
    summary = found.summary
    if summary["learning_rate"] is None:
        return "" if found.more["timed"] else "No minutes of the step are recorded for it."
    rate, low, high = (summary[f"learning_rate{end}"] for end in ("", "_low", "_high"))
    if low <= 1 <= high:
        return (
            "The minutes of the step do not change with use by more than chance allows "
            f"({100 * low:.0f} to {100 * high:.0f} % of the time after each doubling of the jobs)."
        )
    return (
        f"Each time the number of uses doubles, the step takes {100 * rate:.0f} % of the time "
        f"({100 * low:.0f} to {100 * high:.0f})."
    )


def _beyond(summary: Mapping[str, Any], name: str) -> str:
    """``1.9 more failures (0.0 to 4.1)``; ``0.7 fewer failures (2.4 fewer to 1.0 more)``."""
    unit, digits = BEYOND_LATER[name]
    value, low, high = (summary[f"{name}{end}"] for end in ("", "_low", "_high"))
    told = "more" if value >= 0 else "fewer"
    ends = f"{abs(low):,.{digits}f} to {abs(high):,.{digits}f}"
    if low < 0 < high:
        ends = f"{-low:,.{digits}f} fewer to {high:,.{digits}f} more"
    return f"{abs(value):,.{digits}f} {told} {unit} ({ends})"


def rate_of(counts: Sequence[Any]) -> str:
    """``10 of 144 (6.9 %, 3.8 to 12.3)``."""
    failures, jobs, rate, low, high, limit = counts
    if not jobs:
        return "of none it is known whether they"
    if not failures:
        return f"none of {jobs:,} (at most {_percent(limit)} %)"
    return f"{failures:,} of {jobs:,} ({_percent(rate)} %, {_percent(low)} to {_percent(high)})"


def _percent(share: float) -> str:
    value = 100 * share
    return f"{value:.1f}" if value >= 1 or value == 0 else f"{value:.2g}"


def _p(found: Method) -> str:
    value = found.summary["p_value"]
    if value is None:
        return "not known: no failure, or nothing but failures"
    return "below 0.001" if value < 0.001 else f"{value:.2g}"
