"""Finds out how a text file is written: encoding, line ends, separator."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from fixstats.errors import SheetError
from fixstats.records.mapping import SEPARATORS, Formats

_CHUNK = 1 << 24
# Enough for any header, and for telling text from rubbish.
_HEAD = 1 << 20
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Bytes that Windows-1252 leaves undefined.
_UNDEFINED = frozenset(b"\x81\x8d\x8f\x90\x9d")
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\x0b\x0c"))


@dataclass(frozen=True)
class TextFile:
    """A CSV file as it lies there.

    ``plain``: UTF-8 with one kind of line end and no blank line, so DuckDB may read it as it is.
    ``header``: the names of the columns; ``found``: what was found out, for the report.
    """

    path: Path
    encoding: str
    separator: str
    header: list[str]
    plain: bool


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            yield chunk


def _rubbish(head: bytes) -> bool:
    """Not text in any encoding we know: control characters all over."""
    controls = len(head) - len(head.translate(None, _CONTROLS))
    return b"\x00" in head or controls > len(head) // 100


def _wide(head: bytes) -> str | None:
    """UTF-16 without a mark shows as a zero in every second byte."""
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if max(even, odd) < len(head) // 5 or min(even, odd) > len(head) // 20:
        return None
    return "utf-16-le" if odd > even else "utf-16-be"


def _is_utf8(path: Path) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for chunk in _chunks(path):
            if not chunk.isascii() or decoder.getstate()[0]:
                decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def find_encoding(path: Path, head: bytes) -> str:
    """The encoding of a text file, by its mark or by what its bytes can be.

    Raises
    ------
    SheetError
        If the file is no text.
    """
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding
    wide = _wide(head)
    if wide:
        return wide
    if _rubbish(head):
        raise SheetError(
            f"{path}: is no table of text; nothing was changed\n"
            "give a CSV, TSV, XLSX, Parquet or JSON-lines file"
        )
    if _is_utf8(path):
        return "utf-8"
    if _UNDEFINED & set(head):
        raise SheetError(
            f"{path}: is neither UTF-8, UTF-16 nor Windows-1252; nothing was changed\n"
            "save it as UTF-8, or name its encoding in a mapping: [formats] encoding"
        )
    return "windows-1252"


def _one_line_end(path: Path) -> bool:
    """Only LF or only CRLF, and no blank line before the last: row numbers can be counted."""
    kinds: set[bool] = set()
    rest = b""
    for chunk in _chunks(path):
        text = rest + chunk
        returns, both, ends = text.count(b"\r"), text.count(b"\r\n"), text.count(b"\n")
        rest = text[-3:] if text.endswith((b"\r", b"\n")) else b""
        if returns - text.endswith(b"\r") > both:
            return False
        kinds |= {True} if both else set()
        kinds |= {False} if ends > both else set()
        blank = min((place for mark in (b"\n\n", b"\n\r\n") if (place := text.find(mark)) >= 0),
                    default=-1)  # fmt: skip
        if len(kinds) > 1 or (blank >= 0 and text[blank:].strip()):
            return False
    return True


def _separator(line: str, path: Path) -> str:
    """The sign that stands most often between the names of the header."""
    counts = {sign: line.count(sign) for sign in SEPARATORS}
    best = max(counts, key=lambda sign: counts[sign])
    if counts[best] == 0:
        raise SheetError(
            f"{path}: only one column found ('{line.strip()[:40]}'); nothing was changed\n"
            "cells must be separated by a comma, semicolon, tab or |"
        )
    return best


def inspect_text(path: Path, formats: Formats) -> TextFile:
    """How the file is written, from its mapping or from itself.

    Raises
    ------
    SheetError
        If it is empty, no text, or has one column only.
    """
    with path.open("rb") as file:
        head = file.read(_HEAD)
    if not head.strip():
        raise SheetError(f"{path}: is empty; nothing was changed")
    encoding = formats.encoding or find_encoding(path, head)
    text = codecs.getincrementaldecoder(encoding)(errors="replace").decode(head).lstrip("\ufeff")
    line = next(line for line in text.splitlines() if line.strip())
    separator = formats.separator or _separator(line, path)
    csv.field_size_limit(1 << 30)
    header = next(
        row for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator) if row
    )
    if len(header) == 1:
        raise SheetError(
            f"{path}: only one column found with the separator {separator!r}; nothing was changed\n"
            f"its first line is '{line.strip()[:60]}': name the separator in the mapping"
        )
    plain = encoding in ("utf-8", "utf-8-sig") and text.startswith(line[:1]) and _one_line_end(path)
    return TextFile(path, encoding, separator, header, plain)


def as_utf8(file: TextFile, target: Path) -> TextFile:
    """The same file in UTF-8, written to ``target``: DuckDB reads no other encoding safely."""
    try:
        with (
            file.path.open(encoding=file.encoding, newline="") as source,
            target.open("w", encoding="utf-8", newline="") as sink,
        ):
            while chunk := source.read(_CHUNK):
                sink.write(chunk.removeprefix("\ufeff"))
    except UnicodeDecodeError as trouble:
        raise SheetError(
            f"{file.path}: cannot be read as {file.encoding} (at byte {trouble.start}); nothing "
            "was changed\nsave it as UTF-8, or name its encoding in a mapping: [formats] encoding"
        ) from trouble
    return replace(file, path=target, encoding="utf-8", plain=_one_line_end(target))
