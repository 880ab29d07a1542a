"""Files as a whole: what is refused and with which words, and everything that can be read."""

from __future__ import annotations

import datetime
import os
import re

import openpyxl
import polars as pl
import pytest

from fixstats.errors import SheetError
from fixstats.records.importer import import_sheets

HEADER = "job,finished,model,repair,opening\n"
GOOD = "1,2026-03-14,Velum 3,battery_swap,heat_plate\n"

# name of the file, content, words of the error
REFUSED = {
    "empty": ("a.csv", b"", "a.csv: is empty; nothing was changed"),
    "only blanks": ("a.csv", b" \n\n", "a.csv: is empty"),
    "header only": ("a.csv", HEADER, "a.csv: has a header and no rows below it"),
    "header only, no end": ("a.csv", HEADER.strip(), "a.csv: has a header and no rows below it"),
    "binary": ("a.csv", bytes(range(256)) * 40, "a.csv: is no table of text"),
    "binary workbook": ("a.xlsx", b"PK\x03\x04 rubbish", "a.xlsx: is no workbook"),
    "binary parquet": ("a.parquet", b"PAR1 rubbish", "a.parquet: is no Parquet file"),
    "broken json": ("a.jsonl", '{"job": "1"}\n{"job": \n', "a.jsonl: line 2 is no JSON object"),
    "one column": ("a.csv", "job\n1\n", r"a.csv: only one column found \('job'\)"),
    "wrong delimiter": (
        "a.csv", (HEADER + GOOD).replace(",", "^"), r"a.csv: only one column found",
    ),
    "missing column": (
        "a.csv", (HEADER + GOOD).replace("finished", "finish").replace("model", "modell"),
        r"a.csv: 2 required columns missing: finished and model; nothing was changed\n"
        r"rename a column or use a mapping \(perhaps 'finish' for finished and 'modell' for model",
    ),
    "double column": (
        "a.csv", (HEADER + GOOD).replace("repair", "Model"),
        r"a.csv: the column name 'model' stands twice \(columns 3 and 4\)",
    ),
    "ambiguous dates": (
        "a.csv", HEADER + "1,03/04/2026,M,battery_swap,\n2,05/06/2026,M,battery_swap,\n",
        "a.csv: column 'finished': every date can be read day first or month first",
    ),
    "mixed dates": (
        "a.csv", HEADER + "1,13/04/2026,M,battery_swap,\n2,05/16/2026,M,battery_swap,\n",
        "a.csv: column 'finished': some dates are day first, some month first",
    ),
    "no dates": (
        "a.csv", HEADER + "1,soon,M,battery_swap,\n2,later,M,battery_swap,\n",
        "a.csv: column 'finished': no date in it can be read",
    ),
    "open quote": (
        "a.csv", HEADER + GOOD + '2,2026-03-14,"M,battery_swap,\n' + GOOD,
        "a.csv: row [0-9]+: a quotation mark is opened and never closed",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused_as_a_whole(shop, base, name):
    shop.take([base])
    before = shop.state()
    file, content, words = REFUSED[name]
    good = shop.sheet([{**base, "job": "2"}], "good.csv")
    with pytest.raises(SheetError, match=words) as caught:
        import_sheets(shop.folder, [good, shop.file(content, file)])
    assert caught.value.exit_code == 1
    assert len(str(caught.value).splitlines()) <= 2
    assert shop.state() == before


def test_missing_file(shop, base):
    with pytest.raises(SheetError, match=r"nowhere\.csv: no such file; nothing was changed"):
        import_sheets(shop.folder, [shop.path / "nowhere.csv"])


def test_ragged_rows_are_held_back_with_their_number(shop):
    bad = "2,2026-03-14\n\n3,2026-03-14,M,battery_swap,,,\n"
    text = HEADER + GOOD + bad + GOOD.replace("1", "4", 1)
    report = shop.take_file(shop.file(text))
    assert (report.sheets[0].added, report.sheets[0].held_back) == (2, 2)
    assert [(row, reason) for row, _, _, reason in report.sheets[0].preview] == [
        (3, "the row has 2 cells where the header has 5"),
        (5, "the row has 7 cells where the header has 5"),
    ]


def test_a_huge_cell_is_held_back(shop):
    text = HEADER + GOOD + "2,2026-03-14," + "x" * 20_000_000 + ",battery_swap,\n"
    report = shop.take_file(shop.file(text))
    assert (report.sheets[0].added, report.sheets[0].held_back) == (1, 1)
    ((row, column, value, reason),) = report.sheets[0].preview
    assert (row, column, value) == (3, "model", "...")
    assert reason == "a cell of 20 million characters"


LONG = "".join(
    f"{n};{n % 28 + 1:02d}.03.2026;Vélum 3;battery_swap;heat_plate;12,5;1.234,50;naïve — “x”\r\n"
    for n in range(1, 60)
)
FOREIGN = "job;finished;model;repair;opening;minutes;price;assigned\r\n" + LONG


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "windows-1252"]
)
def test_encodings_separators_commas_and_dates_are_found_out(shop, encoding):
    report = shop.take_file(shop.file(FOREIGN.encode(encoding)))
    assert report.sheets[0].preview == ()
    assert report.sheets[0].added == 59
    assert shop.sql(
        "select model, finished::text, minutes, price, assigned from records.jobs where job = '14'"
    ) == [("Vélum 3", "2026-03-15", 12.5, 1234.5, "naïve — “x”")]


@pytest.mark.parametrize(("mark", "ends"), [("\t", "\n"), ("|", "\r\n"), (",", "\r"), (";", "\n")])
def test_separators_and_line_ends(shop, mark, ends):
    text = (HEADER + GOOD).replace(",", mark).replace("\n", ends)
    assert shop.take_file(shop.file(text, "a.tsv")).sheets[0].added == 1


def test_mixed_line_ends_and_quoted_newlines_keep_row_numbers(shop):
    text = HEADER + '1,2026-03-14,"Velum\n3",battery_swap,\r\n2,2026-02-31,M,battery_swap,\n'
    report = shop.take_file(shop.file(text))
    assert shop.sql("select model from records.jobs") == [("Velum 3",)]
    assert report.sheets[0].preview[0][0] == 3


DATES = {
    "15/03/2026": "DD/MM/YYYY",
    "03/15/2026": "MM/DD/YYYY",
    "15.3.26": None,
    "15-03-2026": None,
    "2026/03/15": None,
    "20260315": None,
    "15 Mar 2026": None,
    "2026-03-15T18:30:00": None,
    "2026-03-15 18:30": None,
}


@pytest.mark.parametrize("written", DATES)
def test_dates(shop, written):
    text = f"job,finished,model,repair\n1,{written},M,battery_swap\n"
    assert shop.take_file(shop.file(text)).sheets[0].added == 1
    assert shop.sql("select finished::text from records.jobs") == [("2026-03-15",)]


def test_ambiguous_dates_with_the_mapping_saying_which(shop):
    file = shop.file("job,finished,model,repair\n1,03/04/2026,M,battery_swap\n")
    mapping = shop.mapping('[formats]\ndates = "MM/DD/YYYY"\n')
    shop.take_file(file, mapping=mapping)
    assert shop.sql("select finished::text from records.jobs") == [("2026-03-04",)]


def test_another_column_of_the_file_settles_the_order(shop):
    file = shop.file("job,finished,received,model,repair\n1,23/04/2026,03/04/2026,M,battery_swap\n")
    shop.take_file(file)
    assert shop.sql("select received::text from records.jobs") == [("2026-04-03",)]


def workbook(path, rows):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def test_workbook(shop):
    names = ["job", "finished", "model", "repair", "minutes", "opening", "battery_cost"]
    day = datetime.date(2026, 3, 14)
    path = workbook(shop.path / "a.xlsx", [
        names,
        [1001, day, "Velum 3", "battery_swap", 42.5, "heat_plate", 12],
        ["J2", datetime.datetime(2026, 3, 14, 18, 30), "Velum 3", "battery_swap", "=6*7", None, 1],
        [],
        ["J4", 46095, "Velum 3", "battery_swap", 7, "#REF!", None],
        ["J5", 46095, "Velum 3", "battery_swap", 7, "heat_gun", None],
    ])  # fmt: skip
    report = shop.take_file(path)
    assert shop.sql("select job, finished::text, minutes from records.jobs order by 1") == [
        ("1001", "2026-03-14", 42.5), ("J5", "2026-03-14", 7.0),
    ]  # fmt: skip
    assert report.sheets[0].preview == (
        (3, "minutes", "=6*7", "a formula, not a value"),
        (5, "opening", "#REF!", "a formula that went wrong, not a value"),
    )


def test_numbers_of_a_workbook_have_a_point_whatever_people_write(shop):
    names = ["job", "finished", "model", "repair", "minutes", "price"]
    day = datetime.date(2026, 3, 14)
    path = workbook(shop.path / "a.xlsx", [
        names, ["1", day, "Velum 3", "battery_swap", 12.5, "1.149,50"],
        ["2", day, "Velum 3", "battery_swap", "7,25", 49.9],
    ])  # fmt: skip
    mapping = shop.mapping('[formats]\ndecimal = ","\nthousands = "."\n')
    assert shop.take_file(path, mapping=mapping).held_back == 0
    assert shop.sql("select minutes, price from records.jobs order by job") == [
        (12.5, 1149.5), (7.25, 49.9),
    ]  # fmt: skip


def test_parquet(shop, base):
    path = shop.path / "a.parquet"
    frame = pl.DataFrame([{**base, "finished": datetime.date(2026, 3, 14), "minutes": 12.5}])
    frame.write_parquet(path)
    shop.take_file(path)
    assert shop.sql("select finished::text, minutes from records.jobs") == [("2026-03-14", 12.5)]


def test_json_lines(shop):
    path = shop.file(
        '{"job": 1, "finished": "2026-03-14", "model": "M", "repair": "battery_swap"}\n'
        '{"job": "2", "finished": "2026-03-14", "model": "M", "repair": "battery_swap", '
        '"minutes": 7.5, "failures": "cell_bent@1", "swollen": true}\n',
        "a.jsonl",
    )
    report = shop.take_file(path)
    assert report.sheets[0].preview == ()
    assert shop.sql("select job, minutes from records.jobs order by 1") == [
        ("1", None), ("2", 7.5),
    ]  # fmt: skip
    assert shop.sql("select value from records.factors") == [("yes",)]


def test_left_out_columns_are_named(shop, base):
    rows = [{**base, "Customer name": "x", "IMEI": "y", "oppening": "z", "notes": "n", "": "q"}]
    notes = " | ".join(shop.take(rows).sheets[0].notes)
    for words in (
        "column 'Customer name' means a person or a device: left out",
        "column 'IMEI' means a person or a device: left out",
        "column 'oppening' is unknown: left out; did you mean 'opening'?",
        "column 'notes' is left out: notes are kept only if the mapping says so",
        "column 13 has no name: left out",
        "covers: seen; only failure modes that occur in this file count as looked for",
        "first seen: 1 model: Velum 3",
    ):
        assert words in notes
    assert shop.sql("select notes from records.jobs") == [(None,)]


MAPPING = """
covers = "broken_tabs"
notes = "keep"
[columns]
"Ticket" = "job"
"Done on" = "finished"
"Gerät" = "model"
"What" = "repair"
"Opened with" = "opening"
"Remark" = "notes"
"Serial number" = "battery_lot"
[values.repair]
"Akku" = "battery_swap"
[values.opening]
"Föhn" = "heat_gun"
[formats]
separator = ";"
decimal = ","
dates = "DD.MM.YYYY"
encoding = "windows-1252"
thousands = "."
"""


def test_mapping(shop):
    text = (
        "Ticket;Done on;Gerät;What;Opened with;Remark;Minutes;Serial number\n"
        "7;02.03.2026;Velum 3;AKKU;föhn > heat_plate;glass was dirty;1.234,5;L9\n"
        "8;02.03.2026;Velum 3;Akku;föhn;call 0171 2345678;1;L9\n"
    )
    mapping = shop.mapping(MAPPING)
    report = shop.take_file(shop.file(text.encode("windows-1252")), mapping=mapping)
    assert (report.sheets[0].added, report.sheets[0].held_back) == (1, 1)
    assert report.sheets[0].covers == "broken_tabs"
    assert shop.sql("select job, finished::text, minutes, notes from records.jobs") == [
        ("7", "2026-03-02", 1234.5, "glass was dirty")
    ]
    assert shop.sql(
        "select method from records.attempts where step = 'opening' order by attempt"
    ) == [("heat_gun",), ("heat_plate",)]
    assert shop.sql("select lot from records.pieces") == [("L9",)]
    assert shop.sql("select value from records.heldback") == [("call [telephone number masked]",)]


BAD_MAPPINGS = {
    "unknown key": ("colums = 1", "top of the file: unknown key 'colums'; did you mean 'columns'"),
    "unknown column": ('[columns]\nA = "oppening"', "no column 'oppening' here; did you mean 'op"),
    "twice": ('[columns]\nA = "job"\nB = "job"', "two of their columns become 'job'"),
    "values": ('[values.oppening]\na = "b"', "no column 'oppening' here; did you mean 'opening'"),
    "format key": ('[formats]\nsep = ";"', r"\[formats\]: unknown key 'sep'"),
    "format value": ('[formats]\ndecimal = "x"', "decimal = 'x'; allowed: '.' or ','"),
    "dates": ('[formats]\ndates = "DD/MM"', "dates = 'DD/MM'; allowed: a pattern of DD, MM and"),
    "privacy": ('[privacy]\ntechnician = "x"', "technician = 'x'; allowed: drop, hash or refuse"),
    "notes": ('notes = "yes"', "notes = 'yes' is not allowed; allowed: 'keep' or 'leave'"),
    "toml": ("[columns", "map.toml: "),
}


@pytest.mark.parametrize("name", BAD_MAPPINGS)
def test_bad_mapping(shop, base, name):
    text, words = BAD_MAPPINGS[name]
    with pytest.raises(SheetError, match=words):
        shop.take([base], mapping=shop.mapping(text))
    assert not shop.folder.database.exists()


def test_privacy_hash_drop_and_refuse(shop, base, monkeypatch):
    rows = [{**base, "Fixed by": "Ann Bench", "assigned": "ann@bench.example", "Kunde": "K"}]
    columns = '[columns]\n"Fixed by" = "technician"\n[privacy]\n'
    monkeypatch.delenv("FIXSTATS_KEY", raising=False)
    hashing = shop.mapping(columns + 'technician = "hash"\nassigned = "drop"\nKunde = "drop"\n')
    with pytest.raises(SheetError, match="wants a keyed hash, and FIXSTATS_KEY is not set"):
        shop.take(rows, mapping=hashing)
    monkeypatch.setenv("FIXSTATS_KEY", "secret")
    report = shop.take(rows, mapping=hashing)
    assert report.sheets[0].preview == ()
    ((technician, assigned),) = shop.sql("select technician, assigned from records.jobs")
    assert re.fullmatch("h[0-9a-f]{16}", technician)
    assert assigned is None
    assert not any("Kunde" in note for note in report.sheets[0].notes)
    assert b"Ann Bench" not in shop.folder.database.read_bytes()
    refusing = shop.mapping(columns + 'Kunde = "refuse"\n')
    with pytest.raises(SheetError, match="refuses files with the column 'Kunde'"):
        shop.take(rows, mapping=refusing)
    # the same person under the same key is the same technician
    import hashlib
    import hmac

    digest = hmac.new(b"secret", b"ann bench", hashlib.sha256).hexdigest()
    assert technician == f"h{digest[:16]}"
    assert os.environ["FIXSTATS_KEY"] == "secret"
