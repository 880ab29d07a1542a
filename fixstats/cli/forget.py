"""``fixstats forget``: removes a job for good."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from fixstats.cli.options import ShopOption
from fixstats.words import counted, listed


def forget(
    job: Annotated[str, typer.Argument(metavar="JOB", help="Identifier of the job.")],
    branch: Annotated[
        str | None, typer.Option(metavar="BRANCH", help="Its branch, where several have that job.")
    ] = None,
    shop: ShopOption = None,
) -> int:
    """Remove a job, its earlier versions, held-back rows and names only it used, for good.

    Copies of the database that fixstats put aside when it brought an older one up to date are
    removed whole. Copies of the shop folder and sheets that you keep are not touched.

    \b
    Examples:
      fixstats forget J-10234
    """
    from fixstats.folder import find_folder
    from fixstats.records.batches import forget as forget_job

    removed = forget_job(find_folder(shop), job, branch)
    print(
        f"forgot job {job}: {counted(removed.versions, 'version')}, "
        f"{counted(removed.held_back, 'held-back row')} and "
        f"{counted(removed.names, 'name')} that nothing else uses removed"
    )
    if removed.copies:
        print(
            f"removed {listed(removed.copies)} too: put aside when the database was brought up to "
            "date, of no use since, and the job may be in it"
        )
    if removed.kept_copies:
        print(
            f"note: the job may remain in {listed(removed.kept_copies)}, which could not be "
            "removed\ndelete it yourself: nothing reads it any more",
            file=sys.stderr,
        )
    if removed.remains:
        print(
            f"note: its bytes may remain in the database file ({removed.remains})\n"
            "until later records overwrite them, or the next job is forgotten",
            file=sys.stderr,
        )
    return 0
