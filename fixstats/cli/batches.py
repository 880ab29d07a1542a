"""``fixstats batches``: what was imported when, and taking an import back."""

from __future__ import annotations

from typing import Annotated

import typer

from fixstats.cli.options import FormatOption, OutOption, ShopOption
from fixstats.words import counted


def batches(
    undo: Annotated[
        int | None, typer.Option("--undo", metavar="N", help="Take import N back.")
    ] = None,
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """List the imports, or take one back: its rows go and earlier versions return.

    \b
    Examples:
      fixstats batches
      fixstats batches --undo 3
    """
    if undo is not None:
        from fixstats.folder import find_folder
        from fixstats.records.batches import undo as undo_batch

        done = undo_batch(find_folder(shop), undo)
        print(
            f"took back import {done.batch} ({done.file}): {counted(done.removed, 'job')} out, "
            f"{counted(done.returned, 'earlier version')} back"
        )
        return 0
    from fixstats.cli.emit import emit
    from fixstats.cli.sql import rows_text
    from fixstats.shop import open_shop

    emit(open_shop(shop).batches().finding, rows_text, form=form, out=out)
    return 0
