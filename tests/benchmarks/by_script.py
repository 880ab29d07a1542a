"""The tables of ``decide`` and ``report`` by a plain script: pandas and what goes with it.

    python tests/benchmarks/by_script.py CATALOGUE SHEET [SHEET ...] [--only rates,costs]

What a good analyst would write in an afternoon, a program of its own: rates of every failure mode
by model and first method with Wilson intervals; what a job of each option costs, by a logistic
regression of failures on option, model and technician; come-backs by battery grade by Kaplan and
Meier. It counts plainly: every mode was looked for wherever its step was done or its part fitted;
nothing unclear, pre-existing or mixed, no pooling, no draws, no verdicts.
"""

import argparse
import sys
import tomllib
from pathlib import Path

import pandas as pd

# Money a minute, and days after hand-over, of the invented workshop.
LABOUR, FOLLOWED = 54.0 / 60, 90


def read(sheets):
    """All sheets under each other; of completed jobs, with the first method and grade of each."""
    parts = [pd.read_csv(sheet, dtype=str, keep_default_na=False) for sheet in sheets]
    jobs = pd.concat(parts, ignore_index=True).drop_duplicates(["job", "branch"])
    for name in ("finished", "returned"):
        jobs[name] = pd.to_datetime(jobs[name], errors="coerce")
    jobs["minutes"] = pd.to_numeric(jobs["minutes"], errors="coerce")
    return jobs[(jobs["return_of"] == "") & jobs["finished"].notna()].reset_index(drop=True)


def first(column):
    """First choice of a column."""
    return column.str.split(">").str[0].str.strip()


def seen(jobs):
    """One row per (row of jobs, mode, where)."""
    each = jobs["failures"].str.split(";").explode().str.strip()
    each = each[each != ""].str.split("@", n=1, expand=True).reindex(columns=[0, 1])
    return each.rename(columns={0: "mode", 1: "where"})


def places(catalogue):
    """(mode, column of the choice, step or None) of the sheet's columns."""
    for mode in catalogue["failure_mode"]:
        parts = [one["code"] for one in catalogue["part"]]
        named = parts if mode.get("part") == "any" else [mode["part"]] if "part" in mode else []
        for step in mode.get("steps", ()):
            yield mode["code"], step
        for part in named:
            yield mode["code"], f"{part}_grade"


def rates(jobs, catalogue):
    """Failures of opportunities of every mode by model and first choice, Wilson."""
    from statsmodels.stats.proportion import proportion_confint

    found = seen(jobs)
    tables = []
    for mode, column in places(catalogue):
        if column not in jobs:
            continue
        option = first(jobs[column])
        at = jobs.assign(option=option, failed=jobs.index.isin(found.index[found["mode"] == mode]))
        at = at[(option != "") & (option != "-")]
        table = at.groupby(["model", "option"])["failed"].agg(["sum", "count"]).reset_index()
        tables.append(table.assign(mode=mode, choice=column))
    table = pd.concat(tables, ignore_index=True)
    low, high = proportion_confint(table["sum"], table["count"], method="wilson")
    return table.assign(rate=table["sum"] / table["count"], low=low, high=high)


def costs(jobs, catalogue):
    """What a job of each option costs: minutes, and failures by a logistic regression."""
    import statsmodels.api as sm
    import statsmodels.formula.api as smf

    each = {
        mode["code"]: mode.get("cost_money", 0) + LABOUR * mode.get("cost_minutes", 0)
        for mode in catalogue["failure_mode"]
    }
    uses = {method["code"]: method.get("consumables", 0) for method in catalogue["method"]}
    found = seen(jobs)
    own = pd.DataFrame(list(places(catalogue)), columns=["mode", "column"])
    tables = []
    for column, modes in own.groupby("column")["mode"]:
        if column not in jobs:
            continue
        option = first(jobs[column])
        mine = found[found["mode"].isin(set(modes))]
        at = jobs.assign(option=option, failed=jobs.index.isin(mine.index))
        at = at[(option != "") & (option != "-")]
        if at["option"].nunique() < 2 or not at["failed"].any():
            continue
        keys = ["option", "model", "technician"]
        cells = at.groupby(keys)["failed"].agg(["sum", "count"]).reset_index()
        cells["rate"] = cells["sum"] / cells["count"]
        fit = smf.glm(
            "rate ~ C(option) + C(model) + C(technician)", cells,
            family=sm.families.Binomial(), var_weights=cells["count"],
        ).fit()  # fmt: skip
        money = mine["mode"].map(each).mean()
        for value, part in at.groupby("option"):
            chance = fit.predict(cells.assign(option=value))
            failing = (chance * cells["count"]).sum() / cells["count"].sum()
            minutes = part.loc[~part["failed"], "minutes"].mean()
            cost = uses.get(value, 0) + LABOUR * minutes + failing * money
            tables.append((column, value, len(part), failing, minutes, cost))
    names = ["choice", "option", "jobs", "failing", "minutes", "cost"]
    return pd.DataFrame(tables, columns=names)


def comebacks(jobs, _):
    """Share that came back within the follow-up, by the grade of the battery."""
    from lifelines import KaplanMeierFitter

    done = jobs[(jobs["outcome"] == "completed") & (first(jobs["battery_grade"]) != "")]
    end = jobs[["finished", "returned"]].max().max()
    days = (done["returned"].fillna(end) - done["finished"]).dt.days.clip(0, FOLLOWED)
    event = done["returned"].notna() & ((done["returned"] - done["finished"]).dt.days <= FOLLOWED)
    tables = []
    for grade, rows in done.groupby(first(done["battery_grade"])).groups.items():
        curve = KaplanMeierFitter().fit(days[rows], event[rows])
        share = 1 - curve.survival_function_at_times([FOLLOWED]).iloc[0]
        high, low = 1 - curve.confidence_interval_.iloc[-1]
        tables.append((grade, len(rows), int(event[rows].sum()), share, low, high))
    return pd.DataFrame(tables, columns=["grade", "jobs", "returns", "rate", "low", "high"])


TABLES = {"rates": rates, "costs": costs, "comebacks": comebacks}


def main():
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("catalogue", type=Path)
    parser.add_argument("sheets", type=Path, nargs="+")
    parser.add_argument("--only", default=",".join(TABLES))
    options = parser.parse_args()
    catalogue = tomllib.loads(options.catalogue.read_text(encoding="utf-8"))
    jobs = read(options.sheets)
    for name in options.only.split(","):
        print(name)
        TABLES[name](jobs, catalogue).to_csv(sys.stdout, index=False)


if __name__ == "__main__":
    main()
