"""The mapping file: how a workshop's own spreadsheet is read as a job sheet."""

from __future__ import annotations

from collections.abc import Mapping as MappingOf
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fixstats.errors import FolderError, SheetError
from fixstats.folder import Catalogue, fold
from fixstats.folder.settings import read_toml
from fixstats.records.columns import sheet_columns
from fixstats.records.dates import order_of
from fixstats.words import did_you_mean, listed

TOP_KEYS = ("format", "columns", "values", "formats", "covers", "notes", "privacy")
FORMAT_KEYS = ("separator", "decimal", "dates", "encoding", "thousands")
PRIVACY_RULES = ("drop", "hash", "refuse")
SEPARATORS = (",", ";", "\t", "|")
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "windows-1252", "latin-1")


@dataclass(frozen=True)
class Formats:
    """How cells are written; None: to be found out from the file."""

    separator: str | None = None
    decimal: str | None = None
    dates: str | None = None
    encoding: str | None = None
    thousands: str | None = None


@dataclass(frozen=True)
class Mapping:
    """A checked mapping; names of their columns and values are folded for case and spaces.

    Attributes
    ----------
    columns
        Their folded column name -> ours.
    values
        Our column -> their folded value -> ours.
    privacy
        Our column, or their folded one, -> what to do about persons: drop, hash, refuse.
    """

    columns: MappingOf[str, str] = field(default_factory=dict)
    values: MappingOf[str, MappingOf[str, str]] = field(default_factory=dict)
    formats: Formats = Formats()
    covers: str | None = None
    keep_notes: bool = False
    privacy: MappingOf[str, str] = field(default_factory=dict)
    where: str = ""


def _texts(raw: Any, where: Path, table: str) -> dict[str, str]:
    if not isinstance(raw, dict) or not all(isinstance(value, str) for value in raw.values()):
        raise SheetError(f'{where}: [{table}] holds lines like "Their words" = "ours", in quotes')
    return raw


def _keys(raw: MappingOf[str, Any], known: tuple[str, ...], where: Path, table: str) -> None:
    for key in raw:
        if key not in known:
            near = did_you_mean(key, known)
            raise SheetError(f"{where}: {table}: unknown key '{key}'{near}")


def _columns(raw: Any, where: Path, known: MappingOf[str, Any]) -> dict[str, str]:
    found: dict[str, str] = {}
    for theirs, ours in _texts(raw, where, "columns").items():
        if ours not in known:
            near = did_you_mean(ours, known)
            raise SheetError(f"{where}: [columns] \"{theirs}\": no column '{ours}' here{near}")
        if ours in found.values():
            raise SheetError(f"{where}: [columns]: two of their columns become '{ours}'")
        found[fold(theirs)] = ours
    return found


def _values(raw: Any, where: Path, known: MappingOf[str, Any]) -> dict[str, dict[str, str]]:
    if not isinstance(raw, dict):
        raise SheetError(f"{where}: values are written in tables such as [values.opening]")
    found = {}
    for column, pairs in raw.items():
        if column not in known:
            near = did_you_mean(column, known)
            raise SheetError(f"{where}: [values.{column}]: no column '{column}' here{near}")
        texts = _texts(pairs, where, f"values.{column}")
        found[column] = {fold(theirs): ours for theirs, ours in texts.items()}
    return found


def _formats(raw: Any, where: Path) -> Formats:
    texts = _texts(raw, where, "formats")
    _keys(texts, FORMAT_KEYS, where, "[formats]")
    allowed = {"separator": SEPARATORS, "decimal": (".", ","), "encoding": ENCODINGS,
               "thousands": (".", ",", " ", "'", "")}  # fmt: skip
    for key, options in allowed.items():
        if key in texts and texts[key] not in options:
            words = listed((repr(option) for option in options), "or")
            raise SheetError(f"{where}: [formats] {key} = {texts[key]!r}; allowed: {words}")
    if "dates" in texts:
        try:
            order_of(texts["dates"])
        except ValueError:
            raise SheetError(
                f"{where}: [formats] dates = {texts['dates']!r}; allowed: a pattern of DD, MM and "
                "YYYY such as DD/MM/YYYY"
            ) from None
    return Formats(**texts)


def _privacy(raw: Any, where: Path) -> dict[str, str]:
    texts = _texts(raw, where, "privacy")
    for column, rule in texts.items():
        if rule not in PRIVACY_RULES:
            words = listed(PRIVACY_RULES, "or")
            raise SheetError(f"{where}: [privacy] {column} = {rule!r}; allowed: {words}")
    return {fold(column): rule for column, rule in texts.items()}


def check_mapping(raw: MappingOf[str, Any], where: Path, catalogue: Catalogue) -> Mapping:
    """A Mapping from parsed TOML; the first fault raises a SheetError with what is allowed."""
    known = sheet_columns(catalogue)
    _keys(raw, TOP_KEYS, where, "top of the file")
    if raw.get("format") != 1 or isinstance(raw.get("format"), bool):
        raise SheetError(f"{where}: format = 1 must stand at the top of a mapping")
    for key, allowed in (("covers", None), ("notes", ("keep", "leave"))):
        if key in raw and (not isinstance(raw[key], str) or (allowed and raw[key] not in allowed)):
            words = listed(map(repr, allowed), "or") if allowed else 'a text such as "all"'
            raise SheetError(f"{where}: {key} = {raw[key]!r} is not allowed; allowed: {words}")
    return Mapping(
        columns=_columns(raw.get("columns", {}), where, known),
        values=_values(raw.get("values", {}), where, known),
        formats=_formats(raw.get("formats", {}), where),
        covers=raw.get("covers"),
        keep_notes=raw.get("notes") == "keep",
        privacy=_privacy(raw.get("privacy", {}), where),
        where=str(where),
    )


def read_mapping(path: Path | None, catalogue: Catalogue) -> Mapping:
    """The mapping in the file ``path``; an empty one for None."""
    if path is None:
        return Mapping()
    try:
        return check_mapping(read_toml(path), path, catalogue)
    except FolderError as trouble:
        raise SheetError(str(trouble)) from trouble
