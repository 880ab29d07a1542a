"""A shop in a temporary folder, and short ways to import rows and to see what is stored."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import duckdb
import pytest

from fixstats.folder import Settings, ShopFolder, make_folder
from fixstats.records.importer import ImportReport, import_sheets

BASE = {
    "job": "1001",
    "finished": "2026-03-14",
    "model": "Velum 3",
    "repair": "battery_swap",
    "opening": "heat_plate",
    "battery_release": "pull_tab",
    "battery_grade": "original",
    "failures": "",
}


class Shop:
    """A shop folder with helpers of the tests."""

    def __init__(self, folder: ShopFolder) -> None:
        self.folder = folder

    @property
    def path(self) -> Path:
        return self.folder.path

    def sheet(self, rows: Iterable[Mapping[str, Any]], name: str = "sheet.csv") -> Path:
        """Rows as a CSV sheet; columns are those of all rows."""
        kept = list(rows)
        names = dict.fromkeys(name for row in kept for name in row)
        path = self.path / name
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(names), restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(kept)
        return path

    def file(self, content: str | bytes, name: str = "sheet.csv") -> Path:
        path = self.path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    def take(self, rows: Iterable[Mapping[str, Any]], **options: Any) -> ImportReport:
        return import_sheets(self.folder, [self.sheet(rows)], **options)

    def take_file(self, path: Path, **options: Any) -> ImportReport:
        return import_sheets(self.folder, [path], **options)

    def mapping(self, text: str) -> Path:
        path = self.path / "map.toml"
        path.write_text(f"format = 1\n{text}", encoding="utf-8")
        return path

    def sql(self, query: str) -> list[tuple[Any, ...]]:
        with duckdb.connect(str(self.folder.database), read_only=True) as con:
            return con.execute(query).fetchall()

    def reasons(self) -> list[str]:
        rows = self.sql("select reason from records.heldback where cleared_by is null order by all")
        return [reason for (reason,) in rows]

    def state(self) -> dict[str, Any]:
        """Everything that is recorded, without the numbers of entries and imports."""
        if not self.folder.database.exists():
            return {}
        tables = ("attempts", "step_minutes", "pieces", "failures", "unchecked", "preexisting",
                  "factors")  # fmt: skip
        found = {
            table: self.sql(
                f"select j.job, t.* exclude (entry) from records.{table} t "
                "join records.jobs j using (entry) order by all"
            )
            for table in tables
        }
        found["jobs"] = self.sql(
            "select * exclude (entry, batch) from records.jobs order by job, branch"
        )
        found["heldback"] = self.sql(
            'select file, row, "column", value, reason, line, cleared_by is null '
            "from records.heldback order by all"
        )
        found["past"] = self.sql("select * exclude (entry) from past.jobs order by all")
        return found


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(make_folder(tmp_path / "shop", Settings(name="Test bench")))


@pytest.fixture
def base() -> dict[str, str]:
    return dict(BASE)
