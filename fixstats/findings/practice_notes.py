"""What must be known beside the figures of practice: each note only where it applies."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.practice_figures import BEYOND, LEARNED, SETTLED, Method
from fixstats.findings.practice_words import rate_of
from fixstats.findings.rates_notes import worth_bounds
from fixstats.folder import Catalogue
from fixstats.tallies.counts import Period
from fixstats.words import counted, listed

# A share of jobs that would have to be of other models: worth saying from here on.
WORTH_MIX = 0.10

Found = Mapping[str, Method]
Settings = Mapping[str, Any]


def notes_for(
    found: Found, unrecorded: int, settings: Settings, covered: Period, catalogue: Catalogue
) -> tuple[Note, ...]:
    """Notes that apply, what could mislead first; pure."""
    if not covered.jobs:
        return (Note("no_records", "no job is in the records yet: fixstats import FILE"),)
    if not found:
        return (_nothing(unrecorded, settings), Note("own_records", OWN_RECORDS))
    learned = {method: one for method, one in found.items() if one.reason != SETTLED}
    names = {method: catalogue.label(method) for method in found}
    notes = (
        _missing(found, names),
        _rule(learned, settings),
        _not_adjusted(learned),
        *(_mix(one, names[method]) for method, one in learned.items()),
        *(_apart(one, names[method]) for method, one in learned.items()),
        _intervals(learned),
        _minutes_note(learned),
        _cost_note(learned, names),
        _beginning(found),
        _counted_over_all(settings),
        _zero(found, settings),
        _unknown(found),
        _unrecorded(unrecorded),
        _rework(settings, covered),
        Note("own_records", OWN_RECORDS),
    )
    return tuple(note for note in notes if note)


def _nothing(unrecorded: int, settings: Settings) -> Note:
    if unrecorded:
        return Note(
            "nothing",
            f"of step '{settings['step']}' there are {counted(unrecorded, 'job')} of which method "
            "or technician was not written down, and no other: practice cannot be counted",
        )
    return Note("nothing", f"no job in the records that was asked about did '{settings['step']}'")


WHY_NOT = {
    SETTLED: "in use from the beginning of the records, and nobody took it up since",
    "few_technicians": f"it takes two technicians who took it up and have {BEYOND} uses or more",
    "no_early": "none of the jobs asked about is among the first uses",
    "no_drop": "the failure rate does not fall by more than chance allows",
    "small_drop": "the failure rate falls by less than is worth knowing",
    "rises": "the failure rate rises with use",
    "still_falling": "the failure rate still fell as far as two technicians have come",
}


def _missing(found: Found, names: Mapping[str, str]) -> Note | None:
    """Why practised_at is empty; for readers of the JSON, who see no sentences."""
    reasons: dict[str, list[str]] = {}
    for method, one in found.items():
        if one.reason:
            reasons.setdefault(one.reason, []).append(names[method])
    if not reasons:
        return None
    words = "; ".join(f"{listed(those)}: {WHY_NOT[reason]}" for reason, those in reasons.items())
    return Note("not_practised", f"no practised number for {words}")


def _rule(learned: Found, settings: Settings) -> Note | None:
    if not learned:
        return None
    return Note(
        "rule",
        "practised: from this use on, the falling curve stays within "
        f"{100 * settings['worth_knowing']:g} in 100 of all later jobs",
    )


def _not_adjusted(learned: Found) -> Note | None:
    if not learned:
        return None
    return Note(
        "not_adjusted",
        "not adjusted for case mix: early jobs may have been the easier or the harder ones, and "
        "uses rise with the calendar, so whatever else changed meanwhile is in the curve too",
    )


def _mix(found: Method, name: str) -> Note | None:
    more = found.more
    if not more["mix_differs"] or more["moved"] < WORTH_MIX:
        return None
    return Note(
        "models_differ",
        f"{name}: the device models of early and later jobs differ ({100 * more['moved']:.0f} % of "
        "the jobs would have to be of other models); look at single ones with --where model=NAME",
    )


def _apart(found: Method, name: str) -> Note | None:
    if not found.more["settled_apart"]:
        return None
    return Note(
        "settled_apart",
        f"{name}: technicians who used it from the beginning and those who learned it differ even "
        f"when practised ({rate_of(found.more['settled'])} against {rate_of(found.more['late'])} "
        "failed); practised_rate is of both together",
    )


def _intervals(learned: Found) -> Note | None:
    if not learned:
        return None
    without = [one.more["without"] for one in learned.values() if not one.reason]
    share = ""
    if without and max(without) >= 0.01:
        share = f"; in up to {100 * max(without):.0f} % of samples there was no practised number"
    return Note(
        "resampled",
        "all intervals take jobs as independent: where technicians differ they are too narrow; "
        f"rates before and after the practised number take it as given{share}",
    )


def _minutes_note(learned: Found) -> Note | None:
    if not any(one.summary["learning_rate"] is not None for one in learned.values()):
        return None
    return Note(
        "minutes",
        "minutes are those of the step, all tries, rescue included; medians in the table; the "
        "share left by a doubling is Wright's (1936) learning rate, fitted on logarithms of the "
        f"first {LEARNED} jobs with a level for each technician: his curve falls for ever, so it "
        "holds for those jobs only",
    )


def _cost_note(learned: Found, names: Mapping[str, str]) -> Note | None:
    if not any(one.summary["learning_jobs"] for one in learned.values()):
        return None
    unpriced = [names[method] for method, one in learned.items() if one.more["unpriced"]]
    untimed = [
        names[method]
        for method, one in learned.items()
        if one.summary["learning_jobs"] and one.summary["extra_minutes"] is None
    ]
    text = (
        "learning cost: first jobs against later ones of the technicians who did at least twice as "
        "many; minutes at the labour rate and failures at the mean catalogue cost of this "
        "method's failures, taken as known; minutes that a failure added to the step may be in both"
    )
    if unpriced:
        text += f"; failures without a cost in the catalogue left out for {listed(unpriced)}"
    if untimed:
        text += f"; without minutes, failures only, for {listed(untimed)}"
    return Note("learning_cost", text)


def _beginning(found: Found) -> Note | None:
    if not any(row["band"] == SETTLED for one in found.values() for row in one.bands):
        return None
    return Note(
        "settled",
        "records start in mid-career: a method that a technician used in their first 90 days "
        "counts as practised by that technician from the start (band 'settled'), never as early",
    )


def _counted_over_all(settings: Settings) -> Note | None:
    if not (settings["where"] or settings["since"] or settings["until"]):
        return None
    return Note(
        "uses",
        "uses are counted over all jobs of the records, also those that the conditions leave out",
    )


def _zero(found: Found, settings: Settings) -> Note | None:
    bands = [row for one in found.values() for row in one.bands if row["opportunities"]]
    if all(row["failures"] for row in bands):
        return None
    return Note(
        "zero_failures",
        "no failure seen does not mean none: at_most is the exact one-sided "
        f"{100 * settings['confidence_level']:g} % upper limit",
    )


def _unknown(found: Found) -> Note | None:
    many = sum(worth_bounds(row) for one in found.values() for row in one.bands)
    if not many:
        return None
    return Note(
        "unknown_share",
        f"in {counted(many, 'row')} more than a tenth of the jobs are unknown (unchecked, or not "
        "covered by the sheet); rates and curve leave them out",
    )


def _unrecorded(unrecorded: int) -> Note | None:
    if not unrecorded:
        return None
    return Note(
        "not_recorded",
        f"{counted(unrecorded, 'job')} left out: method or technician was not written down, so "
        "the uses of others may be counted too low",
    )


def _rework(settings: Settings, covered: Period) -> Note | None:
    named = any(one.startswith("rework=") for one in settings["where"])
    if settings["include_rework"] or named or not covered.rework:
        return None
    return Note(
        "rework",
        "come-backs are left out of rates and minutes (--include-rework), but count as uses",
    )
