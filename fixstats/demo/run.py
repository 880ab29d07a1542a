"""Makes the demo shop: an invented workshop, taken in as any other."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from fixstats.errors import FolderError
from fixstats.folder import ShopFolder
from fixstats.folder.settings import read_settings
from fixstats.records.importer import ImportReport, import_sheets
from fixstats.records.newshop import new_shop
from fixstats.resources import resource

CLEAN_SHEETS = ("harbour_bench.csv", "mill_bench.csv")
MESSY_SHEET, MESSY_MAP = "kiosk_messy.csv", "messy_map.toml"


def make_demo(
    path: Path, progress: Callable[[str], None] | None = None
) -> tuple[ShopFolder, list[ImportReport]]:
    """A shop folder with the demo's records; what the imports brought.

    Raises
    ------
    FolderError
        If ``path`` already holds a shop, or cannot be written.
    """
    data = resource("demo_data")
    if (path / "shop.toml").exists():
        raise FolderError(
            f"{path}: a shop is already there; look at it with: fixstats rates --shop {path}\n"
            "or make another one with: fixstats demo OTHERFOLDER"
        )
    new_shop(path, read_settings(data / "shop.toml"), data / "catalogue.toml")
    for name in (*CLEAN_SHEETS, MESSY_SHEET, MESSY_MAP):
        shutil.copyfile(data / name, path / name)
    folder = ShopFolder(path)
    clean = [path / name for name in CLEAN_SHEETS]
    plain = import_sheets(folder, clean, covers="all", progress=progress)
    messy = import_sheets(folder, [path / MESSY_SHEET], mapping=path / MESSY_MAP, progress=progress)
    return folder, [plain, messy]
