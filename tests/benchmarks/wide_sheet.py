"""A job sheet with 40 failure modes and some 250 lots, and its catalogue, from those of the demo.

    python tests/benchmarks/wide_sheet.py SHEET CATALOGUE NEW_SHEET NEW_CATALOGUE

Some modes get a twin, to which half of the jobs' failures go; lots are cut in two or three.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import duckdb

TWINS = 16
MODE = re.compile(r"\[\[failure_mode\]\]\n(?:(?!\[\[).*\n?)*")
NAMED = ("failures", "unchecked", "preexisting", "return_reason")
SHEET = """
copy (
  select * replace (
    regexp_replace(
      battery_lot, '([A-Z]+-[0-9]+)',
      '\\1' || chr(cast(97 + hash(job) % if(battery_lot like 'CV%', 3, 2) as integer)), 'g'
    ) as battery_lot,
    {columns}
  )
  from read_csv($sheet, all_varchar = true)
) to '{target}' (header)
"""


def widened(catalogue: str) -> tuple[str, list[str]]:
    """The text of a catalogue with twins of its first modes, and the codes of those."""
    blocks = MODE.findall(catalogue)
    twins = []
    for block in blocks[:TWINS]:
        new = re.sub(r'code = "(\w+)"', r'code = "\1_b"', block)
        twins.append(new.replace('label = "', 'label = "Other ').rstrip("\n") + "\n\n")
    codes = [re.findall(r'code = "(\w+)"', block)[0] for block in blocks[:TWINS]]
    return catalogue.replace(blocks[0], "".join(twins) + blocks[0]), codes


def main() -> None:
    """Write both files."""
    sheet, catalogue, new_sheet, new_catalogue = sys.argv[1:]
    text, codes = widened(Path(catalogue).read_text(encoding="utf-8"))
    Path(new_catalogue).write_text(text, encoding="utf-8")
    some = "|".join(codes)
    columns = ", ".join(
        f"if(hash(job) % 2 = 0, regexp_replace({name}, '\\b({some})\\b', '\\1_b', 'g'), {name}) "
        f"as {name}"
        for name in NAMED
    )
    duckdb.connect().execute(SHEET.format(columns=columns, target=new_sheet), {"sheet": sheet})


if __name__ == "__main__":
    main()
