"""The blank job sheet: as a spreadsheet sees it, and as the importer reads it back."""

from datetime import date, datetime

import openpyxl
import pytest

from fixstats.engines.duck import reading
from fixstats.errors import FolderError, SheetError
from fixstats.folder import DEFAULT_CATALOGUE, Settings, build_catalogue, make_folder
from fixstats.folder.links import read_catalogue
from fixstats.folder.settings import read_toml
from fixstats.records.blank_sheet import bench_order, write_job_sheet
from fixstats.records.columns import REQUIRED, SEPARATORS, sheet_columns
from fixstats.records.importer import import_sheets
from fixstats.records.sheet_messages import MOST_TEXT, MOST_TITLE, message
from fixstats.records.sheet_words import word_rows

CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)
COLUMNS = {column.name: column for column in bench_order(CATALOGUE)}


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("sheet") / "job_sheet.xlsx"
    write_job_sheet(CATALOGUE, path)
    return path


@pytest.fixture(scope="module")
def book(path):
    return openpyxl.load_workbook(path)


@pytest.fixture(scope="module")
def rules(book):
    """Column name -> its data validation; every column has one."""
    sheet = book.worksheets[0]
    heads = {cell.column_letter: cell.value for cell in sheet[1]}
    found = {}
    for rule in sheet.data_validations.dataValidation:
        (area,) = rule.sqref.ranges
        assert (area.min_row, area.max_row) == (2, 5001)
        found[heads[openpyxl.utils.get_column_letter(area.min_col)]] = rule
    return found


def offered(book, rule):
    """The words of a drop-down."""
    sheet, area = rule.formula1.split("!")
    return [cell.value for (cell,) in book[sheet][area.replace("$", "")]]


def folder_of(path):
    return make_folder(path, Settings(name="Small"))


def test_the_first_worksheet_is_the_sheet_with_all_our_columns(book):
    assert book.sheetnames == ["Jobs", "Words", "Example"]
    heads = [cell.value for cell in book.worksheets[0][1]]
    assert len(heads) == len(set(heads))
    assert set(heads) == set(sheet_columns(CATALOGUE))
    assert book.worksheets[0].max_row == 1


def test_columns_follow_the_bench(book):
    heads = [cell.value for cell in book.worksheets[0][1]]
    steps = [head for head in heads if head in CATALOGUE.step_codes]
    assert steps == list(CATALOGUE.step_codes)
    order = ["job", "repair", "swollen", "opening", "battery_grade", "charge", "failures",
             "returned"]  # fmt: skip
    assert [head for head in heads if head in order] == order


def test_the_header_stays_in_view_and_rare_columns_are_folded(book):
    sheet = book.worksheets[0]
    assert sheet.freeze_panes == "B2"
    folded = {sheet.cell(1, place).value
              for letter, look in sheet.column_dimensions.items() if look.hidden
              for place in range(look.min, look.max + 1)}  # fmt: skip
    assert "opening_minutes" in folded
    assert "battery_lot" in folded
    assert folded.isdisjoint({*REQUIRED, *CATALOGUE.step_codes, "battery_grade", "failures"})


def test_every_column_says_what_to_type(rules):
    assert set(rules) == set(COLUMNS)
    for name, rule in rules.items():
        assert rule.promptTitle == name
        assert rule.prompt == message(COLUMNS[name], CATALOGUE)[1]
        if name not in REQUIRED:
            assert "lank" in rule.prompt or name == "notes", name


@pytest.mark.parametrize("name", COLUMNS)
def test_messages_fit_into_what_a_spreadsheet_shows(name):
    title, text = message(COLUMNS[name], CATALOGUE)
    assert 0 < len(title) <= MOST_TITLE
    assert 20 < len(text) <= MOST_TEXT
    assert "…" not in text


def test_drop_downs_offer_the_words_of_the_catalogue(book, rules):
    modes = list(CATALOGUE.modes)
    families = list(CATALOGUE.families)
    grades = [grade.code for grade in CATALOGUE.grades]
    assert offered(book, rules["repair"]) == [repair.code for repair in CATALOGUE.repairs]
    for step in CATALOGUE.step_codes:
        assert offered(book, rules[step]) == [*CATALOGUE.methods_of(step), "-"]
    for part in CATALOGUE.part_codes:
        assert offered(book, rules[f"{part}_grade"]) == [*grades, "-"]
        assert offered(book, rules[f"{part}_fitted"]) == ["yes", "no"]
    assert offered(book, rules["failures"]) == modes
    assert offered(book, rules["preexisting"]) == modes
    assert offered(book, rules["unchecked"]) == ["all", *families, *modes]
    assert offered(book, rules["return_reason"]) == [*modes, "unrelated"]
    assert offered(book, rules["swollen"]) == ["yes", "no"]
    assert offered(book, rules["connection"]) == ["cable", "wifi", "hotspot"]
    assert offered(book, rules["outcome"]) == ["completed", "abandoned", "returned_unrepaired"]


def test_several_values_in_a_cell_are_warned_about_and_one_value_is_forbidden(rules):
    for name, rule in rules.items():
        if rule.type is not None:
            several = COLUMNS[name].kind in SEPARATORS
            # "stop" is what a file means by saying nothing
            assert rule.errorStyle == ("warning" if several else None), name
            assert rule.allowBlank, name


def test_dates_and_numbers_are_checked(rules):
    dates = [name for name, rule in rules.items() if rule.type == "date"]
    assert sorted(dates) == ["finished", "received", "returned"]
    numbers = {name for name, rule in rules.items() if rule.type == "decimal"}
    assert {"minutes", "price", "failure_cost", "opening_minutes", "battery_cost"} <= numbers
    assert {"battery_health", "charge"} <= numbers
    assert rules["minutes"].operator == "greaterThanOrEqual"
    assert rules["minutes"].formula1 == "0"


def test_words_are_told_with_their_labels(book):
    sheet = book["Words"]
    rows = {(a.value, b.value): c.value for a, b, c, _ in sheet.iter_rows() if b.value}
    assert rows["opening", "heat_gun"] == "Hot-air gun"
    assert ("failures, unchecked, ...", "tab_snapped") in rows
    assert any(text == "first > second" for _, text in rows)
    written = {row.code for row in word_rows(CATALOGUE)}
    assert {entry.code for kind, entry in CATALOGUE.entries()
            if kind in ("methods", "grades", "repairs", "failure_modes")} <= written  # fmt: skip


def test_a_sheet_without_rows_is_refused(path, tmp_path):
    with pytest.raises(SheetError, match="no rows"):
        import_sheets(folder_of(tmp_path / "shop"), [path], covers="all")


def test_the_example_reads_back_through_the_importer(path, tmp_path):
    book = openpyxl.load_workbook(path)
    for row in book["Example"].iter_rows(min_row=2):
        for cell in row:
            if cell.value is not None:
                book["Jobs"].cell(cell.row, cell.column, cell.value)
    filled = tmp_path / "filled.xlsx"
    book.save(filled)
    folder = folder_of(tmp_path / "shop")
    (report,) = import_sheets(folder, [filled], covers="all").sheets
    assert (report.rows_read, report.added, report.held_back) == (2, 2, 0), report.preview
    with reading(folder.database) as con:
        jobs = con.execute("select job, finished, minutes from records.jobs order by job")
        assert jobs.fetchall() == [
            ("1001", date(2026, 1, 15), 45.0), ("1002", date(2026, 1, 15), 70.0),
        ]  # fmt: skip
        tries = con.execute(
            "select a.method from records.attempts as a join records.jobs as j "
            "on j.entry = a.entry where j.job = '1002' and a.step = 'battery_release' "
            "order by a.attempt"
        )
        assert tries.fetchall() == [("pull_tab",), ("solvent_drip",)]
        seen = con.execute("select mode from records.failures").fetchall()
        assert seen == [("tab_snapped",)]


def test_the_example_shows_dates_as_dates_and_numbers_as_numbers(book):
    sheet = book["Example"]
    row = {head.value: cell for head, cell in zip(sheet[1], sheet[2], strict=True)}
    assert row["finished"].value == datetime(2026, 1, 15)
    assert row["finished"].number_format == "yyyy-mm-dd"
    assert isinstance(row["minutes"].value, int)


def test_labels_stay_text_and_the_same_catalogue_gives_the_same_file(tmp_path):
    raw = read_toml(DEFAULT_CATALOGUE)
    raw["method"][0]["label"] = "=1+1"
    raw["method"][1]["label"] = "http://example.invalid"
    catalogue = build_catalogue(raw, DEFAULT_CATALOGUE)
    for name in ("a.xlsx", "b.xlsx"):
        write_job_sheet(catalogue, tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    words = openpyxl.load_workbook(tmp_path / "a.xlsx")["Words"]
    (cell,) = [c for row in words.iter_rows() for c in row if c.value == "=1+1"]
    assert cell.data_type == "s"


def test_a_bare_catalogue_has_a_sheet_too(tmp_path):
    raw = {"format": 1, "failure_mode": [
        {"code": family, "label": family, "family": name, "severity": 1, "part": "any"}
        for family, name in (("a", "broken_tabs"), ("b", "display_damage"),
                             ("c", "calibration_failures"), ("d", "mixed_part_conflicts"))
    ]}  # fmt: skip
    write_job_sheet(build_catalogue(raw, tmp_path), tmp_path / "bare.xlsx")
    book = openpyxl.load_workbook(tmp_path / "bare.xlsx")
    assert book["Example"].max_row == 1


def test_a_place_where_nothing_can_be_written(tmp_path):
    with pytest.raises(FolderError, match="cannot be written"):
        write_job_sheet(CATALOGUE, tmp_path / "missing" / "sheet.xlsx")
