"""Jobs followed one by one, made into the rows that the tally gives, and findings on them."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date
from types import SimpleNamespace

import numpy as np

from fixstats.findings.comebacks import conclude
from fixstats.findings.comebacks_figures import ANY
from fixstats.findings.comebacks_plan import ComebacksAsk, Counted
from fixstats.folder import DEFAULT_CATALOGUE, read_catalogue
from fixstats.folder.settings import Settings
from fixstats.tallies.counts import Period
from fixstats.tallies.followups import Leaving
from fixstats.tallies.keys import resolve

CATALOGUE = read_catalogue(DEFAULT_CATALOGUE)
FOLDER = SimpleNamespace(catalogue=CATALOGUE, settings=Settings(name="Bench", labour_rate=60.0))
DAY = date(2026, 6, 30)


def leaving_of(keys, day, reason):
    """Rows of the at-risk table; ``keys``: name -> values, all with one entry a job."""
    groups = list(zip(*keys.values(), strict=True)) or [()] * len(day)
    left = defaultdict(Counter)
    for group, when, why in zip(groups, map(int, day), reason, strict=True):
        left[group][when, why] += 1
    rows = [
        (*group, when, why, jobs, sum(n for (later, _), n in counts.items() if later >= when))
        for group, counts in left.items()
        for (when, why), jobs in counts.items()
    ]
    columns = [list(one) for one in zip(*rows, strict=True)]
    return Leaving(dict(zip(keys, columns, strict=False)), *columns[len(keys) :])


def seen(rng, hazard, other, end):
    """(day, reason) of each job: daily hazards of a come-back and of an unrelated return."""
    back = rng.geometric(np.maximum(hazard, 1e-12)) - 1
    away = rng.geometric(np.maximum(other, 1e-12), len(back)) - 1
    day = np.minimum(np.minimum(back, away), end)
    reason = np.where(back <= day, "seal", np.where(away <= day, "unrelated", None))
    return day, reason


def share(hazard, other, days):
    """The true share that comes back by the end of ``days``, the other returns competing.

    Of a day with both, `seen` lets the come-back be the one.
    """
    left = (1 - hazard) * (1 - other)
    return hazard * (1 - left ** (days + 1)) / (1 - left)


def everything(_):
    return True


def finding(leaving, cells=None, covered=None, **ask):
    asked = ComebacksAsk(**{"days": 90, "confidence": 0.95, "reason": (ANY,), **ask})
    keys = tuple(resolve(name, CATALOGUE, []) for name in asked.by)
    covered = covered or Period(500, DAY, DAY, DAY, 0, (1,))
    return conclude(Counted(leaving, cells, keys), FOLDER, asked, covered, covered.as_of)


def notes_of(found):
    return {note.code: note.text for note in found.notes}
