"""Which failure modes the bench looked for: how it was declared and what that means."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from fixstats.errors import UsageError
from fixstats.folder import Catalogue
from fixstats.records.templates import fill, one_number
from fixstats.words import did_you_mean

if TYPE_CHECKING:
    import duckdb

    Connection = duckdb.DuckDBPyConnection


def declared_covers(text: str | None, catalogue: Catalogue) -> str:
    """The declaration in one spelling: ``all``, ``seen``, or codes and families, sorted.

    Raises
    ------
    UsageError
        If it names something that is neither a failure mode nor a family.
    """
    words = sorted({word.strip() for word in re.split("[,;]", text or "seen") if word.strip()})
    if words in (["all"], ["seen"]):
        return "".join(words)
    known = [*catalogue.modes, *catalogue.families]
    for word in words:
        if word not in known:
            near = did_you_mean(word, [*known, "all", "seen"])
            raise UsageError(
                f"covers: '{word}' is no failure mode or family{near}\n"
                "allowed: all, seen, or codes and families separated by commas"
            )
    return ", ".join(words)


def covered_modes(con: Connection, declared: str, catalogue: Catalogue) -> list[str]:
    """The modes a declaration means for the rows now in ``sheet``."""
    if declared == "all":
        return list(catalogue.modes)
    if declared == "seen":
        return [mode for (mode,) in con.execute(fill("modes_seen")).fetchall()]
    found: dict[str, None] = {}
    for word in declared.split(", "):
        found |= dict.fromkeys(catalogue.families.get(word, (word,)))
    return list(found)


def covers_set(con: Connection, declared: str, modes: list[str]) -> int:
    """The number of the set of modes, stored if it is a new one."""
    values = {"declared": declared, "modes": modes}
    same = con.execute(fill("same_covers"), values).fetchall()
    if same:
        return int(same[0][0])
    covers = one_number(con, "next_covers")
    con.execute(fill("store_covers"), {"covers": covers, "modes": modes})
    return covers
