"""Whatever the records hold, no file of a report runs, fetches, computes or turns anything."""

from __future__ import annotations

import csv
from html.parser import HTMLParser

import pytest

from fixstats.spreadsheet import FORMULA_SIGNS
from tests.report.hostile import HEBREW, LABELS, NAMES, TURN

# Elements that our own pages and pictures are made of; nothing else may come out of a record.
OURS = {
    "html", "head", "meta", "title", "style", "body", "header", "main", "nav", "section", "h1",
    "h2", "h3", "p", "a", "b", "span", "bdi", "ul", "ol", "li", "div", "table", "caption", "thead",
    "tbody", "tr", "th", "td", "figure", "figcaption", "details", "summary",
    "svg", "g", "rect", "path", "line", "circle", "text", "desc", "tspan",
    "defs", "clippath",
}  # fmt: skip
ATTRIBUTES_THAT_ACT = ("on", "src", "srcset", "action", "formaction", "background", "xlink:href")


class _Elements(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.acting: list[tuple[str, str | None]] = []
        self.links: list[str | None] = []
        self.text: list[str] = []
        self.isolated: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.names.add(tag)
        self.open.append(tag)
        self.acting += [pair for pair in attrs if pair[0].startswith(ATTRIBUTES_THAT_ACT)]
        self.links += [value for name, value in attrs if name == "href"]

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        self.open.pop()

    def handle_endtag(self, tag):
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data):
        self.text.append(data)
        if HEBREW in data:
            self.isolated.append(self.open[-1])


@pytest.fixture(scope="module")
def elements(hostile_report) -> _Elements:
    reader = _Elements()
    reader.feed((hostile_report / "report.html").read_text(encoding="utf-8"))
    return reader


def test_html_holds_our_elements_only(elements):
    assert elements.names <= OURS
    assert elements.acting == []
    assert all(link.startswith("#") for link in elements.links)


def test_hostile_names_are_shown_as_they_are_written(elements):
    text = " ".join(elements.text)
    names = [name for group in NAMES.values() for name in group.values()]
    shown = [name for name in names if name in text]
    # Not every name is in a report: branches and quiet lots are not.
    assert {"<script>window.broken = 1</script>", HEBREW} <= set(shown)
    assert LABELS["Display flex torn"] in text


def test_words_from_right_to_left_are_isolated(elements):
    # In a picture every text element stands by itself; the title of the page has no elements.
    assert set(elements.isolated) <= {"bdi", "text", "tspan", "title", "desc"}
    assert "bdi" in elements.isolated


def test_no_file_turns_the_reading_order(hostile_report):
    for file in hostile_report.rglob("*.*"):
        if file.suffix in (".html", ".md"):
            assert TURN not in file.read_text(encoding="utf-8"), file


def test_markdown_holds_no_markup(hostile_report):
    markdown_it = pytest.importorskip("markdown_it")
    text = (hostile_report / "report.md").read_text(encoding="utf-8")
    rendered = markdown_it.MarkdownIt("commonmark", {"html": True}).enable("table").render(text)
    reader = _Elements()
    reader.feed(rendered)
    inline = {"h1", "h2", "h3", "p", "ol", "ul", "li", "strong", "code"}
    assert reader.names <= inline | {"table", "thead", "tbody", "tr", "th", "td"}
    assert reader.acting == []
    assert "<script>window.broken = 1</script>" in " ".join(reader.text)


def test_no_cell_is_a_formula(hostile_report):
    cells = 0
    for file in (hostile_report / "csv").glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as opened:
            for row in csv.reader(opened):
                for cell in row:
                    cells += 1
                    assert not _runs(cell), (file.name, cell)
    assert cells > 1000


def _runs(cell: str) -> bool:
    """Whether a spreadsheet would take it for a formula; a number is one and runs nothing."""
    if not cell.startswith(FORMULA_SIGNS) or cell == "-":
        return False
    try:
        float(cell)
    except ValueError:
        return True
    return False
