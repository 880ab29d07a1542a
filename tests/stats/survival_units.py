"""At-risk tables from units one by one, the slow way, for the tests of what is made of them."""

import numpy as np
from hypothesis import strategies as st

from fixstats import stats


def rows(time, reason, group, stratum, reasons):
    """Rows of an at-risk table; reason 0 is censored, 1 to `reasons` an event."""
    found = []
    for s, g in sorted(set(zip(stratum, group, strict=True))):
        here = [
            (t, r)
            for t, r, gg, ss in zip(time, reason, group, stratum, strict=True)
            if (gg, ss) == (g, s)
        ]
        for day in sorted({t for t, _ in here}):
            at = sum(t >= day for t, _ in here)
            by_reason = [here.count((day, r)) for r in range(reasons + 1)]
            found.append((s, g, day, at, *by_reason))
    return np.array(found, dtype=float).reshape(-1, 5 + reasons)


def table(time, reason, *, groups=None, strata=None, reasons=1, n_groups=None):
    time, reason = list(map(float, time)), list(map(int, reason))
    none = [0] * len(time)
    found = rows(
        time,
        reason,
        none if groups is None else list(map(int, groups)),
        none if strata is None else list(map(int, strata)),
        reasons,
    ).T
    return stats.at_risk(
        found[2],
        found[3],
        found[5:],
        found[4],
        groups=None if groups is None else found[1],
        n_groups=n_groups,
        strata=None if strata is None else found[0],
    )


@st.composite
def units(draw, reasons=1, most=30, groups=1, censored=True):
    """(time, reason, group) of some units, with ties, as lists of whole numbers."""
    size = draw(st.integers(1, most))
    one = st.tuples(
        st.integers(0, 12),
        st.integers(0 if censored else 1, reasons),
        st.integers(0, groups - 1),
    )
    found = draw(st.lists(one, min_size=size, max_size=size))
    return tuple(list(column) for column in zip(*found, strict=True))
