"""One glossary explains every word that the output uses, and none that it no longer uses."""

from __future__ import annotations

import json
import re
import shutil

import pytest

from fixstats import glossary
from fixstats.cli import explain_codes
from fixstats.cli import watch as watch_command
from fixstats.findings import (
    brief_choices,
    check,
    practice_figures,
    practice_notes,
    safety,
    verdicts,
)
from fixstats.findings import watch as watching
from fixstats.folder import settings
from fixstats.folder.entries import FIXED_COLUMNS
from fixstats.records.columns import OUTCOMES
from fixstats.stats import INTERVALS
from fixstats.stats.trial_rule import VERDICTS
from fixstats.tallies.keys import DERIVED, JOB_KEYS, PAIR_KEYS
from fixstats.tallies.questions import all_questions

from .words_used import Used, note_codes, phrases

# Every finding, with all its keys; few jobs or one month where that is enough.
LINES = (
    "rates --by model --pool --family display_damage --since 2026-08",
    "rates --by pair --mode restart_conflict --since 2026-08",
    "rates --by opening --mode clip_snapped --view attempted",
    "compare opening --family display_damage",
    "causes cell_bent",
    "practice battery_release",
    "comebacks --by battery_grade --adjust",
    "comebacks --curve --reason drains_fast",
    "watch",
    "costs",
    "check",
    "batches",
    "heldback",
    "query",
    "query lots --set supplier=Pinemark",
    "show M0004711",
    "trial plan opening --options heat_plate,heat_pad --difference 0.05",
    "trial status pads",
    "trial list",
    "adopt",
    'decide battery_release --model "Norvane 21" --labour-rate 60',
    "brief --model Nobody --repair battery_swap",
)
BEGIN = "trial start pads opening --options heat_plate,heat_pad --difference 0.05 --max-jobs 40"
# Words that rows and settings hold as values.
VALUES = {
    "a verdict of decide": verdicts.VERDICTS,
    "a state of safety": (safety.WORSE, safety.UNPROVEN, safety.CLEARED),
    "a verdict of a trial": VERDICTS,
    "a chart of watch": (*watching.CHARTS, *watch_command.CHARTS.values()),
    "a topic of check": check.TOPICS,
    "why nobody is practised": tuple(practice_notes.WHY_NOT),
    "a reversal": ("none", "possible", "sure"),
    "an interval": tuple(INTERVALS),
    "how a job ended": OUTCOMES,
    "a view": ("first", "attempted"),
    "a scope": ("all", "model"),
    "--at": ("now", "practised"),
    "a unit": ("job", "attempt", "piece", "pair", "row", "unit"),
    "a way to plan a trial": ("fisher", "boschloo", "precision", "sequential"),
    "a role": ("baseline", "option"),
    "a state of a version": ("standing", "waiting", "replaced", "taken_back", "held_back"),
    "a note of watch or show": ("no_baseline", "thin_baseline", "not_counted"),
    "a band of practice": tuple(name for name, *_ in practice_figures.BANDS),
    "how an option is meant": brief_choices.WORDS,
    "a key of every answer": ("question", "settings", "rows", "notes", "code", "text"),
    "a column of a part or step": tuple(explain_codes.TAILS.values()),
    "a part of Python's answer": ("flips_at", "used_money", "minutes_money", "failures_money"),
}


@pytest.fixture
def used(demo_shop, tmp_path, monkeypatch, capsys):
    """All words of the output; one trial is begun in a copy of the demo shop."""
    shop = tmp_path / "shop"
    shutil.copytree(demo_shop, shop)
    monkeypatch.setenv("FIXSTATS_SHOP", str(shop))
    found = Used()
    found.run(monkeypatch, [BEGIN, *LINES])
    assert set(found.lines.values()) == {0}, (found.lines, capsys.readouterr().err)
    for where, words in VALUES.items():
        found.add(words, where)
    found.add([*JOB_KEYS, *DERIVED, *PAIR_KEYS], "a key of --by")
    found.add(FIXED_COLUMNS, "a column of the job sheet")
    found.add(list(settings.RULES), "a key of shop.toml")
    for name, question in all_questions().items():
        found.add([column.name for column in question.columns], f"a column of query {name}")
        found.add([one.name for one in question.parameters], f"a parameter of query {name}")
    codes = note_codes()
    variable = {codes.pop(code) for code in [*codes] if code.startswith("{")}
    assert variable == {"watch.py", "shop_bench.py"}, "add what the code can be to VALUES"
    for code, where in codes.items():
        found.add([code], f"a note of {where}")
    return found


def explained(word: str) -> bool:
    """By the glossary, the catalogue, or the header of a shipped question."""
    return bool(
        glossary.find(word)
        or next(explain_codes.of_catalogue(word, None), None)
        or next(explain_codes.of_questions(word), None)
    )


def test_the_glossary_is_complete_and_has_nothing_stale(used):
    missing = {word: where for word, where in used.words.items() if not explained(word)}
    assert missing == {}, "add them to fixstats/glossary/"

    met = {one for word in used.words for one in glossary.spellings(word)}
    printed = " ".join(map(glossary.spelling, used.texts))
    printable = glossary.spelling(phrases())  # of several words, what the code can print will do
    stale = [
        word
        for entry in glossary.entries()
        if not entry.general
        for word in entry.words
        if not met & {*glossary.spellings(word)}
        and not re.search(rf"\b{re.escape(glossary.spelling(word))}\b", printed)
        and not (" " in glossary.spelling(word) and glossary.spelling(word) in printable)
    ]
    assert " | ".join(stale) == "", (
        "nothing prints them: take them out of fixstats/glossary/, or move them"
    )


def test_a_word_has_one_entry():
    words = [glossary.spelling(word) for entry in glossary.entries() for word in entry.words]
    twice = {word for word in words if words.count(word) > 1}
    assert twice == set()


def test_every_entry_is_a_plain_sentence():
    for entry in glossary.entries():
        assert entry.text.endswith("."), entry.term
        assert len(entry.text) < 700, entry.term
        assert entry.source is None or re.search(r"\b(18|19|20)\d\d\b", entry.source), entry.term


@pytest.mark.parametrize(
    ("word", "told"),
    [
        ("p_best", "the share of the draws in which it is"),
        ("P (corrected)", "Source: Holm 1979"),
        ("within strata", "Mantel and Haenszel 1959"),
        ("0 to 38.6 %", "drawn on one scale"),
        ("GBP per 100 jobs", "come-backs of 100 jobs cost"),
        ("heat_gun", "Hot-air gun. A method of: Opening the device"),
        ("Cell pierced", "Can hurt someone"),
        ("broken_tabs", "Any of: Pull tab snapped"),
        ("battery_grade", "Of the part battery (Battery). What sort"),
        ("same_again", "fixstats query another_try"),
        ("watch", "What has got worse and since when"),
    ],
)
def test_a_word_is_explained_however_it_is_spelt(word, told, run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # where there is no shop
    monkeypatch.delenv("FIXSTATS_SHOP", raising=False)
    code, out, err = run("explain", *word.split())
    assert (code, err) == (0, "")
    assert told in " ".join(out.split())


def test_a_miss_names_the_nearest(run):
    assert run("explain", "p_bets") == (
        2,
        "",
        "fixstats: 'p_bets' is not explained; near: 'p_best'\nfixstats explain lists all words\n",
    )


def test_without_a_word_it_lists_all_by_theme(run):
    code, out, _ = run("explain")
    assert code == 0
    assert out.startswith("What stands in every answer\n  question, settings")
    told = " ".join(out.split())
    assert all(entry.term in told for entry in glossary.entries())


def test_json_has_all_keys(run):
    _, out, _ = run("explain", "unproven", "--format", "json")
    answer = json.loads(out)
    assert answer["settings"] == {"term": "unproven"}
    (row,) = answer["rows"]
    assert list(row) == ["term", "also", "theme", "meaning", "source"]
    _, out, _ = run("explain", "--format", "json")
    assert len(json.loads(out)["rows"]) == len(glossary.entries())
