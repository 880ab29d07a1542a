"""``fixstats forget``: removes a job for good."""

from __future__ import annotations

from typing import Annotated

import typer

from fixstats.cli.options import ShopOption
from fixstats.words import counted


def forget(
    job: Annotated[str, typer.Argument(metavar="JOB", help="Identifier of the job.")],
    branch: Annotated[
        str | None, typer.Option(metavar="BRANCH", help="Its branch, where several have that job.")
    ] = None,
    shop: ShopOption = None,
) -> int:
    """Remove a job, all its earlier versions and its held-back rows, for good.

    \b
    Examples:
      fixstats forget J-10234
    """
    from fixstats.folder import find_folder
    from fixstats.records.batches import forget as forget_job

    removed = forget_job(find_folder(shop), job, branch)
    print(
        f"forgot job {job}: {counted(removed.versions, 'version')} and "
        f"{counted(removed.held_back, 'held-back row')} removed"
    )
    return 0
