"""Errors that a person can cause and mend.

    FixstatsError            anything of ours; the command line prints it and exits with 1
    ├── UsageError           the request makes no sense as put (exit 2)
    ├── FolderError          no shop folder, or its settings or catalogue are wrong
    ├── SheetError           a file of records cannot be read as a job sheet
    ├── StoreError           the database cannot be opened or written
    └── QueryError           a person's own SQL was refused or went wrong

A message is one or two lines: what, where, what to do. Whatever is not a FixstatsError is a bug.
"""

from __future__ import annotations


class FixstatsError(Exception):
    """Trouble that the person at the keyboard can mend; nothing was changed."""

    exit_code = 1


class UsageError(FixstatsError):
    """The words of the request do not fit together or name something unknown."""

    exit_code = 2


class FolderError(FixstatsError):
    """There is no shop folder, or its settings or catalogue hold an error."""


class SheetError(FixstatsError):
    """A file cannot be read as a job sheet at all; none of it was taken in."""


class StoreError(FixstatsError):
    """The database cannot be opened, read or written just now."""


class QueryError(FixstatsError):
    """A person's own SQL is not allowed, not right, or went over its limits."""
