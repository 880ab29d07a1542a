"""``fixstats check``: what the records cannot support."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fixstats.cli.options import FormatOption, OutOption, ShopOption

if TYPE_CHECKING:
    from fixstats.findings.base import Finding


def check(form: FormatOption = None, out: OutOption = None, shop: ShopOption = None) -> int:
    """What the records can't support: unchecked modes, blank steps, half-filled columns, twins.

    \b
    Examples:
      fixstats check
      fixstats check --format csv --out gaps.csv
    """
    from fixstats.cli.emit import emit
    from fixstats.shop import open_shop

    emit(open_shop(shop).check().finding, check_text, form=form, out=out)
    return 0


def check_text(finding: Finding) -> str:
    """The gaps as a table for people, each with what to do."""
    from fixstats.cli import text
    from fixstats.cli.emit import footer

    if not finding.rows:
        empty = any(note.code == "no_records" for note in finding.notes)
        return "\n".join([*([] if empty else ["nothing to mend"]), footer(finding)]).strip()
    lines = []
    for topic in dict.fromkeys(row["topic"] for row in finding.rows):
        rows = [row for row in finding.rows if row["topic"] == topic]
        cells = [[str(row["what"]), _how_much(row), str(row["advice"])] for row in rows]
        heads = [str(topic).replace("_", " "), "how much", "what to do"]
        lines += [text.table(heads, cells, [False] * 3), *_paste(rows), ""]
    return "\n".join([*lines, footer(finding)]).rstrip()


def _how_much(row: Mapping[str, Any]) -> str:
    from fixstats.cli import text

    if row["of"] is None:
        return f"{row['units']:,} {row['unit']}s"
    return f"{row['units']:,} of {row['of']:,} {row['unit']}s ({text.percent(row['share'])} %)"


def _paste(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Lines that a person can paste into the catalogue."""
    return [f"  {line}" for row in rows if row["paste"] for line in row["paste"].splitlines()]
