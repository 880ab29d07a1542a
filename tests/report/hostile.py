"""A shop whose records and catalogue try to break out of every page: names, labels, files."""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl

from fixstats.cli.app import app
from fixstats.cli.door import through_the_door

DEMO = Path(__file__).parents[2] / "demo_data"
TURN = "\u202e"  # RIGHT-TO-LEFT OVERRIDE
HEBREW = "דגם"
# What the sheet holds -> what is written instead; ">" would part two pieces of a part.
NAMES = {
    "model": {
        "Brask One": "<script>window.broken = 1</script>",
        "Quillon Q5": f'{HEBREW} "Q5" <b onmouseover=window.broken=2>',
        "Norvane 22": "[a](javascript:window.broken=3) | `x` *y*",
    },
    "technician": {"T4": "<img src=x onerror=window.broken=4>"},
    "branch": {"Harbour bench": "<iframe src=//example.invalid></iframe>"},
    "battery_supplier": {"Pinemark": "\"'<svg onload=window.broken=5 ", "Corvo Supply": HEBREW},
    "battery_lot": {"CV-2603": "&lt;script&gt; ]]&gt; <!--"},
}
LABELS = {
    "Heated plate, timed": '=HYPERLINK("http://example.invalid")',
    "Warm pad": f"<script>window.broken = 6</script>{TURN}",
    "Dust or print under the glass": f"</title></style><script>window.broken=7</script> {HEBREW}",
    "Display flex torn": "-1+1</td></table>",
    "Sealing and closing": "@SUM(1) --> <!-- | x",
}
NAME = f"</title><script>window.broken = 8</script> {HEBREW}{TURN}"
FILE = "<img src=x onerror=window.broken=9>.csv"


def hostile_shop(path: Path) -> Path:
    """Make the shop in the new folder ``path`` from a part of the invented workshop's records."""
    path.mkdir()
    settings = (DEMO / "shop.toml").read_text(encoding="utf-8")
    (path / "shop.toml").write_text(
        settings.replace('"Two Benches"', _toml(NAME)), encoding="utf-8"
    )
    catalogue = (DEMO / "catalogue.toml").read_text(encoding="utf-8")
    for label, other in LABELS.items():
        assert f'label = "{label}"' in catalogue, label
        catalogue = catalogue.replace(f'label = "{label}"', f"label = {_toml(other)}")
    catalogue = re.sub(
        r'cautions = \["', 'cautions = ["<script>window.broken = 10</script>', catalogue
    )
    (path / "catalogue.toml").write_text(catalogue, encoding="utf-8")
    sheet = pl.read_csv(DEMO / "harbour_bench.csv", infer_schema=False)
    for column, names in NAMES.items():
        assert set(names) <= set(sheet[column].to_list()), column
        sheet = sheet.with_columns(pl.col(column).replace(names))
    file = path / FILE
    sheet.write_csv(file)
    words = ["import", str(file), "--covers", "all", "--shop", str(path)]
    assert through_the_door(app, words) == 0
    return path


def _toml(text: str) -> str:
    """The text as a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + escaped.replace(TURN, "\\u202e") + '"'
