"""``fixstats heldback``: rows that were not let in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fixstats.cli.options import FormatOption, ShopOption
from fixstats.words import counted


def heldback(
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write them as a sheet to mend: .csv or .xlsx."),
    ] = None,
    form: FormatOption = None,
    shop: ShopOption = None,
) -> int:
    """List the rows that were held back and why, or write them as a sheet to mend.

    Mend the sheet and import it again: rows that get in are cleared from this list.

    \b
    Examples:
      fixstats heldback
      fixstats heldback --out mend.xlsx
      fixstats import mend.xlsx
    """
    from fixstats.folder import find_folder
    from fixstats.records.heldback import export_heldback

    if out is not None:
        from fixstats.records.heldback import heldback as held_rows

        folder = find_folder(shop)
        if not held_rows(folder):
            print("no row is held back: nothing was written")
            return 0
        rows = export_heldback(folder, out)
        print(f"wrote {counted(rows, 'held-back row')} to {out}: mend it, then")
        print(f"  fixstats import {out}")
        return 0
    from fixstats.cli.emit import emit
    from fixstats.cli.sql import rows_text
    from fixstats.shop import open_shop

    emit(open_shop(shop).heldback().finding, rows_text, form=form)
    return 0
