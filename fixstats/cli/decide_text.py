"""Decisions in words and tables for people: what to do first, the figures behind it, the rest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fixstats.cli import text

if TYPE_CHECKING:
    from fixstats.findings.base import Finding

Row = Mapping[str, Any]
# Of one choice, the tables of so many scopes are shown.
MOST_SCOPES = 3
# An option ruled out, or not shown to be safe, says so beside its name.
STATES = {"worse": "ruled out", "unproven": "safety not shown", "cleared": ""}


def decide_text(finding: Finding) -> str:
    """A sentence for each row, those of models that say the same as all together in one."""
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    parts = [
        "\n".join(text.printable(line) for line in _told(finding)),
        _headline(finding),
        _table(finding),
        *_behind(finding),
        footer(finding),
    ]
    return "\n\n".join(parts).rstrip()


def _told(finding: Finding) -> Iterator[str]:
    from fixstats.findings.compare_use_notes import some_named

    sentences = {(one["choice"], one["model"]): one["text"] for one in finding.parts["sentences"]}
    for choice in dict.fromkeys(row["choice"] for row in finding.rows):
        rows = [row for row in finding.rows if row["choice"] == choice]
        first, *models = rows
        yield sentences[choice, first["model"]]
        alike = [row["model"] for row in models if first["model"] is None and _same(row, first)]
        if len(alike) > 1:
            yield f"  the same verdict on {some_named(alike)}, each by itself"
        for row in models:
            if len(alike) < 2 or row["model"] not in alike:
                yield f"  {sentences[choice, row['model']]}"


def _same(row: Row, other: Row) -> bool:
    names = ("verdict", "option", "borderline")
    return all(row[name] == other[name] for name in names)


def _headline(finding: Finding) -> str:
    """What the table is: level, period, labour rate, limits, what if."""
    settings = finding.settings
    currency = settings["currency"]
    told = [
        f"expected cost per job in {currency}, by first choice, "
        f"{100 * settings['confidence_level']:g} % intervals, {text.asked_words(settings)}",
        f"{settings['labour_rate']:g} {currency} an hour",
        f"alike within {settings['tolerance']:g} a job",
        f"standard from {100 * settings['standardise_at']:g} % sure",
        *([f"what if: {', '.join(settings['changed'])}"] if settings["changed"] else []),
    ]
    return text.printable("; ".join(told))


def _table(finding: Finding) -> str:
    several = len({row["choice"] for row in finding.rows}) > 1
    names = [*(["choice"] if several else []), "model"]
    heads = [
        *names, "verdict", "option", "in use", "cost a job", "cheaper than next by", "sure", "jobs",
    ]  # fmt: skip
    rows = [
        [
            *([row["choice"]] if several else []),
            str(row["model"] or "all"),
            f"{row['verdict']}{' (borderline)' if row['borderline'] else ''}",
            str(row["option"] or "none"),
            str(row["current"] or text.EMPTY),
            _span(row, ("cost_per_job", "cost_low", "cost_high")),
            _span(row, ("saving_per_job", "saving_low", "saving_high")),
            _sure(row["p_best"]),
            text.EMPTY if row["jobs"] is None else f"{row['jobs']:,}",
        ]
        for row in finding.rows
    ]
    return text.table(heads, rows, [False] * (len(names) + 3) + [True] * 4)


def _behind(finding: Finding) -> Iterator[str]:
    """Of one choice: what a job of each option costs part by part, and what would change it."""
    if len({row["choice"] for row in finding.rows}) > 1:
        return
    overall = [row for row in finding.rows if row["model"] is None]
    for row in (overall or finding.rows)[:MOST_SCOPES]:
        yield f"{_scope(row)}, a job of each option\n\n{_options(finding, row)}"
        flips = list(_flips(finding, row))
        if flips:
            yield "\n".join([f"{_scope(row)}, what would change the leader, one at a time", *flips])


def _scope(row: Row) -> str:
    return text.printable(f"{row['choice']} on {row['model'] or 'all models'}")


def _options(finding: Finding, row: Row) -> str:
    heads = [
        "option", "cost a job", "used", "minutes", "at the rate", "failures", "come-backs", "sure",
        "jobs", "safety",
    ]  # fmt: skip
    found = [
        one
        for one in finding.parts["options"]
        if (one["choice"], one["model"]) == (row["choice"], row["model"])
    ]
    found.sort(key=lambda one: (one["safety"] == "worse", one["cost_per_job"]))
    rows = [
        [
            f"{one['option']}{_mark(one)}",
            _span(one, ("cost_per_job", "cost_low", "cost_high")),
            *(_money(one[name]) for name in ("used_money", "minutes", "minutes_money")),
            *(_money(one[name]) for name in ("failures_money", "comebacks_money")),
            _sure(one["p_best"]),
            f"{one['jobs']:,}",
            one["safety"],
        ]
        for one in found
    ]
    return text.table(heads, rows, [False] + [True] * 8 + [False])


def _mark(one: Row) -> str:
    return " (house standard)" if one["standard"] else " (in use)" if one["current"] else ""


def _flips(finding: Finding, row: Row) -> Iterator[str]:
    """``labour_rate 83.10 (now 60.00): then thread_cut``; only of inputs that change something."""
    for one in finding.parts["flips"]:
        if (one["choice"], one["model"]) != (row["choice"], row["model"]):
            continue
        if one["flips_at"] is not None:
            now = "not set" if one["now"] is None else f"now {_money(one['now'])}"
            yield text.printable(
                f"  {one['input']} {_money(one['flips_at'])} ({now}): then {one['to']}"
            )


def _span(row: Row, names: Sequence[str]) -> str:
    """``9.10 (8.40 to 9.90)``."""
    values = [row[name] for name in names]
    if None in values:
        return text.EMPTY
    shown = [_money(value) for value in values]
    return f"{shown[0]} ({shown[1]} to {shown[2]})"


def _money(value: float | None) -> str:
    """Cents where they say something; never a false zero."""
    if value is None:
        return text.EMPTY
    if 0 < abs(value) < 0.005:
        return "<0.01" if value > 0 else "-<0.01"
    return f"{value:,.2f}" if abs(value) < 1000 else f"{value:,.0f}"


def _sure(chance: float | None) -> str:
    """``97 %``; never a false 0 or 100."""
    if chance is None:
        return text.EMPTY
    if chance < 0.005:
        return "<1 %"
    return ">99 %" if chance > 0.995 else f"{100 * chance:.0f} %"
