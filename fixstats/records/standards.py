"""Records what the workshop adopted: one more ``[[standard]]`` at the end of the catalogue's file.

The file is the owner's own: what stands in it stays, byte for byte, comments and line ends too.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

from fixstats.errors import FolderError, UsageError
from fixstats.folder import Catalogue, ShopFolder, build_catalogue, fold
from fixstats.folder.catalogue import Standard

UNCHANGED = "nothing was changed"


@dataclass(frozen=True)
class Adopted:
    """What was written.

    ``before``: what held on that day until now, for the same model or, where that model had none
    of its own, for all; None: nothing. ``until``: the day from which a standard adopted earlier
    for a later day takes over; None: open.
    """

    standard: Standard
    before: Standard | None
    until: Standard | None
    where: Path


def adopt(folder: ShopFolder, standard: Standard) -> Adopted:
    """Append the standard to ``catalogue.toml``, whole or not at all; nothing else is rewritten.

    Raises
    ------
    UsageError
        If the same option holds already, or another was adopted for the same day.
    FolderError
        If the file would not load with it, was changed in the meantime, or cannot be written.
    """
    path = folder.path / "catalogue.toml"
    content = _content(path)
    now = _checked(content, path)
    _refuse_twice(standard, now)
    whole = content + _entry(standard, content)
    try:
        later = _checked(whole, path)
    except FolderError as trouble:
        raise FolderError(f"it cannot be added: {trouble}\n{UNCHANGED}") from trouble
    if replace(later, standards=later.standards[:-1], hash=now.hash) != now:
        raise FolderError(f"{path}: an entry at its end would mean something else; {UNCHANGED}")
    _put(path, content, whole)
    # the folder's catalogue was read before
    folder.__dict__.pop("catalogue", None)
    own = [one for one in now.standards if _same_place(one, standard)]
    until = min((one.since for one in own if one.since > standard.since), default=None)
    return Adopted(
        later.standards[-1],
        holding(now, standard),
        next((one for one in own if one.since == until), None),
        path,
    )


def holding(catalogue: Catalogue, standard: Standard) -> Standard | None:
    """What holds on the day of ``standard`` at its choice, for its model or else for all."""
    known = [
        one
        for one in catalogue.standards
        if one.choice == standard.choice and one.since <= standard.since
    ]
    known.sort(key=lambda one: one.since)
    own = [one for one in known if _same_place(one, standard)]
    of_all = [one for one in known if one.model is None]
    found = own or of_all
    return found[-1] if found else None


def _same_place(one: Standard, other: Standard) -> bool:
    return one.choice == other.choice and fold(one.model or "") == fold(other.model or "")


def _refuse_twice(standard: Standard, catalogue: Catalogue) -> None:
    where = f" on {standard.model}" if standard.model else ""
    now = holding(catalogue, standard)
    if now is not None and now.option == standard.option:
        general = " for all models" if standard.model and now.model is None else ""
        raise UsageError(
            f"{standard.choice}{where}: {now.option} is the house standard{general} already, since "
            f"{now.since}; {UNCHANGED}"
        )
    for one in catalogue.standards:
        if _same_place(one, standard) and one.since == standard.since:
            raise UsageError(
                f"{one.choice}{where}: {one.option} was adopted for {one.since}, and a day has one "
                f"standard; {UNCHANGED}\nsay another --since, or take that entry out of "
                f"{catalogue.where}"
            )


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as trouble:
        raise FolderError(f"{path}: cannot be read ({trouble.strerror})") from trouble


def _checked(content: bytes, path: Path) -> Catalogue:
    """The catalogue that these bytes mean, as ``read_catalogue`` reads them."""
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
        return build_catalogue(tomllib.loads(text), path, content)
    except UnicodeDecodeError as trouble:
        raise FolderError(f"{path}: is not UTF-8 text; save it as UTF-8") from trouble
    except tomllib.TOMLDecodeError as trouble:
        raise FolderError(f"{path}: {trouble}; see the TOML rules for that line") from trouble


def _entry(standard: Standard, content: bytes) -> bytes:
    """The new entry with the line ends of the file, begun on a line of its own."""
    values = {"choice": standard.choice, "option": standard.option, "model": standard.model}
    quoted = {key: json.dumps(word, ensure_ascii=False) for key, word in values.items() if word}
    lines = [
        "",
        "# Recorded by fixstats adopt.",
        "[[standard]]",
        f"choice = {quoted.pop('choice')}",
        f"option = {quoted.pop('option')}",
        f"since = {standard.since.isoformat()}",
        *(f"{key} = {word}" for key, word in quoted.items()),
        "",
    ]
    end = "\r\n" if b"\r\n" in content else "\n"
    lines = lines if content.endswith((b"\n", b"\r")) else ["", *lines]
    try:
        return end.join(lines).encode("utf-8")
    except UnicodeEncodeError as trouble:
        raise UsageError(f"{standard.model!a}: is no text; {UNCHANGED}") from trouble


def _put(path: Path, before: bytes, content: bytes) -> None:
    """Put the new content in the place of the old, in one move, unless somebody was faster."""
    target = path.resolve()  # a link stays a link
    aside = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=target.parent, prefix=f".{target.name}.", suffix=".part", delete=False
        ) as file:
            aside = Path(file.name)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(target, aside)
        if target.read_bytes() != before:
            raise FolderError(
                f"{path}: was changed by somebody else just now; {UNCHANGED}, try again"
            )
        aside.replace(target)
    except OSError as trouble:
        raise FolderError(
            f"{path}: cannot be written ({trouble.strerror}); {UNCHANGED}"
        ) from trouble
    finally:
        if aside is not None:
            aside.unlink(missing_ok=True)
