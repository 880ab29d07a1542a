"""Adopting a house standard: one entry more at the end, everything else as the owner left it."""

from __future__ import annotations

import os
import stat
from datetime import date

import pytest

from fixstats.errors import FolderError, UsageError
from fixstats.folder import ShopFolder, read_catalogue
from fixstats.folder.catalogue import Standard
from fixstats.records import standards as room
from fixstats.records.standards import adopt, holding

DAY = date(2026, 5, 4)
PLATE = Standard("opening", "heat_plate", DAY)
PAD = Standard("opening", "heat_pad", date(2026, 7, 1))


@pytest.fixture
def path(shop):
    return shop.path / "catalogue.toml"


def fresh(shop):
    """The folder as another command would read it."""
    return ShopFolder(shop.path)


@pytest.mark.parametrize("end", [b"\n", b"\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("last", [b"", b"# the last word"], ids=["whole line", "no line end"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "BOM"])
def test_the_rest_stays_byte_for_byte(shop, path, end, last, mark):
    before = mark + path.read_bytes().replace(b"\n", end) + b"# Glas, Kleber, Akkus: \xc3\xa4" + end
    path.write_bytes(before + last)
    done = adopt(fresh(shop), PLATE)
    after = path.read_bytes()
    assert after.startswith(before + last)
    added = after[len(before + last) :]
    assert added.count(b"\n") == added.count(end)
    assert b"\r" in added or end == b"\n"
    assert read_catalogue(path).standards == (PLATE,)
    assert (done.standard, done.before, done.until) == (PLATE, None, None)


def test_an_edit_made_since_the_catalogue_was_read_counts(shop, path):
    folder = fresh(shop)
    assert folder.catalogue.label("heat_pad") != "Warm pad of ours"
    text = path.read_text(encoding="utf-8")
    edited = text.replace(
        'code = "heat_pad"\nlabel = ', 'code = "heat_pad"\nlabel = "Warm pad of ours" # '
    )
    path.write_text(edited, encoding="utf-8")
    adopt(folder, PLATE)
    assert folder.catalogue.label("heat_pad") == "Warm pad of ours"
    assert folder.catalogue.standards == (PLATE,)


def test_an_edit_made_while_it_is_written_is_not_lost(shop, path, monkeypatch):
    edited = path.read_bytes() + b"# just now\n"
    real = os.fsync
    monkeypatch.setattr(room.os, "fsync", lambda number: (real(number), path.write_bytes(edited)))
    with pytest.raises(FolderError, match="was changed by somebody else just now"):
        adopt(fresh(shop), PLATE)
    assert path.read_bytes() == edited
    assert [one.name for one in shop.path.glob(".catalogue*")] == []


def test_rights_and_links_stay(shop, path, tmp_path):
    kept = tmp_path / "kept.toml"
    path.rename(kept)
    path.symlink_to(kept)
    kept.chmod(0o640)
    adopt(fresh(shop), PLATE)
    assert path.is_symlink() and stat.S_IMODE(kept.stat().st_mode) == 0o640
    assert read_catalogue(kept).standards == (PLATE,)


def test_what_it_takes_the_place_of(shop):
    adopt(fresh(shop), PLATE)
    done = adopt(fresh(shop), PAD)
    assert (done.before, done.until) == (PLATE, None)
    between = adopt(fresh(shop), Standard("opening", "heat_gun", date(2026, 6, 1)))
    assert (between.before, between.until) == (PLATE, PAD)
    own = adopt(fresh(shop), Standard("opening", "thin_blade", date(2026, 8, 1), "Velum 3"))
    assert own.before == PAD
    known = fresh(shop).catalogue
    later = Standard("opening", "heat_gun", date(2027, 1, 1), "velum  3")
    assert holding(known, later) == own.standard


@pytest.mark.parametrize(
    ("standard", "told"),
    [
        (PLATE, "opening: heat_plate is the house standard already, since 2026-05-04"),
        (
            Standard("opening", "heat_plate", PAD.since, "Velum 3"),
            "opening on Velum 3: heat_plate is the house standard for all models already",
        ),
        (Standard("opening", "heat_pad", DAY), "heat_plate was adopted for 2026-05-04, and a day"),
    ],
)
def test_the_same_or_a_second_of_a_day_is_refused(shop, path, standard, told):
    adopt(fresh(shop), PLATE)
    before = path.read_bytes()
    with pytest.raises(UsageError, match=told):
        adopt(fresh(shop), standard)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("standard", "told"),
    [
        (Standard("opening", "heat_plates", DAY), "did you mean 'heat_plate'"),
        (Standard("openin", "heat_plate", DAY), "did you mean 'opening'"),
        (Standard("opening", "heat_plate", DAY, "two\nlines"), "some text"),
    ],
)
def test_what_would_not_load_is_refused(shop, path, standard, told):
    before = path.read_bytes()
    with pytest.raises(FolderError, match="it cannot be added: (?s:.*)" + told):
        adopt(fresh(shop), standard)
    assert path.read_bytes() == before


def test_a_file_that_lists_its_standards_in_one_line_is_left_alone(shop, path):
    """An array written in one line cannot be added to below it."""
    text = path.read_text(encoding="utf-8")
    line = 'standard = [{choice = "opening", option = "heat_gun", since = 2025-01-01}]\n'
    path.write_text(text.replace("format = 1\n", f"format = 1\n{line}", 1), encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(FolderError, match="it cannot be added"):
        adopt(fresh(shop), PLATE)
    assert path.read_bytes() == before


def test_a_broken_file_is_named_and_left_alone(shop, path):
    path.write_bytes(b"format = \n")
    with pytest.raises(FolderError, match=r"catalogue\.toml: .*line 1"):
        adopt(fresh(shop), PLATE)
    assert path.read_bytes() == b"format = \n"


def test_a_folder_that_cannot_be_written(shop, path, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(room.tempfile, "NamedTemporaryFile", full)
    with pytest.raises(FolderError, match=r"cannot be written \(No space left on device\)"):
        adopt(fresh(shop), PLATE)


def test_names_with_quotes_come_back_as_they_were(shop, path):
    model = 'Slate "9" \\ ünï'
    adopt(fresh(shop), Standard("opening", "heat_pad", DAY, model))
    assert read_catalogue(path).standards[-1].model == model
