"""The proposed mapping: what it finds, what it leaves to a person, that it can be used."""

from __future__ import annotations

import tomllib

import pytest

from fixstats.errors import SheetError
from fixstats.records.draft import draft_mapping
from fixstats.records.mapping import check_mapping

ROWS = (
    "Ticket;Date out;Device;Service;How opened;Battery release;Kunde;Time;Shade;Faults\r\n"
    "1;23.03.2026;Velum 3;Battery;heat_plate > heat_gun;Pull tabs;X;12,5;red;tab_snapped\r\n"
    '2;02.03.2026;Velum 3;Akku;thin_blade;thread_cut;Y;10,0;blue;"tab_snapped@1; Riss"\r\n'
)


def test_a_draft_of_a_foreign_sheet(shop):
    text = draft_mapping(shop.folder, shop.file(ROWS.encode("windows-1252"), "own.csv"))
    raw = tomllib.loads(text)
    assert raw["columns"] == {
        "Ticket": "job",
        "Date out": "finished",
        "Device": "model",
        "Service": "repair",
        "How opened": "opening",
        "Battery release": "battery_release",
        "Time": "minutes",
        "Faults": "failures",
    }
    assert raw["formats"] == {"separator": ";", "decimal": ",", "dates": "DD/MM/YYYY"}
    assert '# "Kunde": means a person or a device, stays out' in text
    assert '# "Shade" = ""' in text
    assert '[values.repair]\n# "Akku" = ""' in text
    assert '[values.failures]\n# "Riss" = ""' in text
    check_mapping(raw, shop.path / "map.toml", shop.folder.catalogue)


def test_a_draft_can_be_used_as_it_is(shop):
    file = shop.file(ROWS.encode(), "own.csv")
    mapping = shop.path / "map.toml"
    mapping.write_text(draft_mapping(shop.folder, file), encoding="utf-8")
    report = shop.take_file(file, mapping=mapping)
    assert (report.sheets[0].added, report.sheets[0].held_back) == (1, 1)
    assert shop.sql("select finished::text, minutes from records.jobs") == [("2026-03-23", 12.5)]


def test_a_draft_says_what_is_missing_and_what_the_dates_do_not_tell(shop):
    file = shop.file("job,finished,colour\n1,03/04/2026,red\n2,05/04/2026,blue\n", "own.csv")
    text = draft_mapping(shop.folder, file)
    assert "# required and not found: model, repair" in text
    assert '# dates = "DD/MM/YYYY"   # or "MM/DD/YYYY": the dates do not tell' in text


def test_a_draft_of_no_table_is_refused(shop):
    with pytest.raises(SheetError, match=r"own\.csv: is empty"):
        draft_mapping(shop.folder, shop.file(b"", "own.csv"))
