"""The end of a report: what the records lack, how to read it, cautions, what is behind it."""

from __future__ import annotations

from collections.abc import Sequence

from fixstats.findings.base import OWN_RECORDS, Finding
from fixstats.report.blocks import Block, Bullets, Cautions, Column, Paragraph, Section, Table
from fixstats.report.material import MONTHS_RANKED, Material
from fixstats.report.words import notes_of, sentence

# Advice of every repair that touches a cell; the others are those of the methods named.
USUAL = "A swollen, hot, bent or pierced cell: stop first"
_SAYS_FIRST = (
    "The maker's service instructions, local rules and licensed practice come before anything "
    "written here."
)


def quality(material: Material) -> Section:
    """What the records cannot support."""
    found = material.checked
    columns = (
        Column("what the records lack"),
        Column("where"),
        Column("how much", figures=True),
        Column("what to do"),
    )
    cells = [
        (
            row["topic"].replace("_", " "),
            str(row["what"]),
            f"{row['units']:,} of {row['of']:,} {row['unit']}s",
            sentence(row["advice"]),
        )
        for row in found.rows
    ]
    blocks: list[Block] = []
    if cells:
        blocks.append(Table("What to mend", columns, cells, source="csv/check.csv"))
    blocks.append(Bullets(notes_of(found), small=True))
    return Section("Data quality", "quality", blocks)


def reading(material: Material) -> Section:
    """How to read the report, in plain words."""
    day = material.month.last if material.later else material.covered.as_of
    items = [
        f"An interval, such as 3.1\u00a0% (1.4 to 6.6), says how far chance may have moved the "
        f"figure: {material.level} of such intervals hold the true value. The fewer jobs, the "
        "wider. Two that overlap much show no difference.",
        "Failures of opportunities: of the jobs at which this could have gone wrong and somebody "
        "looked. A job at which nobody looked counts as neither.",
        "None seen does not mean none: at most is how high the rate may still be.",
        "By first choice: a job counts for the method it was begun with, whatever came after.",
        "Like for like: adjusted for models, technicians and what else was recorded. What nobody "
        "recorded cannot be adjusted for; hidden cause needed says how strong it would have to be "
        "to explain the difference away.",
        "Sure: the probability, from these records, that the option is the cheapest of those that "
        "are not shown to be less safe. Money never outweighs safety here.",
        f"All figures are of jobs handed over until {day} and returns known by that day. Records "
        "are used as they stand today: what was imported or corrected later is in them.",
    ]
    if material.later:
        items.append(
            "As they stand today, and not at the end of the month: trials, data quality, held-back "
            "rows, the catalogue with its prices and costs."
        )
    blocks = (Bullets(items), Paragraph(_SAYS_FIRST))
    return Section("How to read this", "reading", blocks)


def cautions(material: Material) -> Section:
    """Every caution of what the report names, once."""
    findings = (
        material.decided, material.standards, *material.compared, *material.trial_states,
        material.costs, material.comebacks, material.watched,
    )  # fmt: skip
    told = dict.fromkeys(text for one in findings for text in one.cautions)
    first = sorted(told, key=lambda text: not text.startswith(USUAL))
    words = [_named(text, material) for text in first]
    return Section("Cautions", "cautions", (Cautions((*words, OWN_RECORDS)),))


def _named(text: str, material: Material) -> str:
    """A caution that begins with a code begins with what people call it."""
    code, colon, rest = text.partition(": ")
    return f"{material.label(code)}: {rest}" if colon else text


def behind(material: Material) -> Section:
    """Settings and imports behind the report."""
    of, covered = material.folder.settings, material.covered
    settings = [
        ("confidence level, two-sided", material.level),
        ("rates", "by first choice, Wilson intervals"),
        ("differences of two months", "Newcombe's method 10; Fisher, Benjamini-Hochberg"),
        ("ranked by cost", f"the last {MONTHS_RANKED} months"),
        ("labour rate", f"{of.labour_rate:,.2f} {of.currency} an hour"),
        ("warranty", f"{of.warranty_days} days"),
        ("standardise at", f"{of.standardise_at:g} sure"),
        ("tolerance", f"{of.tolerance:,.2f} {of.currency} a job"),
        ("worth knowing", f"{100 * of.worth_knowing:g} in 100"),
        ("safety limit", f"{100 * of.safety_limit:g}\u00a0%"),
        ("horizon", f"{of.horizon_months} months"),
        ("time zone", of.time_zone),
        ("records", f"{covered.jobs:,} jobs, {covered.first} to {covered.as_of}"),
        ("catalogue", material.folder.catalogue.hash),
        ("fixstats", _version()),
    ]
    table = Table("Settings", (Column("what"), Column("value")), settings, "csv/settings.csv")
    blocks = (table, _batch_table(material.batches))
    return Section("Settings and imports behind it", "behind", blocks)


def _batch_table(found: Finding) -> Table:
    columns = (
        Column("import"),
        Column("file"),
        Column("rows", figures=True),
        Column("added", figures=True),
        Column("changed", figures=True),
        Column("held back, waiting", figures=True),
    )
    names = ("rows_read", "added", "changed", "waiting")
    cells: Sequence[Sequence[str]] = [
        (
            f"{row['batch']}{' (taken back)' if row['undone'] else ''}",
            str(row["file"]),
            *(f"{row[name]:,}" for name in names),
        )
        for row in found.rows
    ]
    return Table("Imports", columns, cells, source="csv/batches.csv")


def _version() -> str:
    from fixstats import __version__

    return __version__
