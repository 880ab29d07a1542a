"""Figures and names in the sentences and tables of a report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fixstats.charts.names import key_label, value_label
from fixstats.charts.words import NO_BREAK, bare, percent
from fixstats.findings.base import Finding, Note
from fixstats.report.blocks import Span

Row = Mapping[str, Any]

# Said once at the end of the report, not under every figure.
SAID_ONCE = ("own_records", "nothing", "zero_failures", "not_tested")
VERDICTS = {
    "standardise": "standardise",
    "trial": "try out",
    "unproven": "safety unproven",
    "only_one": "only one",
    "equal_enough": "either will do",
    "lean": "lean",
    "wait": "wait",
}


def choice_words(choice: str, labels: Mapping[str, str]) -> str:
    """What a choice is called within a sentence: ``battery grade``."""
    words = key_label(choice, labels)
    return words[:1].lower() + words[1:]


def option_words(choice: str, option: str | None, labels: Mapping[str, str]) -> str:
    """What an option is called, with a dash where there is none."""
    return "–" if option is None else value_label(choice, option, labels)


def amount(value: float | None, currency: str = "", digits: int = 2) -> str:
    """``4.20 EUR``; a dash where there is none."""
    if value is None:
        return "–"
    words = f"{value:,.{digits}f}"
    return f"{words}{NO_BREAK}{currency}" if currency else words


def amounts(values: Sequence[float | None], digits: int = 2) -> str:
    """``4.20 (1.10 to 7.30)`` from an estimate and its ends."""
    if None in values:
        return "–"
    at, low, high = (f"{value:,.{digits}f}".replace("-", "−") for value in values)
    return f"{at} ({low} to {high})"


def rate_of(row: Row, before: str = "") -> str:
    """``3.1 % (1.4 to 6.6)``; without a failure the upper limit, without opportunity a dash."""
    if row[f"{before}rate"] is None:
        return "–"
    if row[f"{before}at_most"] is not None:
        return f"none, at most {percent(row[f'{before}at_most'])}"
    low, high = bare(row[f"{before}low"]), bare(row[f"{before}high"])
    return f"{percent(row[f'{before}rate'])} ({low} to {high})"


def count_of(row: Row, before: str = "") -> str:
    """``6 of 193``."""
    return f"{row[f'{before}failures']:,} of {row[f'{before}opportunities']:,}"


def in_hundred(values: Sequence[float | None]) -> str:
    """``-6.4 (-7.9 to -5.0)``: a difference of rates and its ends, in a hundred."""
    if None in values:
        return "–"
    at, low, high = (_signed(100 * value) for value in values if value is not None)
    return f"{at} ({low} to {high})"


def _signed(value: float) -> str:
    """With its sign and never a false zero."""
    if value == 0:
        return "0"
    if abs(value) < 0.005:
        return "+<0.01" if value > 0 else "−<0.01"
    return f"{value:+.{2 if abs(value) < 0.1 else 1}f}".replace("-", "−")


def spans(
    rows: Sequence[Row], names: tuple[str, str, str], *, mark: float | None = None
) -> list[Span | None]:
    """Intervals of all rows on one scale; ``names``: keys of estimate, low and high."""
    known = [row for row in rows if all(row[name] is not None for name in names)]
    ends = [row[name] for row in known for name in names[1:]]
    if mark is not None:
        ends.append(mark)
    if not known:
        return [None for _ in rows]
    first, last = min(ends), max(ends)
    return [
        None
        if any(row[name] is None for name in names)
        else Span(row[names[1]], row[names[0]], row[names[2]], first, last, mark)
        for row in rows
    ]


def cost_alone(row: Row) -> bool:
    """Customers pay for a grade, too, and nobody recorded what they would."""
    return bool(row["choice"].endswith("_grade"))


def verdict_words(row: Row) -> str:
    """``standardise``, with what keeps it from being settled."""
    alone = ", by cost alone" if row["verdict"] == "standardise" and cost_alone(row) else ""
    if row["verdict"] == "equal_enough" and row["runner_up_safety"] != "cleared":
        return "next costs as much, safety unproven" + (
            " (borderline)" if row["borderline"] else ""
        )
    return VERDICTS[row["verdict"]] + alone + (" (borderline)" if row["borderline"] else "")


def sure_words(probability: float | None) -> str:
    """``97 % sure``; never wholly."""
    if probability is None:
        return "not known how sure"
    return f"{share_words(probability)} sure"


def share_words(probability: float) -> str:
    """``97 %``; over 99 % stays that."""
    return f"over 99{NO_BREAK}%" if probability > 0.99 else f"{100 * probability:.0f}{NO_BREAK}%"


def notes_of(*findings: Finding, leave: Iterable[str] = ()) -> list[str]:
    """What findings say of themselves, each once and without what the report says at its end."""
    left = {*SAID_ONCE, *leave}
    notes: list[Note] = [note for one in findings for note in one.notes if note.code not in left]
    return [sentence(text) for text in dict.fromkeys(note.text for note in notes)]


def sentence(text: str) -> str:
    """The text as a sentence: a capital at its beginning, a full stop at its end."""
    text = text.strip()
    end = "" if text.endswith((".", "!", "?", ":")) else "."
    return f"{text[:1].upper()}{text[1:]}{end}"
