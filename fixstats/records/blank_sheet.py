"""The blank job sheet that a new shop starts with: a workbook made from its catalogue.

First worksheet: the job sheet, one row a job, columns named as the importer names them, in the
order in which things happen at the bench. Then the words that cells may hold, then an example.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from fixstats.errors import FolderError
from fixstats.folder import Catalogue
from fixstats.records.columns import REQUIRED, SEPARATORS, Column, sheet_columns
from fixstats.records.sheet_example import example_rows
from fixstats.records.sheet_messages import message
from fixstats.records.sheet_words import RULES, WordRow, word_rows

# Drop-downs reach this far down; a busy bench starts a new sheet before.
PREPARED_ROWS = 5000
# Filled in rarely: folded away behind a [+] above the column to their left.
FOLDED = ("supplier", "lot", "cost", "fitted")
_TEXTS = ("job", "name", "supplier", "lot", "text", "notes")
_FIRST_DAY, _LAST_DAY = date(2000, 1, 1), date(2099, 12, 31)


def bench_order(catalogue: Catalogue) -> list[Column]:
    """Every column of a job sheet, in the order in which things happen: intake, work, hand-over."""
    columns = sheet_columns(catalogue)
    moments = {
        when: [factor.code for factor in catalogue.factors if factor.when == when]
        for when in ("intake", "during")
    }
    kinds = ("grade", *FOLDED)
    names = [
        "job", "received", "finished", "branch", "technician", "model", "repair", "return_of",
        *moments["intake"], "preexisting", "trial", "assigned",
        *catalogue.step_codes, *(f"{step}_minutes" for step in catalogue.step_codes),
        *(f"{part}_{kind}" for part in catalogue.part_codes for kind in kinds),
        *moments["during"], "failures", "unchecked",
        "outcome", "minutes", "price", "failure_cost", "notes", "returned", "return_reason",
    ]  # fmt: skip
    return [columns[name] for name in names]


def write_job_sheet(catalogue: Catalogue, path: Path) -> None:
    """Write a blank XLSX job sheet with the drop-downs and words of ``catalogue``.

    Raises
    ------
    FolderError
        If ``path`` cannot be written.
    """
    import xlsxwriter

    columns = bench_order(catalogue)
    words = word_rows(catalogue)
    # Labels of the catalogue stay text, whatever they begin with.
    options = {"strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(str(path), options)
    # No clock: the same catalogue gives the same file.
    book.set_properties({"title": "Job sheet", "created": datetime(2026, 1, 1, tzinfo=UTC)})
    looks = _looks(book)
    jobs, listed, example = (book.add_worksheet(name) for name in ("Jobs", "Words", "Example"))
    _write_jobs(jobs, columns, catalogue, words, looks)
    _write_words(listed, words, looks)
    _write_example(example, columns, example_rows(catalogue), looks)
    try:
        book.close()
    except (OSError, xlsxwriter.exceptions.FileCreateError) as trouble:
        raise FolderError(f"{path}: cannot be written ({trouble})") from trouble


def _looks(book: Any) -> dict[str, Any]:
    """Cell formats by name; readable without colour: needed columns are dark with white letters."""
    head = {"bold": True, "border": 1, "text_wrap": True, "valign": "top"}
    return {
        "head": book.add_format({**head, "bg_color": "#E6E6E6"}),
        "needed": book.add_format({**head, "bg_color": "#333333", "font_color": "#FFFFFF"}),
        "date": book.add_format({"num_format": "yyyy-mm-dd"}),
        "text": book.add_format({"num_format": "@"}),
        "plain": book.add_format({}),
        "title": book.add_format({"bold": True, "font_size": 14}),
        "wrap": book.add_format({"text_wrap": True, "valign": "top"}),
    }


def _look_of(column: Column) -> str:
    return "date" if column.kind == "date" else "text" if column.kind in _TEXTS else "plain"


def _folded(column: Column) -> bool:
    return column.kind in FOLDED or (column.kind == "amount" and bool(column.owner))


def _write_head(sheet: Any, columns: Iterable[Column], looks: Mapping[str, Any]) -> None:
    for place, column in enumerate(columns):
        needed = column.name in REQUIRED
        sheet.write_string(0, place, column.name, looks["needed" if needed else "head"])
        folding = {"level": 1, "hidden": True} if _folded(column) else {}
        width = max(12, len(column.name) + 2)
        sheet.set_column(place, place, width, looks[_look_of(column)], folding)
    sheet.outline_settings(True, True, False, False)
    sheet.freeze_panes(1, 1)


def _write_jobs(
    sheet: Any,
    columns: list[Column],
    catalogue: Catalogue,
    words: list[WordRow],
    looks: Mapping[str, Any],
) -> None:
    _write_head(sheet, columns, looks)
    spans = _spans(words)
    for place, column in enumerate(columns):
        title, text = message(column, catalogue)
        rule = _validation(column, spans) | {"input_title": title, "input_message": text}
        sheet.data_validation(1, place, PREPARED_ROWS, place, rule)
    sheet.ignore_errors({"number_stored_as_text": f"A1:XFD{PREPARED_ROWS + 1}"})
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.repeat_rows(0)


@dataclass(frozen=True)
class Span:
    """First and last row (from 1) of a drop-down on the worksheet of words."""

    first: int
    last: int

    @property
    def source(self) -> str:
        """The range as a data validation names it."""
        return f"=Words!$B${self.first}:$B${self.last}"


def _spans(words: list[WordRow]) -> dict[str, Span]:
    """Where each list of words lies; a list is a run of rows."""
    found: dict[str, Span] = {}
    for row, word in enumerate(words, len(RULES) + 3):
        for name in word.lists:
            found[name] = Span(found[name].first if name in found else row, row)
    return found


def _validation(column: Column, spans: Mapping[str, Span]) -> dict[str, Any]:
    """What a spreadsheet checks in a column; several values in a cell are only warned about."""
    several = column.kind in SEPARATORS
    rule: dict[str, Any] = {"validate": "any"}
    own = column.kind in ("step", "category")
    source = spans.get(f"{column.kind} {column.owner}" if own else column.kind)
    if source:
        rule = {"validate": "list", "source": source.source}
    elif column.kind == "date":
        rule = {"validate": "date", "criteria": "between"}
        rule |= {"minimum": _FIRST_DAY, "maximum": _LAST_DAY}
    elif column.kind in ("amount", "cost"):
        rule = {"validate": "decimal", "criteria": ">=", "value": 0}
    elif column.kind == "number":
        rule = {"validate": "decimal", "criteria": "between", "minimum": -1e9, "maximum": 1e9}
    if rule["validate"] == "any":
        return rule
    name = "warning" if several else "stop"
    return rule | {
        "error_type": name,
        "error_title": "Not in the list" if source else "Not read",
        "error_message": _error_text(column, bool(source), several),
    }


def _error_text(column: Column, listed: bool, several: bool) -> str:
    if several:
        between = "a > b" if SEPARATORS[column.kind] == ">" else "a; b"
        return f"Not one word of the list. Keep it if it is several, written {between}."
    if listed:
        return "Choose from the list, or leave the cell blank. The words are on the sheet Words."
    if column.kind == "date":
        return "Write a date, such as 2026-01-31, or leave the cell blank."
    return "Write a number, or leave the cell blank."


def _write_words(sheet: Any, words: list[WordRow], looks: Mapping[str, Any]) -> None:
    sheet.write_string(0, 0, "What to write in the job sheet", looks["title"])
    for row, (what, meaning) in enumerate(RULES, 1):
        sheet.write_string(row, 1, what)
        sheet.write_string(row, 2, meaning)
    start = len(RULES) + 1
    for place, head in enumerate(("column", "write", "meaning", "belongs to")):
        sheet.write_string(start, place, head, looks["head"])
    for row, word in enumerate(words, start + 1):
        for place, text in enumerate((word.column, word.code, word.label, word.belongs)):
            sheet.write_string(row, place, text, looks["wrap"])
    for place, width in enumerate((26, 26, 62, 40)):
        sheet.set_column(place, place, width)
    sheet.freeze_panes(start + 1, 0)
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)


def _write_example(
    sheet: Any,
    columns: list[Column],
    rows: list[dict[str, Any]],
    looks: Mapping[str, Any],
) -> None:
    """Invented jobs; a worksheet of its own, so that nobody has to delete them."""
    _write_head(sheet, columns, looks)
    for place, column in enumerate(columns):
        for number, row in enumerate(rows, 1):
            value, look = row.get(column.name, ""), looks[_look_of(column)]
            if isinstance(value, date):
                sheet.write_datetime(number, place, value, look)
            elif isinstance(value, int | float):
                sheet.write_number(number, place, value, look)
            elif value:
                sheet.write_string(number, place, value, look)
