"""What comparisons on small shops, each with one trap, say beside their figures."""

import csv
from types import SimpleNamespace

import pytest

from fixstats.findings.compare_notes import _turned
from fixstats.folder import Settings, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

CATALOGUE = """
format = 1
step = [{code = "opening", label = "Opening", order = 1}]
method = [{step = "opening", code = "heat", label = "Heat"},
          {step = "opening", code = "cold", label = "Cold"}]
part = [{code = "battery", label = "Battery"}, {code = "display", label = "Display"}]
grade = [{code = "original", label = "Original"}]
repair = [{code = "swap", label = "Swap", steps = ["opening"], parts = ["battery"]}]
standard = [{choice = "opening", option = "cold", since = 2024-01-01},
            {choice = "opening", option = "heat", since = 2024-01-01, model = "Alder 5"}]
failure_mode = [
  {code = "lines", label = "Lines", family = "display_damage", severity = 3, steps = ["opening"]},
  {code = "torn", label = "Torn", family = "broken_tabs", severity = 2, steps = ["opening"]},
  {code = "pierced", label = "Pierced", family = "calibration_failures", severity = 5, \
   safety = true, cautions = ["Stop."], steps = ["opening"]},
  {code = "clash", label = "Clash", family = "mixed_part_conflicts", severity = 3, \
   mixed = ["battery", "display"]},
]
"""


def jobs(model, who, option, number, failures=0, mode="torn", unchecked=0):
    """So many jobs of a kind, the first of them failed, the last of them not looked at."""
    return [
        {"model": model, "technician": who, "opening": option, "repair": "swap"}
        | {"failures": mode if n < failures else ""}
        | {"unchecked": mode if n >= number - unchecked else ""}
        for n in range(number)
    ]


@pytest.fixture
def shop_of(tmp_path):
    def make(*groups):
        rows = [row for group in groups for row in group]
        # Days go round, so that no option shifts over time.
        rows = [
            {"job": n, "finished": f"2025-01-{1 + n % 28:02d}"} | row for n, row in enumerate(rows)
        ]
        (tmp_path / "c.toml").write_text(CATALOGUE, encoding="utf-8")
        folder = make_folder(tmp_path / "shop", Settings(name="Small"), tmp_path / "c.toml")
        with (tmp_path / "sheet.csv").open("w", newline="", encoding="utf-8") as out:
            writer = csv.DictWriter(out, rows[0])
            writer.writeheader()
            writer.writerows(rows)
        (report,) = import_sheets(folder, [tmp_path / "sheet.csv"], covers="all").sheets
        assert report.held_back == 0
        return open_shop(folder.path)

    return make


def texts(result, code):
    return [note.text for note in result.notes if note.code == code]


def sentences(result):
    return [one["sentence"] for one in result.finding.parts["sentences"]]


def test_jobs_picked_by_how_they_went_come_first(shop_of):
    shop = shop_of(jobs("Elm", "T1", "heat", 30, 4), jobs("Elm", "T1", "cold", 30, 3))
    found = shop.compare("opening", where={"opening_another_try": "no", "model": "Elm"})
    assert found.notes[0].code == "picked"
    assert "after the choice of opening (opening_another_try: it is known only after" in (
        found.notes[0].text
    )
    assert texts(shop.compare("opening", where={"model": "Elm"}), "picked") == []


def test_dangers_end_the_sentence(shop_of):
    shop = shop_of(
        jobs("Elm", "T1", "cold", 400, 80),
        jobs("Elm", "T1", "heat", 60, 5, "pierced"),
        jobs("Elm", "T1", "heat", 60),
    )
    for adjust in (None, "none"):
        (told,) = sentences(shop.compare("opening", adjust=adjust))
        assert told.startswith("heat fails less than cold")
        assert told.endswith("; but pierced more often with heat (5 of 120 against 0 of 400)")
    by_model = sentences(shop.compare("opening", by="model"))
    assert all("pierced more often" in one for one in by_model)
    assert "pierced" not in sentences(shop.compare("opening", mode="torn"))[0]


def test_models_that_had_one_option_each(shop_of):
    shop = shop_of(jobs("Alder 5", "T1", "heat", 60, 12), jobs("Elm", "T1", "cold", 60, 3))
    found = shop.compare("opening", by="model")
    assert all("no model has had both: model and option" in told for told in sentences(found))
    (note,) = texts(found, "never_met")
    assert note.startswith("heat against cold: no model has had both")
    assert texts(shop.compare("opening", where={"model": "Elm"}), "never_met") == []


def test_technicians_not_recorded_are_one_person_and_said(shop_of):
    shop = shop_of(
        jobs("Elm", "", "heat", 30, 4), jobs("Elm", "", "cold", 40, 3), jobs("Oak", "", "cold", 9)
    )
    found = shop.compare("opening")
    said = "technician not recorded on 79 of 79 jobs; they count as one person"
    assert texts(found, "no_technician") == [said]
    assert found.settings["dropped"]["technician"] == "not recorded"
    assert texts(shop.compare("opening", strata="model", adjust="model"), "no_technician") == []


def test_one_technician_is_no_technician_missing(shop_of):
    shop = shop_of(jobs("Elm", "T1", "heat", 30, 4), jobs("Oak", "T1", "cold", 30, 3))
    found = shop.compare("opening")
    assert found.settings["dropped"]["technician"] == "one value only"
    assert texts(found, "no_technician") == []


def test_models_with_a_standard_of_their_own(shop_of):
    groups = [jobs(m, "T1", o, 20, 2) for m in ("Alder 5", "Elm") for o in ("heat", "cold")]
    shop = shop_of(*groups)
    found = shop.compare("opening", by="model")
    assert found.settings["baseline"] == "cold"
    (note,) = texts(found, "own_standard")
    assert note.startswith("a house standard of their own: Alder 5 (heat); here all are held")
    assert texts(shop.compare("opening"), "own_standard") == []
    own = shop.compare("opening", where={"model": "Alder 5"}).settings
    assert own["baseline"] == "heat"
    assert own["baseline_because"] == "the house standard on Alder 5"


def test_unknown_outcomes_of_models_are_named_together(shop_of):
    groups = [
        group
        for model in ("Alder 5", "Elm")
        for group in (
            jobs(model, "T1", "heat", 150, 40, unchecked=40),
            jobs(model, "T1", "cold", 150, 5, unchecked=40),
        )
    ]
    found = shop_of(*groups).compare("opening", by="model", mode="torn")
    assert all("heat fails more than cold" in told for told in sentences(found))
    said = "heat (on Alder 5) and heat (on Elm): unknown outcomes could turn the sign"
    (note,) = texts(found, "unknown_sign_models")
    assert note.startswith(said)
    assert len(texts(found, "unknown_sign")) == 1


def test_why_figures_over_strata_are_empty(shop_of):
    apart = shop_of(
        jobs("Elm", "T1", "heat", 20, 20),
        jobs("Elm", "T1", "cold", 25),
        jobs("Oak", "T1", "heat", 20, 20),
        jobs("Oak", "T1", "cold", 25),
    ).compare("opening", adjust="none")
    (row,) = apart.rows
    assert row["strata_p"] < 0.001
    assert row["homogeneity_p"] is None
    (note,) = texts(apart, "no_strata")
    assert "one of the two never failed, or always did" in note
    # The interval of a normal variance would go beyond 100 in 100.
    assert row["strata_high"] <= 1


def test_nothing_failed(shop_of, run):
    shop = shop_of(jobs("Elm", "T1", "heat", 46), jobs("Elm", "T1", "cold", 54))
    found = shop.compare("opening")
    assert sentences(found) == [
        "heat against cold: no failure seen on either side (none of 46 with heat, none of 54 with "
        "cold): no order can be told"
    ]
    (note,) = texts(found, "no_strata")
    assert "no test over strata" in note
    code, out, _ = run("compare", "opening", "--shop", shop.folder.path)
    assert code == 0
    # A p-value of nothing is none, and a difference of 0 has no sign.
    assert "0.500" not in out
    assert "  0 (-" in out


def test_strata_of_one_option_are_counted(shop_of):
    shop = shop_of(
        jobs("Elm", "T1", "heat", 90, 9),
        jobs("Elm", "T1", "cold", 90, 3),
        jobs("Elm", "T2", "cold", 10, 3),
        jobs("Oak", "T2", "cold", 1),
    )
    (light,) = texts(shop.compare("opening"), "one_sided_strata")
    assert light.endswith("not in that column: heat 2 of 3 strata")
    assert texts(shop.compare("opening"), "sparse_strata") == []


def test_many_jobs_outside_the_strata_are_named(shop_of):
    found = shop_of(
        jobs("Elm", "T1", "heat", 40, 9),
        jobs("Elm", "T1", "cold", 40, 3),
        jobs("Elm", "T2", "cold", 20, 3),
    ).compare("opening")
    (heavy,) = texts(found, "sparse_strata")
    assert heavy.startswith("so many jobs of the two have no like to be compared with")
    assert heavy.endswith("heat 20 % (1 of 2 strata)")
    assert texts(found, "one_sided_strata") == []


def test_an_only_job_is_not_one_of_one(shop_of):
    found = shop_of(
        jobs("Elm", "T1", "heat", 1), jobs("Elm", "T1", "cold", 20, 3), jobs("Elm", "T2", "cold", 9)
    ).compare("opening")
    (note,) = texts(found, "one_technician")
    assert note.startswith("heat: its only job is by T1; ")


def test_a_hidden_cause_in_words(shop_of):
    found = shop_of(jobs("Elm", "T1", "heat", 200, 60), jobs("Elm", "T1", "cold", 200, 15)).compare(
        "opening"
    )
    needed = f"{found.rows[0]['hidden_cause_needed']:.1f}"
    (note,) = texts(found, "hidden_cause")
    assert note == (
        f"heat {needed}: something nobody recorded, that makes failures {needed} times as likely "
        f"and is {needed} times as common with one option, could explain its difference away; the "
        "nearer to 1, the easier"
    )


def test_parts_that_may_follow_from_the_choice(shop_of):
    shop = shop_of(jobs("Elm", "T1", "heat", 30, 4), jobs("Elm", "T1", "cold", 30, 3))
    found = shop.compare("opening", strata=["model", "parts_together"])
    (note,) = texts(found, "may_follow")
    assert note.startswith("parts_together may follow from the choice of opening")
    assert texts(shop.compare("opening"), "may_follow") == []


def public(raw, strata, adjusted):
    kinds = {"": raw, "strata_": strata, "adjusted_": adjusted}
    row = {f"{kind}difference": value for kind, value in kinds.items()}
    for kind, value in kinds.items():
        ends = ("low", "high") if kind else ("difference_low", "difference_high")
        row |= {
            f"{kind}{end}": None if value is None else value + side
            for end, side in zip(ends, (-0.1, 0.1), strict=True)
        }
    return row


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ((-0.11, 0.09, -0.06), "the two like-for-like figures disagree, go by neither"),
        ((-0.11, 0.09, 0.06), "go by the like-for-like figure"),
        ((-0.11, -0.02, 0.06), "go by the like-for-like figure"),
        ((-0.11, 0.09, None), "go by the like-for-like figure"),
    ],
)
def test_a_reversal_that_the_lead_does_not_follow_is_no_advice(figures, said):
    plan = SimpleNamespace(strata=("model", "technician"), unit="jobs")
    told = _turned(public(*figures), plan)
    assert said in told
    assert ("disagree" in told) != ("go by the like-for-like" in told)
