"""What is committed in demo_data/ is what the generator writes, and fits its own catalogue."""

import json
import re
import tomllib

import polars as pl
import pytest

from fixstats.demo import truth
from fixstats.demo.build import SHEETS, demo_files, main
from fixstats.demo.messy import ENCODING
from fixstats.demo.sheets import COLUMNS
from fixstats.folder.links import read_catalogue
from fixstats.folder.settings import read_settings
from fixstats.resources import resource

FOLDER = resource("demo_data")


def test_committed_files_are_what_the_generator_writes():
    for name, content in demo_files().items():
        assert (FOLDER / name).read_bytes() == content, f"run python -m fixstats.demo.build: {name}"


def test_build_writes_all_but_the_readme_and_its_pictures(tmp_path, capsys):
    assert main([str(tmp_path / "new")]) == 0
    made = {path.name for path in (tmp_path / "new").iterdir()}
    assert made | {"README.md", "pictures"} == {path.name for path in FOLDER.iterdir()}
    assert main([]) == 2
    assert "usage" in capsys.readouterr().err


def test_it_is_small_and_the_readme_names_every_file():
    assert sum(path.stat().st_size for path in FOLDER.rglob("*.*")) < 3_000_000
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    for path in FOLDER.iterdir():
        assert path.name == "README.md" or f"`{path.name}`" in readme


def test_settings_and_catalogue_are_accepted():
    assert read_settings(FOLDER / "shop.toml").warranty_days == truth.COMEBACK_DAYS
    catalogue = read_catalogue(FOLDER / "catalogue.toml")
    assert catalogue.step_codes == tuple(truth.METHODS)
    assert catalogue.unrecorded_grade == "original"


@pytest.fixture(scope="module")
def sheets():
    frames = [pl.read_csv(FOLDER / name, infer_schema=False) for name in SHEETS]
    return pl.concat(frames)


def test_two_benches_six_thousand_jobs(sheets):
    assert sheets.columns == list(COLUMNS)
    assert sheets.height == truth.DEMO_JOBS == sheets["job"].n_unique()
    assert sheets["branch"].n_unique() == 2
    assert sheets["technician"].n_unique() == 5
    assert sheets["model"].n_unique() == 12
    assert sheets["model"].value_counts()["count"].min() < 60


def test_every_code_of_the_sheets_is_in_the_catalogue(sheets):
    catalogue = read_catalogue(FOLDER / "catalogue.toml")
    modes = _words(sheets, "failures", ";") | _words(sheets, "preexisting", ";")
    modes |= _words(sheets, "unchecked", ";") | _words(sheets, "return_reason", ";")
    assert {re.sub("@.*", "", mode) for mode in modes} <= {*catalogue.modes, "all", "unrelated"}
    for step in truth.METHODS:
        assert _words(sheets, step, ">") <= {*catalogue.methods_of(step), "-"}
    grades = {grade.code for grade in catalogue.grades}
    for part in ("battery", "display"):
        assert _words(sheets, f"{part}_grade", ">") <= grades
    repairs = {repair.code for repair in catalogue.repairs}
    assert _words(sheets, "repair", ";") == repairs
    known = {*catalogue.step_codes, *(factor.code for factor in catalogue.factors)}
    parts = {f"{p}_{c}" for p in catalogue.part_codes
             for c in ("grade", "supplier", "lot", "cost", "fitted")}  # fmt: skip
    minutes = {f"{step}_minutes" for step in catalogue.step_codes}
    assert set(COLUMNS[10:31]) <= known | parts | minutes


def _words(frame, column, separator):
    cells = frame[column].drop_nulls().str.split(separator).explode()
    return set(cells.str.strip_chars())


def test_every_mode_happens_but_those_named_as_never_seen(sheets):
    catalogue = read_catalogue(FOLDER / "catalogue.toml")
    seen = {re.sub("@.*", "", mode) for mode in _words(sheets, "failures", ";")}
    seen |= _words(sheets, "return_reason", ";")
    assert set(catalogue.modes) - seen <= {"button_flex_torn", "frame_bent"}


def test_truth_names_what_is_in_the_sheets(sheets):
    true = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
    assert true["seed"] == truth.DEMO_SEED
    lot = true["planted"]["bad_lot"]
    own = sheets.filter(pl.col("return_of").is_null())  # come-back jobs are counted apart
    here = own.filter(pl.col("battery_lot").str.starts_with(lot["lot"]))
    assert here.height == lot["first_pieces"] > 60
    assert set(here["battery_supplier"].str.split(" > ").list.first()) == {lot["supplier"]}


def test_messy_sheet_has_its_faults_where_the_truth_says():
    text = (FOLDER / "kiosk_messy.csv").read_bytes().decode(ENCODING)
    mapping = tomllib.loads((FOLDER / "messy_map.toml").read_text(encoding="utf-8"))
    lines = text.split("\r\n")
    header = lines[0].split(";")
    assert set(header) == set(mapping["columns"])
    faults = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["messy_sheet"]
    for fault in faults:
        assert fault["value"] in lines[fault["line"] - 1]
    assert 100 < len(lines) < 140
    assert len([fault for fault in faults if fault["held_back"]]) == 16
    assert "ü" in text
    with pytest.raises(UnicodeDecodeError, match="can't decode"):
        (FOLDER / "kiosk_messy.csv").read_bytes().decode("utf-8")
