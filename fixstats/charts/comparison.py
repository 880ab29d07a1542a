"""Words that all pictures of a comparison share: options, counts, what a title may say."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.charts.names import by_keys, key_label, mode_label
from fixstats.charts.words import Row, level_words, period_words, view_words
from fixstats.findings.base import Finding
from fixstats.findings.compare_words import lead_of
from fixstats.words import listed

MINUS = "\u2212"
# Options that a title names one by one; more are counted.
MOST_NAMED = 3
# What a sentence can say -> in a title.
VERDICTS = {
    "less": "fails less",
    "more": "fails more",
    "open": "no difference shown",
    "": "no like-for-like figure",
}
TURNS = {"sure": "turns round", "possible": "may turn round"}


def option_label(option: Any, labels: Mapping[str, str]) -> str:
    """What an option is called: its label, else as it was written."""
    return labels.get(option, str(option))


def against(row: Row, labels: Mapping[str, str]) -> str:
    """``Hot-air gun against Heated plate``."""
    return f"{option_label(row['option'], labels)} against {option_label(row['baseline'], labels)}"


def modes_of(finding: Finding) -> list[str]:
    """What the rows count, each once."""
    return list(dict.fromkeys(mode_label(row, finding.labels) for row in finding.rows))


def subject_of(finding: Finding) -> str:
    """What a title begins with: the mode, and the choice where it is any mode of it."""
    found = modes_of(finding)
    choice = key_label(finding.rows[0]["choice"], finding.labels)
    if len(found) > 1:
        return f"{choice}, {len(found)} failure modes"
    row = finding.rows[0]
    return f"{choice}, any failure" if (row["mode"], row["family"]) == (None, None) else found[0]


def pair_counts(row: Row) -> str:
    """``5 of 60 | 12 of 193``: the option, then the baseline."""
    return (
        f"{row['failures']:,} of {row['opportunities']:,} | "
        f"{row['baseline_failures']:,} of {row['baseline_opportunities']:,}"
    )


def smaller(row: Row) -> int:
    """The smaller of the two sides: how much a row can tell."""
    return int(min(row["opportunities"], row["baseline_opportunities"]))


def overall(finding: Finding) -> list[Row]:
    """Rows over all models; all rows where there are none."""
    return [row for row in finding.rows if row["model"] is None] or list(finding.rows)


def comparison_title(finding: Finding) -> str:
    """The sentence of the only overall row; of several, which options fail less and which more."""
    rows = overall(finding)
    subject = subject_of(finding)
    if len(rows) == 1:
        return f"{subject}: {labelled(finding, rows[0])}"
    if len(modes_of(finding)) > 1 or len({row["option"] for row in rows}) < len(rows):
        return f"{subject}: {len(rows)} differences, like for like where that can be said"
    baseline = option_label(rows[0]["baseline"], finding.labels)
    return f"{subject}, against {baseline}: {_verdicts(finding, rows)}"


def _verdicts(finding: Finding, rows: Sequence[Row]) -> str:
    """Options by what the sentences say of them."""
    found: dict[str, list[str]] = {}
    for row in rows:
        found.setdefault(VERDICTS[verdict_of(finding, row)], []).append(
            option_label(row["option"], finding.labels)
        )
    parts = []
    for said in VERDICTS.values():
        names = found.get(said, [])
        if names:
            who = listed(names) if len(names) <= MOST_NAMED else f"{len(names)} options"
            parts.append(f"{said}: {who}")
    return "; ".join(parts)


def labelled(finding: Finding, row: Row) -> str:
    """The finding's own sentence on a row, with labels for codes."""
    told = _told_of(finding, row)
    if told is None:
        return against(row, finding.labels)
    text = str(told["sentence"])
    for code in {row["option"], row["baseline"]} & set(finding.labels):
        text = re.sub(rf"(?<!\w){re.escape(code)}(?!\w)", finding.labels[code], text)
    return text


def verdict_of(finding: Finding, row: Row) -> str:
    """What the finding's own sentence on a row says: a key of ``VERDICTS``."""
    told = _told_of(finding, row)
    return "" if told is None else str(told["verdict"])


def _told_of(finding: Finding, row: Row) -> Row | None:
    names = ("option", "model", "mode", "family")
    for one in finding.parts.get("sentences", ()):
        if all(one[name] == row[name] for name in names):
            return one
    return None


def comparison_subtitle(finding: Finding, *more: str) -> list[str]:
    """Lines under a title: n, view, interval and its confidence, period, what was left out."""
    settings = finding.settings
    rows = overall(finding)
    unit = settings["unit"]
    if len(rows) == 1:
        row = rows[0]
        count = (
            f"n: {row['failures']:,} failures of {row['opportunities']:,} opportunities ({unit}), "
            f"against {row['baseline_failures']:,} of {row['baseline_opportunities']:,}"
        )
    else:
        sizes = sorted(row["opportunities"] for row in rows)
        between = f"{sizes[0]:,} to {sizes[-1]:,}" if sizes[0] < sizes[-1] else f"{sizes[0]:,}"
        count = (
            f"n: {between} opportunities ({unit}) an option, "
            f"{rows[0]['baseline_opportunities']:,} of the baseline"
        )
    where = [one for one in settings["where"] if one != "rework=no"]
    lines = (
        (count, view_words(finding)),
        (f"{level_words(finding)} intervals", period_words(settings), _rework(finding)),
        (f"only {', '.join(where)}" if where else "", *more),
    )
    return ["; ".join(filter(None, parts)) for parts in lines if any(parts)]


def _rework(finding: Finding) -> str:
    return "" if finding.settings.get("include_rework") else "come-back jobs left out"


def adjusted_words(finding: Finding) -> str:
    """What stands behind the like-for-like figures: the fit, else the strata."""
    kinds = {lead.kind for row in finding.rows if (lead := lead_of(row))}
    how, keys = "adjusted for", finding.settings["adjusted_for"]
    if kinds == {"strata"}:
        how, keys = "within strata of", finding.settings["strata"]
    names = by_keys([(key,) for key in keys], finding.labels) if keys else "nothing"
    return f"like for like: {how} {names}" if kinds else "like for like: no figure"


def hundred(difference: float) -> str:
    """``+2.7``: so many more in a hundred."""
    return f"{100 * difference:+.1f}".replace("-", MINUS)
