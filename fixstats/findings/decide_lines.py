"""Expected cost per job along one input, all else being as it is: straight lines; pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from fixstats.findings.decide_figures import ChoiceWeighed
from fixstats.findings.decide_rows import slopes
from fixstats.findings.safety import WORSE


def line_rows(answer: ChoiceWeighed, level: float) -> Iterator[dict[str, Any]]:
    """A line for each scope, input and option that is not ruled out.

    ``now``: the present value, None where a cost is not set (its line begins at 0);
    ``cost_per_job``, ``cost_low``, ``cost_high``: there; ``per_unit``: money a job for one unit
    more of the input.
    """
    tail = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(answer.costing.draws, tail, axis=-1)
    money = answer.costing.draws.mean(axis=-1)
    for name, (now, slope) in slopes(answer):
        for scope in answer.scopes:
            at = answer.place(scope)
            value = now[at] if isinstance(now, np.ndarray) else now
            for n, option in enumerate(answer.options):
                if answer.known.safety[option].state == WORSE:
                    continue
                yield {
                    "choice": answer.counted.choice,
                    "scope": "all" if scope is None else "model",
                    "model": scope,
                    "input": name,
                    "option": option,
                    "now": None if value is None else float(value),
                    "cost_per_job": float(money[n, at]),
                    "cost_low": float(low[n, at]),
                    "cost_high": float(high[n, at]),
                    "per_unit": float(slope[n, at]),
                }
