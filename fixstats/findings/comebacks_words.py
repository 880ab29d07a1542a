"""What come-backs come to in sentences, never more than the numbers say; pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.comebacks_figures import ANY, FEW
from fixstats.words import counted

Row = Mapping[str, Any]
# More groups than this are a table's business: words are for those that stand out.
MOST_SAID = 6


def share(value: float) -> str:
    """A share as so many in a hundred: ``6.1``; more digits below one, never a false zero."""
    size = 100 * value
    if size == 0:
        return "0"
    if size < 0.01:
        return "<0.01"
    return f"{size:.2f}" if size < 1 else f"{size:.1f}"


def p_words(value: float) -> str:
    """``p < 0.001`` or ``p = 0.034``."""
    return "p < 0.001" if value < 0.001 else f"p = {value:.2g}"


def value_words(value: Any, labels: Mapping[str, str]) -> str:
    """A value of a key as people say it: its label in quotes, since labels have commas."""
    if value in (None, "-"):
        return "not recorded" if value is None else "none"
    return f'"{labels[value]}"' if value in labels else str(value)


def group_words(row: Row, keys: Sequence[str], labels: Mapping[str, str]) -> str:
    """``battery grade Aftermarket, model Quillon Q5``."""
    said = []
    for key in keys:
        name = labels.get(key, key.replace("_", " "))
        name = name if name[1:2].isupper() else name[:1].lower() + name[1:]
        said.append(f"{name} {value_words(row[key], labels)}")
    return ", ".join(said)


def about(reason: str, labels: Mapping[str, str]) -> str:
    """Why they come back."""
    return "because of the repair" if reason == ANY else f"with {value_words(reason, labels)}"


def sentence(row: Row, keys: Sequence[str], labels: Mapping[str, str]) -> str:
    """What one row says."""
    who = counted(row["jobs"], "job")
    group = group_words(row, keys, labels)
    who = f"Of {who} with {group}" if group else f"Of {who}"
    within = f"within {counted(row['days'], 'day')}"
    why = about(row["reason"], labels)
    if row["rate"] is None:
        back = "none has" if not row["returns"] else f"{row['returns']:,} have"
        back = "1 has" if row["returns"] == 1 else back
        return (
            f"{who} {back} come back so far {why}; fewer than {FEW} were still being followed on "
            f"day {row['days']}, so no rate is given for that day."
        )
    if not row["returns"]:
        return (
            f"{who} none has come back {within} {why} so far; up to {share(row['high'])} in 100 "
            "would fit that."
        )
    ends = f"{share(row['low'])} to {share(row['high'])}"
    return f"{who}, {share(row['rate'])} in 100 come back {within} {why} ({ends})."


def sentences_for(
    rows: Sequence[Row], overall: Row, keys: Sequence[str], labels: Mapping[str, str], level: float
) -> list[str]:
    """All jobs first, then the groups: each of a few, those that stand out of many; one reason."""
    said = [sentence(overall, (), labels)]
    if len(rows) == 1:
        return [sentence(rows[0], keys, labels)]
    if len(rows) <= MOST_SAID:
        return [*said, *(sentence(row, keys, labels) for row in rows)]
    differ = [row for row in rows if (row["p_corrected"] or 1.0) < 1 - level]
    if not differ:
        found = [row["p_corrected"] for row in rows if row["p_corrected"] is not None]
        if not found:
            return said
        least = f" (smallest corrected {p_words(min(found))})"
        return [*said, f"No difference between the {len(rows)} groups could be shown{least}."]
    differ.sort(key=lambda row: row["p_corrected"])
    for row in differ[:MOST_SAID]:
        said.append(f"{sentence(row, keys, labels)} It differs from the rest: corrected "
                    f"{p_words(row['p_corrected'])}.")  # fmt: skip
    if len(differ) > MOST_SAID:
        said.append(f"{len(differ) - MOST_SAID} more groups differ from the rest.")
    return said


def adjusted_words(rows: Sequence[Row], reason: str, labels: Mapping[str, str]) -> str:
    """Options over the same jobs, all models together, for one reason."""
    over_all = [row for row in rows if row["scope"] == "all"]
    baseline = over_all[0]
    said = [f"{value_words(baseline['option'], labels)} {_spread(baseline)}"]
    for row in over_all[1:]:
        word = "more" if row["difference"] >= 0 else "fewer"
        size = share(abs(row["difference"]))
        ends = " to ".join(
            f"{share(abs(end))} {'more' if end >= 0 else 'fewer'}"
            for end in (row["difference_low"], row["difference_high"])
        )
        said.append(
            f"{value_words(row['option'], labels)} {_spread(row)}, {size} {word} than "
            f"{value_words(baseline['option'], labels)} ({ends})"
        )
    return f"Like for like, in 100 jobs, back {about(reason, labels)}: {'; '.join(said)}."


def _spread(row: Row) -> str:
    return f"{share(row['rate'])} ({share(row['low'])} to {share(row['high'])})"
