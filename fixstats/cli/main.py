"""Where the ``fixstats`` command starts."""

from __future__ import annotations

import gc
import os
import sys

# Objects made before a search for unused ones. Loading modules makes many and leaves none unused:
# with Python's usual 700, searching takes a tenth of the start-up.
BEFORE_A_SEARCH = 100_000
# What the environment can say of how NumPy and its linear algebra add up.
WAYS_TO_ADD_UP = ("OPENBLAS_", "NPY_DISABLE_CPU_FEATURES", "NPY_ENABLE_CPU_FEATURES")


def add_up_one_way() -> None:
    """Settle how sums are made, before NumPy is loaded: from a shell as from cron.

    Another kernel or a second thread adds up in another order, and a fit carries the last digit
    into the tenth: one machine would not give the same bytes in every environment. One thread,
    since fits are thousands of small products, on which several wait for each other longer than
    one computes.
    """
    for name in [name for name in os.environ if name.startswith(WAYS_TO_ADD_UP)]:
        del os.environ[name]
    os.environ["OPENBLAS_NUM_THREADS"] = "1"


def main(arguments: list[str] | None = None) -> None:
    """Run the command line with these arguments (the process's own by default) and exit."""
    gc.set_threshold(BEFORE_A_SEARCH)
    add_up_one_way()

    from fixstats.cli.app import app
    from fixstats.cli.door import through_the_door

    code = through_the_door(app, arguments)
    # The process ends: nothing is left worth searching.
    gc.freeze()
    sys.exit(code)
