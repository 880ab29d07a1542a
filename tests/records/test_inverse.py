"""An import and reading it back as a sheet are each other's inverse, on random shops."""

from __future__ import annotations

import importlib.util
import random
from pathlib import Path

import pytest

from fixstats.records.columns import sheet_columns

_SPEC = importlib.util.spec_from_file_location(
    "roundtrips", Path(__file__).with_name("test_roundtrips.py")
)
assert _SPEC is not None
assert _SPEC.loader is not None
roundtrips = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(roundtrips)


def some_rows(catalogue, seed, count):
    """Random rows, some of them contradicting themselves: those are held back."""
    pick = random.Random(seed)
    modes = list(catalogue.modes)
    grades = [grade.code for grade in catalogue.grades]

    def path(options, most=3):
        return " > ".join(pick.choice([*options, "?"]) for _ in range(pick.randint(1, most)))

    def cell(column):
        kind, owner = column.kind, column.owner
        if kind == "step":
            return path(catalogue.methods_of(owner)) if pick.random() < 0.8 else "-"
        if kind == "grade":
            return path(grades, 2) if pick.random() < 0.8 else "-"
        if kind in ("supplier", "lot"):
            return path(["Ouzel", "ouzel ", "Kestrel"], 2)
        if kind == "cost":
            return path(["12.5", "3", "07.10"], 2)
        if kind == "category":
            factor = next(one for one in catalogue.factors if one.code == owner)
            return pick.choice(factor.values)
        if kind in ("failures", "preexisting", "unchecked"):
            chosen = pick.sample(modes, pick.randint(1, 2))
            marks = ["", "@1", "@2", "@opening", "@battery.1"] if kind == "failures" else [""]
            return "; ".join(mode + pick.choice(marks) for mode in chosen)
        return {
            "repair": "; ".join(pick.sample([r.code for r in catalogue.repairs], 2)),
            "outcome": pick.choice(["completed", "abandoned", "returned_unrepaired"]),
            "date": f"2026-0{pick.randint(1, 9)}-{pick.randint(10, 28)}",
            "return_reason": pick.choice([*modes, "unrelated"]),
            "flag": pick.choice(["yes", "no", "Y", "0"]),
            "fitted": pick.choice(["yes", "no"]),
        }.get(kind, str(pick.randint(1, 400) / pick.choice([1, 4])))

    columns = sheet_columns(catalogue)
    for number in range(count):
        row = {name: cell(column) for name, column in columns.items() if pick.random() < 0.3}
        repair = pick.choice(catalogue.repairs).code
        yield {"finished": "2026-03-14", "model": pick.choice(["Orca", "ORCA", "Velum 3"]),
               "repair": repair, **row, "job": str(number)}  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
def test_read_back_and_imported_again_nothing_changes(shop, seed):
    rows = list(some_rows(shop.folder.catalogue, seed, 400))
    report = shop.take(rows, covers="all")
    sheet = report.sheets[0]
    assert sheet.added > 100
    assert sheet.added + sheet.held_back == 400
    before = shop.state()
    again = shop.take(roundtrips.export_all(shop), covers="all")
    assert again.sheets[0].preview == ()
    assert (again.sheets[0].unchanged, again.sheets[0].changed) == (sheet.added, 0)
    assert shop.state() == before
