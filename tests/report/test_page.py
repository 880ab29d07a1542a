"""Blocks as HTML and Markdown: complete, well-formed, and inert whatever the records hold."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from fixstats.report.blocks import (
    Action,
    Actions,
    Bullets,
    Cautions,
    Column,
    Figure,
    Fold,
    Page,
    Paragraph,
    Section,
    Span,
    Table,
)
from fixstats.report.harmless import cleaned, html_name, html_text, markdown_text
from fixstats.report.markdown import markdown_page
from fixstats.report.page import html_page

HOSTILE = "<script>alert(1)</script> \"'><img src=x onerror=alert(2)> & | `x` [a](b) \u202eevil"
HEBREW = "דגם"
VOID = {"meta", "img", "br"}


class _Read(HTMLParser):
    """Elements that are opened, text that is shown; fails where elements do not close in turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def _read(page: str) -> _Read:
    reader = _Read()
    reader.feed(page)
    assert reader.open == []
    return reader


def _page(words: str) -> Page:
    table = Table(
        words,
        (Column(words), Column("rate", figures=True), Column("drawn")),
        ((words, words, Span(0.1, 0.2, 0.3, 0, 1, mark=0)), ("b", None, None)),
        source="csv/rows.csv",
    )
    blocks = (
        Actions((Action(words, words, words, urgent=True),)),
        Section(
            words,
            "first",
            (
                Paragraph(words, small=True),
                Bullets((words,)),
                Cautions((words,)),
                table,
                Figure("<svg></svg>", words, words, table),
                Fold(words, (table,)),
            ),
        ),
    )
    return Page(words, words, blocks, {"rows.csv": ()})


def test_every_block_is_shown_and_every_element_is_closed():
    page = _read(html_page(_page("plain words")))
    assert {"section", "table", "figure", "details", "ol", "svg", "circle"} <= set(page.seen)
    # Title twice, subtitle; action 3; section, paragraph, bullet, caution; table 4; the picture's
    # table 4; fold and its table 4.
    assert page.text.count("plain words") == 3 + 3 + 4 + 4 + 4 + 5


def test_text_of_the_records_is_text_in_html():
    page = html_page(_page(HOSTILE))
    read = _read(page)
    assert not {"script", "img"} & set(read.seen)
    assert "\u202e" not in page
    assert "<script>alert(1)</script> \"'><img src=x onerror=alert(2)> & | `x`" in read.text


def test_text_of_the_records_is_text_in_markdown():
    markdown_it = pytest.importorskip("markdown_it")
    page = markdown_page(_page(HOSTILE))
    html = markdown_it.MarkdownIt("commonmark", {"html": True}).enable("table").render(page)
    assert not {"script", "img", "a"} & set(_read(html).seen)
    assert "\u202e" not in page


@pytest.mark.parametrize("text", ["1. first", "- item", "# head", "+ more", "=== x", "~~~"])
def test_a_line_of_markdown_begins_no_list_heading_or_rule(text):
    markdown_it = pytest.importorskip("markdown_it")
    html = markdown_it.MarkdownIt("commonmark").render(f"above\n\n{markdown_text(text)}")
    assert html.count("<p>") == 2
    assert text in _read(html).text


def test_words_from_right_to_left_stay_in_their_place():
    assert html_text(f"{HEBREW} 3: 5 of 20") == f"<bdi>{HEBREW}</bdi> 3: 5 of 20"
    assert html_name(f"{HEBREW} 3") == f"<bdi>{HEBREW} 3</bdi>"
    assert markdown_text(f"a {HEBREW} b") == f"a \u2068{HEBREW}\u2069 b"


def test_signs_that_steer_are_blanks():
    assert cleaned("a\x1b[2Jb\u2066c\nd") == "a [2Jb c d"
    assert cleaned("می\u200cخواهم") == "می\u200cخواهم"


def test_the_page_fetches_and_runs_nothing():
    page = html_page(_page("words"))
    assert "default-src 'none'" in page
    assert "http://" not in page
    assert "https://" not in page
    assert "url(" not in page
    assert "@import" not in page
