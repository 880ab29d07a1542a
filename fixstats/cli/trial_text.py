"""Trials in words and tables for people."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fixstats.cli import text
from fixstats.words import counted

if TYPE_CHECKING:
    from fixstats.findings.base import Finding
    from fixstats.folder import Catalogue
    from fixstats.records.trials import Handed
    from fixstats.shop_trial import Begun

WAYS = {
    "fisher": "looked at once, Fisher's test",
    "boschloo": "looked at once, Boschloo's test",
    "precision": "difference known to within it",
    "sequential": "looked at every week (the rule here)",
}


def plan_text(finding: Finding) -> str:
    """What is tried, the ways of asking how many jobs, then what to know."""
    from fixstats.cli.emit import footer

    first = finding.rows[0]
    currency = finding.settings["currency"]
    rows = [
        [
            WAYS[row["method"]],
            _number(row["jobs_per_option"]),
            _number(row["jobs"]),
            _number(row["jobs_90"]),
            _weeks(row["weeks"]),
            _weeks(row["weeks_90"]),
            text.EMPTY if row["cost"] is None else f"{row['cost']:,.0f}",
        ]
        for row in finding.rows
    ]
    heads = (
        "trial", "jobs an option", "jobs", "9 of 10 within", "weeks", "9 of 10 within",
        f"cost, {currency}",
    )  # fmt: skip
    table = text.table(heads, rows, [False] + [True] * 6)
    return "\n".join([_planned(finding, first), "", table, "", footer(finding)]).rstrip()


def _planned(finding: Finding, row: Mapping[str, Any]) -> str:
    settings, outcome = finding.settings, _outcome(row, finding.labels)
    now, then = text.percent(row["baseline_rate"]), text.percent(row["rate"])
    return text.printable(
        f"{row['choice']}: {row['baseline']} (as now, {row['baseline_safety']}) against "
        f"{row['option']} ({row['safety']}); {outcome}: {now} % now, {then} % if the option "
        f"differs by {100 * row['difference']:g} in 100; {settings['jobs_a_week']:.1f} jobs a week"
    )


def _number(value: float | None) -> str:
    return text.EMPTY if value is None else f"{value:,.0f}"


def _weeks(value: float | None) -> str:
    return text.EMPTY if value is None else f"{value:,.1f}"


def begun_text(begun: Begun) -> str:
    """What was settled and what to do now."""
    new = begun.settled
    lines = [
        f"trial {new.trial} has begun: {new.choice}, {new.baseline} (as now) against {new.option}, "
        f"at most {counted(new.max_jobs, 'job')}, seed {new.seed}",
        f"wrote {begun.sheet}: {counted(len(begun.slots), 'line')} to print, a page for each "
        f"technician and group of models; it ends with {counted(new.max_jobs, 'job')} on all "
        "pages together, whatever lines are left",
        "before each device, either uncover the next line of that sheet, or ask:",
        f'  fixstats trial next {new.trial} --technician T --model "M"',
        "one way or the other, never both ways for one technician",
        f"in the job sheet write {new.trial} under trial, and what was drawn under assigned",
        f"look as often as you like: fixstats trial status {new.trial}",
    ]
    told = ("harm_stop", "wait_days")
    notes = [f"note: {note.text}" for note in begun.plan.notes if note.code in told]
    cautions = [f"caution: {one}" for one in begun.plan.cautions]
    return "\n".join(text.printable(line) for line in [*lines, *notes, *cautions])


def handed_text(handed: Handed, catalogue: Catalogue) -> str:
    """What to use now, and what to write down."""
    slot = handed.slot
    label = catalogue.labels.get(slot.assigned, slot.assigned)
    told = "drawn before for this job" if handed.again else "next"
    now = f"{handed.choice}: use {slot.assigned} ({label})"
    if handed.harmful:
        present = catalogue.labels.get(handed.baseline, handed.baseline)
        now = (
            f"{handed.choice}: stopped for harm: use the present option, {handed.baseline} "
            f"({present}); drawn was {slot.assigned}"
        )
    lines = [
        now,
        f"{told}: {slot.technician}, {slot.model_group} devices, line {slot.number}; "
        f"{handed.handed_out:,} of {handed.max_jobs:,} handed out",
        f"in the job sheet: trial = {handed.trial}, assigned = {slot.assigned}; write down the "
        "method or grade that was really used",
    ]
    methods = {one.code: one for one in catalogue.methods}
    used = handed.baseline if handed.harmful else slot.assigned
    own = methods[used].cautions if used in methods else ()
    lines += [f"caution: {one}" for one in own]
    lines.append("caution: A swollen, hot, bent or pierced cell: stop first, trial or not.")
    return "\n".join(text.printable(line) for line in lines)


def excluded_text(name: str, reason: str) -> str:
    """What was written down instead of a draw."""
    return text.printable(
        f"kept out of trial {name}: {reason}; nothing was drawn. Leave trial and assigned blank"
    )


def status_text(finding: Finding) -> str:
    """The verdict, the difference, drawn against used, then what to know."""
    from fixstats.cli.emit import footer

    row = finding.rows[-1]
    rows = [
        [
            one["option"],
            f"{one['handed_out']:,}",
            f"{one['jobs']:,}",
            f"{one['used_as_drawn']:,}",
            f"{one['used_otherwise']:,}",
            f"{one['failures']:,} of {one['opportunities']:,}",
            _rate(one),
            f"{one['safety_failures']:,} of {one['jobs']:,}",
        ]
        for one in finding.rows
    ]
    heads = (
        "drawn", "handed out", "jobs", "used it", "used other", "failed", "rate, %",
        "safety failures",
    )  # fmt: skip
    table = text.table(heads, rows, [False] + [True] * 7)
    return "\n".join([_headline(finding, row), "", table, "", footer(finding)]).rstrip()


def _rate(row: Mapping[str, Any]) -> str:
    if row["rate"] is None:
        return text.EMPTY
    return f"{100 * row['rate']:.1f} ({100 * row['low']:.1f} to {100 * row['high']:.1f})"


def _headline(finding: Finding, row: Mapping[str, Any]) -> str:
    settings = finding.settings
    outcome = _outcome(settings, finding.labels)
    lines = [
        f"trial {row['trial']}: {row['verdict']}",
        f"{settings['choice']}: {settings['option']} against {settings['baseline']}; {outcome}; "
        f"{row['pairs']:,} complete pairs, evidence of a difference "
        f"{_evidence(row['evidence'])} (25 stops the trial), of harm "
        f"{_evidence(row['harm_evidence'])} (100 stops it); worth having: "
        f"{100 * row['worth_having']:g} in 100; at most {row['max_jobs']:,} jobs",
    ]
    return "\n".join(text.printable(line) for line in lines)


def _outcome(of: Mapping[str, Any], labels: Mapping[str, str]) -> str:
    """What counts as a failure in a trial."""
    if of["mode"]:
        return labels.get(of["mode"], of["mode"])
    return f"any of {of['family'] or 'these failures'}"


def _evidence(value: float) -> str:
    return ">1,000,000" if value > 1e6 else f"{value:,.1f}" if value < 100 else f"{value:,.0f}"


def list_text(finding: Finding) -> str:
    """A line for each trial."""
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    rows = [
        [
            row["trial"],
            row["choice"],
            f"{row['option']} against {row['baseline']}",
            _outcome(row, finding.labels),
            f"{100 * row['difference']:g} in 100",
            row["started"][:10],
            f"{row['handed_out']:,}",
            f"{row['jobs']:,} of {row['max_jobs']:,}",
        ]
        for row in finding.rows
    ]
    heads = ("trial", "choice", "options", "what counts", "worth", "begun", "handed out", "jobs")
    return text.table(heads, rows, [False] * 6 + [True] * 2)
