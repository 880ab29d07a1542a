"""The tick sheet: everything of the catalogue is on it, and it needs nothing but a printer."""

import re
from html import unescape
from html.parser import HTMLParser

import pytest

from fixstats.errors import FolderError
from fixstats.folder import DEFAULT_CATALOGUE, build_catalogue
from fixstats.folder.links import read_catalogue
from fixstats.folder.settings import read_toml
from fixstats.records.tick_sheet import CAUTIONS, tick_sheet, write_tick_sheet

CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)
HTML = tick_sheet(CATALOGUE)
VOID = {"meta"}


class Nesting(HTMLParser):
    """Fails where tags do not close in order; keeps tags, attributes and text."""

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.attributes, self.words = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open[-1:] != ["style"]:
            self.words.append(data)


def parsed(html):
    found = Nesting()
    found.feed(html)
    found.close()
    assert found.open == []
    return found


def boxes_of(html):
    return html.count('class="box"')


def test_it_is_well_formed_and_needs_nothing_from_elsewhere():
    found = parsed(HTML)
    assert {"script", "img", "link", "iframe"}.isdisjoint(found.tags)
    assert {name for name, _ in found.attributes} <= {"lang", "charset", "name", "content", "class"}
    assert "url(" not in HTML
    assert "http" not in HTML


def test_it_is_for_paper_in_black_and_white():
    assert "size: A4" in HTML
    colours = set(re.findall(r"#[0-9a-fA-F]{3,6}\b", HTML))
    assert colours == {"#000", "#fff"}
    assert HTML.count('class="page"') == 1


def test_everything_of_the_catalogue_is_on_it():
    text = " ".join(parsed(HTML).words)
    for kind, entry in CATALOGUE.entries():
        assert entry.label in text, (kind, entry.code)


def test_boxes_are_as_many_as_there_is_to_tick():
    flags = [factor for factor in CATALOGUE.factors if factor.kind == "flag"]
    values = [value for factor in CATALOGUE.factors for value in factor.values]
    marks = (
        len(CATALOGUE.repairs) + 2 * len(flags) + len(values)
        + len(CATALOGUE.methods) + len(CATALOGUE.steps)
        + len(CATALOGUE.parts) * (len(CATALOGUE.grades) + 1)
        + 3 * len(CATALOGUE.modes) + 2 + 3
    )  # fmt: skip
    assert boxes_of(HTML) == marks


def test_families_none_seen_and_unchecked():
    text = " ".join(parsed(HTML).words)
    for family in CATALOGUE.families:
        assert family.replace("_", " ").capitalize() in text
    assert "None seen, all looked for" in text
    assert "Nobody looked" in text
    assert "not looked for" in text


def test_steps_of_a_mode_are_numbers_of_the_steps_table():
    order = CATALOGUE.step_codes
    mode = CATALOGUE.modes["clip_snapped"]
    numbers = [str(order.index(step) + 1) for step in mode.steps]
    assert len(numbers) > 1
    row = HTML[HTML.index(f">{mode.label}<") :].split("</div>")[0]
    assert re.findall(r'class="number">(\d+)<', row) == numbers
    for number in numbers:
        assert f"<th>{number} {CATALOGUE.label(order[int(number) - 1])}</th>" in HTML


def test_cautions_are_on_it():
    text = unescape(" ".join(parsed(HTML).words))
    assert [name for name, _ in CAUTIONS] == [
        "Lithium cells",
        "Solvents",
        "Heat",
        "Glass",
        "Blades",
    ]
    for _, caution in CAUTIONS:
        assert caution in text
    for mode in CATALOGUE.failure_modes:
        if mode.safety:
            assert all(caution in text for caution in mode.cautions), mode.code
    assert "service instructions, local rules and licensed practice come before" in text


def test_methods_with_cautions_are_marked():
    for method in CATALOGUE.methods:
        after = HTML[HTML.index(f'class="box"></i>{method.label}') :].split("</span>")[0]
        assert ('class="warn"' in after) == bool(method.cautions), method.code


def test_words_of_the_catalogue_are_escaped():
    raw = read_toml(DEFAULT_CATALOGUE)
    nasty = "<script>alert(1)</script> & co"
    for kind in ("step", "method", "part", "grade", "repair", "factor", "failure_mode"):
        raw[kind][0]["label"] = f"{nasty} {kind}"
    raw["factor"][10]["values"][0] = nasty
    next(mode for mode in raw["failure_mode"] if mode.get("safety"))["cautions"] = [nasty]
    found = parsed(tick_sheet(build_catalogue(raw, DEFAULT_CATALOGUE)))
    assert "script" not in found.tags
    for kind in ("step", "method", "part", "grade", "repair", "factor", "failure_mode"):
        assert f"{nasty} {kind}" in " ".join(found.words)


def test_a_bare_catalogue_has_a_sheet_too(tmp_path):
    families = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")
    modes = [
        {"code": f"m{n}", "label": f"Mode {n}", "family": family, "severity": 1, "part": "any"}
        for n, family in enumerate(families)
    ]
    write_tick_sheet(build_catalogue({"format": 1, "failure_mode": modes}, tmp_path),
                     tmp_path / "tick.html")  # fmt: skip
    html = (tmp_path / "tick.html").read_text(encoding="utf-8")
    found = parsed(html)
    assert "Mode 3" in " ".join(found.words)
    assert "Steps" not in html
    assert "Parts fitted" not in html


def test_a_place_where_nothing_can_be_written(tmp_path):
    with pytest.raises(FolderError, match="cannot be written"):
        write_tick_sheet(CATALOGUE, tmp_path / "missing" / "tick.html")
