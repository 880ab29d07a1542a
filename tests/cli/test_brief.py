"""``fixstats brief``: what is printed, its keys, its formats, and that records stay inert."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser

import pytest

from fixstats.cli.brief import PAGES, brief_text
from fixstats.cli.emit import render
from fixstats.folder import DEFAULT_CATALOGUE, Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

ROW = [
    "place", "kind", "label", "choice", "option", "option_label", "word", "standard", "why",
    "verdict", "scope", "p_best", "jobs", "borrowed", "safety", "trial", "cautions", "failures_of",
    "failures",
]  # fmt: skip
ODDS = [
    "rate", "low", "high", "one_in", "at_most", "failures", "opportunities", "failures_all",
    "opportunities_all", "borrowed",
]  # fmt: skip
FAILURE = ["mode", "label", *ODDS, "safety", "whole_job", "where_mixed", "text"]
SHARES = [
    f"{name}{end}" for name in ("median", "most", "nearly_all") for end in ("", "_low", "_high")
]
MONEY = [
    f"{name}{end}" for name in ("failures", "comebacks", "money") for end in ("", "_low", "_high")
]
PARTS = {
    "minutes": ["scope", "model", "jobs", *SHARES, "borrowed", "text"],
    "ready": ["part", "label", "grade", "grade_label", "word", "money", *ODDS, "text"],
    "stop_first": ["mode", "label", "cautions", *ODDS, "text"],
    "intake": ["kind", "code", "value", "label", *ODDS, "text"],
    "customer": ["event", *ODDS, "text"],
    "allowance": [
        "model", "jobs", "jobs_all", *MONEY, "not_counted", "never_looked_for",
        "returns_not_counted", "text",
    ],
}  # fmt: skip
SECTIONS = [
    "STOP FIRST", "STEP BY STEP", "HAVE READY, AND PLAN", "CHECK AT INTAKE, AND WRITE IT DOWN",
    "TELL THE CUSTOMER", "ALLOWANCE FOR THE PRICE", "TAKE CARE", "HOW TO READ THIS",
]  # fmt: skip


@pytest.fixture(scope="module")
def finding(demo_shop):
    return open_shop(demo_shop).brief(model="Norvane 22", repair="battery_swap").finding


@pytest.fixture(scope="module")
def told(finding):
    return {form: render(finding, brief_text, form, PAGES) for form in ("table", *PAGES)}


def test_json_has_all_keys(told):
    found = json.loads(told["json"])
    assert list(found) == ["question", "settings", "rows", "notes", "parts"]
    assert all(list(row) == ROW for row in found["rows"])
    assert all(list(one) == FAILURE for row in found["rows"] for one in row["failures"])
    assert {name: list(rows[0]) for name, rows in found["parts"].items()} == PARTS
    assert all(list(row) == PARTS[name] for name, rows in found["parts"].items() for row in rows)


def test_the_page_goes_from_danger_to_price(told):
    heads = [line for line in told["table"].splitlines() if line.isupper()]
    assert heads == SECTIONS
    assert told["table"].startswith("Battery: Norvane 22\nBench brief, Two Benches; records up to")
    assert max(map(len, told["table"].splitlines())) <= 100


def test_every_odds_stands_with_interval_and_counts(told, finding):
    for row in finding.rows:
        assert 1 <= len(row["failures"]) <= 3
        for one in row["failures"]:
            assert re.search(r"(\(.+ to .+\)|at most 1 in \d+), [\d,]+ of [\d,]+", one["text"])
            assert one["text"] in " ".join(told["table"].split())
    text = finding.parts["customer"][0]["text"]
    assert re.match(
        r"About 1 in \d+, between 1 in \d+ and 1 in \d+, of these repairs come back within 90 days "
        r"because of the repair \(\d+ of \d+ here, \d+ of [\d,]+ in all, followed for 90 days\)\.$",
        text,
    )


def test_html_and_markdown_say_the_same(told, finding):
    plain = re.sub(r"<[^>]+>", "\n", told["html"])
    markdown = told["markdown"].replace("\\", "")
    for name in ("ready", "customer", "intake", "stop_first"):
        for row in finding.parts[name]:
            if row["opportunities_all"]:
                assert row["text"].replace("<", "&lt;").replace("'", "&#39;") in plain
                assert row["text"] in markdown
    for row in finding.rows:
        assert row["why"].replace("'", "&#39;") in plain
        assert row["why"] in markdown


def test_csv_has_a_line_for_each_failure(told, finding):
    rows = list(csv.DictReader(io.StringIO(told["csv"])))
    assert len(rows) == sum(len(row["failures"]) for row in finding.rows)
    assert list(rows[0])[:6] == ["place", "choice", "option", "word", "failures_of", "mode"]


# ---------------------------------------------------------------- a small shop with hostile words

HOSTILE = "<script>alert(1)</script> \"'><img src=x onerror=alert(2)>"
TURNED = "Alder \u202e5\u202c"


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("hostile")
    text = DEFAULT_CATALOGUE.read_text(encoding="utf-8")
    label = HOSTILE.replace('"', '\\"')
    text = text.replace('label = "Pull tab snapped"', f'label = "{label}"')
    text = text.replace(
        '"Pull slowly and flat;', '"<script>alert(3)</script> Pull slowly and flat;'
    )
    (path / "c.toml").write_text(text, encoding="utf-8")
    folder = make_folder(path / "shop", Settings(name="=cmd()|<b>Bench</b>"), path / "c.toml")
    with (path / "s.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        names = ["job", "finished", "model", "repair", "battery_release", "failures", "technician"]
        writer.writerow(names)
        for n in range(40):
            failures = "tab_snapped" if n % 5 == 0 else ""
            model = HOSTILE if n % 2 else "דגם 7"
            row = [n, f"2026-01-{n % 28 + 1:02}", model, "battery_swap", "pull_tab", failures, "T1"]
            writer.writerow(row)
    import_sheets(folder, [path / "s.csv"], covers="all")
    return folder.path


class Elements(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen = set()

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        assert not any(name.startswith("on") for name, _ in attrs)


def test_records_and_catalogue_come_out_inert(run, small, tmp_path):
    asked = ("brief", "--model", HOSTILE, "--repair", "battery_swap", "--shop", small)
    page = tmp_path / "b.html"
    assert run(*asked, "--out", page) == (0, "", "")
    html = page.read_text(encoding="utf-8")
    elements = Elements()
    elements.feed(html)
    assert not elements.seen & {"script", "img", "iframe", "link"}
    assert "<b>Bench" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    _, markdown, _ = run(*asked, "--format", "markdown")
    assert not re.search(r"(?<!\\)<", markdown)
    assert "\\<script\\>" in markdown
    found = open_shop(small).brief(model=f"{TURNED}\x1b[31m", repair="battery_swap").finding
    for form in ("table", "html", "markdown"):
        text = render(found, brief_text, form, PAGES)
        assert not set(text) & {"\u202e", "\u202c", "\x1b"}, form
    for line in csv.reader(io.StringIO(render(found, brief_text, "csv", PAGES))):
        assert not any(cell.startswith(("=", "+", "@")) for cell in line)


def test_right_to_left_names_keep_to_themselves(small):
    found = open_shop(small).brief(model="דגם 7", repair="battery_swap").finding
    assert found.settings["model_known"]
    assert "<bdi>דגם</bdi>" in render(found, brief_text, "html", PAGES)


def test_where_a_trial_runs_lots_decide(small):
    shop = open_shop(small)
    options = ["pull_tab", "thread_cut"]
    shop.trial_start("tabs", "battery_release", options=options, difference=0.05, max_jobs=60)
    found = shop.brief(model="Alder 5", repair="battery_swap").finding
    (row,) = (row for row in found.rows if row["place"] == "battery_release")
    assert (row["option"], row["word"], row["trial"]) == (None, "trial running", "tabs")
    told = " ".join(render(found, brief_text, "table").split())
    assert "Releasing the battery: as drawn by lot (trial running)" in told
    assert "lots decide between" in row["why"]
    assert "fixstats trial next tabs" in row["why"]


def test_the_same_records_give_the_same_bytes(small):
    shop = open_shop(small)
    pages = [
        render(shop.brief(model="Alder 5", repair="battery_swap").finding, brief_text, form, PAGES)
        for form in ("json", "html")
        for _ in range(2)
    ]
    assert pages[0] == pages[1]
    assert pages[2] == pages[3]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--repair", "batery_swap"], "unknown repair 'batery_swap'; did you mean 'battery_swap'?"),
        (["--repair", "battery_swap", "--format", "pdf"], "unknown format 'pdf'"),
        (["--repair", "battery_swap", "--out", "b.doc"], "end it in .html, .json, .csv, .md"),
    ],
)
def test_wrong_usage(run, small, words, told):
    code, out, err = run("brief", "--model", "Alder 5", *words, "--shop", small)
    assert (code, out) == (2, "")
    assert told in err
    assert len(err.splitlines()) <= 2


def test_other_commands_write_no_html(run, small):
    code, _, err = run("rates", "--shop", small, "--out", "r.html")
    assert code == 2
    assert "end it in .json" in err
