"""Shows a finding: as a table for people, as JSON, CSV, Markdown or Parquet, as a picture."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from fixstats.cli.options import check_format
from fixstats.errors import FixstatsError, UsageError
from fixstats.findings.base import Finding
from fixstats.spreadsheet import csv_text, joined

ENDINGS = {
    ".json": "json", ".csv": "csv", ".md": "markdown", ".txt": "table", ".html": "html"
}  # fmt: skip

TableText = Callable[[Finding], str]


def emit(
    finding: Finding,
    text: TableText,
    *,
    form: str | None = None,
    out: Path | None = None,
    chart: Path | None = None,
    pages: Mapping[str, TableText] | None = None,
) -> None:
    """Print or write the finding; draw it where a chart file is named.

    ``pages``: formats that this finding has beside the usual ones, or in its own way.

    Raises
    ------
    UsageError
        If the format, or the ending of a file, is unknown.
    FixstatsError
        If a file cannot be written.
    """
    pages = pages or {}
    form = check_format(form, pages)
    if chart is not None:
        from fixstats.charts import chart as draw
        from fixstats.charts.save import save

        save(draw(finding), chart)
    if out is None:
        print(render(finding, text, form or "table", pages))
        if form == "csv":
            _notes_aside(finding)
        return
    try:
        if out.suffix.lower() == ".parquet":
            finding.frame.write_parquet(out)
        else:
            form = form or ENDINGS.get(out.suffix.lower())
            if form is None or (form == "html" and form not in pages):
                html = ".html, " if "html" in pages else ""
                raise UsageError(f"--out {out}: end it in {html}.json, .csv, .md, .txt or .parquet")
            out.write_text(render(finding, text, form, pages) + "\n", encoding="utf-8")
    except OSError as trouble:
        raise FixstatsError(f"{out}: cannot be written ({trouble.strerror})") from trouble


def render(
    finding: Finding, text: TableText, form: str, pages: Mapping[str, TableText] | None = None
) -> str:
    """The finding in one of the formats."""
    usual = {"table": text, "json": as_json_text, "csv": as_csv_text, "markdown": _markdown}
    return (usual | dict(pages or {}))[form](finding)


def as_json_text(finding: Finding, **more: Any) -> str:
    """The finding as JSON; ``more``: what this one has beside the usual keys."""
    import json

    whole = finding.as_json() | more
    return json.dumps(whole, ensure_ascii=False, indent=1, default=str, allow_nan=False)


def columns(finding: Finding) -> list[str]:
    """Names of the row keys in order."""
    return list(finding.rows[0]) if finding.rows else []


def as_csv_text(finding: Finding) -> str:
    """The rows as CSV that no spreadsheet runs as formulas."""
    return csv_text(finding.rows).rstrip("\n")


def _notes_aside(finding: Finding) -> None:
    """CSV has no room for notes; they go where a person still reads them."""
    for note in finding.notes:
        print(f"note: {note.text}", file=sys.stderr)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    words = f"{value:.6g}" if isinstance(value, float) else str(joined(value))
    for sign in ("\\", "|", "<", ">", "*", "_", "`", "[", "]"):
        words = words.replace(sign, f"\\{sign}")
    return words.replace("\n", " ")


def _markdown(finding: Finding) -> str:
    names = columns(finding)
    numbers = {
        name for name in names if any(isinstance(row[name], int | float) for row in finding.rows)
    }
    lines = [
        markdown_row(names),
        markdown_row("---:" if name in numbers else "---" for name in names),
        *(markdown_row(_cell(row[name]) for name in names) for row in finding.rows),
    ]
    body = lines if names else []
    notes = [f"- {_cell(note.text)}" for note in finding.notes]
    cautions = [f"- **Caution:** {_cell(text)}" for text in finding.cautions]
    return "\n".join([*body, "", *notes, *cautions]).strip()


def markdown_row(cells: Any) -> str:
    """One line of a Markdown table."""
    return f"| {' | '.join(cells)} |"


def footer(finding: Finding) -> str:
    """Notes and cautions under a table for people."""
    from fixstats.cli.text import printable

    notes = [f"note: {printable(note.text)}" for note in finding.notes]
    return "\n".join([*notes, *(f"caution: {text}" for text in finding.cautions)])


def plain_rows(rows: Sequence[Mapping[str, Any]], names: Sequence[str]) -> list[list[str]]:
    """Rows as text cells, '' for None."""
    return [["" if row[name] is None else str(row[name]) for name in names] for row in rows]
