"""``fixstats show``: the story of one job."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli.options import FormatOption, OutOption, ShopOption

if TYPE_CHECKING:
    from fixstats.findings.base import Finding
    from fixstats.folder import Catalogue
    from fixstats.records.story import Story, Version

NOT_RECORDED = "not recorded"
WIDE = 18
# Columns that the head of the story tells, or that are told beside another.
_TOLD = (
    "job", "branch", "finished", "received", "model", "repair", "technician", "outcome", "failures",
    "unchecked", "preexisting", "returned", "return_reason", "return_of", "trial", "assigned",
)  # fmt: skip
_LISTS = (
    ("failures", "failed", "none seen"),
    ("preexisting", "there at intake", ""),
    ("unchecked", "nobody looked for", ""),
)


def show(
    job: Annotated[str, typer.Argument(metavar="JOB", help="Its number in the shop.")],
    branch: Annotated[
        str | None, typer.Option(metavar="BRANCH", help="Its branch, where several have that job.")
    ] = None,
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """Tell the story of a job: how it was done, what failed, what came back, all its versions.

    \b
    Examples:
      fixstats show 4711
      fixstats show 4711 --format json
    """
    from fixstats.cli.emit import emit
    from fixstats.shop import open_shop

    opened = open_shop(shop)
    told = opened.story(job, branch=branch)
    catalogue = opened.folder.catalogue
    finding = opened.show(job, branch=branch).finding
    if form in ("csv", "markdown") or (out is not None and out.suffix in (".csv", ".md")):
        finding = _flat(finding)
    emit(finding, lambda _: f"{story_text(told, catalogue)}{_footer(finding)}", form=form, out=out)
    return 0


def _footer(finding: Finding) -> str:
    from fixstats.cli.emit import footer

    text = footer(finding)
    return f"\n\n{text}" if text else ""


def _flat(finding: Finding) -> Finding:
    """The cells of each version as one text, for tables."""
    from dataclasses import replace

    rows = [
        {**row, "cells": [f"{name}={cell}" for name, cell in row["cells"].items()]}
        for row in finding.rows
    ]
    return replace(finding, rows=tuple(rows))


def story_text(told: Story, catalogue: Catalogue) -> str:
    """The version that counts in full, then what came of it, then every version by its changes."""
    from fixstats.cli.text import printable

    now = told.standing
    lines = [
        *_head(told, now),
        "",
        *_steps(now.cells, catalogue),
        *_parts(now.cells, catalogue),
        *_went(now, catalogue),
        *_rest(now.cells, catalogue),
        *_after(told, now.cells),
        "",
        *_versions(told),
    ]
    return "\n".join(printable(line).rstrip() for line in lines)


def _head(told: Story, now: Version) -> Iterator[str]:
    cells = now.cells
    who = [cells.get(name) for name in ("model", "repair", "technician")]
    where = f" ({told.branch})" if told.branch else ""
    yield f"job {told.job}{where}: {', '.join(one for one in who if one)}"
    days = [f"{name} {cells[name]}" for name in ("received", "finished") if name in cells]
    yield "; ".join([*days, cells.get("outcome", "completed")])


def _line(name: str, words: str) -> str:
    return f"  {name:{WIDE}} {words}"


def _path(cell: str) -> str:
    """``pull_tab, then thread_cut``."""
    words = [NOT_RECORDED if word == "?" else word for word in cell.split(" > ")]
    return ", then ".join(words)


def _steps(cells: Mapping[str, str], catalogue: Catalogue) -> Iterator[str]:
    for step in catalogue.step_codes:
        cell = cells.get(step, "-")
        if cell != "-":
            minutes = cells.get(f"{step}_minutes")
            yield _line(step, _path(cell) + (f" ({minutes} minutes)" if minutes else ""))


def _parts(cells: Mapping[str, str], catalogue: Catalogue) -> Iterator[str]:
    for part in catalogue.part_codes:
        grade = cells.get(f"{part}_grade", "-")
        if grade == "-":
            continue
        beside = {kind: cells.get(f"{part}_{kind}") for kind in ("supplier", "lot", "cost")}
        words = [f"grade {_path(grade)}"]
        words += [f"{kind} {_path(cell)}" for kind, cell in beside.items() if cell]
        if cells.get(f"{part}_fitted") == "no":
            words.append("seen in the device, not fitted")
        yield _line(part, "; ".join(words))


def _went(now: Version, catalogue: Catalogue) -> Iterator[str]:
    looked = now.cells.get("unchecked") != "all"
    for name, word, nothing in _LISTS:
        cell = now.cells.get(name, "none")
        if cell != "none":
            yield _line(word, ", ".join(_mode(one, catalogue) for one in cell.split("; ")))
        elif nothing and looked:
            yield _line(word, nothing)
    if now.covers not in (None, "all"):
        yield _line("looked for", f"{now.covers} (as the import said)")


def _mode(text: str, catalogue: Catalogue) -> str:
    code, _, place = text.partition("@")
    label = catalogue.label(code)
    words = f"{code} ({label})" if label != code else code
    return f"{words} at {place}" if place else words


def _rest(cells: Mapping[str, str], catalogue: Catalogue) -> Iterator[str]:
    """Factors, then whatever else is filled."""
    factors = [one.code for one in catalogue.factors if one.code in cells]
    if factors:
        yield _line("noted", ", ".join(f"{code} {cells[code]}" for code in factors))
    told = {*_TOLD, *catalogue.step_codes, *factors}
    told |= {f"{step}_minutes" for step in catalogue.step_codes}
    told |= {f"{part}_{kind}" for part in catalogue.part_codes
             for kind in ("grade", "supplier", "lot", "cost", "fitted")}  # fmt: skip
    others = [f"{name} {cell}" for name, cell in cells.items() if name not in told]
    if others:
        yield _line("also", ", ".join(others))


def _after(told: Story, cells: Mapping[str, str]) -> Iterator[str]:
    if "trial" in cells:
        yield _line("trial", f"{cells['trial']}: {cells.get('assigned', 'nothing')} assigned")
    for one in told.drawn:
        drawn = f"drew {one.assigned}" if one.assigned else f"kept out: {one.reason}"
        yield _line("", f"trial {one.trial} ({one.choice}) {drawn}")
    if "return_of" in cells:
        yield _line("come-back of", f"job {cells['return_of']}")
    if "returned" in cells:
        yield _line(
            "came back", f"{cells['returned']}, {cells.get('return_reason', 'why unknown')}"
        )
    for back in told.come_backs:
        day = back.received or back.finished
        failed = f"; failed there: {back.failures}" if back.failures else ""
        yield _line("came back", f"as job {back.job} on {day}: {back.repair}{failed}")


def _versions(told: Story) -> Iterator[str]:
    yield "versions"
    before: Mapping[str, str] | None = None
    for number, one in enumerate(told.versions, 1):
        yield f"  {number}  {_origin(one)}: {_fate(one)}"
        if before is not None and one.state != "held_back":
            yield from (f"       {line}" for line in changes(before, one.cells))
        before = one.cells


def _origin(one: Version) -> str:
    if one.state == "waiting":
        return "bench entry"
    moment = f"{one.taken_in[:16]}, " if one.taken_in else ""
    return f"{moment}import {one.batch} ({one.file})"


def _fate(one: Version) -> str:
    return {
        "standing": "stands",
        "waiting": "waits in the inbox",
        "replaced": f"replaced by import {one.replaced_by}",
        "taken_back": "taken back",
        "held_back": f"held back: {one.reason}",
    }[one.state]


def changes(before: Mapping[str, str], after: Mapping[str, str]) -> Iterable[str]:
    """A line for each cell that differs between two versions."""
    names = dict.fromkeys([*before, *after])
    told = [
        change(name, before.get(name, ""), after.get(name, ""))
        for name in names
        if before.get(name) != after.get(name)
    ]
    return told or ["nothing that a job sheet shows has changed"]


def change(name: str, before: str, after: str) -> str:
    """``minutes: not recorded -> 42``; a blank list says that nothing was seen."""
    blank = "none" if name in [one for one, _, _ in _LISTS] else NOT_RECORDED
    return f"{name}: {before or blank} -> {after or blank}"
