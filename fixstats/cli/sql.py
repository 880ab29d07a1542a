"""``fixstats sql``: one SELECT of one's own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fixstats.cli.options import FormatOption, OutOption, ShopOption
from fixstats.errors import UsageError

if TYPE_CHECKING:
    from fixstats.findings.base import Finding


def sql(
    query: Annotated[
        str | None, typer.Argument(metavar="SELECT", help="One SELECT, in quotes.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--file", metavar="FILE", help="Read the SELECT from FILE.")
    ] = None,
    rows: Annotated[int, typer.Option(metavar="N", help="Most rows to return.")] = 10_000,
    seconds: Annotated[float, typer.Option(metavar="S", help="Longest time it may take.")] = 30.0,
    form: FormatOption = None,
    out: OutOption = None,
    shop: ShopOption = None,
) -> int:
    """Ask the records with one SELECT; nothing can be changed and no file or network is reached.

    Views: jobs, attempts, pieces, factors, outcomes_first, outcomes_attempted and the catalogue's
    tables (modes, methods, parts, grades, ...).

    \b
    Examples:
      fixstats sql "select model, count(*) as jobs from jobs group by model order by jobs desc"
      fixstats sql --file question.sql --format csv
    """
    from fixstats.cli.emit import emit
    from fixstats.engines.sandbox import run_sql
    from fixstats.findings.base import listing
    from fixstats.shop import open_shop

    if (query is None) == (file is None):
        raise UsageError('give one SELECT, as fixstats sql "select ..." or with --file FILE')
    text = query if query is not None else _read(file)
    result = run_sql(open_shop(shop).folder, text, row_limit=rows, seconds=seconds)
    rows_found = [dict(zip(result.columns, row, strict=True)) for row in result.rows]
    emit(listing("sql", rows_found, note=result.note), rows_text, form=form, out=out)
    return 0


def _read(file: Path | None) -> str:
    assert file is not None
    try:
        return file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as trouble:
        raise UsageError(f"{file}: cannot be read as text ({trouble})") from trouble


def rows_text(finding: Finding) -> str:
    """Any rows as a table for people."""
    from fixstats.cli import text
    from fixstats.cli.emit import columns, footer

    names = columns(finding)
    numbers = [any(isinstance(row[name], int | float) for row in finding.rows) for name in names]
    cells = [[_cell(row[name]) for name in names] for row in finding.rows]
    body = text.table(names, cells, numbers) if names else "no rows"
    return "\n".join([body, "", footer(finding)]).rstrip()


def _figure(value: float) -> str:
    """Four figures; whole numbers from a thousand on (JSON and CSV carry all digits)."""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def _cell(value: object) -> str:
    if value is None:
        return ""
    return _figure(value) if isinstance(value, float) else str(value)
