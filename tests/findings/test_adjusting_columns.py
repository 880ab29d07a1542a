"""What is left out of a fit or drawn together before it, and how cells become its columns."""

import numpy as np
import pytest

from fixstats.findings import adjusting_columns
from fixstats.findings.adjusting_columns import cells_of, chosen, coded, imbalance

from .adjusting_shops import MODELS, TECHNICIANS, asked, columns


def factor_cells(*, apart):
    """1,000 jobs an option, half of them charged, but `apart` of cold's that were now are not."""
    charge = np.tile([0, 1], 500)
    moved = charge.copy()
    moved[: round(2 * apart * 500)] = 0
    return {
        "opening": ["heat"] * 1000 + ["cold"] * 1000,
        "model": [MODELS[i // 2 % 4] for i in range(2000)],
        "technician": [TECHNICIANS[i // 8 % 3] for i in range(2000)],
        "charge": [*charge.tolist(), *moved.tolist()],
        "failures": [int(i % 7 == 0) for i in range(2000)],
        "opportunities": [1] * 2000,
    }


def test_a_condition_that_hardly_differs_between_the_options_is_left_out():
    keys = ("model", "technician", "charge")
    near, far = factor_cells(apart=0.01), factor_cells(apart=0.3)
    answer = asked(near, keys)
    assert answer.dropped == {"charge": "same share with every option"}
    assert answer.used == ("model", "technician")
    assert asked(near, keys, always=("charge",)).used == keys
    assert asked(far, keys).used == keys


def test_imbalance_is_the_share_of_jobs_that_would_have_to_change():
    # Heat 60 of 100 hot, cold 20 of 100: all 80 of 200, so each is 0.2 away.
    rows = [("heat", "h", 0, 60), ("heat", "c", 0, 40), ("cold", "h", 0, 20), ("cold", "c", 0, 80)]
    cells = cells_of(columns(rows, ("opening", "charge")), "opening", ("heat", "cold"), ["charge"])
    assert imbalance(cells, "charge") == pytest.approx(0.2)


def test_imbalance_within_models_counts_too():
    # Half of each option's jobs are hot, but on each model the options are opposites.
    rows = [
        ("heat", "M1", "h", 0, 90), ("heat", "M1", "c", 0, 10), ("heat", "M2", "h", 0, 10),
        ("heat", "M2", "c", 0, 90), ("cold", "M1", "h", 0, 10), ("cold", "M2", "h", 0, 90),
        ("cold", "M2", "c", 0, 10), ("cold", "M1", "c", 0, 90),
    ]  # fmt: skip
    names = ("opening", "model", "charge")
    cells = cells_of(columns(rows, names), "opening", ("heat", "cold"), names[1:])
    # Signs cancel over the models of equal size: told as balanced, and the fit is additive.
    assert imbalance(cells, "charge") == pytest.approx(0)
    uneven = [(*row[:4], row[4] * (3 if row[:2] == ("heat", "M1") else 1)) for row in rows]
    cells = cells_of(columns(uneven, names), "opening", ("heat", "cold"), names[1:])
    assert imbalance(cells, "charge") > 0.1


def test_too_many_cells_are_merged_quarters_first():
    random = np.random.default_rng(1)
    rows = 4000
    quarters = [f"{2024 + q // 4}-Q{q % 4 + 1}" for q in range(8)]
    option = random.integers(0, 2, rows)
    at = np.where(option == 1, random.integers(3, 8, rows), random.integers(0, 6, rows))
    charge = np.where(random.random(rows) < 0.3, option, random.integers(0, 2, rows))
    cells = {
        "opening": np.array(["heat", "cold"])[option].tolist(),
        "model": random.choice(MODELS, rows).tolist(),
        "technician": random.choice(TECHNICIANS, rows).tolist(),
        "quarter": np.array(quarters)[at].tolist(),
        "charge": charge.tolist(),
        "failures": random.integers(0, 2, rows).tolist(),
        "opportunities": [1] * rows,
    }
    keys = ["model", "technician", "quarter", "charge"]
    counts = cells_of(cells, "opening", ("heat", "cold"), keys)

    def within(limit, stay=()):
        fewer, dropped = chosen(counts, stay, limit)
        assert fewer.opportunities.sum() == rows
        assert fewer.failures.sum() == sum(cells["failures"])
        return [column.label for column in fewer.columns.values()], dropped

    assert within(1000) == (keys, {})
    assert within(180)[0] == ["model", "technician", "half-year", "charge"]
    assert within(100) == (
        ["model", "technician", "year", "charge"],
        {"quarter": "too many cells; taken by year"},
    )
    # Charge differs less between the options than the year does.
    assert within(60)[0] == ["model", "technician", "year"]
    assert within(60)[1]["charge"] == "too many cells"
    assert within(1)[0] == ["model", "technician"]
    assert within(1, ("charge",))[0] == ["model", "technician", "charge"]


def test_a_key_with_many_levels_is_drawn_together():
    random = np.random.default_rng(2)
    cells = factor_cells(apart=0.5)
    lots = random.integers(0, 30, 2000) + 30 * (np.array(cells["opening"]) == "cold")
    cells["battery_lot"] = [f"lot {lot}" for lot in lots]
    answer = asked(cells, ("model", "technician", "battery_lot"))
    assert answer.problem == ""
    assert answer.used == ("model", "technician", "battery_lot")
    row = answer.rows["cold", None]
    assert row.low < row.difference < row.high


def test_codes_follow_the_values_and_unknown_is_last():
    column = coded("charge", ["b", None, "a", "b"])
    assert column.values == ("a", "b", None)
    assert column.codes.tolist() == [1, 2, 0, 1]


def test_combinations_are_told_apart_beyond_the_largest_integer():
    random = np.random.default_rng(0)
    codes = [random.integers(0, 1000, 50) for _ in range(12)]
    both = adjusting_columns.combined([*codes, *codes])
    assert len(np.unique(both)) == 50
    again = adjusting_columns.combined([np.tile(one, 2) for one in codes])
    assert (again[:50] == again[50:]).all()
