"""Finds a shop folder, opens it, makes a new one."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from fixstats.errors import FolderError
from fixstats.folder.catalogue import Catalogue
from fixstats.folder.links import read_catalogue
from fixstats.folder.settings import Settings, read_settings, settings_text

DEFAULT_CATALOGUE = Path(__file__).with_name("default_catalogue.toml")


@dataclass(frozen=True)
class ShopFolder:
    """One workshop's folder: ``shop.toml``, ``catalogue.toml``, ``shop.duckdb``, ``inbox/``, ..."""

    path: Path

    @cached_property
    def settings(self) -> Settings:
        """The checked settings."""
        return read_settings(self.path / "shop.toml")

    @cached_property
    def catalogue(self) -> Catalogue:
        """The checked catalogue."""
        return read_catalogue(self.path / "catalogue.toml")

    @property
    def database(self) -> Path:
        """The database file."""
        return self.path / "shop.duckdb"

    @property
    def inbox(self) -> Path:
        """Where bench entry leaves one small file a job."""
        return self.path / "inbox"

    @property
    def waiting(self) -> list[Path]:
        """Entries of the bench that wait to be taken in, in the order in which they were left."""
        return sorted(self.inbox.glob("*.jsonl"))


def find_folder(path: Path | str | None = None) -> ShopFolder:
    """The shop folder at ``path``, else at ``FIXSTATS_SHOP``, else the nearest one upwards.

    Raises
    ------
    FolderError
        If the place named has no ``shop.toml``, or none is found upwards.
    """
    named = path if path is not None else os.environ.get("FIXSTATS_SHOP") or None
    if named is not None:
        folder = Path(named)
        if not (folder / "shop.toml").is_file():
            whence = "" if path is not None else " (named by FIXSTATS_SHOP)"
            raise FolderError(
                f"{folder}{whence}: no shop.toml here; make a shop with: fixstats init {folder}"
            )
        return ShopFolder(folder)
    here = Path.cwd()
    for folder in (here, *here.parents):
        if (folder / "shop.toml").is_file():
            return ShopFolder(folder)
    raise FolderError(
        "no shop folder here or above; name one with --shop PATH or FIXSTATS_SHOP,\n"
        "or make one with: fixstats init FOLDER"
    )


def make_folder(path: Path, settings: Settings, catalogue: Path = DEFAULT_CATALOGUE) -> ShopFolder:
    """A new shop folder with settings and a catalogue; the database comes with the first record.

    Raises
    ------
    FolderError
        If ``path`` already holds a shop or a file of one, or cannot be written.
    """
    for name in ("shop.toml", "catalogue.toml", "shop.duckdb"):
        if (path / name).exists():
            raise FolderError(
                f"{path}: is already a shop folder, it has a {name}; nothing was changed"
            )
    try:
        for folder in (path, path / "inbox", path / "reports"):
            folder.mkdir(parents=True, exist_ok=True)
        (path / "catalogue.toml").write_bytes(catalogue.read_bytes())
        (path / "shop.toml").write_text(settings_text(settings), encoding="utf-8")
    except OSError as trouble:
        raise FolderError(f"{path}: cannot be written ({trouble.strerror})") from trouble
    return ShopFolder(path)
