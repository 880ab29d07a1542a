"""Corrected p-values against R."""

import csv
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from fixstats import stats

SMALL = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
P_VALUES = [*SMALL, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]


@pytest.mark.parametrize(
    ("correct", "name"), [(stats.holm, "holm"), (stats.benjamini_hochberg, "bh")]
)
def test_p_adjust(correct, name):
    # Printed by tests/reference/r/strata_and_firth.R, base R's p.adjust.
    with (Path(__file__).parent / "r" / "strata_and_firth.csv").open(encoding="utf-8") as file:
        figures = [float(row[1]) for row in csv.reader(file) if row[0].startswith(f"{name}_")]
    assert_allclose(correct(P_VALUES), figures, rtol=1e-12)
