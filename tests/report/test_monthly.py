"""The monthly report: its order, what it says of its month, its files, and that it repeats."""

from __future__ import annotations

import csv
import io
from contextlib import redirect_stdout
from dataclasses import replace
from datetime import date

import pytest

from fixstats.cli.app import app
from fixstats.cli.door import through_the_door
from fixstats.report.blocks import Bullets, Figure, Fold, Page, Section, Table
from fixstats.report.files import verdicts_written, write_report
from fixstats.report.markdown import markdown_page
from fixstats.report.monthly import SECTIONS, monthly
from fixstats.report.page import html_page
from fixstats.report.sections_changes import changed as changes_of
from fixstats.report.sections_choices import worth_reading
from fixstats.shop import open_shop
from tests.report.cases import alarm, changed, decided, material, month_row, verdict, watched

ORDER = [
    "What to do now", "What changed since last month", "House standards and verdicts",
    "Failure modes by cost", "Comparisons worth reading", "Come-backs", "Alarms", "Trials",
    "Money", "Data quality", "How to read this", "Cautions", "Settings and imports behind it",
]  # fmt: skip


def all_blocks(blocks):
    """Blocks and all within them."""
    for block in blocks:
        yield block
        if isinstance(block, Section | Fold):
            yield from all_blocks(block.blocks)
        if isinstance(block, Figure):
            yield block.behind


def bullets(section: Section) -> list[str]:
    return list(next(block for block in section.blocks if isinstance(block, Bullets)).items)


def test_sections_come_in_the_order_in_which_an_owner_reads():
    page = monthly(material())
    assert [section.title for section in page.blocks] == ORDER
    assert len({section.anchor for section in page.blocks}) == len(SECTIONS)


def test_a_shop_with_nothing_to_say_still_makes_a_report():
    page = monthly(material())
    assert "Nothing calls for action" in markdown_page(page)
    assert html_page(page).count("<section") == len(ORDER)


def test_a_partial_month_says_so_at_the_top():
    whole = material()
    assert "Partial" not in monthly(whole).subtitle
    early = replace(whole.covered, as_of=date(2026, 9, 24), last=date(2026, 9, 24))
    page = monthly(replace(whole, covered=early))
    assert "as known on 2026-09-24" in page.subtitle
    assert "Partial month: the records cover 2026-09-01 to 2026-09-24 only." in page.subtitle


def test_an_older_month_says_what_is_as_it_stands_today():
    whole = material()
    later = replace(whole, covered=replace(whole.covered, as_of=date(2026, 10, 20)))
    told = "As they stand today, and not at the end of the month"
    assert told in markdown_page(monthly(later))
    assert told not in markdown_page(monthly(whole))
    assert "as known on 2026-09-30" in monthly(later).subtitle


def test_what_changed_names_changes_only():
    lines = bullets(changes_of(material(changed=changed(month_row()))))
    assert lines[0] == "337 jobs in September 2026, 352 in August 2026."
    assert "Pull tab" not in lines[0]
    assert "9.0\u00a0% (5.0 to 16.0), 9 of 100, after 1.0\u00a0% (0.2 to 5.0), 1 of 100" in lines[1]
    assert "+8.0 (+2.0 to +15.0)" in lines[1]
    quiet = bullets(changes_of(material(changed=changed(month_row(changed=False)))))
    assert "No failure rate changed by more than chance allows: 1 rates compared" in quiet[1]
    alone = changed(month_row(changed=False, before_opportunities=0), before=0)
    assert "no month before" in bullets(changes_of(material(changed=alone)))[1]


def test_new_alarms_are_those_that_began_this_month():
    old = alarm("seal_lifts", since="2026-03-04")
    lines = bullets(changes_of(material(watched=watched(alarm(), old))))
    assert sum("New alarm" in line for line in lines) == 1


def test_new_verdicts_are_those_that_differ_from_the_report_of_the_month_before():
    now = decided(verdict(), verdict("calibration", "wait"), verdict("resealing"))
    before = {"opening": ("lean", "heat_plate"), "calibration": ("wait", "heat_plate")}
    lines = bullets(changes_of(material(decided=now, verdicts_before=before)))
    told = [line for line in lines if "verdict" in line.lower()]
    assert told == [
        "New verdict on opening the device: Heated plate, standardise; a month ago: Heated plate, "
        "lean."
    ]
    none = bullets(changes_of(material(decided=now)))
    assert "the report of August 2026 is not in the folder reports" in none[-1]


@pytest.mark.parametrize(
    ("low", "high", "reversal", "worth"),
    [
        (-0.02, -0.01, "none", True),
        (-0.02, 0.01, "none", False),
        (-0.02, 0.01, "possible", False),
        (-0.02, 0.01, "sure", True),
        (None, None, "none", False),
        (0.0, 0.1, "none", False),
    ],
)
def test_a_comparison_is_worth_reading_where_its_interval_leaves_out_0(low, high, reversal, worth):
    row = {"adjusted_low": low, "adjusted_high": high, "reversal": reversal}
    assert worth_reading(row) is worth


# ---------------------------------------------------------------- files, on the demo


def test_every_table_names_a_file_that_holds_it(demo_report):
    text = (demo_report / "report.md").read_text(encoding="utf-8")
    named = {part.split("`")[0] for part in text.split("(`")[1:]}
    files = {f"csv/{file.name}" for file in (demo_report / "csv").iterdir()}
    assert named <= files
    assert {"csv/month.csv", "csv/decide.csv", "csv/costs.csv", "csv/watch.csv"} <= named


def test_csv_holds_the_figures_of_the_findings_unrounded(demo_report, demo_shop):
    shop = open_shop(demo_shop)
    until = date(2026, 9, 30)
    costs = shop.costs(since=date(2025, 10, 1), until=until).rows
    with (demo_report / "csv" / "costs.csv").open(encoding="utf-8", newline="") as file:
        written = list(csv.DictReader(file))
    assert [row["mode"] for row in written] == [row["mode"] for row in costs]
    assert [float(row["money"]) for row in written] == [row["money"] for row in costs]


@pytest.fixture(scope="module")
def may(demo_shop, tmp_path_factory):
    """The report of an older month, by the command; its folder and what was printed."""
    folder = tmp_path_factory.mktemp("may") / "may"
    printed = io.StringIO()
    words = ["report", "--shop", str(demo_shop), "--month", "2026-05", "--out", str(folder)]
    with redirect_stdout(printed):
        assert through_the_door(app, words) == 0
    return folder, printed.getvalue()


def rows_of(folder, name):
    """The rows of a CSV file of a report."""
    text = (folder / "csv" / f"{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_the_command_writes_where_it_is_told(may):
    folder, printed = may
    assert f"{folder / 'report.html'}\n" in printed
    assert (folder / "report.md").exists()
    (settings,) = rows_of(folder, "settings")
    assert (settings["month"], settings["confidence_level"]) == ("2026-05", "0.95")


def test_the_report_of_an_older_month_knows_nothing_later(may, demo_shop):
    folder, _ = may
    shop, until = open_shop(demo_shop), date(2026, 5, 31)
    known = shop.comebacks(until=until, as_of=until).rows
    assert float(rows_of(folder, "comebacks")[0]["rate"]) == known[0]["rate"]
    costs = shop.costs(since=date(2026, 5, 1), until=until).rows
    told = rows_of(folder, "costs_of_month")
    assert [int(row["failures"]) for row in told] == [row["failures"] for row in costs]
    assert max(row["period"] for row in rows_of(folder, "watch")) == "2026-05"
    assert max(one["since"] for one in rows_of(folder, "watch_alarms")) <= "2026-05-31"
    jobs = sum(int(row["jobs"]) for row in rows_of(folder, "comebacks"))
    assert 3000 < jobs < 6000
    text = (folder / "report.md").read_text(encoding="utf-8")
    assert "As they stand today, and not at the end of the month" in text


def test_verdicts_are_read_back_as_they_were_written(demo_report, tmp_path):
    told = verdicts_written(demo_report)
    assert told["opening"][1] == "heat_plate"
    assert verdicts_written(tmp_path) is None
    rows = [verdict(option="=odd"), verdict("resealing", "unproven", option=None)]
    write_report(Page("t", "s", (), {"decide": rows}), tmp_path)
    assert verdicts_written(tmp_path) == {
        "opening": ("standardise", "=odd"),
        "resealing": ("unproven", None),
    }


def test_tables_are_rectangles(demo_report, demo_shop):
    page = monthly(material(changed=changed(month_row()), decided=decided(verdict())))
    tables = [block for block in all_blocks(page.blocks) if isinstance(block, Table)]
    assert len(tables) > 3
    assert all(len(row) == len(table.columns) for table in tables for row in table.rows)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--month", "2027-01"], "the records go from 2025-04 to 2026-09"),
        (["--month", "soon"], "no such month; write it like 2026-09, or last"),
        (["--out", "/dev/null/x"], "cannot be written"),
    ],
)
def test_what_cannot_be_told_is_refused_in_a_line(run, demo_shop, words, told):
    code, out, err = run("report", "--shop", demo_shop, *words)
    assert code in (1, 2)
    assert out == ""
    assert told in err
    assert err.count("\n") <= 2


@pytest.mark.parametrize("cores", [1, 2])
def test_what_is_asked_aside_is_what_is_asked_here(demo_shop, monkeypatch, cores):
    from fixstats import shop_report_aside

    shop, asked_here = open_shop(demo_shop), []
    few = {"_compared": lambda *_: (), "os.cpu_count": lambda: cores}
    monkeypatch.setattr(shop_report_aside, "_compared", few["_compared"])
    monkeypatch.setattr(shop_report_aside.os, "cpu_count", few["os.cpu_count"])
    begin = shop_report_aside._read
    monkeypatch.setattr(
        shop_report_aside, "_read", lambda child: asked_here.append(begin(child)) or asked_here[-1]
    )
    with (
        shop.session() as con,
        shop_report_aside.asked_aside(con, shop.folder, date(2026, 9, 30)) as wait,
    ):
        found = wait()
        expected = shop_report_aside.ask(con, shop.folder, date(2026, 9, 30))
    assert (found.watched, found.checked) == (expected.watched, expected.checked)
    assert len(asked_here) == cores - 1
    assert all(len(one.compared) > 5 for one in asked_here)


def test_a_child_that_comes_to_grief_does_no_harm(demo_shop, monkeypatch):
    from fixstats import shop_report_aside

    shop = open_shop(demo_shop)
    monkeypatch.setattr(shop_report_aside, "_START", "raise SystemExit(3)")
    monkeypatch.setattr(shop_report_aside, "ask", lambda *_: "asked here")
    with (
        shop.session() as con,
        shop_report_aside.asked_aside(con, shop.folder, date(2026, 9, 30)) as wait,
    ):
        assert wait() == "asked here"
