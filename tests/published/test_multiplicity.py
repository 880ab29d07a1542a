"""Corrected p-values against printed figures."""

import numpy as np
from numpy.testing import assert_allclose

from fixstats import stats

# Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, section 4.1: 15 tests. Seen.
SMALL = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
P_VALUES = np.array([*SMALL, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0])


def test_holm_rejects_three():
    # The paper's text counts three by Bonferroni's and Holm's procedures at .05.
    assert (stats.holm(P_VALUES) <= 0.05).sum() == 3


def test_benjamini_hochberg_rejects_four():
    corrected = stats.benjamini_hochberg(P_VALUES)
    assert (corrected <= 0.05).sum() == 4
    assert_allclose(corrected[:4], [0.0015, 0.003, 0.0095, 0.035625], rtol=1e-12)
