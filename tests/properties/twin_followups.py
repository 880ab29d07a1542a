"""Follow-up after hand-over once more, deliberately naive: a loop over jobs, one day after another.

Written from the conventions only (design section 6.9 and DEVELOPERS.md), it shares no thought and
no line with the SQL. A job is a dict of the sheet's columns with dates as dates and blanks as None,
and ``pieces``: part -> list of (grade, fitted).
"""

from __future__ import annotations

from datetime import timedelta

NOT_STATED = ""


def last_day(jobs, branch):
    """The latest date that the records of a branch hold."""
    found = []
    for job in jobs:
        if job["branch"] == branch:
            found += [job[name] for name in ("finished", "received", "returned") if job[name]]
    return max(found)


def first_return(jobs, job):
    """(day, reason) of the first come-back, or None; an unstated reason is ''."""
    found = []
    if job["returned"]:
        found.append((job["returned"], 0, job["return_reason"] or NOT_STATED))
    for other in jobs:
        if other["return_of"] == job["job"] and other["branch"] == job["branch"]:
            came = other["received"] or other["finished"]
            stated = None if job["returned"] else job["return_reason"]
            found.append((max(came, job["finished"]), 1, stated or NOT_STATED))
    if not found:
        return None
    day, _, reason = min(found)  # of one day, what the job's own row says
    return day, reason


def key_of(job, key):
    """The value of a key: of a part, the grade of the last piece fitted."""
    if not key.endswith("_grade"):
        return job[key]
    fitted = [grade for grade, was in job["pieces"].get(key.removesuffix("_grade"), []) if was]
    return fitted[-1] if fitted else "-"


def follow(jobs, job, days, as_of):
    """(day on which the job left, reason or None), walking on day by day; None: not begun."""
    end = min(last_day(jobs, job["branch"]), as_of)
    if job["outcome"] != "completed" or job["finished"] > end:
        return None
    back = first_return(jobs, job)
    day = 0
    while True:
        today = job["finished"] + timedelta(days=day)
        if back and back[0] == today:
            return day, back[1]
        if today == end or day == days:
            return day, None
        day += 1


def leaving(jobs, keys, days, as_of, keep=lambda job: True):
    """(keys, day, reason) -> (jobs that left so, jobs still followed when that day began)."""
    left = []
    for job in jobs:
        found = follow(jobs, job, days, as_of) if keep(job) else None
        if found:
            left.append((tuple(key_of(job, key) for key in keys), *found))
    answer = {}
    for row in left:
        group, day, _ = row
        still = sum(1 for other, later, _ in left if other == group and later >= day)
        answer[row] = (left.count(row), still)
    return answer
