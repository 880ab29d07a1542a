"""Where the ``fixstats`` command starts."""

from __future__ import annotations

import sys


def main(arguments: list[str] | None = None) -> None:
    """Run the command line with these arguments (the process's own by default) and exit."""
    from fixstats.cli.app import app
    from fixstats.cli.door import through_the_door

    sys.exit(through_the_door(app, arguments))
