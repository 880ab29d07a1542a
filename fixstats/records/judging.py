"""Judges every distinct cell of a sheet once: how we write it, and what is wrong with it.

A sheet of a million rows has a few thousand distinct cells; only rows with a wrong one are
looked at again.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixstats.engines.session import load
from fixstats.errors import SheetError
from fixstats.folder import Catalogue, fold
from fixstats.records import dates
from fixstats.records.columns import Column, known_words, slug
from fixstats.records.mapping import Mapping as SheetMapping
from fixstats.records.templates import code, column, fill
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection

# Too many different texts to be worth judging one by one; checked as a whole elsewhere.
UNJUDGED = ("job", "return_of", "held_back", "reason")
KEY_VARIABLE = "FIXSTATS_KEY"


@dataclass(frozen=True)
class Judged:
    """Which columns are written differently in the file, and which hold wrong cells."""

    rewritten: list[str]
    faulty: list[str]
    decimal: str


@dataclass(frozen=True)
class Manner:
    """How a file is read.

    Attributes
    ----------
    where
        Its name in messages.
    separator
        Between its cells, "" where it is no text.
    serial
        Bare numbers in columns of dates are days as spreadsheets count them.
    exported
        It is our own sheet of held-back rows.
    lenient
        Hold rows back even where no date at all can be read.
    zone
        The shop's time zone (IANA).
    """

    where: str
    separator: str
    serial: bool
    exported: bool
    lenient: bool
    zone: str


def judge(
    con: Connection,
    names: Sequence[str],
    known: Mapping[str, Column],
    mapping: SheetMapping,
    catalogue: Catalogue,
    manner: Manner,
) -> Judged:
    """Fill ``cells`` with one row for each distinct cell of ``raw_sheet``.

    Raises
    ------
    SheetError
        If dates can be read two ways, none of the hand-over dates can be read, or a hash is
        wanted and no key is set.
    """
    judged = [name for name in names if name not in UNJUDGED]
    con.execute(fill("macros"))
    _load_tables(con, judged, known, catalogue)
    parts = [fill("distinct_cells", code=code(name), column=column(name)) for name in judged]
    con.execute("create or replace temp table distinct_cells as " + " union all ".join(parts))
    _load_values(con, mapping)
    orders = _load_days(con, mapping, manner)
    point, thousands = _number_signs(con, mapping, manner.separator)
    # What is no text file may hold numbers as numbers, which have a point whatever people write.
    signs = {"point": point, "thousands": thousands, "exported": manner.exported}
    signs["native"] = not manner.separator
    con.execute(fill("elements"), signs)
    _advise(con, catalogue, orders)
    con.execute(fill("judged_elements"))
    con.execute(fill("cells"))
    rows = con.execute(fill("column_verdicts")).fetchall()
    if not manner.lenient:
        _refuse_unreadable_dates(con, rows, manner.where)
    return Judged(
        [name for name, rewritten, _, _ in rows if rewritten],
        [name for name, _, faulty, _ in rows if faulty],
        point,
    )


def _load_tables(
    con: Connection, names: Sequence[str], known: Mapping[str, Column], catalogue: Catalogue
) -> None:
    columns = [(name, known[name].kind, known[name].owner, known[name].separator) for name in names]
    load(
        con, "sheet_columns", "col varchar, kind varchar, owner varchar, separator varchar", columns
    )
    words = known_words(catalogue)
    shape = "kind varchar, owner varchar, slug varchar, code varchar, position integer"
    load(con, "known_words", shape, list(words))
    con.execute(fill("mode_places"))


def _load_values(con: Connection, mapping: SheetMapping) -> None:
    """The mapping's translations of values, and hashes of the columns it wants hashed."""
    rows = [
        (name, theirs, ours) for name, pairs in mapping.values.items()
        for theirs, ours in pairs.items()
    ]  # fmt: skip
    hashed = [name for name, rule in mapping.privacy.items() if rule == "hash"]
    if hashed:
        key = os.environ.get(KEY_VARIABLE, "")
        if not key:
            raise SheetError(
                f"{mapping.where}: [privacy] wants a keyed hash, and {KEY_VARIABLE} is not set\n"
                "set it to a secret of the workshop, the same at every import, and keep it safe"
            )
        cells = con.execute(fill("hashed_cells"), {"columns": hashed}).fetchall()
        rows = [row for row in rows if row[0] not in hashed]
        rows += [(name, fold(cell), keyed_hash(cell, key)) for name, cell in cells]
    load(con, "value_map", "col varchar, theirs varchar, ours varchar", sorted(set(rows)))
    rules = list(mapping.privacy.items())
    load(con, "privacy_rules", "col varchar, rule varchar", [tuple(rule) for rule in rules])


def keyed_hash(text: str, key: str) -> str:
    """What stands in the records for a person's name: HMAC-SHA256 under the workshop's key."""
    digest = hmac.new(key.encode(), fold(text).encode(), hashlib.sha256).hexdigest()
    return f"h{digest[:16]}"


def _load_days(con: Connection, mapping: SheetMapping, manner: Manner) -> dict[str, str | None]:
    """Read the distinct dates of every date column; the order of day and month by column."""
    rows = con.execute(fill("date_cells")).fetchall()
    texts: dict[str, list[str]] = {}
    for name, text in rows:
        texts.setdefault(name, []).append(text)
    orders: dict[str, str | None]
    if mapping.formats.dates:
        orders = dict.fromkeys(texts, dates.order_of(mapping.formats.dates))
    else:
        orders = dict(dates.find_orders(texts, manner.where))
    days = [
        (name, text, day.isoformat(), dates.absurd(day, manner.zone))
        for name, text in rows
        if (day := dates.read_day(text, orders[name], manner.serial, manner.zone)) is not None
    ]
    load(con, "days", "col varchar, written varchar, day varchar, fault varchar", days)
    return orders


def _number_signs(con: Connection, mapping: SheetMapping, separator: str) -> tuple[str, str]:
    """The decimal sign and the sign between thousands: as mapped, else as the numbers show."""
    formats = mapping.formats
    commas, points, both_comma, both_point = con.execute(fill("number_signs")).fetchall()[0]
    point = formats.decimal
    if point is None:
        comma = commas + both_comma > points + both_point
        tie = commas + both_comma == points + both_point and commas + both_comma > 0
        point = "," if comma or (tie and separator == ";") else "."
    thousands = formats.thousands
    if thousands is None:
        shown = both_comma if point == "," else both_point
        thousands = ("." if point == "," else ",") if shown else ""
    # replace() by nothing: a sign that no number holds stands for "none"
    return point, thousands or "\x00"


def _advise(con: Connection, catalogue: Catalogue, orders: Mapping[str, str | None]) -> None:
    """Words for each distinct element that is not known."""
    rows = con.execute(fill("unresolved")).fetchall()
    steps = {slug(m.code): m.step for m in catalogue.methods}
    steps |= {slug(m.label): m.step for m in catalogue.methods}
    options: dict[tuple[str, str], list[str]] = {}
    for kind, owner, _, word, _ in known_words(catalogue):
        options.setdefault((kind, owner), []).append(word)
    advice = []
    for kind, owner, name, element, word in rows:
        if kind == "date":
            text = dates.reason(element, orders.get(name))
        elif kind in ("amount", "cost", "number"):
            text = _unread_number(element)
        elif kind == "step" and slug(word) in steps:
            text = f"'{word}' is a method of step {steps[slug(word)]}, not of {owner}"
        else:
            text = unknown_word(kind, owner, word, options.get((kind, owner), []))
        advice.append((kind, owner, element, text))
    load(
        con, "advice", "kind varchar, owner varchar, element varchar, reason varchar",
        sorted(set(advice)),
    )  # fmt: skip


def _unread_number(text: str) -> str:
    """Why a number is not read: it may be one in either of two spellings."""
    if re.fullmatch(r"[+-]?\d{1,3}[.,]\d{3}", text):
        whole, after = re.split("[.,]", text)
        fraction = f"{whole}.{after}".rstrip("0").rstrip(".")
        return f"{text} could be {whole}{after} or {fraction}"
    return f"'{text}' is no number that can be read"


_NOUNS: Mapping[str, str] = {
    "step": "unknown method of {owner}",
    "grade": "unknown grade",
    "repair": "unknown repair",
    "outcome": "unknown outcome",
    "failures": "unknown failure mode",
    "preexisting": "unknown failure mode",
    "unchecked": "unknown failure mode or family",
    "return_reason": "unknown failure mode",
}


def unknown_word(kind: str, owner: str, word: str, options: Sequence[str]) -> str:
    """What is said of a word that a coded cell of this kind does not know: the nearest known."""
    if kind in ("flag", "fitted"):
        return f"'{word}' is neither yes nor no"
    noun = _NOUNS.get(kind, "value not allowed for {owner}:").format(owner=owner)
    return f"{noun} '{word}'{did_you_mean(slug(word), options)}"


def _refuse_unreadable_dates(
    con: Connection, rows: Sequence[tuple[str, bool, bool, bool]], where: str
) -> None:
    read = {name for (name,) in con.execute(fill("columns_with_days")).fetchall()}
    for name, _, _, all_faulty in rows:
        if name == "finished" and all_faulty and name not in read:
            raise SheetError(
                f"{where}: column 'finished': no date in it can be read; nothing was changed\n"
                "write dates as 2026-01-31, or say how they are written: [formats] dates"
            )
