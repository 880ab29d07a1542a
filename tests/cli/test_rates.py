"""``fixstats rates`` on the demo shop: what is printed, in every format."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys

import polars as pl
import pytest

KEYS = [
    "unit", "mode", "family", "model", "opening", "failures", "opportunities", "unknown",
    "unknown_failed", "rate", "low", "high", "at_most", "bound_low", "bound_high", "one_in",
]  # fmt: skip


@pytest.fixture
def ask(run, demo_shop):
    def rates(*words):
        return run("rates", *words, "--shop", demo_shop)

    return rates


def as_json(ask, *words):
    code, out, _ = ask(*words, "--format", "json")
    assert code == 0
    return json.loads(out)


def test_json_has_the_stated_keys(ask):
    found = as_json(ask, "--family", "display_damage", "--by", "model,opening")
    assert list(found) == ["question", "settings", "rows", "notes"]
    assert found["question"] == "rates"
    wanted = {"confidence_level", "view", "since", "until", "as_of", "catalogue_hash", "batches"}
    assert wanted <= set(found["settings"])
    assert all(list(row) == KEYS for row in found["rows"])
    assert all(row["mode"] is None and row["family"] == "display_damage" for row in found["rows"])


def test_null_always_has_its_reason(ask):
    found = as_json(ask, "--by", "model,opening")
    codes = {note["code"] for note in found["notes"]}
    rows = found["rows"]
    for row in rows:
        assert (row["at_most"] is None) == (row["failures"] > 0 or row["opportunities"] == 0)
        assert (row["rate"] is None) == (row["opportunities"] == 0)
        assert (row["one_in"] is None) == (row["failures"] == 0)
    assert any(row["failures"] == 0 for row in rows)
    assert "zero_failures" in codes


def test_the_same_records_give_the_same_bytes(ask):
    words = ("--by", "month", "--any", "broken_tabs", "--format", "json")
    assert ask(*words) == ask(*words)


def test_a_table_has_rate_interval_count_natural_frequency_and_a_bar(ask):
    code, out, _ = ask("--mode", "calibration_refused", "--by", "charge")
    assert code == 0
    (low,) = [line for line in out.splitlines() if line.startswith("<20")]
    assert "%" in low
    assert " of " in low
    assert "about 1 in 3" in low
    assert "●" in low
    assert "note: These figures describe this shop's own records only" in out


def test_no_failure_is_never_zero_percent(ask):
    code, out, _ = ask("--mode", "button_flex_torn")
    assert code == 0
    assert "none seen, at most" in out
    assert "exact one-sided 95 % upper limit" in out


def test_csv_is_inert_and_complete(ask):
    code, out, err = ask("--by", "model", "--mode", "tab_snapped", "--format", "csv")
    assert code == 0
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [key for key in KEYS if key != "opening"] == list(rows[0])
    assert len(rows) == len(as_json(ask, "--by", "model", "--mode", "tab_snapped")["rows"])
    assert "note:" in err


def test_markdown_and_parquet(ask, tmp_path):
    code, out, _ = ask("--by", "model", "--mode", "tab_snapped", "--format", "markdown")
    assert code == 0
    assert out.startswith("| unit | mode |")
    target = tmp_path / "rates.parquet"
    assert ask("--by", "model", "--mode", "tab_snapped", "--out", target)[0] == 0
    frame = pl.read_parquet(target)
    assert frame.columns == [key for key in KEYS if key != "opening"]
    assert frame["rate"].dtype == pl.Float64


@pytest.mark.parametrize("ending", ["svg", "png", "pdf", "html"])
def test_charts(ask, tmp_path, ending):
    target = tmp_path / f"rates.{ending}"
    code, _, err = ask("--family", "display_damage", "--by", "opening", "--chart", target)
    assert (code, err) == (0, "")
    assert target.stat().st_size > 5_000


def test_as_attempted_says_so(ask):
    found = as_json(ask, "--by", "method", "--mode", "tab_snapped", "--view", "attempted")
    assert {row["unit"] for row in found["rows"]} == {"attempt"}
    assert "later_tries" in {note["code"] for note in found["notes"]}


def test_filters_are_alternatives_within_a_key_and_all_across_keys(ask):
    def opportunities(*words):
        found = as_json(ask, "--mode", "clip_snapped", *words)
        return sum(row["opportunities"] for row in found["rows"])

    one = opportunities("--where", "model=Brask One")
    two = opportunities("--where", "model=brask  two")
    both = opportunities("--where", "model=Brask One", "--where", "model=Brask Two")
    assert both == one + two
    part = opportunities("--where", "model=Brask One", "--where", "technician=T1")
    assert 0 < part < one
    blank = opportunities("--where", "charge=")
    grouped = as_json(ask, "--mode", "clip_snapped", "--by", "charge")["rows"]
    (row,) = [row for row in grouped if row["charge"] is None]
    assert blank == row["opportunities"]


def test_since_and_until_meet_without_overlap(ask):
    def failures(*words):
        return as_json(ask, "--mode", "tab_snapped", *words)["rows"][0]["failures"]

    assert failures() == failures("--until", "2025-12") + failures("--since", "2026-01")


def test_months_are_marked_partial_only_if_open(ask):
    found = as_json(ask, "--mode", "tab_snapped", "--by", "month")
    assert found["settings"]["as_of"].endswith("-30")
    assert "partial" not in {note["code"] for note in found["notes"]}


def test_periods_cut_by_the_dates_asked_for_are_marked(ask):
    words = ("--mode", "tab_snapped", "--since", "2025-11-10", "--until", "2026-06-15")
    for by, named in (("month", "2026-06 and 2025-11"), ("quarter", "2026-Q2 and 2025-Q4")):
        notes = {one["code"]: one["text"] for one in as_json(ask, *words, "--by", by)["notes"]}
        assert notes["partial"].startswith(named)
    whole = ("--mode", "tab_snapped", "--since", "2026-01", "--until", "2026-03", "--by", "quarter")
    assert "partial" not in {one["code"] for one in as_json(ask, *whole)["notes"]}


def test_come_back_jobs_are_told_where_methods_stand_side_by_side(ask):
    def noted(*words):
        found = as_json(ask, "--mode", "tab_snapped", *words)
        return "rework" in {note["code"] for note in found["notes"]}

    assert noted("--by", "opening")
    assert not noted("--by", "month")
    assert not noted("--by", "opening", "--where", "rework=no")


def test_a_key_of_a_mode_s_own_place_speaks_of_that_place_only(ask, demo_shop):
    import fixstats

    shop = fixstats.open(demo_shop)
    rows = as_json(ask, "--mode", "display_lines", "--by", "opening", "--view", "attempted")["rows"]
    question = shop.query("first_against_attempted", step="opening", mode="display_lines")
    expected = {
        row["method"]: row["attempted_opportunities"] for row in question.iter_rows(named=True)
    }
    assert {row["opening"]: row["opportunities"] for row in rows} == expected
    rows = as_json(ask, "--mode", "dead_on_arrival", "--by", "battery_grade")["rows"]
    frame = shop.sql(
        "select f.grade, count(*) as pieces from outcomes_first as o "
        "join first_pieces as f on f.entry = o.entry and f.part = o.place "
        "where o.mode = 'dead_on_arrival' and o.place = 'battery' "
        "and o.state in ('fine', 'failed') group by f.grade"
    )
    expected = dict(frame.iter_rows())
    assert {row["battery_grade"]: row["opportunities"] for row in rows} == expected


def test_clustering_widens_and_is_noted_without_being_asked(ask):
    plain = as_json(ask, "--family", "broken_tabs")
    wide = as_json(ask, "--family", "broken_tabs", "--cluster", "technician")
    assert "clustered" in {note["code"] for note in plain["notes"]}
    (a,), (b,) = plain["rows"], wide["rows"]
    assert b["high"] - b["low"] > 1.25 * (a["high"] - a["low"])
    assert a["rate"] == b["rate"]


def test_sorting_and_few_opportunities(ask):
    rows = as_json(ask, "--by", "model", "--mode", "tab_snapped", "--sort", "rate")["rows"]
    assert [row["rate"] for row in rows] == sorted((row["rate"] for row in rows), reverse=True)
    found = as_json(ask, "--by", "model", "--mode", "tab_snapped", "--min-opportunities", "300")
    assert 0 < len(found["rows"]) < len(rows)
    assert "few_opportunities" in {note["code"] for note in found["notes"]}


def test_intervals_by_name(ask):
    ends = {
        name: as_json(ask, "--mode", "cell_pierced", "--interval", name)["rows"][0]["high"]
        for name in ("wilson", "wilson-cc", "jeffreys", "clopper-pearson", "mid-p", "agresti-coull")
    }
    assert len(set(ends.values())) == 6


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--mode", "tab_snaped"], "did you mean 'tab_snapped'"),
        (["--family", "display"], "did you mean 'display_damage'"),
        (["--by", "modl"], "did you mean 'model'"),
        (["--by", "method"], "could mean several things here: say"),
        (["--where", "model=Brask Onne"], "did you mean 'Brask One'"),
        (["--where", "opening=pull_tab"], "not in the records or the catalogue"),
        (["--where", "month=March"], "write a month like 2026-03"),
        (["--where", "model"], "write it as KEY=VALUE"),
        (["--since", "31.03.2026"], "write it like 2026-03-31"),
        (["--since", "2026-03", "--until", "2026-01"], "is after"),
        (["--view", "last"], "unknown view 'last'"),
        (["--interval", "wald"], "unknown interval 'wald'"),
        (["--confidence", "95"], "between 0.5 and 1"),
        (["--cluster", "model"], "known: technician"),
        (["--mode", "tab_snapped", "--family", "sealing"], "use one of them"),
        (["--family", "broken_tabs", "--view", "attempted"], "union over the job"),
        (["--by", "pair", "--mode", "tab_snapped"], "conflicts of mixed parts"),
        (["--sort", "chance"], "cannot sort by 'chance'"),
        (["--format", "yaml"], "unknown format 'yaml'"),
        (["--out", "x.doc"], "end it in .json"),
        (["--chart", "x.gif"], "svg"),
    ],
)
def test_wrong_words_are_named(ask, words, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") <= 2
    assert list(tmp_path.iterdir()) == []


def test_rates_load_neither_scipy_nor_polars(demo_shop):
    words = ["rates", "--by", "model", "--shop", str(demo_shop)]
    script = (
        "import sys\nfrom fixstats.cli.app import app\n"
        "from fixstats.cli.door import through_the_door\n"
        f"assert through_the_door(app, {words!r}) == 0\n"
        "print('LOADED', *[m for m in ('scipy', 'polars', 'altair', 'rich') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "LOADED"


def test_plain_output_where_lines_cannot_be_drawn(demo_shop):
    done = subprocess.run(
        [sys.executable, "-m", "fixstats", "rates", "--by", "opening", "--shop", str(demo_shop)],
        capture_output=True, check=True, timeout=60, env={"PYTHONIOENCODING": "ascii"},
    )  # fmt: skip
    assert b"|-o-|" in done.stdout.replace(b"--", b"-").replace(b"--", b"-")


def test_pooled_rates_stand_beside_the_raw_ones_only_where_asked_for(ask, demo_shop):
    words = ("--mode", "display_flex_torn", "--by", "model,display_handling")
    plain, pooled = as_json(ask, *words), as_json(ask, *words, "--pool")
    keys = list(plain["rows"][0])
    assert "pooled_rate" not in keys
    added = ["pooled_rate", "pooled_low", "pooled_high", "borrowed"]
    assert list(pooled["rows"][0]) == [*keys, *added]
    assert [{key: row[key] for key in keys} for row in pooled["rows"]] == plain["rows"]
    assert pooled["notes"][0]["code"] == "pooled" and pooled["settings"]["pool"] is True
    # Rows left out still tell the others how models differ.
    large = as_json(ask, *words, "--pool", "--min-opportunities", "60")["rows"]
    assert 0 < len(large) < len(pooled["rows"])
    assert [row for row in pooled["rows"] if row["opportunities"] >= 60] == large
    by_rate = as_json(ask, *words, "--pool", "--sort", "pooled_rate")["rows"]
    rates = [row["pooled_rate"] for row in by_rate]
    assert rates == sorted(rates, reverse=True)
    import fixstats

    by = ["model", "display_handling"]
    rows = fixstats.open(demo_shop).rates(mode="display_flex_torn", by=by, pool=True).rows
    assert [dict(row) for row in rows] == pooled["rows"]


def test_the_table_says_what_is_pooled_and_how_much_is_borrowed(ask):
    words = ("--mode", "display_flex_torn", "--by", "model,display_handling", "--pool")
    code, out, _ = ask(*words)
    assert code == 0 and "posterior ones of pooled rates" in out.splitlines()[0]
    heads = next(line for line in out.splitlines() if line.startswith("model"))
    assert "pooled (interval)" in heads and "borrowed" in heads
    pattern = (
        r"Norvane Pad +display_detached +23\.8 % \([\d. to]+\) +1\d\.\d % \([\d. to]+\) +\d+ %"
    )
    assert re.search(pattern, out)
    code, out, _ = ask(*words, "--where", "model=Norvane Pad")
    assert "not pooled" in out and "nobody to borrow from" in out


def test_pooling_without_models_is_refused_in_one_line(ask):
    code, _, err = ask("--by", "opening", "--pool")
    assert code == 2
    assert err.splitlines() == [
        "fixstats: --pool borrows across models, so it needs them as rows: --by model,opening"
    ]


def test_pairs_of_parts_have_their_keys_and_say_that_they_overlap(ask, tmp_path):
    target = tmp_path / "pairs.svg"
    code, out, err = ask("--by", "pair", "--format", "json", "--chart", target)
    found = json.loads(out)
    assert (code, err) == (0, "")
    keys = ["part_a", "grade_a", "part_b", "grade_b"]
    assert all(list(row)[3:7] == keys and row["unit"] == "pair" for row in found["rows"])
    assert {row["mode"] for row in found["rows"]} == {"restart_conflict", "charging_conflict"}
    (note,) = [note["text"] for note in found["notes"] if note["code"] == "overlap"]
    assert note.startswith("rows overlap: a job with three parts has up to three pairs")
    # A grid: a cell without a known grade says so.
    assert "not known" in target.read_text(encoding="utf-8")
    code, _, err = ask("--by", "pair", "--pool")
    assert code == 2 and err.endswith("as rows: --by model,pair\n")
