"""The tick sheet: a job on paper, two pages of A4, to be typed into the job sheet later.

A page of HTML that needs nothing else: no script, no picture, no font of its own, black on white.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path

from fixstats.errors import FolderError
from fixstats.folder import Catalogue, FailureMode
from fixstats.folder.catalogue import Factor
from fixstats.records.columns import OUTCOMES

# The usual cautions of the trade (common practice, no source); those of single methods and modes
# are in the catalogue and come with the bench brief.
CAUTIONS = (
    ("Lithium cells", "Swollen, hot, smelling, bent or pierced: stop first, step back, keep it "
     "away from anything that burns. Never heat, press, charge or refit such a cell."),
    ("Solvents", "Vapour burns and harms: ventilate, gloves, eye protection; no heat, spark or "
     "live circuit near. Keep them and throw them away as local rules say."),
    ("Heat", "Set and time it as the maker's service instructions say; battery out or shielded. "
     "Hot tools burn: gloves, and nothing flammable on the bench."),
    ("Glass", "Splinters cut and fly: eye protection, gloves, tape over cracks; clean the bench "
     "and the device before closing."),
    ("Blades", "Cut away from yourself and keep off the cell and the flexes; cap them when laid "
     "down."),
)  # fmt: skip
DEFER = (
    "The maker's service instructions, local rules and licensed practice come before this sheet."
)
_BOX = '<i class="box"></i>'
_WARN = '<b class="warn">!</b>'
_STYLE = """
@page { size: A4; margin: 9mm 10mm; }
* { box-sizing: border-box; }
body { font: 9pt/1.25 "DejaVu Sans", Arial, sans-serif; color: #000; background: #fff;
  margin: 0 auto; max-width: 190mm; }
h1 { font-size: 14pt; margin: 0 0 1mm; }
h2 { font-size: 10pt; margin: 2.2mm 0 .8mm; border-bottom: 1.2pt solid #000; break-after: avoid; }
h3 { font-size: 8.5pt; margin: 1.2mm 0 .4mm; break-after: avoid; }
p { margin: 0 0 1mm; }
.how, .small { font-size: 7.5pt; }
.box { display: inline-block; width: 3.3mm; height: 3.3mm; border: .8pt solid #000;
  vertical-align: -.5mm; margin-right: 1mm; }
.tick { display: inline-block; margin: 0 3.5mm .5mm 0; }
.fields { display: grid; grid-template-columns: repeat(4, 1fr); gap: 1.4mm 4mm; margin: 1mm 0; }
.six { grid-template-columns: repeat(6, 1fr); }
.field { border-bottom: .8pt solid #000; min-height: 6mm; font-size: 7.5pt; }
.line { display: inline-block; width: 16mm; border-bottom: .8pt solid #000; }
.wide { width: 26mm; }
table { border-collapse: collapse; width: 100%; break-inside: avoid; }
th, td { border: .6pt solid #000; padding: .5mm 1.2mm; text-align: left; vertical-align: top; }
th { font-size: 8pt; }
td.mark { text-align: center; vertical-align: middle; width: 9mm; }
td.mark .box { margin: 0; }
td.room { width: 34mm; }
.modes { columns: 2; column-gap: 5mm; }
.mode { break-inside: avoid; display: flex; align-items: baseline; font-size: 8.5pt;
  border-bottom: .4pt dotted #000; }
.mode .marks { flex: none; margin-right: 1.5mm; white-space: nowrap; font-size: 7pt; }
.mode .box { margin: 0 1.5mm 0 .5mm; }
.mode .where { margin-left: auto; padding-left: 2mm; white-space: nowrap; }
.number { display: inline-block; min-width: 4.5mm; }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: 4mm; }
.warn { display: inline-block; border: .9pt solid #000; border-radius: 50%; width: 3.4mm;
  height: 3.4mm; line-height: 3mm; text-align: center; font-size: 7pt; }
.care { border: 1.5pt solid #000; padding: 1mm 2mm; margin-top: 2mm; break-inside: avoid;
  font-size: 7.5pt; }
.care h3 { margin: 0 0 .4mm; }
.care p { margin: 0 0 .5mm; }
.none { border: 1.2pt solid #000; padding: .6mm 2mm; display: inline-block; margin: .6mm 3mm 0 0;
  font-weight: bold; }
.page { break-before: page; }
@media screen { body { padding: 6mm; } .page { margin-top: 12mm; } }
"""


def write_tick_sheet(catalogue: Catalogue, path: Path) -> None:
    """Write the tick sheet of a catalogue as one HTML file to print.

    Raises
    ------
    FolderError
        If ``path`` cannot be written.
    """
    try:
        path.write_text(tick_sheet(catalogue), encoding="utf-8")
    except OSError as trouble:
        raise FolderError(f"{path}: cannot be written ({trouble.strerror})") from trouble


def tick_sheet(catalogue: Catalogue) -> str:
    """The tick sheet as HTML: a front for the work, a back for what went wrong."""
    front = _job(catalogue), _at_intake(catalogue), _steps(catalogue), _parts(catalogue)
    back = _during(catalogue), _failures(catalogue), _hand_over(), _cautions(catalogue)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n<title>Tick sheet</title>\n'
        f"<style>{_STYLE}</style>\n</head>\n<body>\n"
        + "\n".join(front)
        + '\n<div class="page">\n<p class="how">Job <i class="line wide"></i> (back)</p>\n'
        + "\n".join(back)
        + "\n</div>\n</body>\n</html>\n"
    )


def _tick(label: str, warn: bool = False) -> str:
    return f'<span class="tick">{_BOX}{escape(label)}{" " + _WARN if warn else ""}</span>'


def _ticks(catalogue: Catalogue, codes: Iterable[str]) -> str:
    return "".join(_tick(catalogue.label(code)) for code in codes)


def _fields(*labels: str, grid: str = "fields") -> str:
    boxes = "".join(f'<div class="field">{escape(label)}</div>' for label in labels)
    return f'<div class="{grid}">{boxes}</div>'


def _job(catalogue: Catalogue) -> str:
    repairs = _ticks(catalogue, (repair.code for repair in catalogue.repairs))
    return (
        "<h1>Tick sheet</h1>\n"
        '<p class="how">Tick what applies. A step tried more than once: write 1, 2, 3 into the '
        "boxes instead of ticks. What nobody wrote down stays blank. Technician: a code, no name; "
        f"no names or telephone numbers of customers on this sheet. {_WARN}: the catalogue has "
        "cautions for it, read them first; the usual ones are on the back. <b>A swollen, hot or "
        "pierced cell: stop first.</b></p>\n"
        + _fields(
            "Job", "Received", "Model", "Technician", "Branch", "Come-back of job", "Trial",
            "Option drawn",
        )
        + f"<h2>Repair</h2>\n<p>{repairs}</p>"
    )  # fmt: skip


def _at_intake(catalogue: Catalogue) -> str:
    factors = [factor for factor in catalogue.factors if factor.when == "intake"]
    if not factors:
        return ""
    rows = [f"<tr><td>{escape(one.label)}</td><td>{_answer(one)}</td></tr>" for one in factors]
    half = (len(rows) + 1) // 2
    left, right = (f"<table>{''.join(part)}</table>" for part in (rows[:half], rows[half:]))
    return f'<h2>As it came in</h2>\n<div class="pair"><div>{left}</div><div>{right}</div></div>'


def _during(catalogue: Catalogue) -> str:
    factors = [factor for factor in catalogue.factors if factor.when == "during"]
    asked = "".join(
        f'<span class="tick"><b>{escape(one.label)}</b> {_answer(one)}</span>' for one in factors
    )
    return f"<h2>During the work</h2>\n<p>{asked}</p>" if factors else ""


def _answer(factor: Factor) -> str:
    if factor.kind == "number":
        return '<i class="line"></i>'
    words = ("yes", "no") if factor.kind == "flag" else factor.values
    return "".join(_tick(word) for word in words)


def _steps(catalogue: Catalogue) -> str:
    rows = []
    for number, step in enumerate(catalogue.step_codes, 1):
        methods = [method for method in catalogue.methods if method.step == step]
        boxes = "".join(_tick(one.label, bool(one.cautions)) for one in methods)
        rows.append(
            f"<tr><th>{number} {escape(catalogue.label(step))}</th><td>{boxes}</td>"
            f'<td class="mark">{_BOX}</td><td></td></tr>'
        )
    head = "<tr><th>Step</th><th>How</th><th>Not done</th><th>Minutes</th></tr>"
    return f"<h2>Steps</h2>\n<table>{head}{''.join(rows)}</table>" if rows else ""


def _parts(catalogue: Catalogue) -> str:
    if not catalogue.parts:
        return ""
    grades = [grade.label for grade in catalogue.grades]
    names = ("Part", *grades, "Seen only", "Supplier, lot")
    heads = "".join(f'<th class="small">{escape(name)}</th>' for name in names)
    rows = "".join(
        f"<tr><th>{escape(part.label)}</th>"
        + f'<td class="mark">{_BOX}</td>' * (len(grades) + 1)
        + '<td class="room"></td></tr>'
        for part in catalogue.parts
    )
    return (
        f"<h2>Parts fitted</h2>\n<table><tr>{heads}</tr>{rows}</table>\n"
        '<p class="small">A second piece after a dead one: write 1, 2. Seen only: it was in the '
        "device and was not fitted now; tick its grade too.</p>"
    )


def _failures(catalogue: Catalogue) -> str:
    families = "".join(
        f"<h3>{escape(family.replace('_', ' ').capitalize())}</h3>"
        + "".join(_mode(catalogue, catalogue.modes[code]) for code in codes)
        for family, codes in catalogue.families.items()
    )
    return (
        "<h2>What went wrong</h2>\n"
        f'<p><span class="none">{_BOX}None seen, all looked for</span>'
        f'<span class="none">{_BOX}Nobody looked</span></p>\n'
        '<p class="small"><b>S</b> seen (write 2 if at the second try or piece) &nbsp; <b>N</b> '
        "not looked for &nbsp; <b>B</b> was there before. Numbers of steps at the right: circle "
        "the one where it happened.</p>\n"
        f'<div class="modes">{families}</div>'
    )


def _mode(catalogue: Catalogue, mode: FailureMode) -> str:
    marks = "".join(f"<small>{letter}</small>{_BOX}" for letter in "SNB")
    warn = " " + _WARN if mode.safety else ""
    order = catalogue.step_codes
    places = sorted(order.index(code) + 1 for code in mode.steps) if len(mode.steps) > 1 else []
    numbers = "".join(f'<b class="number">{place}</b>' for place in places)
    where = f'<span class="where">step {numbers}</span>' if places else ""
    return (
        f'<div class="mode"><span class="marks">{marks}</span>'
        f"<span>{escape(mode.label)}{warn}</span>{where}</div>"
    )


def _hand_over() -> str:
    outcomes = "".join(_tick(word.replace("_", " ")) for word in OUTCOMES)
    return f"<h2>Hand-over</h2>\n<p>{outcomes}</p>" + _fields(
        "Finished",
        "Minutes in all",
        "Price",
        "Cost of failures",
        "Came back on",
        "Because of",
        grid="fields six",
    )


def _cautions(catalogue: Catalogue) -> str:
    general = "".join(f"<p><b>{name}.</b> {escape(text)}</p>" for name, text in CAUTIONS)
    own = "".join(
        f"<p>{_WARN} <b>{escape(mode.label)}.</b> {escape(' '.join(mode.cautions))}</p>"
        for mode in catalogue.failure_modes
        if mode.safety and mode.cautions
    )
    return f'<div class="care"><h3>Take care</h3>{general}{own}<p><b>{escape(DEFER)}</b></p></div>'
