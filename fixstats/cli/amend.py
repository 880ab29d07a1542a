"""``fixstats amend``: corrects one job."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli import complete
from fixstats.cli.options import ShopOption
from fixstats.errors import UsageError

if TYPE_CHECKING:
    from fixstats.records.amend import Amended
    from fixstats.shop import Shop

NOTHING_CHANGED = "nothing was changed"


def amend(
    job: Annotated[str, typer.Argument(metavar="JOB", help="Its number in the shop.")],
    cells: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="COLUMN=VALUE",
            help="What is right, by column of the job sheet; COLUMN= : not recorded.",
            autocompletion=complete.cells,
        ),
    ] = None,
    branch: Annotated[
        str | None, typer.Option(metavar="BRANCH", help="Its branch, where several have that job.")
    ] = None,
    shop: ShopOption = None,
) -> int:
    """Correct one job; the version before that is kept, and fixstats show tells of both.

    Without --set it asks. What the bench had looked for stays as it was declared. It is an import
    of its own: fixstats batches lists it and takes it back.

    \b
    Examples:
      fixstats amend 4711
      fixstats amend 4711 --set failures=tab_snapped@1 --set "battery_release=pull_tab > thread_cut"
      fixstats amend 4711 --set returned=2026-04-02 --set return_reason=drains_fast
    """
    from fixstats.cli.options import pairs
    from fixstats.shop import open_shop

    opened = open_shop(shop)
    said = pairs(cells, "--set")
    changes = dict(said)
    if len(changes) < len(said):
        raise UsageError("--set: a column is said twice; nothing was changed")
    if not changes and sys.stdin.isatty():
        changes = _asked(opened, job, branch)
    elif not changes:
        raise UsageError("what is to change? --set COLUMN=VALUE, as often as needed")
    if not changes:
        print(NOTHING_CHANGED)
        return 0
    print(amended_text(opened.amend(job, changes, branch=branch)))
    return 0


def _asked(shop: Shop, job: str, branch: str | None) -> dict[str, str]:
    """Cells to correct, asked for until an Enter; the job as it stands is shown first."""
    from fixstats.cli.ask import Asker
    from fixstats.cli.show import story_text
    from fixstats.records.bench import check_columns
    from fixstats.records.cells import clean_cell
    from fixstats.records.columns import sheet_columns

    catalogue = shop.folder.catalogue
    columns = sheet_columns(catalogue)
    asker = Asker(NOTHING_CHANGED)
    asker.say(story_text(shop.story(job, branch=branch), catalogue))

    def read(text: str) -> str:
        if not text:
            return ""
        name, sign, cell = text.partition("=")
        if not sign:
            raise UsageError("write COLUMN=VALUE, COLUMN= for not recorded; Enter ends it")
        check_columns(catalogue, {name.strip(): ""})
        return f"{name.strip()}={clean_cell(catalogue, columns[name.strip()], cell)}"

    changes: dict[str, str] = {}
    while True:
        answer = asker.ask("COLUMN=VALUE (Enter: that was all)", read, known=list(columns))
        if not answer:
            return changes
        name, _, cell = answer.partition("=")
        changes[name] = cell


def amended_text(done: Amended) -> str:
    """What was corrected, a line a column."""
    from fixstats.cli.show import change
    from fixstats.cli.text import printable

    if not done.changes:
        return f"job {printable(done.job)}: {NOTHING_CHANGED}: it is so already"
    lines = [f"amended job {done.job} (import {done.batch}); the version before it is kept"]
    lines += [f"  {change(name, *cells)}" for name, cells in done.changes.items()]
    return "\n".join(printable(line) for line in lines)
