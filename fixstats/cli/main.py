"""Where the ``fixstats`` command starts."""

from __future__ import annotations

import gc
import os
import sys

# Objects made before a search for unused ones. Loading modules makes many and leaves none unused:
# with Python's usual 700, searching takes a tenth of the start-up.
BEFORE_A_SEARCH = 100_000


def main(arguments: list[str] | None = None) -> None:
    """Run the command line with these arguments (the process's own by default) and exit."""
    gc.set_threshold(BEFORE_A_SEARCH)
    # Fits are thousands of small products: on a busy machine several threads wait for each other
    # many times as long as one computes, and may round differently.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

    from fixstats.cli.app import app
    from fixstats.cli.door import through_the_door

    code = through_the_door(app, arguments)
    # The process ends: nothing is left worth searching.
    gc.freeze()
    sys.exit(code)
