"""Decides which column of a file is which column of ours, and which are left out and why."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fixstats.errors import SheetError
from fixstats.folder import fold
from fixstats.records.columns import HELD_BACK_COLUMNS, REQUIRED, Column, slug
from fixstats.records.mapping import Mapping as SheetMapping
from fixstats.words import counted, listed, nearest

# Words in a column's name that mean a person, or the number of one device.
_PERSONAL = frozenset((
    "customer", "client", "owner", "name", "surname", "forename", "firstname", "lastname",
    "fullname", "person", "contact", "address", "street", "city", "postcode", "zip", "phone",
    "telephone", "tel", "mobile", "cell", "email", "mail", "birthday", "birth", "passcode",
    "password", "pin", "imei", "imei1", "imei2", "meid", "serial", "serialnumber", "sn", "udid",
    "kunde", "kundin", "nachname", "vorname", "adresse", "telefon", "handy", "seriennummer",
    "cliente", "nombre", "apellido", "telefono", "correo", "nom", "prenom",
))  # fmt: skip
# Of ours, these may come from such a column: the shop's own numbers.
_EXEMPT_KINDS = ("job", "lot")


@dataclass(frozen=True)
class Header:
    """``wanted``: place in the file -> our column; ``notes``: what was left out and why."""

    wanted: Mapping[int, str]
    notes: list[str]
    exported: bool

    @property
    def names(self) -> list[str]:
        """Our columns in the file."""
        return list(self.wanted.values())


def is_personal_name(name: str) -> bool:
    """Whether a column so named holds persons or device numbers, whatever its cells say."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return not _PERSONAL.isdisjoint(re.split(r"[^\w]+|_", spaced.casefold()))


def _refuse_doubles(header: Sequence[str], where: str) -> None:
    places: dict[str, list[int]] = {}
    for place, name in enumerate(header, 1):
        if name.strip():
            places.setdefault(fold(name), []).append(place)
    for name, found in places.items():
        if len(found) > 1:
            raise SheetError(
                f"{where}: the column name '{name}' stands twice (columns "
                f"{listed(map(str, found))}); nothing was changed\ngive each column its own name"
            )


def _ours(name: str, known: Mapping[str, Column], mapping: SheetMapping) -> str | None:
    mapped = mapping.columns.get(fold(name))
    if mapped:
        return mapped
    plain = slug(name)
    taken = plain in mapping.columns.values()
    return plain if plain in known and not taken else None


def _left_out(name: str, place: int, known: Iterable[str], mapping: SheetMapping) -> str | None:
    if not name.strip():
        return f"column {place} has no name: left out"
    rule = mapping.privacy.get(fold(name))
    if is_personal_name(name):
        if rule == "refuse":
            raise SheetError(
                f"{mapping.where}: the mapping refuses files with the column '{name}'; nothing was "
                "changed"
            )
        return None if rule == "drop" else f"column '{name}' means a person or a device: left out"
    near = nearest(slug(name), known)
    hint = f"; did you mean '{near[0]}'?" if near else ""
    return f"column '{name}' is unknown: left out{hint}"


def _require(found: Iterable[str], left: Sequence[str], needed: Sequence[str], where: str) -> None:
    missing = [name for name in needed if name not in set(found)]
    if not missing:
        return
    hints = [f"'{near[0]}' for {name}" for name in missing if (near := nearest(name, left))]
    hint = f" (perhaps {listed(hints)})" if hints else f" (found: {', '.join(left[:12])})"
    raise SheetError(
        f"{where}: {counted(len(missing), 'required column')} missing: {listed(missing)}; nothing "
        f"was changed\nrename a column or use a mapping{hint}"
    )


def _personal_target(name: str, ours: str, known: Mapping[str, Column], rule: str | None) -> bool:
    """A column named for a person, mapped to one of ours without a rule that allows it."""
    return (
        is_personal_name(name)
        and known[ours].kind not in _EXEMPT_KINDS
        and rule != "hash"
        and slug(name) != ours
    )


def read_header(
    header: Sequence[str],
    known: Mapping[str, Column],
    mapping: SheetMapping,
    where: str,
    needed: Sequence[str] = REQUIRED,
) -> Header:
    """Match the header of a file with our columns.

    Raises
    ------
    SheetError
        If a name stands twice, two columns become one, or a required column is missing.
    """
    _refuse_doubles(header, where)
    wanted: dict[int, str] = {}
    notes: list[str] = []
    left: list[str] = []
    for place, name in enumerate(header):
        ours = _ours(name, known, mapping)
        if slug(name) in HELD_BACK_COLUMNS:
            wanted[place] = slug(name)
        elif ours is None:
            left.append(name)
            note = _left_out(name, place + 1, known, mapping)
            notes += [note] if note else []
        elif ours in wanted.values():
            raise SheetError(f"{where}: two columns mean '{ours}'; nothing was changed")
        elif known[ours].kind == "notes" and not mapping.keep_notes:
            notes.append(f"column '{name}' is left out: notes are kept only if the mapping says so")
        elif _personal_target(name, ours, known, mapping.privacy.get(ours)):
            left.append(name)
            notes.append(
                f"column '{name}' means a person or a device: left out; [privacy] {ours} = "
                '"hash" keeps it as a keyed hash'
            )
        else:
            wanted[place] = ours
    for theirs in mapping.columns:
        if theirs not in {fold(name) for name in header}:
            notes.append(f"the mapping's column '{theirs}' is not in this file")
    _require(wanted.values(), left, needed, where)
    exported = "held_back" in wanted.values()
    return Header(wanted, notes, exported)
