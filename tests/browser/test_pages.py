"""Pages in a real browser: no network, no script, no fault, charts seen, few sheets of paper."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

playwright = pytest.importorskip(
    "playwright.sync_api", reason="Playwright is not installed: pip install '.[test]'"
)
BROWSERS = ("chromium", "chromium-browser")
WIDE, PHONE = (1200, 900), (390, 844)
# An owner has no more patience, and a printer no more trays.
MOST_PAGES = 8
A4 = (595, 842)  # points


@pytest.fixture(scope="module")
def chromium():
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found is None:
        pytest.skip("no Chromium: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        # A container's root has no sandbox to drop into.
        browser = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def opened(chromium):
    """Open a file without a network; what the page asked for, said and ran is noted."""
    contexts = []

    def open_page(file: Path, size=WIDE, scheme="light"):
        context = chromium.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, offline=True
        )
        contexts.append(context)
        page = context.new_page()
        page.noted = []
        page.on("console", lambda said: page.noted.append(f"console: {said.text}"))
        page.on("pageerror", lambda error: page.noted.append(f"error: {error}"))
        page.on("dialog", lambda dialog: page.noted.append(f"dialog: {dialog.message}"))
        page.on("request", lambda request: page.noted.append(f"request: {request.url}"))
        page.goto(file.as_uri())
        assert page.noted.pop(0) == f"request: {file.as_uri()}"
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture(scope="module")
def pages(demo_report, demo_shop, hostile_report, tmp_path_factory):
    """Every kind of page, by name."""
    from fixstats.cli.app import app
    from fixstats.cli.door import through_the_door

    brief = tmp_path_factory.mktemp("brief") / "brief.html"
    words = ["brief", "--model", "Brask One", "--repair", "battery_swap", "--shop", demo_shop]
    assert through_the_door(app, [*map(str, words), "--out", str(brief)]) == 0
    return {
        "report": demo_report / "report.html",
        "hostile": hostile_report / "report.html",
        "brief": brief,
    }


NAMES = ("report", "hostile", "brief")


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
@pytest.mark.parametrize("name", NAMES)
def test_it_opens_without_network_script_or_fault(name, size, pages, opened):
    page = opened(pages[name], size)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert page.noted == []
    assert page.evaluate("window.broken") is None
    assert page.evaluate("document.scripts.length") == 0
    # Wide tables scroll in their own frame, never the page.
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


@pytest.mark.parametrize("name", ["report", "hostile"])
def test_every_chart_is_visible_and_has_words(name, pages, opened):
    page = opened(pages[name])
    charts = page.locator(".picture > svg")
    assert charts.count() >= 4
    for n in range(charts.count()):
        chart = charts.nth(n)
        box = chart.bounding_box()
        assert chart.is_visible() and box["width"] > 300 and box["height"] > 80
        assert chart.get_attribute("role") == "img"
        for words in ("title", "desc"):
            assert len(chart.locator(f"> {words}").text_content()) > 20
        assert chart.locator("text").count() > 5
    tables = page.locator("figure > details table")
    assert tables.count() == charts.count()


def test_what_to_do_now_is_on_the_first_screen(pages, opened):
    page = opened(pages["report"])
    lines = page.locator(".actions li")
    assert 1 <= lines.count() <= 5
    last = lines.last.bounding_box()
    assert last["y"] + last["height"] <= WIDE[1]


@pytest.mark.parametrize("name", NAMES)
def test_it_prints_to_few_pages_of_paper(name, pages, opened, tmp_path):
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    file = tmp_path / "page.pdf"
    opened(pages[name], scheme="dark").pdf(path=str(file), prefer_css_page_size=True)
    sheets = pypdf.PdfReader(file).pages
    assert len(sheets) <= (1 if name == "brief" else MOST_PAGES)
    for sheet in sheets:
        size = sorted(map(float, (sheet.mediabox.width, sheet.mediabox.height)))
        assert size == pytest.approx(sorted(A4), abs=2)
    if name == "report":
        text = "\n".join(sheet.extract_text() for sheet in sheets)
        assert "What to do now" in sheets[0].extract_text()
        for title in ("Cautions", "Settings and imports behind it", "How to read this"):
            assert title in text


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_no_serious_fault(name, scheme, pages, opened):
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    page = opened(pages[name], scheme=scheme)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    found = axe.Axe().run(page).response
    assert len(found["passes"]) > 15
    serious = [
        (fault["id"], fault["impact"], [node["html"][:200] for node in fault["nodes"][:3]])
        for fault in found["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_day_and_night_differ_and_paper_is_white(pages, opened):
    def ground(page) -> str:
        return page.evaluate("getComputedStyle(document.documentElement).backgroundColor")

    day, night = (opened(pages["report"], scheme=scheme) for scheme in ("light", "dark"))
    assert sum(_parts(ground(day))) > 700 > 150 > sum(_parts(ground(night)))
    night.emulate_media(media="print", color_scheme="dark")
    assert _parts(ground(night)) == [255, 255, 255]


def _parts(colour: str) -> list[int]:
    """``rgb(1, 2, 3)`` as numbers."""
    return [int(part) for part in colour.removeprefix("rgb(").removesuffix(")").split(",")]
