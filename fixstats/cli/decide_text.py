"""Decisions in words and tables for people: what to do first, the figures behind it, the rest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from shlex import quote
from typing import TYPE_CHECKING, Any

from fixstats.cli import text
from fixstats.words import counted, sure_percent

if TYPE_CHECKING:
    from fixstats.findings.base import Finding

Row = Mapping[str, Any]
# Of several choices, models are told only where another option leads than over all models.
DETAILS = "every row: fixstats decide CHOICE, or --format csv"
# Commands to go on with.
MOST_LINES = 6
# Of one choice, the tables of so many scopes are shown.
MOST_SCOPES = 3


def decide_text(finding: Finding) -> str:
    """A sentence for each choice and for models that differ, then the figures, then the rest.

    Of one choice every row is told; of several only those that an owner would act on.
    """
    from fixstats.cli.emit import footer

    if not finding.rows:
        return footer(finding)
    several = len(_choices(finding)) > 1
    shown = [row for row in finding.rows if not several or _differs(row, finding)]
    left = len(finding.rows) - len(shown)
    told = (
        f"\n{left:,} rows of models with the same leader are not shown; {DETAILS}" if left else ""
    )
    parts = [
        "\n".join(text.printable(line) for line in _told(finding, several)),
        _headline(finding),
        f"{_table(shown, several)}{told}",
        *([] if several else _behind(finding)),
        *_next(finding),
        footer(finding),
    ]
    return "\n\n".join(parts).rstrip()


def _choices(finding: Finding) -> list[str]:
    return list(dict.fromkeys(row["choice"] for row in finding.rows))


def _overall(row: Row, finding: Finding) -> Row | None:
    """The row over all models of the same choice; None where only some models were asked for."""
    for one in finding.rows:
        if one["choice"] == row["choice"] and one["model"] is None:
            return one
    return None


def _differs(row: Row, finding: Finding) -> bool:
    """Whether a row is one over all models, or its leader is another than theirs."""
    overall = _overall(row, finding)
    return overall is None or row is overall or row["option"] != overall["option"]


def _told(finding: Finding, several: bool) -> Iterator[str]:
    sentences = {(one["choice"], one["model"]): one["text"] for one in finding.parts["sentences"]}
    for row in finding.rows:
        overall = _overall(row, finding)
        if overall is None or row is overall:
            yield sentences[row["choice"], row["model"]]
        elif _differs(row, finding) or not several:
            yield f"  {sentences[row['choice'], row['model']]}"
        if several and row is overall:
            yield from _alike(row, finding)


def _alike(overall: Row, finding: Finding) -> Iterator[str]:
    """How many models have the same leader as all together, and with which verdicts."""
    models = [row for row in finding.rows if row["choice"] == overall["choice"] and row["model"]]
    same = [row["verdict"] for row in models if row["option"] == overall["option"]]
    if same:
        verdicts = ", ".join(f"{one} {same.count(one)}" for one in dict.fromkeys(same))
        of = counted(len(models), "model")
        yield f"  {overall['option']} leads on {len(same)} of {of}: {verdicts}"


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


def _table(shown: Sequence[Row], several: bool) -> str:
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
        for row in shown
    ]
    return text.table(heads, rows, [False] * (len(names) + 3) + [True] * 4)


def _behind(finding: Finding) -> Iterator[str]:
    """Of one choice: what a job of each option costs part by part, and what would change it."""
    overall = [row for row in finding.rows if row["model"] is None]
    for row in (overall or finding.rows)[:MOST_SCOPES]:
        yield f"{_scope(row)}, a job of each option\n\n{_options(finding, row)}"
        flips = list(_flips(finding, row))
        if flips:
            yield "\n".join([f"{_scope(row)}, what would change the leader, one at a time", *flips])


def _scope(row: Row) -> str:
    return text.printable(f"{row['choice']} on {row['model'] or 'all models'}")


def _options(finding: Finding, row: Row) -> str:
    from fixstats.findings.safety import state_words

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
            state_words(one["safety"], one["safety_opportunities"]),
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


def _next(finding: Finding) -> Iterator[str]:
    """Commands that record what was decided, or plan a trial; none where the question said if."""
    settings = finding.settings
    if any(settings[name] for name in ("changed", "where", "since", "until")):
        return
    lines = [line for row in finding.rows for line in _command(row, finding)]
    if lines:
        more = [f"  and {len(lines) - MOST_LINES:,} more"] if len(lines) > MOST_LINES else []
        shown = [f"  {text.printable(line)}" for line in lines[:MOST_LINES]]
        yield "\n".join(["if you agree:", *shown, *more])


def _command(row: Row, finding: Finding) -> Iterator[str]:
    """For a verdict that asks for something not done yet, and not said for all models already."""
    overall = _overall(row, finding)
    if row["borderline"] or (row is not overall and overall is not None and _same(row, overall)):
        return
    if row["verdict"] == "standardise" and not _told_of(finding, row)["adopted"]:
        model = f" --model {quote(row['model'])}" if row["model"] else ""
        alone = "  # by the shop's cost alone" if row["choice"].endswith("_grade") else ""
        yield f"fixstats adopt {row['choice']} {quote(row['option'])}{model}{alone}"
    elif row["verdict"] == "trial" and row["model"] is None:
        # the one in use first; where neither is, it may be one that is ruled out
        pair = sorted(
            (row["option"], str(_told_of(finding, row)["rival"])),
            key=lambda one: one != row["current"],
        )
        yield f"fixstats trial plan {row['choice']} --options {quote(','.join(pair))}"


def _told_of(finding: Finding, row: Row) -> Row:
    """The sentence of a row, and what is told beside it."""
    keys = row["choice"], row["model"]
    told = finding.parts["sentences"]
    return next(one for one in told if (one["choice"], one["model"]) == keys)


def _same(row: Row, other: Row) -> bool:
    return all(row[name] == other[name] for name in ("verdict", "option"))


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
    return text.EMPTY if chance is None else f"{sure_percent(chance)} %"
