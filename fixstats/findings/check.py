"""What can the records not support? Gaps, doubts and likely mistakes, the gravest first."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from fixstats.findings.base import Finding, Note, common_settings
from fixstats.findings.twins import near_twins
from fixstats.folder import Catalogue, ShopFolder
from fixstats.tallies.check_counts import CheckCounts, Rows, check_counts
from fixstats.tallies.counts import Period, period
from fixstats.words import counted, listed

if TYPE_CHECKING:
    import duckdb

# A tenth of the units unknown or blank: the rate alone could mislead (design 6.6).
WORTH_SAYING = 0.10
# Filled in on fewer than a fifth of the jobs: stop asking, or start filling.
RARELY = 0.20
# Fewer jobs than this in a month say little about the month.
FEW_JOBS = 20
# Without it no interval can allow for technicians, so its absence is worth a row of its own.
ALWAYS_ASKED = ("technician",)
# The gravest first.
TOPICS = (
    "gone_code", "held_back", "unknown_trial", "unknown_mode", "unattributed", "near_twin",
    "copies", "blank_step", "blank_grade", "rarely_filled", "no_jobs", "few_jobs",
)  # fmt: skip

Row = dict[str, Any]


def check(con: duckdb.DuckDBPyConnection, folder: ShopFolder) -> Finding:
    """What the records of a shop cannot support, and what to do about it.

    ``con`` is a session with the catalogue and views of ``folder``. Every row has ``topic``,
    ``what`` (a code, a name or a period), ``unit`` (``job``, ``piece``, ``row``, or ``unit``: a
    mode's own unit by first choice), ``units`` concerned (lacking, unknown, waiting; jobs of the
    rarer name; jobs of the months), ``of`` how many, ``share``, ``advice``, and ``paste``: lines
    for the catalogue, or None.
    """
    counts, covered = check_counts(con), period(con)
    rows = conclude(counts, folder.catalogue, covered)
    return Finding(
        question="check",
        settings=common_settings(
            folder, covered, worth_saying=WORTH_SAYING, rarely=RARELY, few_jobs=FEW_JOBS
        ),
        rows=tuple(rows),
        notes=notes_for(counts, rows, covered),
        labels=folder.catalogue.labels,
    )


def conclude(counts: CheckCounts, catalogue: Catalogue, covered: Period) -> list[Row]:
    """Rows of the finding from the counts, the gravest first; pure."""
    found = itertools.chain(
        _gone(counts.gone, covered.jobs),
        _held_back(counts.held_back),
        _unknown_trial(counts.trials, covered.jobs),
        _unknown(counts.unknown),
        _unattributed(counts.unattributed),
        _near_twins(counts.names),
        _copies(counts.copies, covered.jobs),
        _blank(counts.blank),
        _rarely_filled(counts.filled),
        _months(counts.months, covered),
    )
    safety = {code for code, mode in catalogue.modes.items() if mode.safety}

    def gravity(row: Row) -> tuple[int, bool, float, str]:
        in_time = row["topic"] in ("no_jobs", "few_jobs")
        share = 0.0 if in_time else row["share"] or 0.0
        return TOPICS.index(row["topic"]), row["what"] not in safety, -share, row["what"]

    return sorted(found, key=gravity)


def _row(topic: str, what: str, unit: str, units: int, of: int, advice: str) -> Row:
    return {
        "topic": topic,
        "what": what,
        "unit": unit,
        "units": units,
        "of": of,
        "share": units / of if of else None,
        "advice": advice,
        "paste": None,
    }


def _gone(rows: Rows, jobs: int) -> Iterator[Row]:
    for row in rows:
        advice = (
            f"the records hold this {row['kind']}, the catalogue has no such entry: results leave "
            "it out; put it back into catalogue.toml"
        )
        yield _row("gone_code", row["code"], "job", row["jobs"], jobs, advice)


def _held_back(rows: Rows) -> Iterator[Row]:
    for row in rows:
        advice = "rows wait outside the records: list, mend and import them (fixstats heldback)"
        yield _row("held_back", row["file"], "row", row["held_back"], row["rows_read"], advice)


def _unknown_trial(rows: Rows, jobs: int) -> Iterator[Row]:
    for row in rows:
        advice = (
            "no trial of this name was begun, so these jobs count in none: mend the column trial "
            "(fixstats trial list shows the names)"
        )
        yield _row("unknown_trial", row["trial"], "job", row["jobs"], jobs, advice)


_WHY_UNKNOWN = {
    "not_covered": (
        "not covered by their sheet",
        "if the bench did look for it, import with --covers naming it; else start looking",
    ),
    "unchecked": ("marked unchecked", "look for it, or expect wide bounds"),
    "missing": (
        "with the grade of a part missing",
        "write the grades down, also of parts that stay in the device (PART_fitted = no)",
    ),
    "unclear": ("not attributable", "write at which part it happened: mode@part"),
}


def _unknown(rows: Rows) -> Iterator[Row]:
    for row in rows:
        whys = {why: row[why] for why in _WHY_UNKNOWN if row[why]}
        unknown = sum(whys.values())
        if unknown <= WORTH_SAYING * row["units"]:
            continue
        most = max(whys, key=lambda why: whys[why])
        parts = listed(f"{number:,} {_WHY_UNKNOWN[why][0]}" for why, number in whys.items())
        advice = f"{parts}: {_WHY_UNKNOWN[most][1]}"
        yield _row("unknown_mode", row["mode"], "unit", unknown, row["units"], advice)


def _unattributed(rows: Rows) -> Iterator[Row]:
    for row in rows:
        if row["jobs"] > WORTH_SAYING * row["seen"]:
            advice = (
                "seen on jobs with several tries or pieces, and not at which: as attempted it is "
                "unknown there; write mode@2 for the second one"
            )
            yield _row("unattributed", row["mode"], "job", row["jobs"], row["seen"], advice)


def _near_twins(rows: Rows) -> Iterator[Row]:
    for kind, group in itertools.groupby(rows, key=lambda row: str(row["kind"])):
        names = {row["name"]: row["jobs"] for row in group}
        for name, like in near_twins(names):
            jobs = names[name] + names[like]
            advice = (
                f"a {kind} spelt much like '{like}' ({counted(names[like], 'job')}): if they are "
                "one, add the alias to catalogue.toml"
            )
            row = _row("near_twin", name, "job", names[name], jobs, advice)
            yield row | {"paste": _alias(kind, like, name)}


def _alias(kind: str, name: str, also: str) -> str:
    """The alias as lines of TOML, whose strings are written as those of JSON."""
    text = [json.dumps(word, ensure_ascii=False) for word in (kind, name, also)]
    return f"[[alias]]\nkind = {text[0]}\nis = {text[1]}\nalso = [{text[2]}]"


def _copies(rows: Rows, jobs: int) -> Iterator[Row]:
    if not rows:
        return
    pairs = listed(f"{row['job_a']} and {row['job_b']}" for row in rows)
    what = counted(rows[0]["sets"], "set of jobs", "sets of jobs")
    advice = (
        f"the same to the last cell, but numbered differently: entered twice, or alike indeed? "
        f"The latest: {pairs}. Where little is recorded, alike jobs are to be expected"
    )
    yield _row("copies", what, "job", rows[0]["surplus"], jobs, advice)


def _blank(rows: Rows) -> Iterator[Row]:
    for row in rows:
        if row["blank"] <= WORTH_SAYING * row["units"]:
            continue
        step = row["kind"] == "step"
        advice = (
            "the step of the repair was left blank: these jobs count for no method; write the "
            "method, or - where it was not done"
            if step
            else "fitted with no grade written down: these pieces count for no grade"
        )
        topic, unit = ("blank_step", "job") if step else ("blank_grade", "piece")
        yield _row(topic, row["place"], unit, row["blank"], row["units"], advice)


def _rarely_filled(rows: Rows) -> Iterator[Row]:
    for row in rows:
        filled, of = row["filled"], row["units"]
        if filled >= RARELY * of or _never_asked(row):
            continue
        advice = (
            f"filled in on {filled:,} of {of:,}: stop asking, or start filling; the few that have "
            "it are hardly typical"
            if filled
            else "never filled in: stop asking (take it off the sheet and the catalogue), or start"
        )
        if row["name"] in ALWAYS_ASKED:
            advice = "without it no interval can allow for technicians being different: fill it in"
        yield _row("rarely_filled", row["name"], row["unit"], of - filled, of, advice)


def _never_asked(row: Mapping[str, Any]) -> bool:
    """A column of ours that no cell ever used: nobody is asking for it."""
    return row["kind"] == "column" and not row["filled"] and row["name"] not in ALWAYS_ASKED


def _months(rows: Rows, covered: Period) -> Iterator[Row]:
    """Runs of months with no or few jobs; the last month is left out while it may not be over."""
    if not rows:
        return
    jobs = {row["month"]: row["jobs"] for row in rows}
    first, last = min(jobs), max(jobs)
    months = [name for name in _calendar(first, last) if name != last or name in _over(covered)]
    sizes = {"no_jobs": range(1), "few_jobs": range(1, FEW_JOBS)}
    advice = {
        "no_jobs": "no job recorded: closed, or a sheet that was never imported?",
        "few_jobs": f"fewer than {FEW_JOBS} jobs a month: ask for quarters or years here",
    }
    for topic, size in sizes.items():
        hits = [jobs.get(month, 0) in size for month in months]
        for hit, run in itertools.groupby(zip(hits, months, strict=True), key=lambda one: one[0]):
            if hit:
                names = [month for _, month in run]
                what = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"
                number = sum(jobs.get(name, 0) for name in names)
                yield _row(topic, what, "job", number, covered.jobs, advice[topic])


def _calendar(first: str, last: str) -> list[str]:
    """Every month from first to last, 'YYYY-MM'."""
    start, end = (int(name[:4]) * 12 + int(name[5:7]) - 1 for name in (first, last))
    return [f"{number // 12:04}-{number % 12 + 1:02}" for number in range(start, end + 1)]


def _over(covered: Period) -> list[str]:
    """The month of the records' last date, if that is its last day."""
    from datetime import timedelta

    after = covered.as_of + timedelta(days=1)
    return [f"{covered.as_of:%Y-%m}"] if after.day == 1 else []


def notes_for(counts: CheckCounts, rows: list[Row], covered: Period) -> tuple[Note, ...]:
    """What to know beside the rows; pure."""
    if not covered.jobs:
        return (Note("no_records", "no job is in the records yet: fixstats import FILE"),)
    notes = [
        Note(
            "limits",
            f"named are unknown or blank shares above {WORTH_SAYING:.0%}, columns filled in under "
            f"{RARELY:.0%} and months under {FEW_JOBS} jobs; smaller gaps are left out",
        )
    ]
    unused = [row["name"] for row in counts.filled if _never_asked(row)]
    if unused:
        notes.append(Note("never_filled", f"never filled in: {', '.join(unused)}"))
    if not rows:
        notes.insert(0, Note("nothing", "nothing found that the records cannot support"))
    return tuple(notes)
