"""``fixstats comebacks`` on the demo shop: what is printed, and how it stands to the truth."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from fixstats.cli.comebacks import comebacks_text
from fixstats.demo.facts import facts
from fixstats.demo.generator import make_jobs
from fixstats.demo.sheets import sheet_frame
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

from ..findings.followed_jobs import finding, leaving_of

DEMO = Path(__file__).parents[2] / "demo_data"
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))
COMEBACKS, LOT = TRUTH["comebacks"], TRUTH["planted"]["bad_lot"]
KEYS = [
    "reason", "jobs", "returns", "n_at_risk", "days", "rate", "low", "high", "p_value",
    "p_corrected",
]  # fmt: skip


@pytest.fixture
def ask(run, demo_shop):
    def comebacks(*words):
        return run("comebacks", *words, "--shop", demo_shop)

    return comebacks


def as_json(ask, *words):
    code, out, err = ask(*words, "--format", "json")
    assert code == 0, err
    return json.loads(out)


def codes_of(found):
    return {note["code"] for note in found["notes"]}


# ---------------------------------------------------------------- the planted come-backs


def holds(row, true):
    return row["low"] <= true <= row["high"]


def planted(shop, facts):
    """(row, planted share) over all jobs and by grade, for every reason."""
    asked = shop.comebacks(reason=[one for one in facts["over_all"] if one != "unrelated"])
    found = [(row, facts["over_all"][row["reason"]]) for row in asked.rows]
    for key, reason in (("battery_grade", "drains_fast"), ("display_grade", "touch_erratic")):
        true = facts["by_grade_in_the_device"][reason]
        rows = shop.comebacks(by=key, reason=reason).rows
        found += [(row, true[row[key]]) for row in rows if row[key] in true]
    return found


def test_intervals_hold_the_planted_shares(demo_shop):
    found = planted(open_shop(demo_shop), COMEBACKS)
    assert {row["days"] for row, _ in found} == {COMEBACKS["days"]}
    assert len(found) == 4 + 4 + 4
    # At the 95 % level each misses in one of 20 shops; in this one it is one, by chance.
    assert sum(holds(row, true) for row, true in found) >= 11
    whole = open_shop(demo_shop).comebacks().rows[0]
    assert holds(whole, sum(v for reason, v in COMEBACKS["over_all"].items()
                            if reason != "unrelated"))  # fmt: skip


@pytest.mark.slow
def test_in_a_large_shop_shares_are_those_planted(tmp_path):
    """60,000 jobs, imported: within five standard errors, as far as they can be told."""
    columns = make_jobs(60_000, 11)
    folder = make_folder(tmp_path / "shop", Settings(name="Large"), DEMO / "catalogue.toml")
    sheet_frame(columns).write_csv(tmp_path / "sheet.csv")
    import_sheets(folder, [tmp_path / "sheet.csv"], covers="all")
    found = planted(open_shop(folder.path), facts(columns)["comebacks"])
    assert len(found) == 12
    for row, true in found:
        error = (row["high"] - row["low"]) / (2 * 1.96)
        assert abs(row["rate"] - true) <= 5 * error
        assert error < 0.005


def test_grades_are_ranked_as_planted(demo_shop):
    rows = open_shop(demo_shop).comebacks(by="battery_grade", reason="drains_fast").rows
    worst = max(rows, key=lambda row: row["rate"] or 0)
    assert worst["battery_grade"] == "aftermarket_low"
    assert worst["p_corrected"] < 0.001


def test_the_bad_lot_is_found(demo_shop):
    found = open_shop(demo_shop).comebacks(by="battery_lot", reason="drains_fast")
    rows = {row["battery_lot"]: row for row in found.rows}
    bad = rows[LOT["lot"]]
    assert holds(bad, LOT["drains_fast_within_90_days"]["this_lot"])
    assert bad["low"] > 3 * LOT["drains_fast_within_90_days"]["other_lots_of_the_supplier"]
    differ = [lot for lot, row in rows.items() if (row["p_corrected"] or 1) < 0.05]
    assert differ == [LOT["lot"]]
    (said,) = [one["text"] for one in found.finding.parts["sentences"] if LOT["lot"] in one["text"]]
    assert "It differs from the rest: corrected p < 0.001." in said
    # Also against other lots of its grades and supplier only, and against all reasons.
    own = open_shop(demo_shop).comebacks(
        by="battery_lot", where={"battery_supplier": LOT["supplier"]}
    )
    (row,) = [row for row in own.rows if row["battery_lot"] == LOT["lot"]]
    assert row["p_corrected"] < 0.001


def test_like_for_like_agrees_with_the_planted_grades(demo_shop):
    found = open_shop(demo_shop).comebacks(by="battery_grade", reason="drains_fast", adjust=True)
    rows = {row["option"]: row for row in found.finding.parts["adjusted"] if row["scope"] == "all"}
    true = COMEBACKS["by_grade_in_the_device"]["drains_fast"]
    assert all(holds(row, true[grade]) for grade, row in rows.items())
    baseline = next(iter(rows))
    assert rows[baseline]["difference"] == 0
    assert rows["aftermarket_low"]["difference_low"] > 0
    assert max(row["jobs"] for row in rows.values()) == rows[baseline]["jobs"]


def test_the_latest_months_are_not_flattered(demo_shop):
    """Counting without regard to follow-up would show hardly any come-back in the last months."""
    shop = open_shop(demo_shop)
    late = shop.comebacks(since=LAST_MONTHS, days=90).rows[0]
    early = shop.comebacks(until=LAST_MONTHS, days=90).rows[0]
    assert late["returns"] / late["jobs"] < 0.7 * early["rate"]
    assert late["low"] <= early["rate"] <= late["high"]


LAST_MONTHS = date(2026, 7, 1)


# ---------------------------------------------------------------- what is printed


def test_json_has_the_stated_keys(ask):
    found = as_json(ask, "--by", "battery_grade,branch")
    assert list(found) == ["question", "settings", "rows", "notes"]
    assert found["question"] == "comebacks"
    assert all(list(row) == ["battery_grade", "branch", *KEYS] for row in found["rows"])
    wanted = {"confidence_level", "view", "since", "until", "as_of", "catalogue_hash", "batches"}
    assert wanted <= set(found["settings"])
    assert found["settings"]["days"] == 90  # the warranty of the demo shop
    assert list(as_json(ask)["rows"][0]) == KEYS


def test_steps_have_the_same_keys_and_only_rise(ask):
    rows = as_json(ask, "--curve", "--by", "branch")["rows"]
    assert all(list(row) == ["branch", *KEYS] for row in rows)
    for branch in {row["branch"] for row in rows}:
        own = [row for row in rows if row["branch"] == branch]
        days = [row["days"] for row in own]
        assert days == sorted(set(days)) and days[-1] == 90
        assert [row["returns"] for row in own] == sorted(row["returns"] for row in own)
        assert [row["rate"] for row in own] == sorted(row["rate"] for row in own)
    whole = as_json(ask, "--by", "branch")["rows"]
    assert [row for row in rows if row["days"] == 90] == whole


def test_for_people_sentences_come_first(ask):
    code, out, _ = ask("--by", "battery_grade", "--reason", "any")
    assert code == 0
    lines = out.splitlines()
    assert lines[0].startswith("come-backs because of the repair within 90 days of hand-over")
    assert lines[2].startswith("Of 3,237 jobs, ")
    assert "come back within 90 days because of the repair (" in lines[3]
    assert "note: log-rank test of 4 groups" in out
    assert "so the latest months are not flattered" in out
    assert "devices that went elsewhere" in out and "service instructions" in out
    assert "EUR per 100 jobs" in out
    assert out.rstrip().splitlines()[-1].startswith("caution: A swollen, hot, bent or pierced cell")


def test_too_few_at_risk_has_no_rate_and_says_so(ask):
    found = as_json(ask, "--since", "2026-09-25")
    (row,) = found["rows"]
    assert (row["rate"], row["low"], row["high"]) == (None, None, None)
    assert row["n_at_risk"] < 10 < row["jobs"]
    assert "few_at_risk" in codes_of(found)


def test_as_of_takes_back_what_was_not_known(ask):
    now, then = as_json(ask), as_json(ask, "--as-of", "2026-01-31")
    assert then["settings"]["as_of"] == "2026-01-31"
    assert then["rows"][0]["returns"] < now["rows"][0]["returns"]
    assert "as_of" in codes_of(then)
    beyond = as_json(ask, "--as-of", "2031-01-01")
    assert beyond["rows"] == now["rows"]
    assert beyond["settings"]["as_of"] == now["settings"]["as_of"]
    assert any("lies beyond the records" in note["text"] for note in beyond["notes"])


def test_beyond_the_warranty_a_note_says_so(ask):
    assert "beyond_warranty" in codes_of(as_json(ask, "--days", "120"))
    assert "beyond_warranty" not in codes_of(as_json(ask, "--days", "90"))


def test_come_backs_are_left_out_unless_asked_for(ask):
    plain, all_of = as_json(ask), as_json(ask, "--include-rework")
    only = as_json(ask, "--where", "rework=yes")
    jobs = [found["rows"][0]["jobs"] for found in (plain, only, all_of)]
    assert jobs[0] + jobs[1] == jobs[2]
    assert "rework" in codes_of(plain) and "rework" not in codes_of(all_of)


def test_jobs_without_the_part_are_left_out(ask):
    found = as_json(ask, "--by", "battery_grade")
    assert "-" not in {row["battery_grade"] for row in found["rows"]}
    assert {"not_done", "handed_over"} <= codes_of(found)
    left = as_json(ask, "--where", "battery_grade=-")["rows"][0]["jobs"]
    whole = as_json(ask)["rows"][0]["jobs"]
    assert sum(row["jobs"] for row in found["rows"]) + left == whole


def test_nothing_to_show_is_no_error(ask):
    found = as_json(ask, "--until", "2020")
    assert found["rows"] == []
    assert found["notes"][0]["code"] == "nothing"


def test_a_new_shop_has_no_come_backs(run, tmp_path):
    run("init", tmp_path / "new", "--name", "New", "--currency", "EUR")
    code, out, _ = run("comebacks", "--by", "opening", "--adjust", "--shop", tmp_path / "new")
    assert code == 0 and "no job is in the records yet" in out


def made(groups, **ask):
    """The finding on jobs given one by one; groups: name -> (days, reasons)."""
    branch = [name for name, (day, _) in groups.items() for _ in day]
    day = [one for days, _ in groups.values() for one in days]
    reason = [one for _, reasons in groups.values() for one in reasons]
    return finding(leaving_of({"branch": branch}, day, reason), by=("branch",), **ask)


def test_a_table_without_a_rate_has_no_bars_and_no_number_that_is_none():
    told = comebacks_text(made({name: ([5] * 30, ["drains_fast"] * 30) for name in "AB"}))
    assert "nan" not in told and "0 to 0 %" not in told
    assert "30 of 30" in told and "no day on which one group could have differed" in told


def test_a_group_without_come_backs_has_no_cost_interval():
    none = [None] * 19
    groups = {
        "A": ([4, *[90] * 19], ["drains_fast", *none]),
        "B": ([90] * 20, [None, *none]),
        "C": ([4, *[90] * 19], ["", *none]),  # why, nobody wrote down
    }
    told = comebacks_text(made(groups))
    assert "0 (0 to 0)" not in told
    cells = {line[0]: line for line in told.splitlines() if line[:2] in ("A ", "B ", "C ")}
    assert "nothing so far" in cells["B"] and "not known" in cells["C"]
    assert "250 (" in cells["A"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--reason", "drain_fast"), "unknown reason 'drain_fast'; did you mean 'drains_fast'?"),
        (("--reason", "unrelated"), "unrelated returns are no come-backs"),
        (("--by", "batery_grade"), "unknown key 'batery_grade'; did you mean 'battery_grade'?"),
        (("--days", "0"), "--days 0: give a number of days from 1 to 3650"),
        (("--days", "many"), "unable to parse string as an integer"),
        (("--as-of", "soon"), "--as-of soon: no such date; write it like 2026-03-31"),
        (("--adjust",), "--adjust compares the options of one key"),
        (("--adjust", "--by", "model"), "give it with --by"),
        (("--adjust", "--by", "opening,month"), "such as --by battery_grade"),
        (("--confidence", "95"), "confidence 95.0 must lie between 0.5 and 1"),
        (("--where", "model=Quilon Q5"), "did you mean 'Quillon Q5'?"),
        (("--since", "2026-05", "--until", "2026-04"), "is after --until"),
        (("--by", "grade"), "'grade' could mean several things here"),
    ],
)
def test_errors_are_short_and_name_the_nearest(ask, words, told):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") <= 2
