"""What an import hands back: frozen data for whoever prints it."""

from __future__ import annotations

from dataclasses import dataclass

# (row in the file, column, value, reason)
HeldBackPreview = tuple[int, str | None, str | None, str]


@dataclass(frozen=True)
class SheetReport:
    """What became of one file.

    Attributes
    ----------
    batch
        Number of the import; None where nothing was stored of it.
    rows_read
        Rows below the header that are not blank; each of them is counted once in ``added``,
        ``changed``, ``unchanged``, ``repeated`` (identical rows of one job in this file) or
        ``held_back``.
    covers, covered
        How the modes the bench looked for were declared, and which modes that means.
    cleared
        Faults held back earlier that this file mended.
    preview
        The first thousand faults: (row, column, value, reason).
    """

    batch: int | None
    file: str
    kind: str
    rows_read: int
    added: int
    changed: int
    unchanged: int
    repeated: int
    held_back: int
    cleared: int
    covers: str
    covered: tuple[str, ...]
    notes: tuple[str, ...]
    preview: tuple[HeldBackPreview, ...]


@dataclass(frozen=True)
class ImportReport:
    """What became of all files of one command, those of the inbox included.

    ``codes_added``: codes that went into the catalogue; ``checked``: nothing was stored.
    """

    sheets: tuple[SheetReport, ...]
    codes_added: tuple[str, ...] = ()
    checked: bool = False

    @property
    def held_back(self) -> int:
        """Rows held back in all files."""
        return sum(sheet.held_back for sheet in self.sheets)

    @property
    def exit_code(self) -> int:
        """3 where rows are held back, else 0."""
        return 3 if self.held_back else 0
