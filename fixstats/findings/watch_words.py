"""Alarms and notes of watching, in words for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fixstats.findings.base import OWN_RECORDS, Note
from fixstats.findings.watch_plan import Watched
from fixstats.folder import ShopFolder
from fixstats.tallies.counts import Period
from fixstats.words import counted

Row = Mapping[str, Any]
# A share of units nobody looked at that moved by so much can fake a change.
MOVED = 0.1
CELLS = "store doubtful cells as local rules say"
# A time before that is shorter, or has fewer failures, tells large changes only: of 30 failures the
# rate is known to within a third either way.
FEWEST_DAYS, FEWEST_BEFORE = 89, 30
PEOPLE = (
    "about technicians: a number cannot tell why. It may be chance, failures that others did not "
    "write down, or devices harder than model and quarter tell; look at some of the jobs together "
    "before anything else. By name, and no ranking"
)


def alarm_words(one: Row, labels: Mapping[str, str]) -> str:
    """One alarm: what, since when, how strong."""
    return f"{subject_words(one, labels)}: {seen_words(one)}"


def subject_words(one: Row, labels: Mapping[str, str]) -> str:
    """What an alarm is about, and since when."""
    since = f" since {one['since']}" if one["since"] else ""
    if one["from_start"]:
        since = " from the first watched days on, if not before"
    if one["group"] is None and not one["lasting"]:
        since = f" in {', '.join(one['months'])}" if one["months"] else since
    return f"{_what(one, labels)}{since}"


def seen_words(one: Row) -> str:
    """The numbers of an alarm: seen, expected, how much more often."""
    expected = f"{one['expected']:.1f}" if one["expected"] < 100 else f"{one['expected']:,.0f}"
    seen = f"{one['failures']:,} of {one['opportunities']:,}"
    if not one["group"]:
        return f"{seen} where {expected} were to be expected, {strength_words(one)}"
    seen += " came back" if one["charts"] == ["comebacks"] else " failed"
    as_others = f"{expected} would have, had they done like similar jobs of others"
    return f"{seen}; {as_others}: {strength_words(one)}"


def strength_words(one: Row) -> str:
    """``2.9 times as often (2.0 to 4.2)``."""
    if one["ratio"] is None:
        return "no other failures to compare with"
    high = "no end" if one["high"] is None else f"{one['high']:.1f}"
    return f"{one['ratio']:.1f} times as often ({one['low']:.1f} to {high})"


def _what(one: Row, labels: Mapping[str, str]) -> str:
    code = one["mode"] or one["family"]
    mode = labels.get(code, code.replace("_", " ")) if code else "any reason"
    if one["family"]:
        mode = f"{mode} (family)"
    if one["group"] is None:
        return mode
    name = group_words(one["group"], one["value_of_group"], labels)
    if one["charts"] == ["comebacks"]:
        return f"{name}, come-backs for {mode[:1].lower()}{mode[1:]}"
    return f"{name}, {mode[:1].lower()}{mode[1:]}"


def group_words(group: str, value: str, labels: Mapping[str, str]) -> str:
    """``battery lot CV-2603``."""
    part, _, kind = group.rpartition("_")
    part = labels.get(part, part).lower() if part else ""
    return f"{part} {kind} {value}".strip()


def look_words(one: Row, labels: Mapping[str, str]) -> str:
    """What to look at first."""
    if one["explained_by"]:
        why = labels.get(one["explained_by"], one["explained_by"])
        return f"said already by {why}"
    group = one["group"]
    if group is None:
        return "ask what changed around that day: method, part, tool, place or who does it"
    if group == "technician":
        return "look at some of these jobs together"
    if group.endswith("_lot"):
        aside = "set what is left of the lot aside, and check some of the pieces"
        return f"{aside}; {CELLS}" if group == "battery_lot" else aside
    return "compare with other suppliers of the grade, and look at single lots"


def notes_for(
    rows: Sequence[Row],
    alarms: Sequence[Row],
    months: Sequence[Row],
    time: Watched,
    covered: Period,
    folder: ShopFolder,
) -> list[Note]:
    """What to know when reading."""
    notes = [_none(rows, time)] if not alarms else []
    notes += [Note("expected_false", _false_words(rows))] if rows else []
    notes += _partial(months, time, covered)
    notes += _moved(alarms, folder.catalogue.labels)
    notes += _fewer(months, folder.catalogue.labels)
    if any(one["group"] == "technician" for one in alarms):
        notes.append(Note("people", PEOPLE))
    if any(one["group"] is None for one in alarms):
        text = (
            "the expected number comes from the time before, by device model; a change of method, "
            "part or mix since then is a reason like any other. The day is the most probable one, "
            "and a ratio from a day that was chosen by looking is a little too large"
        )
        notes.append(Note("expected_how", text))
    undated = sum(one["since"] is None for one in alarms)
    if undated:
        text = (
            f"since when is worked out for the groups that are out most clearly; "
            f"{counted(undated, 'alarm')} of others have no day"
        )
        notes.append(Note("not_dated", text))
    if any(one["group"] for one in rows):
        text = (
            "groups are compared with alike jobs of the same time: device model and quarter, and "
            "for parts the grade; corrected over all groups (Benjamini-Hochberg: on average at "
            "most 5 in 100 of such alarms about groups are false), while limits are those of a "
            "single group: a point can lie beyond them without an alarm. Come-backs: "
            f"{folder.settings.warranty_days} days at most, each job for the days it was followed"
        )
        notes.append(Note("groups_how", text))
    return [*notes, Note("own_records", OWN_RECORDS)]


def young_words(covered: Period) -> str:
    """Of records that are too young to be watched."""
    return (
        f"the records begin on {covered.first}: there is no time before yet to compare with. "
        "Watching begins with their second month"
    )


def thin_words(days: int, failures: int) -> str:
    """Of a baseline of so many days and failures; empty where it is long enough."""
    what = counted(failures, "failure")
    if days < FEWEST_DAYS:
        before = f"is {counted(days, 'day')} with {what}"
    elif failures < FEWEST_BEFORE:
        before = f"has {what} only"
    else:
        return ""
    return f"the time before {before}: only large changes can be told"


def _none(rows: Sequence[Row], time: Watched) -> Note:
    if not rows:
        return Note("nothing", "nothing in the records can be watched in that time")
    text = "nothing is out; that is no proof that nothing changed"
    if any(row["group"] is None for row in rows):  # groups are compared with each other instead
        text += f": what began before {time.since} is part of what it is compared with"
    return Note("no_alarm", text)


def _false_words(rows: Sequence[Row]) -> str:
    kinds = (
        ("single months", ("p", "p_prime", "g")),
        ("lasting changes", ("cusum",)),
        ("groups", ("funnel", "comebacks")),
    )
    parts = []
    for name, charts in kinds:
        own = [row["expected_false"] for row in rows if row["chart"] in charts]
        if own:
            parts.append(f"{sum(own):.2f} for {name}")
    total = sum(row["expected_false"] for row in rows)
    return (
        f"had nothing changed, a run like this would still raise about {total:.2f} alarms "
        f"({', '.join(parts)}), over {counted(len(rows), 'point')}"
    )


def _partial(months: Sequence[Row], time: Watched, covered: Period) -> list[Note]:
    from fixstats.findings.watch_time import month_after

    if not months or covered.as_of is None:
        return []
    last, end = max(row["period"] for row in months), min(time.until, covered.as_of)
    if (month_after(last) - end).days <= 1:
        return []
    text = f"{last} is not over: jobs up to {end} are in it, and its limits are wider for that"
    return [Note("partial_month", text)]


def _moved(alarms: Sequence[Row], labels: Mapping[str, str]) -> list[Note]:
    """Where the share of units nobody looked at moved so far that it could fake the alarm."""
    notes = []
    for one in alarms:
        if one["unknown"] is None or abs(one["unknown"][1] - one["unknown"][0]) < MOVED:
            continue
        before, now = (f"{100 * share:.0f} %" for share in one["unknown"])
        code = one["mode"] or one["family"]
        text = (
            f"{labels.get(code, code)}: nobody looked in {before} of the jobs before and in {now} "
            "since; who looks only where something is wrong raises the rate without any change"
        )
        notes.append(Note("unknown_moved", text))
    return notes


def _fewer(months: Sequence[Row], labels: Mapping[str, str]) -> list[Note]:
    """Months with fewer failures than chance leaves: better, or not written down."""
    low = [
        row
        for row in months
        if row["watched"] and row["lower_limit"] is not None and row["value"] < row["lower_limit"]
    ]
    if not low:
        return []
    codes = [row["mode"] or row["family"] for row in low[:5]]
    names = ", ".join(
        f"{labels.get(code, code)} in {row['period']}"
        for code, row in zip(codes, low, strict=False)
    )
    more = f" and {len(low) - 5} more" if len(low) > 5 else ""
    text = f"fewer than expected, got better or not written down: {names}{more}"
    return [Note("fewer", text)]
