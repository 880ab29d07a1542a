"""The bench brief as one page of paper; computes nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.base import Finding
from fixstats.report.blocks import (
    Block,
    Bullets,
    Cautions,
    Column,
    Lines,
    Page,
    Paragraph,
    Section,
    Table,
)

# What was never found is named on the page up to so many; the rest stands in the JSON.
MOST_NAMED = 6
# With more steps and parts than this the sheet is set closer.
MANY_ROWS = 7
NOTHING_SEEN = "nothing recorded can tell"

Row = Mapping[str, Any]


def brief_page(finding: Finding) -> Page:
    """The page: what to stop for, the steps, what to have ready, what to check and to say."""
    settings, parts = finding.settings, finding.parts
    texts = {name: [str(row["text"]) for row in rows] for name, rows in parts.items()}
    blocks: list[Block] = []
    if texts["stop_first"]:
        general = list(finding.cautions[:1])
        blocks.append(Section("Stop first", "stop", [Cautions([*general, *texts["stop_first"]])]))
    blocks += [
        Section("Step by step", "steps", [_steps(finding)]),
        Section("Have ready, and plan", "ready", [Bullets([*texts["ready"], *_plan(parts)])]),
        Section("Check at intake, and write it down", "intake", [_intake(parts["intake"])]),
        Section("Tell the customer", "customer", [Bullets(texts["customer"])]),
        Section("Allowance for the price", "price", [Paragraph(_sentence(texts["allowance"]))]),
    ]
    if method_cautions(finding):
        blocks.append(Section("Take care", "care", [Bullets(method_cautions(finding))]))
    blocks.append(Section("How to read this", "read", [Bullets(_notes(finding), small=True)]))
    return Page(
        title=title_of(settings),
        subtitle=subtitle_of(settings),
        blocks=blocks,
        tables={"steps.csv": finding.rows},
        kind="brief close" if len(finding.rows) > MANY_ROWS else "brief",
    )


def title_of(settings: Mapping[str, Any]) -> str:
    """``Battery on a NAME 5``."""
    return f"{settings['repair_label']}: {settings['model']}"


def subtitle_of(settings: Mapping[str, Any]) -> str:
    """What the page rests on."""
    until = f"records up to {settings['as_of']}" if settings["as_of"] else "no records yet"
    jobs = f"{settings['jobs']:,} such jobs on this model, {settings['jobs_all']:,} in all"
    if not settings["jobs"]:
        jobs = f"no such job on this model yet: all borrowed from {settings['jobs_all']:,} others"
    level = f"{100 * settings['confidence_level']:g} % intervals"
    return f"Bench brief, {settings['shop']}; {until}; {jobs}; {level}"


def method_cautions(finding: Finding) -> list[str]:
    """Cautions of the methods named, each with the step it belongs to."""
    return [
        f"{row['label']}: {' '.join(row['cautions'])}" for row in finding.rows if row["cautions"]
    ]


def choice_words(row: Row) -> str:
    """``Heated plate, timed (house standard)``."""
    nothing = "as drawn by lot" if row["trial"] else "as you judge"
    if row["verdict"] and not row["trial"]:
        nothing = "none of those used"  # all are ruled out by safety failures
    return f"{row['option_label'] or nothing} ({row['word']})"


def failure_lines(row: Row) -> list[str]:
    """The likeliest failures of a step or part, one a line."""
    return [str(one["text"]) for one in row["failures"]] or [NOTHING_SEEN]


def intake_lines(rows: Sequence[Row]) -> list[str]:
    """What to check: a line for each thing ever recorded, one for all that never was."""
    told = [str(row["text"]) for row in rows if row["opportunities_all"]]
    never = [str(row["label"]) for row in rows if not row["opportunities_all"]]
    more = f" and {len(never) - MOST_NAMED} more" if len(never) > MOST_NAMED else ""
    names = f"{'; '.join(never[:MOST_NAMED])}{more}"
    return [*told, *([f"never found or never recorded so far: {names}"] * bool(never))]


def _steps(finding: Finding) -> Table:
    heads = (Column("step"), Column("how, and why"), Column("likeliest to go wrong"))
    rows = [
        (row["label"], Lines([choice_words(row), row["why"]], lead=True), Lines(failure_lines(row)))
        for row in finding.rows
    ]
    return Table("Steps in bench order, then parts", heads, rows)


def _plan(parts: Mapping[str, Sequence[Row]]) -> list[str]:
    return [f"Minutes: {row['text']}" for row in parts["minutes"]]


def _intake(rows: Sequence[Row]) -> Block:
    return Bullets(intake_lines(rows) or ["the catalogue names nothing to check"])


def _sentence(texts: Sequence[str]) -> str:
    text = " ".join(texts)
    return f"{text[0].upper()}{text[1:]}."


def _notes(finding: Finding) -> list[str]:
    return [note.text for note in finding.notes]
