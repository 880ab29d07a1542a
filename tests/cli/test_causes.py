"""``fixstats causes`` on the demo shop: what is printed, in every format."""

import json

import pytest


@pytest.fixture
def ask(run, demo_shop):
    def causes(*words):
        return run("causes", *words, "--shop", demo_shop)

    return causes


def test_sentences_come_first_then_the_table_then_notes(ask):
    code, out, err = ask("calibration_refused")
    assert (code, err) == (0, "")
    head, _, rest = out.partition("\n\n")
    assert (
        head == "Calibration refused: 689 of 4,944 jobs (13.9 %), by first choice, up to 2026-09-30"
    )
    said, table, notes = rest.split("\n\n")
    assert said.count("\n- ") == 3 and said.startswith("- Charge at calibration, %: <20 goes with")
    assert "causes" not in said.lower().replace("causal", "")
    assert table.splitlines()[0].split()[:3] == ["condition", "value", "failed"]
    (swollen,) = [line for line in table.splitlines() if line.startswith("swollen")]
    assert "53 of 298" in swollen and "1.40 (1.01 to 1.89)" in swollen and "0.455" in swollen
    assert "need not bring it about" in notes and "own records only" in notes


def test_json_has_question_settings_rows_and_notes(ask):
    code, out, _ = ask("calibration_failures", "--format", "json", "--confidence", "0.9")
    found = json.loads(out)
    assert code == 0 and list(found) == ["question", "settings", "rows", "notes"]
    assert found["question"] == "causes"
    assert found["settings"]["confidence_level"] == 0.9
    assert found["settings"]["mode"] == "calibration_failures"
    assert {row["mode"] for row in found["rows"]} == {None}
    assert isinstance(found["rows"][0]["adjusted_for"], list)


def test_the_same_records_give_the_same_bytes(ask):
    words = ("coil_damaged", "--format", "json")
    assert ask(*words) == ask(*words)


def test_csv_and_markdown(ask):
    _, out, err = ask("coil_damaged", "--format", "csv")
    assert out.startswith("condition,level,reference,mode,family,failures,opportunities,rate,")
    assert "note: what goes with a failure" in err
    assert "[" not in out
    _, out, _ = ask("coil_damaged", "--format", "markdown")
    assert out.startswith("| condition | level |")


def test_nothing_to_compare_is_a_note(ask):
    code, out, _ = ask("button_flex_torn")
    assert code == 0
    assert out.startswith("note: it never occurred in 5,573 opportunities")
    code, out, _ = ask("calibration_refused", "--since", "2030")
    assert code == 0
    assert out.startswith("note: no job in the records was an opportunity for what was asked\n")
    assert out.count("note: ") == 2


def test_an_empty_shop_says_so(run, tmp_path):
    run("init", tmp_path / "new")
    code, out, _ = run("causes", "calibration_refused", "--shop", tmp_path / "new")
    assert (code, out) == (0, "note: no job is in the records yet: fixstats import FILE\n")


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ((), 2, "Missing argument 'MODE'"),
        (("calibration_refusd",), 2, "did you mean 'calibration_refused'?"),
        (("tab_snapped", "--since", "May"), 2, "--since May: no such date"),
        (("tab_snapped", "--where", "model"), 2, "--where model: write it as KEY=VALUE"),
        (("tab_snapped", "--where", "model=Quillon"), 2, "did you mean 'Quillon Q6'?"),
        (("tab_snapped", "--confidence", "95"), 2, "confidence 95.0 must lie between 0.5 and 1"),
        (("tab_snapped", "--chart", "a.gif"), 2, "cannot be written as '.gif'"),
    ],
)
def test_wrong_words_are_told_in_a_line_or_two(ask, words, code, told):
    found, out, err = ask(*words)
    assert (found, out) == (code, "")
    assert told in err and err.count("\n") <= 2


def test_the_picture_goes_to_a_file(ask, tmp_path):
    code, _, _ = ask("coil_damaged", "--chart", tmp_path / "a.svg", "--out", tmp_path / "a.json")
    assert code == 0
    assert "odds ratio, log scale" in (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["rows"]
