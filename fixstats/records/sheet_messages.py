"""What a person reads when they click into a cell of the blank job sheet: plain words, short."""

from __future__ import annotations

from fixstats.folder import Catalogue
from fixstats.records.columns import REQUIRED, Column

# A spreadsheet shows no more of an input message (title, text) than this.
MOST_TITLE, MOST_TEXT = 32, 255

_OF_FIXED = {
    "job": "Number or name of the job. Each job of a branch has its own.",
    "finished": "Day of hand-over, or the day the job ended. A date: 2026-01-31.",
    "received": "Day the device came in. A date: 2026-01-31. Blank: not recorded.",
    "returned": "Day the device came back for the first time. A date: 2026-01-31. Blank: it did "
    "not come back.",
    "model": "Device model. Write a model the same way every time.",
    "repair": "Code of the repair. Several at once: a; b",
    "branch": "Which bench or shop. Leave blank if there is only one.",
    "technician": "A short code, never a person's name. Blank: not recorded.",
    "outcome": "completed, abandoned or returned_unrepaired. Blank: completed.",
    "minutes": "Working minutes of the whole job, a number. Blank: not recorded.",
    "price": "What the customer paid, a number without the currency. Blank: not recorded.",
    "failure_cost": "What failures cost on this job in money, if you know it. Blank: not known.",
    "notes": "Anything. It is not stored unless you ask for it. No names, no telephone numbers.",
    "failures": "What went wrong. Several: mode; mode. At the second try or piece: mode@2. At one "
    "of several steps: mode@step, or mode@step.2. Blank, - or none: nothing seen.",
    "unchecked": "What nobody looked for: modes or families, several with ; between, or all. "
    "Blank: everything was looked for.",
    "preexisting": "Faults of the list that were there when the device came in. Several: "
    "mode; mode. Blank: none.",
    "return_reason": "Why it came back: a failure mode, or unrelated. Blank: did not come back.",
    "return_of": "If this device came back because of an earlier job: that job's number. Else "
    "blank.",
    "trial": "Name of the trial, if this job is in one. Else blank.",
    "assigned": "The option that the trial's list drew for this job. Else blank.",
}
_OF_KIND = {
    "step": "How it was done. After a failed try: first > second. Not done: - Blank: not recorded "
    "if it belongs to the repair.",
    "grade": "Grade of the part fitted. After a dead one: first > second. None fitted: - Blank: "
    "not recorded.",
    "supplier": "Where the part came from. Several pieces: first > second. Blank: not recorded.",
    "lot": "Lot or delivery of the part. Several pieces: first > second. Blank: not recorded.",
    "cost": "Price paid for the part, a number. Several pieces: 9.50 > 12. Blank: not recorded.",
    "fitted": "no: the part was seen in the device, not fitted now. yes or blank: fitted.",
    "flag": "yes or no. Blank: not recorded.",
    "category": "Choose from the list. Blank: not recorded.",
    "number": "A number. Blank: not recorded.",
}


def message(column: Column, catalogue: Catalogue) -> tuple[str, str]:
    """Title and text of the input message of a column."""
    if column.name in _OF_FIXED:
        text = _OF_FIXED[column.name]
    elif column.kind == "amount":
        text = "Minutes of this step, all tries together, a number. Blank: not recorded."
    else:
        text = _OF_KIND[column.kind]
    label = catalogue.label(column.owner) if column.name != column.kind else ""
    head = f"{label}. " if label and column.name not in _OF_FIXED else ""
    needed = "Needed. " if column.name in REQUIRED else ""
    return _short(column.name, MOST_TITLE), _short(f"{head}{needed}{text}", MOST_TEXT)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"
