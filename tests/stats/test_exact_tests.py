"""Behaviour of the exact tests of two proportions: edges, refusals, what must hold."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import special

from fixstats import stats
from fixstats.stats import exact_tests

TESTS = sorted(stats.TESTS)
ALTERNATIVES = ["two-sided", "more", "fewer"]


@st.composite
def tables(draw, largest=300):
    n1, n2 = draw(st.integers(1, largest)), draw(st.integers(1, largest))
    return draw(st.integers(0, n1)), n1, draw(st.integers(0, n2)), n2


@pytest.mark.parametrize("test", TESTS)
@pytest.mark.parametrize("alternative", ALTERNATIVES)
def test_an_empty_group_gives_nothing(test, alternative):
    found = stats.TESTS[test]([0, 1, 0], [0, 3, 0], [1, 0, 0], [3, 0, 0], alternative=alternative)
    assert np.isnan(found).all()


@pytest.mark.parametrize("counts", [(0, 9, 0, 7), (9, 9, 7, 7)])
def test_nothing_or_everything_failed(counts):
    for alternative in ALTERNATIVES:
        assert stats.fisher(*counts, alternative=alternative) == 1
        assert_allclose(stats.boschloo(*counts, alternative=alternative), 1)
        # One table is possible, and half of it is counted.
        assert stats.fisher_mid_p(*counts, alternative=alternative) == 0.5


@pytest.mark.parametrize("test", TESTS)
def test_scalars_give_scalars_and_arrays_broadcast(test):
    single = stats.TESTS[test](3, 20, 5, 15)
    assert np.ndim(single) == 0
    table = stats.TESTS[test]([[0], [3]], [20, 21, 22], 5, 15)
    assert table.shape == (2, 3)
    assert table[1, 0] == single
    assert stats.TESTS[test]([], [], [], []).shape == (0,)


def test_a_thousand_million_opportunities():
    n = 10**9
    few = stats.fisher(1, n, 3, n)
    assert_allclose(few, 2 * 5 / 16, rtol=1e-6)  # binomial(4, 1/2): 0 or 1, twice
    many = stats.fisher(500_050_000, n, 499_950_000, n)
    assert_allclose(many, 7.745836e-06, rtol=1e-3)  # the normal tail at 4.4721


@pytest.mark.parametrize("test", TESTS)
def test_refusals(test):
    function = stats.TESTS[test]
    with pytest.raises(
        ValueError, match=r"failures must be whole numbers in an exact test, got 1\.5"
    ):
        function(1.5, 3, 1, 3)
    with pytest.raises(ValueError, match=r"baseline_opportunities must be whole .* got 3\.5"):
        function(1, 3, 1, 3.5)
    with pytest.raises(ValueError, match="alternative must be one of two-sided, more, fewer, got"):
        function(1, 3, 1, 3, alternative="greater")
    with pytest.raises(ValueError, match="baseline_failures must not be greater"):
        function(1, 3, 4, 3)


@pytest.mark.parametrize("test", ["fisher", "fisher-mid-p"])
@settings(deadline=None)
@given(table=tables())
def test_labels_do_not_matter(test, table):
    x1, n1, x2, n2 = table
    function = stats.TESTS[test]
    here = function(x1, n1, x2, n2)
    assert_allclose(function(x2, n2, x1, n1), here, rtol=1e-9)
    assert_allclose(function(n1 - x1, n1, n2 - x2, n2), here, rtol=1e-9)
    more = function(x1, n1, x2, n2, alternative="more")
    assert_allclose(function(x2, n2, x1, n1, alternative="fewer"), more, rtol=1e-9)


@settings(deadline=None, max_examples=15)
@given(table=tables(12))
def test_labels_do_not_matter_to_boschloo(table):
    x1, n1, x2, n2 = table
    here = stats.boschloo(x1, n1, x2, n2)
    assert_allclose(stats.boschloo(x2, n2, x1, n1), here, rtol=1e-7)
    assert_allclose(stats.boschloo(n1 - x1, n1, n2 - x2, n2), here, rtol=1e-7)


@settings(deadline=None)
@given(table=tables())
def test_mid_p_is_smaller_and_one_sided_ones_add_up_to_1(table):
    assert stats.fisher_mid_p(*table) <= stats.fisher(*table)
    both = [stats.fisher_mid_p(*table, alternative=side) for side in ("more", "fewer")]
    assert_allclose(sum(both), 1, rtol=1e-9)


@settings(deadline=None, max_examples=15)
@example(table=(17, 18, 1, 10), side="fewer")  # another table is less extreme by 8e-8
@given(table=tables(25), side=st.sampled_from(["more", "fewer"]))
def test_boschloo_is_at_most_fisher_on_one_side(table, side):
    assert stats.boschloo(*table, alternative=side) <= stats.fisher(*table, alternative=side) + 1e-9


@settings(deadline=None, max_examples=15)
@given(n1=st.integers(2, 40), table=tables(40))
def test_more_failures_make_more_failures_likelier(n1, table):
    _, _, x2, n2 = table
    x1 = np.arange(n1 + 1)
    assert np.all(np.diff(stats.fisher(x1, n1, x2, n2, alternative="more")) <= 1e-12)
    assert np.all(np.diff(stats.fisher(x1, n1, x2, n2, alternative="fewer")) >= -1e-12)


def test_boschloo_holds_its_level_at_every_rate():
    # All tables of 9 and 7: the rejected ones have at most 5 % together, whatever the rate.
    n1, n2 = 9, 7
    x1, x2 = (values.ravel() for values in np.meshgrid(np.arange(n1 + 1), np.arange(n2 + 1)))
    p = stats.boschloo(x1, n1, x2, n2, alternative="more")
    rates = np.linspace(0.001, 0.999, 333)[:, None]
    mass = (
        special.comb(n1, x1)
        * special.comb(n2, x2)
        * rates ** (x1 + x2)
        * (1 - rates) ** (n1 + n2 - x1 - x2)
    )
    assert_allclose(mass.sum(axis=1), 1)
    for level in (0.01, 0.05, 0.2):
        rejected = mass[:, p <= level].sum(axis=1)
        assert rejected.max() <= level + 1e-9
    # It is sharp: with every p-value as the level, the level is reached.
    one = np.sort(p)[10]
    assert_allclose(mass[:, p <= one * (1 + 1e-9)].sum(axis=1).max(), one, rtol=1e-3)


def test_array_order_is_kept():
    rows = [(3, 20, 5, 15), (0, 8, 7, 9), (1, 5, 0, 0)]
    found = stats.boschloo(*zip(*rows, strict=True))
    assert_array_equal(found, [stats.boschloo(*row) for row in rows])


@pytest.mark.parametrize("alternative", ALTERNATIVES)
def test_few_tables_and_many_are_worked_out_alike(alternative):
    """Few are added up term by term, many by SciPy's distributions."""
    one = [
        (900, 1000, 100, 1000),
        (0, 5000, 9, 40),
        (3, 7, 2, 2),
        (40, 50, 41, 50),
        (1, 10**5, 3, 10**5),
    ]
    many = np.array(one * 30).T
    told = stats.fisher(*many, alternative=alternative)
    assert told.size > exact_tests.FEW_TABLES
    for table, expected in zip(one, told, strict=False):
        assert_allclose(stats.fisher(*table, alternative=alternative), expected, rtol=1e-9)
