"""Where the ``fixstats`` command starts."""

from __future__ import annotations

import gc
import sys

# Objects made before a search for unused ones. Loading modules makes many and leaves none unused:
# with Python's usual 700, searching takes a tenth of the start-up.
BEFORE_A_SEARCH = 100_000


def main(arguments: list[str] | None = None) -> None:
    """Run the command line with these arguments (the process's own by default) and exit."""
    gc.set_threshold(BEFORE_A_SEARCH)

    from fixstats.cli.app import app
    from fixstats.cli.door import through_the_door

    code = through_the_door(app, arguments)
    # The process ends: nothing is left worth searching.
    gc.freeze()
    sys.exit(code)
