"""Pooled rates of a finding: who is pooled with whom, what is said, what is refused."""

import pytest
from scipy import integrate, stats

from fixstats.errors import UsageError
from fixstats.findings.rates_pool import POOLED, check_pool, pool_notes, pool_rows


def rows_of(counts, mode="tab_snapped"):
    """Rows from (model, opening) -> (failures, opportunities)."""
    return [
        {"mode": mode, "family": "broken_tabs", "model": model, "opening": opening}
        | {"failures": failures, "opportunities": opportunities}
        for (model, opening), (failures, opportunities) in counts.items()
    ]


KEYS = ("model", "opening")
FOUR = {("A", "gun"): (3, 40), ("B", "gun"): (0, 6), ("C", "gun"): (9, 80), ("D", "gun"): (0, 0)}


def figures(rows):
    return [[row[name] for name in POOLED] for row in rows]


def test_each_group_is_pooled_by_itself_and_order_does_not_matter():
    other = {("A", "plate"): (20, 30), ("B", "plate"): (2, 9), ("C", "plate"): (1, 50)}
    apart = figures(pool_rows(rows_of(FOUR), KEYS, 0.95))
    mixed = pool_rows(rows_of(other | FOUR)[::-1], KEYS, 0.95)
    again = figures([row for row in mixed if row["opening"] == "gun"][::-1])
    assert again == [pytest.approx(row, rel=1e-9) for row in apart]
    # Another mode is another group, though keys and counts are the same.
    both = pool_rows(rows_of(FOUR) + rows_of(other, mode="clip_snapped"), KEYS[:1], 0.95)
    assert figures(both[:4]) == [pytest.approx(row, rel=1e-9) for row in apart]


def test_rates_agree_with_an_integration_written_otherwise():
    """The posterior mean of model B by brute force over the stated prior, in (m, sd) not (m, s)."""
    counts = [FOUR[key] for key in FOUR if FOUR[key][1]]

    def density(sd, m):
        s = max(1 / (sd * sd * m * (1 - m)) - 1, 0.0)
        if not s:
            return 0.0, 0.0
        a, b = m * s, (1 - m) * s
        told = 1.0
        for k, n in counts:
            told *= stats.betabinom.pmf(k, n, a, b)
        weight = stats.beta.pdf(m, 0.5, 0.5) * stats.gamma.pdf(sd, 2, scale=1 / 3) * told
        return weight, weight * a / (s + 6)  # B: no failure of 6

    def over(which):
        return integrate.dblquad(
            lambda sd, m: density(sd, m)[which], 1e-6, 1 - 1e-6, 1e-3, 8, epsabs=1e-11, epsrel=1e-5
        )[0]

    (_, b, _, none) = pool_rows(rows_of(FOUR), KEYS, 0.95)
    assert b["pooled_rate"] == pytest.approx(over(1) / over(0), rel=2e-3)
    assert none["borrowed"] == 1 and none["pooled_high"] > b["pooled_high"]


def test_a_small_model_borrows_more_and_the_level_widens():
    a, b, c, _ = pool_rows(rows_of(FOUR), KEYS, 0.95)
    assert 0 < c["borrowed"] < a["borrowed"] < b["borrowed"] < 1
    assert 0 < b["pooled_low"] < b["pooled_rate"] < a["pooled_rate"]
    (narrow, *_) = pool_rows(rows_of(FOUR), KEYS, 0.8)
    assert a["pooled_low"] < narrow["pooled_low"] < narrow["pooled_high"] < a["pooled_high"]


@pytest.mark.parametrize(
    "counts", [{("A", "gun"): (3, 40)}, {("A", "gun"): (3, 40), ("B", "gun"): (0, 0)}]
)
def test_one_model_has_nobody_to_borrow_from(counts):
    rows = pool_rows(rows_of(counts), KEYS, 0.95)
    assert figures(rows) == [[None] * 4] * len(counts)
    (note,) = pool_notes(rows, KEYS)
    assert note.code == "not_pooled" and note.text.startswith("1 group with opportunities on fewer")


def test_notes_say_which_groups_and_how_much_was_borrowed():
    two = {("A", "plate"): (2, 30), ("B", "plate"): (2, 9)}
    rows = pool_rows(rows_of(FOUR | two | {("A", None): (0, 4)}), KEYS, 0.95)
    pooled, few, alone = pool_notes(rows, KEYS)
    shares = sorted(row["borrowed"] for row in rows if row["borrowed"] is not None)
    middle = 100 * (shares[2] + shares[3]) / 2
    assert "within each mode and opening: 2 groups of 2 to 3 models" in pooled.text
    assert f"in the middle row {middle:.0f} % of the pooled rate is borrowed" in pooled.text
    assert "weak prior" in pooled.text
    assert (few.code, alone.code) == ("pooled_two", "not_pooled")
    assert few.text.startswith("1 group of two models only") and alone.text.startswith("1 group")
    assert pool_notes([], KEYS) == ()


def test_what_cannot_be_pooled_is_refused():
    with pytest.raises(UsageError, match=r"needs them as rows: --by model,opening$"):
        check_pool(("opening",), None)
    with pytest.raises(UsageError, match=r"--pool and --cluster technician .* not widened"):
        check_pool(("model",), "technician")
    check_pool(("opening", "model"), None)
