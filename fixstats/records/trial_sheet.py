"""The schedule of a trial on paper: one page a stratum, a line a job, to be uncovered one by one.

As HTML to print (no script, no picture, black on white), or as CSV for a spreadsheet.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby
from pathlib import Path

from fixstats.errors import FolderError, UsageError
from fixstats.records.trials import MIDDLE, NewTrial, Slot

ENDINGS = (".html", ".csv")
COLUMNS = ("trial", "technician", "model_group", "slot", "assigned", "job", "date", "used")
_STYLE = """
@page { size: A4; margin: 12mm; }
* { box-sizing: border-box; }
body { font: 10pt/1.35 "DejaVu Sans", Arial, sans-serif; color: #000; background: #fff;
  margin: 0 auto; max-width: 186mm; }
h1 { font-size: 15pt; margin: 0 0 1mm; }
h2 { font-size: 12pt; margin: 0 0 2mm; }
p, li { margin: 0 0 1.2mm; }
ul { margin: 0 0 2mm; padding-left: 6mm; }
.how { font-size: 9pt; }
.care { border: 1.5pt solid #000; padding: 1.5mm 2.5mm; margin: 2mm 0; font-size: 9pt; }
table { border-collapse: collapse; width: 100%; margin-top: 2mm; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { border: .6pt solid #000; padding: 1.1mm 2mm; text-align: left; font-size: 9.5pt; }
th { font-size: 8.5pt; }
td.number { width: 12mm; text-align: right; }
td.drawn { width: 70mm; }
small { font-size: 7.5pt; }
td.date { width: 26mm; }
td.used { width: 46mm; }
section { break-before: page; }
@media screen { body { padding: 6mm; } section { margin-top: 14mm; } }
"""


@dataclass(frozen=True)
class SheetWords:
    """Labels by code, the models of each group, and the cautions that stand on the first page."""

    labels: Mapping[str, str]
    models: Mapping[str, Sequence[str]]
    outcome: str
    cautions: Sequence[str]


def write_trial_sheet(path: Path, new: NewTrial, slots: Sequence[Slot], words: SheetWords) -> None:
    """Write the schedule; the ending of ``path`` says as what.

    Raises
    ------
    UsageError
        If the ending is neither .html nor .csv.
    FolderError
        If ``path`` cannot be written.
    """
    check_sheet_ending(path)
    text = sheet_csv(new, slots) if path.suffix == ".csv" else sheet_html(new, slots, words)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as trouble:
        raise FolderError(f"{path}: cannot be written ({trouble.strerror})") from trouble


def check_sheet_ending(path: Path) -> None:
    """Refuse a file that would be neither; before anything is drawn."""
    if path.suffix not in ENDINGS:
        raise UsageError(f"--sheet {path}: end it in .html (to print) or .csv")


def sheet_csv(new: NewTrial, slots: Sequence[Slot]) -> str:
    """A row a slot, with room for the job, the date and what was used."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for slot in slots:
        named = (_inert(slot.technician), slot.model_group, slot.number, slot.assigned)
        writer.writerow([new.trial, *named, "", "", ""])
    return out.getvalue()


def _inert(name: str) -> str:
    """A name that a spreadsheet would run as a formula, made plain text."""
    return f"'{name}" if name.startswith(("=", "+", "-", "@", "\t", "\r")) else name


def sheet_html(new: NewTrial, slots: Sequence[Slot], words: SheetWords) -> str:
    """A first page that says what is tried and how, then a page a stratum."""
    title = f"Trial {new.trial}"
    pages = [
        _stratum(new, list(of_stratum), words)
        for _, of_stratum in groupby(slots, key=lambda one: (one.technician, one.model_group))
    ]
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        + "\n".join([*_front(title, new, words), *pages])
        + "\n</body>\n</html>\n"
    )


def _front(title: str, new: NewTrial, words: SheetWords) -> Iterator[str]:
    choice, baseline, option = (
        _label(code, words) for code in (new.choice, new.baseline, new.option)
    )
    yield f"<h1>{escape(title)}</h1>"
    yield (
        f"<p>{choice}: <b>{baseline}</b> (as now) against <b>{option}</b>. What counts: "
        f"{escape(words.outcome)}. At most {new.max_jobs:,} jobs; seed {escape(new.seed)}.</p>"
    )
    rules = (*_RULES, _END.format(most=f"{new.max_jobs:,}", trial=escape(new.trial)))
    yield "<ul class='how'>" + "".join(f"<li>{line}</li>" for line in rules) + "</ul>"
    yield (
        '<div class="care"><b>Take care</b>'
        + "".join(f"<p>{escape(text)}</p>" for text in words.cautions)
        + "</div>"
    )
    yield "<h2>Which page for which device</h2><table><tr><th>devices</th><th>models</th></tr>"
    groups: dict[str, Sequence[str]] = {**words.models}
    groups.setdefault(MIDDLE, ())
    for group, models in groups.items():
        named = [*models, *(["every model not named here"] if group == MIDDLE else [])]
        yield f"<tr><td>{escape(group)}</td><td>{escape(', '.join(named))}</td></tr>"
    yield "</table>"


_RULES = (
    "Decide first whether the device may enter the trial. One that may not (swollen cell, damage, "
    "customer says no) is left out before a line is uncovered.",
    "Keep the page covered. Uncover the next line only when the device is on the bench, and do "
    "what it says. Never skip a line, never choose one.",
    "Write the job's number on the line. In the job sheet fill in the columns trial and assigned "
    "as they stand here, and the method or grade that was really used.",
    "Where it could not be done as drawn, do what is right for the device and write down what you "
    "used. The job still counts for what was drawn.",
    "A bench with this program asks it instead: fixstats trial next. Use one way or the other, "
    "never both for the same technician.",
)


# Lines are more than jobs, for nobody knows beforehand who will get which device.
_END = (
    "The trial ends with {most} jobs on all pages together, whatever lines are left, or before: "
    "look at fixstats trial status {trial} every week, and uncover no line once it says stop or "
    "ended."
)


def _stratum(new: NewTrial, slots: Sequence[Slot], words: SheetWords) -> str:
    first = slots[0]
    head = f"{escape(first.technician)}, {escape(first.model_group)} devices"
    named = ", ".join(words.models.get(first.model_group, ()))
    lines = "".join(
        f'<tr><td class="number">{slot.number}</td>'
        f'<td class="drawn"><b>{_label(slot.assigned, words)}</b> '
        f"<small>{escape(slot.assigned)}</small>"
        '</td><td></td><td class="date"></td><td class="used"></td></tr>'
        for slot in slots
    )
    return (
        f"<section>\n<h2>Trial {escape(new.trial)}: {head}</h2>\n"
        f'<p class="how">{escape(named)}</p>\n<table><thead><tr><th>line</th><th>drawn '
        "(assigned)</th><th>job</th><th>date</th><th>used, if something else</th></tr></thead>\n"
        f"{lines}</table>\n</section>"
    )


def _label(code: str, words: SheetWords) -> str:
    return escape(words.labels.get(code, code))
