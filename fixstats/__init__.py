"""Repair-outcome analytics and a failure-mode database for a device-repair workshop.

``shop = fixstats.open("folder")`` gives the Python entry, ``fixstats.make_demo("folder")`` an
invented workshop to look around in; ``fixstats.stats`` the statistics.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from fixstats import stats
    from fixstats.shop import Shop

__version__ = "0.1.0"
__all__ = ["__version__", "make_demo", "open", "stats"]


def open(path: Path | str | None = None) -> Shop:  # noqa: A001 - reads as fixstats.open(...)
    """Open a shop folder for questions.

    Parameters
    ----------
    path : path of the folder; without it ``FIXSTATS_SHOP``, else the nearest one upwards.

    Raises
    ------
    fixstats.errors.FolderError
        If there is no shop folder, or its settings or catalogue hold an error.
    """
    from fixstats.shop import open_shop

    return open_shop(path)


def make_demo(path: Path | str) -> Shop:
    """Make an invented workshop with 18 months of records in a new folder, and open it.

    Parameters
    ----------
    path : the folder to make.

    Raises
    ------
    fixstats.errors.FolderError
        If a shop is already there, or the folder cannot be written.
    """
    from pathlib import Path

    from fixstats.demo.run import make_demo as make
    from fixstats.shop import Shop

    return Shop(make(Path(path))[0])


def __getattr__(name: str) -> Any:
    # The statistics load NumPy; whoever only asks for help should not wait for it.
    if name == "stats":
        from importlib import import_module

        return import_module("fixstats.stats")
    raise AttributeError(f"module 'fixstats' has no attribute '{name}'")
