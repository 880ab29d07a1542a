"""``fixstats add``: one job, recorded at the bench."""

from __future__ import annotations

import sys
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli import complete
from fixstats.cli.options import ShopOption
from fixstats.errors import UsageError
from fixstats.words import counted

if TYPE_CHECKING:
    from pathlib import Path

    from fixstats.cli.ask import Asker
    from fixstats.cli.interview import Interview
    from fixstats.shop import Shop

NOTHING_KEPT = "nothing of this job was kept"
DROP = "n"
# What a job that went as usual leaves blank; named where the job is shown before it is kept.
MORE = "price, outcome, preexisting, received, return_of, STEP_minutes, PART_cost, ..."


def add(
    job: Annotated[str | None, typer.Option(metavar="JOB", help="Its number in the shop.")] = None,
    model: Annotated[str | None, typer.Option(metavar="M", help="Model of the device.")] = None,
    technician: Annotated[str | None, typer.Option(metavar="T", help="Who did it.")] = None,
    repair: Annotated[
        str | None,
        typer.Option(
            metavar="REPAIR",
            help="What was asked for; several with ; between.",
            autocompletion=complete.repairs,
        ),
    ] = None,
    finished: Annotated[
        str | None, typer.Option(metavar="DATE", help="Day of hand-over (default: today).")
    ] = None,
    failures: Annotated[
        str | None,
        typer.Option(
            metavar="MODE;..",
            help="What failed, MODE@2 at the second try.",
            autocompletion=complete.modes,
        ),
    ] = None,
    none_seen: Annotated[
        bool, typer.Option("--none-seen", help="All modes were looked for and none was seen.")
    ] = False,
    unchecked: Annotated[
        str | None,
        typer.Option(metavar="MODE;..|all", help="What nobody looked for, families too."),
    ] = None,
    cells: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="COLUMN=VALUE",
            help="Any column of the job sheet, as often as needed.",
            autocompletion=complete.cells,
        ),
    ] = None,
    as_last: Annotated[
        bool,
        typer.Option(
            "--as-last",
            help="First choices, grades and suppliers as on the last job of the same model, repair "
            "and technician.",
        ),
    ] = False,
    new: Annotated[
        bool, typer.Option("--new", help="A name like a known one is new, not a slip.")
    ] = False,
    no_questions: Annotated[
        bool, typer.Option("--no-questions", help="Ask nothing; what is not said stays blank.")
    ] = False,
    shop: ShopOption = None,
) -> int:
    """Record one job at the bench: it asks for what the options leave open, then keeps all or none.

    The job waits in inbox/ for the next writing command, so several benches can add at once.
    Without a terminal, or with --no-questions, all comes from the options, and what failed must be
    said: --failures or --none-seen.

    \b
    Examples:
      fixstats add
      fixstats add --technician T2 --repair battery_swap
      fixstats add --job 4711 --model "Brask One" --technician T2 --repair battery_swap --as-last \\
        --set opening="heat_pad > heat_plate" --set charge=55 --none-seen --no-questions
    """
    from fixstats.shop import open_shop

    opened = open_shop(shop)
    given = _given(
        job=job, model=model, technician=technician, repair=repair, finished=finished,
        failures=failures, unchecked=unchecked, cells=cells, none_seen=none_seen,
    )  # fmt: skip
    given.setdefault("finished", _today(opened))
    if no_questions or not sys.stdin.isatty():
        return _without_questions(opened, given, as_last=as_last, new=new)
    return _with_questions(opened, given)


def _given(*, cells: list[str] | None, none_seen: bool, **fixed: str | None) -> dict[str, str]:
    """What the options say, by column of a job sheet."""
    from fixstats.cli.options import pairs

    found = {name: cell.strip() for name, cell in fixed.items() if cell is not None}
    for name, cell in pairs(cells, "--set"):
        if name in found:
            raise UsageError(f"{name} is said twice")
        found[name] = cell
    if none_seen and found.get("failures", "none") != "none":
        raise UsageError("--none-seen and --failures contradict each other")
    return found | ({"failures": "none"} if none_seen else {})


def _today(shop: Shop) -> str:
    from zoneinfo import ZoneInfo

    return datetime.now(ZoneInfo(shop.folder.settings.time_zone)).date().isoformat()


def _without_questions(shop: Shop, given: dict[str, str], *, as_last: bool, new: bool) -> int:
    if not given.get("failures"):
        raise UsageError(
            "what failed? Say --none-seen if all was looked for and nothing was, or --failures\n"
            "(--unchecked all if nobody looked, with --none-seen)"
        )
    row = _last(shop, given) | given if as_last else given
    path = shop.add(row, new_names=new)
    _kept(shop, row["job"], path)
    _untold_branch(shop, row)
    _untold_trials(shop, row)
    return 0


def _last(shop: Shop, given: dict[str, str]) -> dict[str, str]:
    """What --as-last stands for, of the steps and parts of the repair."""
    from fixstats.cli.text import printable
    from fixstats.records.bench import tidy_cells

    told = tidy_cells(shop.folder.catalogue, {"repair": given.get("repair", "")})
    repair, model = told.get("repair", ""), given.get("model", "")
    last = shop.last_like(model, repair, given.get("technician"))
    if last is None:
        raise UsageError(
            "--as-last: there is no earlier job of this model, repair and technician, or the "
            "records are in use just now; nothing was kept"
        )
    trial = given.get("trial")
    choices = {one.choice for one in shop.running_trials() if one.trial == trial}
    cells = {name: cell for name, cell in last.cells.items() if name not in choices}
    shown = ", ".join(f"{name} {cell}" for name, cell in cells.items() if cell != "-")
    print(printable(f"as on job {last.job} ({last.finished}): {shown}"))
    return cells


def _untold_branch(shop: Shop, row: dict[str, str]) -> None:
    """A job without a branch stands beside the branches, as one of its own."""
    from fixstats.cli.text import printable
    from fixstats.records.bench import remember

    known = remember(shop.folder).known("branch")
    if known and not row.get("branch"):
        shown = printable(", ".join(known))
        print(f"note: no branch was said; known: {shown}", file=sys.stderr)


def _untold_trials(shop: Shop, row: dict[str, str]) -> None:
    """A device that a running trial should have been asked about is said, not guessed."""
    if row.get("trial"):
        return
    for one in shop.running_trials(row["job"]):
        if one.choice in row and not one.kept_out:
            drawn = f"drew {one.assigned} for this job" if one.assigned else "runs"
            print(
                f"note: trial {one.trial} ({one.choice}) {drawn}, and nothing was said of it: "
                f"fixstats amend {row['job']} --set trial={one.trial} --set assigned=OPTION",
                file=sys.stderr,
            )


def _kept(shop: Shop, job: str, path: Path) -> None:
    from fixstats.cli.text import printable

    jobs = counted(len(shop.folder.waiting), "job")
    print(printable(f"kept job {job} in {path.parent.name}/{path.name}"))
    print(f"{jobs} in the inbox: the next writing command takes them in (fixstats import does)")


def _with_questions(shop: Shop, given: dict[str, str]) -> int:
    from fixstats.cli.ask import Asker
    from fixstats.cli.interview import Interview
    from fixstats.records.bench import remember, tidy_cells

    memory = remember(shop.folder)
    asker = Asker(NOTHING_KEPT)
    if memory.trouble:
        asker.say(f"note: no help from earlier jobs: {memory.trouble}")
    interview = Interview(shop, memory, tidy_cells(shop.folder.catalogue, given), asker)
    interview.run()
    return _review(shop, interview, asker)


def _review(shop: Shop, interview: Interview, asker: Asker) -> int:
    """Show the job, take corrections, keep it; what an import would refuse is asked again."""
    from fixstats.records.bench import check_columns, faults_of, keep

    def read(text: str) -> str:
        name, sign, _ = text.partition("=")
        if sign:
            check_columns(interview.catalogue, {name.strip(): ""})
        elif text not in ("", DROP):
            raise UsageError(f"Enter keeps the job, {DROP} drops it, COLUMN=VALUE changes a cell")
        return text

    question = f"Enter keeps it, {DROP} drops it, COLUMN=VALUE changes or adds ({MORE})"
    while True:
        asker.say(_shown(interview.row))
        answer = asker.ask(question, read, known=list(interview.columns))
        if answer == DROP:
            asker.say(NOTHING_KEPT)
            return 0
        if answer:
            _change(interview, answer, asker)
            continue
        faults = faults_of(shop.folder, interview.row)
        if not faults:
            _kept(shop, interview.row["job"], keep(shop.folder, interview.row))
            return 0
        for fault in faults:
            asker.say(f"  {fault}")
        for name in dict.fromkeys(fault.column for fault in faults if fault.column):
            interview.cell(name)


def _change(interview: Interview, answer: str, asker: Asker) -> None:
    from fixstats.records.bench import tidy_cells

    name, _, cell = answer.partition("=")
    try:
        tidy = tidy_cells(interview.catalogue, {name.strip(): cell.strip()})
    except UsageError as wrong:
        asker.say(f"  {wrong}")
        return
    interview.row.pop(name.strip(), None)
    interview.row |= tidy


def _shown(row: dict[str, str]) -> str:
    """The job in a few lines."""
    import textwrap

    words = "; ".join(f"{name} {cell}".replace("; ", ", ") for name, cell in row.items())
    return textwrap.fill(words, 96, initial_indent="  ", subsequent_indent="  ")
