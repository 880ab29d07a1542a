"""Finds what ships beside the code: the SQL statements and the invented workshop.

In a checkout they lie at the top level of the repository, in a wheel inside the package.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def resource(name: str) -> Path:
    """The folder ``queries`` or ``demo_data``, wherever this installation keeps it.

    Raises
    ------
    FileNotFoundError
        If the installation is broken and has neither.
    """
    for place in (_PACKAGE / "_data" / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"the folder {name}/ is missing: install fixstats again")


@cache
def statement(name: str) -> str:
    """The text of one SQL file by its name below ``queries/``, such as ``views/jobs``."""
    return (resource("queries") / f"{name}.sql").read_text(encoding="utf-8")
