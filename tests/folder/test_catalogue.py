"""A catalogue with an error is refused with file, entry, key and what is allowed."""

from copy import deepcopy
from datetime import date, datetime
from pathlib import Path

import pytest

from fixstats.errors import FolderError
from fixstats.folder import DEFAULT_CATALOGUE, build_catalogue, fold, read_catalogue
from fixstats.folder.entries import ENTRIES, FIXED_COLUMNS, OPEN_LISTS, RESERVED
from fixstats.folder.links import CODED, FAMILIES

from .catalogues import SMALL, extended, spoilt

WHERE = Path("catalogue.toml")


def refusal(raw):
    with pytest.raises(FolderError, match=r"^catalogue\.toml: .+: .+; allowed: .+") as caught:
        build_catalogue(raw, WHERE)
    text = str(caught.value)
    assert len(text.splitlines()) == 1
    return text


def test_the_small_catalogue_passes():
    catalogue = build_catalogue(SMALL, WHERE)
    assert catalogue.step_codes == ("release", "opening")
    assert catalogue.methods_of("opening") == ("heat", "cold")
    assert catalogue.part_codes == ("battery", "display")
    assert catalogue.modes["lines"].steps == ("opening", "release")
    assert catalogue.families["part_failure"] == ("dead",)
    assert catalogue.label("heat") == "Heat"
    assert catalogue.label("nobody_knows") == "nobody_knows"
    assert catalogue.unrecorded_grade == "original"


def test_what_is_left_out_has_the_defaults_of_the_format():
    catalogue = build_catalogue(SMALL, WHERE)
    assert [grade.origin for grade in catalogue.grades] == ["maker", "copy"]
    assert [factor.when for factor in catalogue.factors] == ["intake", "intake", "during"]
    assert catalogue.methods[1].consumables == 0
    assert catalogue.modes["lines"].cost_money is None
    assert catalogue.modes["lines"].safety is False
    assert catalogue.prices[0].model is None


# ------------------------------------------------------------------------- top of the file


@pytest.mark.parametrize("given", [2, 0, "1", True, None])
def test_format(given):
    raw = deepcopy(SMALL) | {"format": given}
    if given is None:
        del raw["format"]
    text = refusal(raw)
    assert "top of the file: format: " in text
    assert text.endswith("allowed: format = 1")


def test_unknown_keys_name_the_nearest():
    text = refusal(deepcopy(SMALL) | {"methods": []})
    assert "top of the file: methods: unknown key; did you mean 'method'?" in text
    text = refusal(spoilt("failure_mode", 0, famly="x"))
    assert "failure_mode 'torn': famly: unknown key; did you mean 'family'?" in text


@pytest.mark.parametrize("kind", ENTRIES)
def test_entries_are_lists_of_tables(kind):
    text = refusal(deepcopy(SMALL) | {kind: {"code": "x"}})
    assert f"top of the file: {kind}: is no list of tables" in text
    text = refusal(deepcopy(SMALL) | {kind: ["x"]})
    assert f"[[{kind}]] number 1: {kind}: is no table" in text


def test_unrecorded_grade_is_a_grade():
    text = refusal(deepcopy(SMALL) | {"unrecorded_grade": "orignal"})
    assert "unrecorded_grade: unknown grade 'orignal'; did you mean 'original'?" in text
    assert "unknown grade 5" in refusal(deepcopy(SMALL) | {"unrecorded_grade": 5})


# --------------------------------------------------------------------- every key of entries

REQUIRED = [(kind, key) for kind, keys in ENTRIES.items() for key in keys if keys[key].required]


@pytest.mark.parametrize(("kind", "key"), REQUIRED)
def test_required_keys(kind, key):
    text = refusal(spoilt(kind, without=[key]))
    assert f": {key}: is missing; allowed: {ENTRIES[kind][key].allowed}" in text


# What no key takes; a key that does take one of these is named beside it.
WRONG = [None, [], {}, "", " ", "two\nlines", -1, 0.5, float("nan"), float("inf"), True, [1],
         ["a", 1], datetime(2026, 1, 1)]  # fmt: skip
EVERY = [(kind, key) for kind, keys in ENTRIES.items() for key in keys]


@pytest.mark.parametrize(("kind", "key"), EVERY)
def test_every_key_refuses_what_it_cannot_take(kind, key):
    rule = ENTRIES[kind][key]
    wrong = [value for value in WRONG if not rule.test(value)]
    assert len(wrong) >= 8, "the key takes nearly everything"
    for value in wrong:
        text = refusal(spoilt(kind, **{key: value}))
        assert f": {key}: {value!r} is not allowed; allowed: {rule.allowed}" in text


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [
        ("step", "code", "Opening"),
        ("step", "code", "1st"),
        ("step", "code", "öffnen"),
        ("step", "code", "a b"),
        ("step", "order", "first"),
        ("step", "order", float("nan")),
        ("method", "consumables", -0.1),
        ("method", "consumables", float("inf")),
        ("method", "cautions", "Hot."),
        ("repair", "steps", ["opening", "opening"]),
        ("factor", "kind", "text"),
        ("factor", "when", "later"),
        ("failure_mode", "severity", 0),
        ("failure_mode", "severity", 6),
        ("failure_mode", "severity", 2.5),
        ("failure_mode", "safety", "yes"),
        ("failure_mode", "cost_minutes", -5),
        ("failure_mode", "steps", ["release", "release"]),
        ("failure_mode", "methods", ["pull", "pull"]),
        ("price", "since", "2026-01-01"),
        ("price", "since", datetime(2026, 1, 1)),
        ("price", "money", -9),
        ("alias", "kind", "city"),
    ],
)
def test_values_out_of_range(kind, key, value):
    assert f": {key}: {value!r} is not allowed" in refusal(spoilt(kind, **{key: value}))


def test_bands_rise():
    for bands in ([80, 20], [20, 20], ["20"], [float("nan"), 1]):
        assert "allowed: a list of rising numbers" in refusal(spoilt("factor", 2, bands=bands))


def test_an_entry_without_a_code_is_named_by_its_number():
    assert "[[price]] number 1: money: " in refusal(spoilt("price", without=["money"]))
    assert "[[step]] number 2: code: is missing" in refusal(spoilt("step", 1, without=["code"]))


# -------------------------------------------------------------------------------- codes


@pytest.mark.parametrize("kind", CODED)
@pytest.mark.parametrize(
    "code",
    [*FIXED_COLUMNS[:3], "failures", *RESERVED[:2], "rate", "opening_minutes", "battery_grade",
     "display_fitted"],
)  # fmt: skip
def test_codes_that_would_be_taken_for_a_column(kind, code):
    text = refusal(extended(kind, SMALL[kind][0] | {"code": code}))
    assert f"{kind} '{code}': code: '{code}' is already " in text
    assert "a code used nowhere else" in text


@pytest.mark.parametrize("kind", CODED)
def test_codes_are_unique_across_all_kinds(kind):
    other = "battery" if kind != "part" else "opening"
    text = refusal(spoilt(kind, code=other))
    assert f"code: '{other}' is already the code of a " in text


def test_a_code_twice_in_one_kind():
    text = refusal(spoilt("part", 1, code="battery"))
    assert "part 'battery': code: 'battery' is already the code of a part" in text


def test_a_family_is_no_code():
    text = refusal(spoilt("failure_mode", 4, family="battery"))
    assert "family: 'battery' is already the code of a part" in text


@pytest.mark.parametrize("family", FAMILIES)
def test_families_that_must_exist(family):
    raw = deepcopy(SMALL)
    for mode in raw["failure_mode"]:
        mode["family"] = "other" if mode["family"] == family else mode["family"]
    text = refusal(raw)
    assert f"failure_mode: family: no failure mode of the family '{family}'" in text


# -------------------------------------------------------------------------------- links


@pytest.mark.parametrize(
    ("kind", "position", "key", "value", "unknown"),
    [
        ("method", 0, "step", "openin", "step 'openin'; did you mean 'opening'?"),
        ("repair", 0, "steps", ["releas"], "step 'releas'; did you mean 'release'?"),
        ("repair", 0, "parts", ["batery"], "part 'batery'; did you mean 'battery'?"),
        ("repair", 0, "factors", ["liqid"], "factor 'liqid'; did you mean 'liquid'?"),
        ("failure_mode", 0, "steps", ["relase"], "step 'relase'; did you mean 'release'?"),
        ("failure_mode", 0, "methods", ["pul"], "method 'pul'; did you mean 'pull'?"),
        ("failure_mode", 3, "mixed", ["battery", "displa"], "part 'displa'; did you mean"),
        ("failure_mode", 4, "part", "batery", "part 'batery'; did you mean 'battery'?"),
        ("failure_mode", 4, "grades", ["copi"], "grade 'copi'; did you mean 'copy'?"),
        ("price", 0, "part", "dsplay", "part 'dsplay'; did you mean 'display'?"),
        ("price", 0, "grade", "copi", "grade 'copi'; did you mean 'copy'?"),
    ],
)  # fmt: skip
def test_codes_of_others_must_exist(kind, position, key, value, unknown):
    assert f": {key}: unknown {unknown}" in refusal(spoilt(kind, position, **{key: value}))


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({"part": "battery"}, "steps and part"),
        ({"mixed": ["battery", "display"]}, "steps and mixed"),
    ],
)
def test_a_mode_has_exactly_one_place(change, found):
    text = refusal(spoilt("failure_mode", 1, **change))
    assert f"failure_mode 'lines': steps/part/mixed: has {found}; allowed: exactly one" in text
    assert "has none of them" in refusal(spoilt("failure_mode", 1, without=["steps"]))


def test_methods_belong_to_the_steps_of_the_mode():
    text = refusal(spoilt("failure_mode", 0, methods=["heat"]))
    assert "methods: 'heat' is a method of step 'opening'" in text
    # a mode of parts has no step whose methods these could be
    text = refusal(spoilt("failure_mode", 4, methods=["heat"]))
    assert "methods: 'heat' is a method of step 'opening'" in text


def test_grades_go_with_part():
    text = refusal(spoilt("failure_mode", 0, without=["methods"], grades=["copy"]))
    assert "grades: needs part" in text
    assert "grades: needs part" in refusal(spoilt("failure_mode", 3, grades=["copy"]))


def test_mixed_parts_are_different():
    text = refusal(spoilt("failure_mode", 3, mixed=["battery", "battery"]))
    assert "allowed: a list of two or more different part codes" in text
    assert "mixed: ['battery'] is not allowed" in refusal(
        spoilt("failure_mode", 3, mixed=["battery"])
    )


def test_a_factor_during_the_job_may_name_its_step():
    factors = build_catalogue(spoilt("factor", 2, at="release"), WHERE).factors
    assert [factor.at for factor in factors] == [None, None, "release"]
    assert "at: unknown step 'releas'; did you mean 'release'" in refusal(
        spoilt("factor", 2, at="releas")
    )
    assert 'at beside when = "during" only' in refusal(spoilt("factor", 0, at="release"))
    assert "at: 5 is not allowed; allowed: the code of a step" in refusal(spoilt("factor", 2, at=5))


def test_values_and_bands_go_with_their_kind_of_factor():
    assert "values: is missing" in refusal(spoilt("factor", 1, without=["values"]))
    assert "values: is missing" in refusal(spoilt("factor", 1, values=[]))
    assert "values: does not go with a flag" in refusal(spoilt("factor", 0, values=["a"]))
    assert "bands: does not go with a flag" in refusal(spoilt("factor", 0, bands=[1]))
    assert "bands: does not go with a category" in refusal(spoilt("factor", 1, bands=[1]))
    assert "values: does not go with a number" in refusal(spoilt("factor", 2, values=["a"]))


def test_a_value_of_a_category_is_named_once():
    text = refusal(spoilt("factor", 1, values=["metal", " Metal "]))
    assert "factor 'casing': values: names a value twice" in text


def test_standards_name_a_choice_and_one_of_its_options():
    text = refusal(spoilt("standard", choice="openin"))
    assert "choice: unknown choice 'openin'; did you mean 'opening'?" in text
    text = refusal(spoilt("standard", option="pull"))
    assert "option: unknown option 'pull'" in text
    assert text.endswith("allowed: heat, cold")
    text = refusal(spoilt("standard", choice="battery_grade", option="heat"))
    assert text.endswith("allowed: original, copy")
    assert build_catalogue(
        spoilt("standard", choice="battery_grade", option="copy"), WHERE
    ).standards[0].option == "copy"  # fmt: skip
    # suppliers are an open list: any name will do
    build_catalogue(spoilt("standard", choice="display_supplier", option="Reed Parts"), WHERE)


def test_one_price_and_one_standard_a_day():
    price, standard = SMALL["price"][0], SMALL["standard"][0]
    text = refusal(extended("price", price | {"money": 8}))
    assert "[[price]] number 2: since: 2026-01-01 has another price for the same part and" in text
    text = refusal(extended("standard", standard | {"option": "cold"}))
    assert "since: 2026-01-01 has another standard for the same choice" in text
    later = {"since": date(2026, 2, 1)}
    build_catalogue(extended("price", price | later), WHERE)
    build_catalogue(extended("standard", standard | later, standard | {"model": "Alder 5"}), WHERE)
    text = refusal(extended("price", price | {"model": "A"}, price | {"model": " a"}))
    assert "[[price]] number 3: since" in text


# ------------------------------------------------------------------------------- aliases


def alias(name, *also, kind="model"):
    return {"kind": kind, "is": name, "also": list(also)}


def test_one_spelling_means_one_name():
    text = refusal(extended("alias", alias("Birch", "aldr  5")))
    assert "also: 'aldr  5' is already another spelling of 'Alder 5'" in text
    # twice under the same name would show every such job twice
    text = refusal(extended("alias", alias("Alder 5", "ALDR 5")))
    assert "also: 'ALDR 5' is already another spelling of 'Alder 5'" in text
    build_catalogue(extended("alias", alias("Birch", "Aldr 5", kind="lot")), WHERE)


def test_an_alias_does_not_lead_to_another():
    text = refusal(extended("alias", alias("aldr 5", "Adler 5")))
    assert "is: 'aldr 5' is itself another spelling of 'Alder 5'; allowed: is = " in text
    build_catalogue(extended("alias", alias("Birch 2", "birch  2")), WHERE)


def test_aliases_are_for_open_lists():
    for kind in OPEN_LISTS:
        build_catalogue(extended("alias", alias("One", "Two", kind=kind)), WHERE)


@pytest.mark.parametrize(
    ("one", "other"),
    [("Alder 5", "ALDER 5"), (" Alder  5 ", "alder 5"), ("Gießen", "GIEßEN"), ("a\tb", "A B")],
)
def test_fold_ignores_case_and_spaces(one, other):
    assert fold(one) == fold(other)


@pytest.mark.parametrize(("one", "other"), [("X2", "X3"), ("Alder5", "Alder 5"), ("é", "e")])
def test_fold_keeps_names_apart(one, other):
    assert fold(one) != fold(other)


# ------------------------------------------------------------------------------- the file


def test_a_file_that_cannot_be_read(tmp_path):
    with pytest.raises(FolderError, match=r"catalogue\.toml: cannot be read \(No such file"):
        read_catalogue(tmp_path / "catalogue.toml")


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"format = 1\nstep = [", "at end of document"), (b"name = 'K\xfcche'", "is not UTF-8 text")],
)
def test_a_file_that_is_no_toml(tmp_path, content, words):
    path = tmp_path / "catalogue.toml"
    path.write_bytes(content)
    with pytest.raises(FolderError, match=words) as caught:
        read_catalogue(path)
    assert str(path) in str(caught.value)


def test_a_byte_order_mark_is_no_trouble_and_the_hash_is_of_the_content(tmp_path):
    path = tmp_path / "catalogue.toml"
    content = DEFAULT_CATALOGUE.read_bytes()
    path.write_bytes(content)
    first = read_catalogue(path)
    path.write_bytes(b"\xef\xbb\xbf" + content)
    second = read_catalogue(path)
    assert first.modes == second.modes
    assert first.hash != second.hash
    assert first.hash == read_catalogue(DEFAULT_CATALOGUE).hash
    assert len(first.hash) == 12
