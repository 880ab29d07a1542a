"""What the figures of practice with one method say, in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.practice_figures import BEYOND, SETTLED, Method
from fixstats.folder import Catalogue
from fixstats.words import counted, listed

Settings = Mapping[str, Any]


def sentences_for(
    method: str, found: Method, settings: Settings, catalogue: Catalogue
) -> list[str]:
    """What a person should read first about one method; no more than the figures say."""
    name = catalogue.label(method)
    said = [f"{name}: {_REASONS[found.reason](found)}"]
    if found.reason != SETTLED:
        said += [_minutes(found), _learning(found, settings)]
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
    summary = found.summary
    parts = [
        _span(summary, name, unit, digits)
        for name, unit, digits in (
            ("extra_failures", "failures", 1),
            ("extra_minutes", "minutes of the step", 0),
        )
        if summary[name] is not None
    ]
    if not parts:
        return ""
    money = ""
    if summary["learning_cost"] is not None:
        money = f": {_span(summary, 'learning_cost', settings['currency'], 0)} in all"
    return (
        f"Against as many later ones, the first {summary['learning_jobs']} jobs of one technician "
        f"took {listed(parts)}{money}."
    )


def _minutes(found: Method) -> str:
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
        f"Each doubling of the jobs goes with {100 * rate:.0f} % of the minutes "
        f"({100 * low:.0f} to {100 * high:.0f})."
    )


def _span(summary: Mapping[str, Any], name: str, unit: str, digits: int) -> str:
    value, low, high = (summary[f"{name}{end}"] for end in ("", "_low", "_high"))
    words = (f"{one:+z,.{digits}f}" for one in (value, low, high))
    return "{} {unit} ({} to {})".format(*words, unit=unit)


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
