"""What a reader must know beside the causes: each note only where it applies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.causes_plan import FEW, Looked, Pair
from fixstats.findings.rates_notes import WORTH_BOUNDS, picked_by_result
from fixstats.folder import Catalogue, FailureMode
from fixstats.tallies.counts import Period
from fixstats.words import counted, listed

if TYPE_CHECKING:
    from fixstats.findings.causes import CausesAsk

Rows = Sequence[Mapping[str, Any]]
Labels = Mapping[str, str]


def notes_for(
    looked: Sequence[Looked],
    rows: Rows,
    pairs: Sequence[Pair],
    modes: Sequence[FailureMode],
    labels: Labels,
    covered: Period,
    catalogue: Catalogue,
    ask: CausesAsk,
) -> tuple[Note, ...]:
    """Notes on conditions looked at and on the rows they made; pure."""
    if not covered.jobs:
        return (Note("no_records", "no job is in the records yet: fixstats import FILE"),)
    own = Note("own_records", OWN_RECORDS)
    timed = all(mode.steps for mode in modes)
    steps = {step for mode in modes for step in mode.steps} if timed else catalogue.step_codes
    picked = picked_by_result(ask.where, steps, catalogue)
    without = _no_contrast(looked)
    if without:
        return tuple(note for note in (picked, without, own) if note)
    found = (
        picked,
        _nothing(rows),
        *_together(pairs, labels, ask),
        _not_causal(rows),
        _how(rows, looked),
        _no_figures(looked, rows),
        _not_recorded(looked),
        _not_looked_at(looked, ask),
        _few_failures(looked),
        _lumped(looked),
        _thinned(looked),
        _unknown(looked),
        _during(rows, looked),
        _mixed(modes),
        _come_backs(rows, covered, ask),
        own,
    )
    return tuple(note for note in found if note)


def total_of(looked: Sequence[Looked]) -> tuple[int, int, int]:
    """Failures, opportunities and unknown units of what was asked; each has a quarter."""
    (one,) = [one for one in looked if one.condition.key == "quarter"]
    counts = one.counts.values()
    return (
        sum(level.failures for level in counts),
        sum(level.opportunities for level in counts),
        sum(level.unknown for level in counts),
    )


def _no_contrast(looked: Sequence[Looked]) -> Note | None:
    failures, opportunities, _ = total_of(looked)
    if not opportunities:
        return Note("nothing", "no job in the records was an opportunity for what was asked")
    if failures not in (0, opportunities):
        return None
    seen = "never occurred" if not failures else "always occurred"
    return Note(
        "no_contrast",
        f"it {seen} in {counted(opportunities, 'opportunity', 'opportunities')}: nothing tells one "
        "condition from another; its limit: fixstats rates",
    )


def _nothing(rows: Rows) -> Note | None:
    if rows:
        return None
    return Note("nothing", "no condition was recorded with two values often enough to compare")


def _together(pairs: Sequence[Pair], labels: Labels, ask: CausesAsk) -> list[Note]:
    """Pairs of conditions that do more, or less, together than their odds ratios multiplied."""
    level = 1 - (ask.confidence or 0.0)
    notes = []
    for pair in pairs:
        if not pair.p_corrected < level:
            continue
        names = listed(f"{labels[key]} = {value}" for key, value in pair.levels)
        more = "more" if pair.odds_ratio > 1 else "fewer"
        notes.append(
            Note(
                "pair",
                f"{names} together go with {more} failures than the two apart would explain "
                f"({pair.failures:,} of {pair.opportunities:,} failed; "
                f"p {pair.p_corrected:.2g}, corrected)",
            )
        )
    tested = len(pairs)
    if tested and not notes:
        text = f"{counted(tested, 'pair')} of conditions tested: none goes with more failures, or "
        return [Note("no_pair", text + "fewer, than the two apart would explain beyond chance")]
    return notes


def _not_causal(rows: Rows) -> Note | None:
    if not rows:
        return None
    return Note(
        "not_causal",
        "what goes with a failure need not bring it about; share due is the share of failures that "
        "would not have happened without the condition only if the link is causal (below 0: so "
        "many more would have); shares of several conditions do not add up",
    )


def _how(rows: Rows, looked: Sequence[Looked]) -> Note | None:
    if not rows:
        return None
    tests = sum(row["p_value"] is not None for row in rows)
    return Note(
        "adjusted",
        "each condition is adjusted for model, technician, quarter and the conditions before it in "
        "the job as far as failures allow, never for later ones (--format json lists them); "
        "failures are raw counts; "
        "odds ratios grow with what is adjusted for, more in 100 and share due do not; "
        f"p_corrected allows for the {counted(tests, 'test')} of this answer (Holm), not for other "
        "failure modes asked about",
    )


def _no_figures(looked: Sequence[Looked], rows: Rows) -> Note | None:
    failed = [one.condition.key for one in looked if not one.converged]
    if failed:
        return Note("not_converged", f"{listed(failed)}: the fit did not converge, no figures")
    same = [f"{row['condition']} = {row['level']}" for row in rows if row["odds_ratio"] is None]
    if not same:
        return None
    return Note(
        "inseparable",
        f"no figures for {listed(same)}: cannot be told apart from what it is adjusted for, or "
        "nothing failed, or everything did",
    )


def _not_recorded(looked: Sequence[Looked]) -> Note | None:
    used = [one for one in looked if one.levels]
    gaps = [f"{one.condition.key} {one.missing:,}" for one in used if one.missing]
    steps = [f"{one.condition.key} {one.not_done:,}" for one in used if one.not_done]
    if not gaps and not steps:
        return None
    texts = [f"not recorded: {', '.join(gaps)}"] if gaps else []
    texts += [f"step not done: {', '.join(steps)}"] if steps else []
    return Note(
        "not_recorded",
        f"left out of a condition's own row, {'; '.join(texts)}; among what others are adjusted "
        "for, not recorded is a value of its own",
    )


def _not_looked_at(looked: Sequence[Looked], ask: CausesAsk) -> Note | None:
    """Conditions without two levels, and levels that are too small."""
    single = [one.condition.key for one in looked if not one.levels]
    small = [
        f"{one.condition.key} = {level}"
        for one in looked
        for level, units in one.counts.items()
        if one.levels and units.opportunities and level not in one.levels
    ]
    texts = [f"no two values often enough: {', '.join(single)}"] if single else []
    texts += [f"fewer than {ask.min_opportunities}: {', '.join(small)}"] if small else []
    return Note("not_compared", f"not compared, {'; '.join(texts)}") if texts else None


def _few_failures(looked: Sequence[Looked]) -> Note | None:
    fitted = [one for one in looked if one.fits]
    found: dict[str, list[str]] = {}
    for one in fitted:
        for key, why in one.left_out.items():
            if why == FEW:
                found.setdefault(key, []).append(one.condition.key)
    if not found:
        return None
    texts = [
        f"{key} (for {listed(of) if len(of) < 3 else f'{len(of)} of {len(fitted)} conditions'})"
        for key, of in found.items()
    ]
    return Note(
        "not_adjusted",
        f"too few failures to adjust for everything; left out: {', '.join(texts)}",
    )


def _lumped(looked: Sequence[Looked]) -> Note | None:
    most: dict[str, int] = {}
    for one in looked:
        for key, many in one.lumped.items():
            most[key] = max(most.get(key, 0), many)
    if not most:
        return None
    texts = [f"{key} {many}" for key, many in most.items()]
    return Note(
        "lumped",
        "values too rare, or too many, to be adjusted for one by one were taken together, at most: "
        + ", ".join(texts),
    )


def _thinned(looked: Sequence[Looked]) -> Note | None:
    thinned = [one for one in looked if one.fits and sum(one.read) < one.opportunities - 0.5]
    if not thinned:
        return None
    read = max(sum(one.read) for one in thinned)
    return Note(
        "thinned",
        f"counts are of all records; each fit reads at most {read:,.0f} of them, failures and "
        "others drawn evenly and weighted back",
    )


def _unknown(looked: Sequence[Looked]) -> Note | None:
    _, opportunities, unknown = total_of(looked)
    if unknown <= WORTH_BOUNDS * (opportunities + unknown):
        return None
    return Note(
        "unknown_share",
        f"{unknown:,} of {opportunities + unknown:,} units are unknown (unchecked, not covered by "
        "the sheet, or not attributable) and left out: if they were looked at less often under "
        "some condition, its figures mislead",
    )


def _during(rows: Rows, looked: Sequence[Looked]) -> Note | None:
    """Factors that come about during the job may have come after the failure."""
    late = {one.condition.key for one in looked if one.condition.doubtful}
    shown = [key for key in dict.fromkeys(row["condition"] for row in rows) if key in late]
    if not shown:
        return None
    return Note(
        "during",
        f"{listed(shown)}: recorded during the job; where that was after the failure could happen, "
        "it tells nothing of its causes",
    )


def _mixed(modes: Sequence[FailureMode]) -> Note | None:
    if not any(mode.mixed for mode in modes):
        return None
    return Note(
        "by_pair",
        "only jobs with grades of different origin are opportunities of a conflict of mixed parts; "
        "which grades meet: fixstats rates --by pair",
    )


def _come_backs(rows: Rows, covered: Period, ask: CausesAsk) -> Note | None:
    if not covered.rework or not rows or any(key == "rework" for key, _ in ask.where):
        return None
    return Note(
        "rework",
        f"{counted(covered.rework, 'job')} in the records are themselves come-backs and count "
        "here, to be a condition; leave them out with --where rework=no",
    )
